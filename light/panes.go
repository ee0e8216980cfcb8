package light

import "math"

// mostSampled is the largest number of panes along a side of which only the open ones are sampled. With more the bars are sampled
// too, as each sample would have to count the panes.
const mostSampled = 16

// barred reports whether samples leave out the bars.
func (p *panes) barred() bool {
	return p.nx > 0 && p.nx*p.ny > 1 && p.bar > 0 && max(p.nx, p.ny) <= mostSampled
}

// pane returns the ends of pane i of n along a side of length w that starts at x0.
func pane(x0, w float64, n int, bar float64, i int) (a, b float64) {
	pitch := (w + bar) / float64(n)
	a = x0 + float64(i)*pitch
	return a, a + pitch - bar
}

// pickShare chooses one of the shares by u, which it stretches to be used again; sum is their sum.
func pickShare(shares []float64, sum float64, u *float64) int {
	x := *u * sum
	for i, s := range shares[:len(shares)-1] {
		if x < s {
			*u = x / s
			return i
		}
		x -= s
	}
	last := len(shares) - 1
	*u = max(0, min(1, x/shares[last]))
	return last
}

// columns fills in the solid angles of the columns of panes, with the bars that cross them, and their k, and returns the sum of the
// angles.
func (l *Light) columns(q *spherical, to, k *[mostSampled]float64) (sum float64) {
	for i := range l.panes.nx {
		c := *q
		c.x0, c.x1 = pane(q.x0, l.w, l.panes.nx, l.panes.bar, i)
		c.measure()
		to[i], k[i] = c.omega, c.k
		sum += c.omega
	}
	return sum
}

// rows fills in how much of a column's solid angle at x each of its panes takes, in units of all of it, and returns the sum.
func (l *Light) rows(q *spherical, x float64, to *[mostSampled]float64) (sum float64) {
	d2 := x*x + q.z*q.z
	h := func(y float64) float64 { return y / math.Sqrt(d2+y*y) }
	all := h(q.y1) - h(q.y0)
	for i := range l.panes.ny {
		a, b := pane(q.y0, l.h, l.panes.ny, l.panes.bar, i)
		to[i] = (h(b) - h(a)) / all
		sum += to[i]
	}
	return sum
}

// openAngle is the reciprocal of the density of samples at (x, y) of a rectangle with panes: its solid angle without the bars, but
// that the bars across each column count as if they took the same share of all of them.
func (l *Light) openAngle(q *spherical, x float64) float64 {
	var a, k [mostSampled]float64
	return l.columns(q, &a, &k) * l.rows(q, x, &a)
}

// sampleOpen is sample for a rectangle with panes: points lie on panes alone. It returns the density too, in 1/sr.
func (l *Light) sampleOpen(q *spherical, u0, u1 float64) (x, y, pdf float64) {
	var a, k [mostSampled]float64
	sum := l.columns(q, &a, &k)
	c := *q
	i := pickShare(a[:l.panes.nx], sum, &u0)
	c.x0, c.x1 = pane(q.x0, l.w, l.panes.nx, l.panes.bar, i)
	c.omega, c.k = a[i], k[i]
	x, _ = c.sample(u0, 0.5)
	open := l.rows(q, x, &a)
	c.y0, c.y1 = pane(q.y0, l.h, l.panes.ny, l.panes.bar, pickShare(a[:l.panes.ny], open, &u1))
	return x, c.along(x, u1), 1 / (sum * open)
}

// sampleOpenArea is sampleOpen by area.
func (l *Light) sampleOpenArea(q *spherical, u0, u1 float64) (x, y float64) {
	at := func(x0, w float64, n int, u float64) float64 {
		u *= float64(n)
		i := min(n-1, int(u))
		a, b := pane(x0, w, n, l.panes.bar, i)
		return a + (u-float64(i))*(b-a)
	}
	return at(q.x0, l.w, l.panes.nx, u0), at(q.y0, l.h, l.panes.ny, u1)
}
