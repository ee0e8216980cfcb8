package denoise

func (c *cleaner) covered(i int) float64 {
	if c.Covered == nil {
		return 0
	}
	return float64(c.Covered[i])
}

// coverage returns the fitted coverage at a pixel of the tile, less what was expected. As the difference is 0 in the mean, the
// expectation counts as so many neighbours of difference 0 as its own samples are worth.
func (b *worker) coverage(at int, trust float64) float64 {
	var r [3 * (maxDims + 1)]float64
	for i, v := range b.cover[at*b.dims : (at+1)*b.dims] {
		r[3*i] = v
	}
	return b.solve(at, r[:3*b.dims], trust)[0]
}

// keepCoverage puts back what has no grain, pixels that lie with their neighbours wholly on an object or wholly beside all, and makes
// up for what the rest gained or lost together: edges take it, most where they cover half of a pixel.
func (c *cleaner) keepCoverage() {
	if len(c.alpha) == 0 {
		return
	}
	lack, room := 0.0, 0.0
	at := func(i int) float64 { return (c.Alpha[0][i] + c.Alpha[1][i]) / 2 }
	for y := range c.H {
		for x := range c.W {
			i := y*c.W + x
			raw, same := at(i), true
			for v := max(0, y-1); v <= min(c.H-1, y+1); v++ {
				for u := max(0, x-1); u <= min(c.W-1, x+1); u++ {
					same = same && at(v*c.W+u) == raw
				}
			}
			if same && (raw == 0 || raw == 1) {
				c.alpha[i] = raw
			}
			lack += raw - c.alpha[i]
			room += c.alpha[i] * (1 - c.alpha[i])
		}
	}
	if room == 0 {
		return
	}
	for i, a := range c.alpha {
		c.alpha[i] = max(0, min(1, a+lack/room*a*(1-a)))
	}
}
