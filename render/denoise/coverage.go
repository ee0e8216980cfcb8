package denoise

// fitCoverage fits the coverage of one half of a strip, less what was expected. As the difference is 0 in the mean, the expectation
// counts as so many neighbours of difference 0 as its own samples are worth.
func (f *Filter) fitCoverage(b *worker, at, n, strip, half int, m []float32, own *[lanes][maxDims + 1]float64) {
	var more [lanes]float64
	if b.differs[half] {
		for lane := range n {
			a, _ := b.solve(m, lane, &own[lane], f.Trust)
			b.set(lane, &a, &own[lane])
		}
		s := b.total(b.counted(strip), b.cover(half), strip, 1)
		for lane := range n {
			more[lane] = float64(s[lane])
		}
	}
	for lane := range n {
		if i := at + lane; !f.planes.sure[i] {
			f.alpha[i] += 0.5 * max(0, min(1, f.covered(i)+more[lane]))
		}
	}
}

// keepCoverage puts back what has no grain, pixels that lie with their neighbours wholly on an object or wholly beside all, and makes
// up for what the rest gained or lost together: edges take it, most where they cover half of a pixel.
func (f *Filter) keepCoverage() {
	if len(f.alpha) == 0 {
		return
	}
	lack, room := 0.0, 0.0
	at := func(i int) float64 { return (f.Alpha[0][i] + f.Alpha[1][i]) / 2 }
	for y := range f.H {
		for x := range f.W {
			i := y*f.W + x
			raw, same := at(i), true
			for v := max(0, y-1); v <= min(f.H-1, y+1); v++ {
				for u := max(0, x-1); u <= min(f.W-1, x+1); u++ {
					same = same && at(v*f.W+u) == raw
				}
			}
			if same && (raw == 0 || raw == 1) {
				f.alpha[i] = raw
			}
			lack += raw - f.alpha[i]
			room += f.alpha[i] * (1 - f.alpha[i])
		}
	}
	if room == 0 {
		return
	}
	for i, a := range f.alpha {
		f.alpha[i] = max(0, min(1, a+lack/room*a*(1-a)))
	}
}
