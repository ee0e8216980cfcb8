package lids

// grid is a smooth function of (x, y) by the uniform cubic B-spline of values at even steps: it does not pass through them, but evens
// them out over less than half a step; its second derivatives have no steps.
type grid struct {
	x, y, step float64
	w, h       int
	v          []float64
}

// newGrid asks f for the values on a rectangle and a step beyond it.
func newGrid(x0, y0, x1, y1, step float64, f func(x, y float64) float64) *grid {
	g := &grid{x: x0 - step, y: y0 - step, step: step, w: int((x1-x0)/step) + 4, h: int((y1-y0)/step) + 4}
	g.v = make([]float64, g.w*g.h)
	for i := range g.v {
		g.v[i] = f(g.x+float64(i%g.w)*step, g.y+float64(i/g.w)*step)
	}
	return g
}

// at returns the value and the slopes.
func (g *grid) at(x, y float64) (v, dx, dy float64) {
	x, y = (x-g.x)/g.step, (y-g.y)/g.step
	ix, iy := max(1, min(int(x), g.w-3)), max(1, min(int(y), g.h-3))
	bx, sx := cubicWeights(x - float64(ix))
	by, sy := cubicWeights(y - float64(iy))
	for j := range 4 {
		row := g.v[(iy-1+j)*g.w+ix-1:]
		c := bx[0]*row[0] + bx[1]*row[1] + bx[2]*row[2] + bx[3]*row[3]
		v += by[j] * c
		dy += sy[j] * c
		dx += by[j] * (sx[0]*row[0] + sx[1]*row[1] + sx[2]*row[2] + sx[3]*row[3])
	}
	return v, dx / g.step, dy / g.step
}

// cubicWeights are those of a uniform cubic B-spline at the place t after its second point, and their derivatives.
func cubicWeights(t float64) (b, d [4]float64) {
	u := 1 - t
	return [4]float64{u * u * u / 6, (4 - 6*t*t + 3*t*t*t) / 6, (4 - 6*u*u + 3*u*u*u) / 6, t * t * t / 6},
		[4]float64{-u * u / 2, (3*t*t - 4*t) / 2, (4*u - 3*u*u) / 2, t * t / 2}
}

// blurred returns the grid evened out, by three means over 2k+1 values across and down.
func (g *grid) blurred(k int) *grid {
	out := *g
	v := append([]float64(nil), g.v...)
	for range 3 {
		for _, q := range [2][3]int{{1, g.w, g.h}, {g.w, g.h, g.w}} {
			step, n, rows := q[0], q[1], q[2]
			to := make([]float64, len(v))
			for r := range rows {
				first := r * g.w
				if step != 1 {
					first = r
				}
				for i := range n {
					// Near the border over fewer values, as many on either side: slopes stay.
					m := min(k, i, n-1-i)
					var sum float64
					for j := i - m; j <= i+m; j++ {
						sum += v[first+j*step]
					}
					to[first+i*step] = sum / float64(2*m+1)
				}
			}
			v = to
		}
	}
	out.v = v
	return &out
}
