package denoise

// fitCoverage fits the coverage of one half of a strip, less what was expected. As the difference is 0 in the mean, the expectation
// counts as so many neighbours of difference 0 as its own samples are worth.
func (f *Filter) fitCoverage(b *worker, at, n, strip, half int, own *[lanes][maxDims + 1]float64) {
	var more [lanes]float64
	if b.differs[half] {
		for lane := range n {
			a, _ := b.solve(b.matrix, lane, &own[lane], f.Trust)
			b.set(lane, &a, &own[lane])
		}
		s := b.total(b.counted(strip), b.cover(half), strip, 1)
		for lane := range n {
			more[lane] = float64(s[lane])
		}
	}
	for lane := range n {
		if i := at + lane; !f.planes.sure[i] {
			f.Cover[i] += 0.5 * max(0, min(1, f.covered(i)+more[lane]))
		}
	}
}

// addCoverage puts back what has no grain, pixels that lie with their neighbours wholly on an object or wholly beside all, and adds up
// what the rest gained or lost together.
func (b *Balance) addCoverage(f *Filter, x, y int) {
	at := func(i int) float64 { return (f.Alpha[0][i] + f.Alpha[1][i]) / 2 }
	i := y*f.W + x
	raw, same := at(i), true
	for v := max(0, y-1); v <= min(f.H-1, y+1); v++ {
		for u := max(0, x-1); u <= min(f.W-1, x+1); u++ {
			same = same && at(v*f.W+u) == raw
		}
	}
	if same && (raw == 0 || raw == 1) {
		f.Cover[i] = raw
	}
	b.lack += raw - f.Cover[i]
	b.room += f.Cover[i] * (1 - f.Cover[i])
}

// applyCoverage makes up for what the coverage of the whole picture gained or lost.
func (b *Balance) applyCoverage(f *Filter) {
	for i, a := range f.Cover {
		f.Cover[i] = b.Cover(a)
	}
}
