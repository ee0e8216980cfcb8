package eye

import (
	"catchlight/scene/parallel"
	"math"
)

// bead is one point of a strand: where it is in the iris plane, how thick it is, how high it lies, and its share of
// stroma and pigment relative to the place it crosses. Lengths in mm.
type bead struct{ x, y, w, z, s, m float32 }

// raster is what strokes are drawn into: a square grid of the iris plane, centred on the axis. h is height in mm, s
// and m are the shares of stroma and pigment of what lies on top.
type raster struct {
	n       int     // pixels a side
	ppm     float64 // pixels per mm
	h, s, m []float32
}

func newRaster(n int, ppm float64) *raster {
	return &raster{n: n, ppm: ppm, h: make([]float32, n*n), s: make([]float32, n*n), m: make([]float32, n*n)}
}

// place returns the point of the iris plane in the middle of pixel (i, j), y up.
func (l *raster) place(i, j int) (x, y float64) {
	c := float64(l.n) / 2
	return (float64(i) + 0.5 - c) / l.ppm, (c - float64(j) - 0.5) / l.ppm
}

// flank is how far a strand's sides reach, in half widths: its section is a parabola that dives into what is below.
const flank = 1.7

// weld is the height over which two strands that meet are smoothed into each other, mm.
const weld = 0.008

// stroke is a piece of a strand between two beads.
type stroke struct{ a, b bead }

// draw lays strokes over the raster. Where strokes meet, the higher one hides the other, with a smooth maximum so that
// edges are neither jagged in height nor in colour. Rows are drawn in parallel; within a row strokes keep their order.
func (l *raster) draw(strokes []stroke) {
	const band = 16
	bands := (l.n + band - 1) / band
	lists := make([][]int32, bands)
	c := float64(l.n) / 2
	for i := range strokes {
		st := &strokes[i]
		reach := flank * float64(max(st.a.w, st.b.w))
		y0 := c - (float64(max(st.a.y, st.b.y))+reach)*l.ppm - 1
		y1 := c - (float64(min(st.a.y, st.b.y))-reach)*l.ppm + 1
		for k := max(0, int(y0)/band); k <= min(bands-1, int(max(0, y1))/band); k++ {
			lists[k] = append(lists[k], int32(i))
		}
	}
	parallel.Runs(bands, 1, func(k0, k1 int) {
		for k := k0; k < k1; k++ {
			for _, i := range lists[k] {
				l.drawOne(&strokes[i], k*band, min(l.n, (k+1)*band))
			}
		}
	})
}

// drawOne draws one stroke into rows j0 to j1-1.
func (l *raster) drawOne(st *stroke, j0, j1 int) {
	a, b := &st.a, &st.b
	c, ppm := float32(l.n)/2, float32(l.ppm)
	reach := flank * max(a.w, b.w)
	i0 := max(0, int(c+(min(a.x, b.x)-reach)*ppm))
	i1 := min(l.n, int(c+(max(a.x, b.x)+reach)*ppm)+2)
	j0 = max(j0, int(max(0, c-(max(a.y, b.y)+reach)*ppm-1)))
	j1 = min(j1, int(c-(min(a.y, b.y)-reach)*ppm)+2)
	ex, ey := b.x-a.x, b.y-a.y
	inv := ex*ex + ey*ey
	if inv > 0 {
		inv = 1 / inv
	}
	for j := j0; j < j1; j++ {
		y := (c-float32(j)-0.5)/ppm - a.y
		row := j * l.n
		for i := i0; i < i1; i++ {
			x := (float32(i)+0.5-c)/ppm - a.x
			t := min(1, max(0, (x*ex+y*ey)*inv))
			dx, dy := x-t*ex, y-t*ey
			w := a.w + t*(b.w-a.w)
			q := (dx*dx + dy*dy) / (w * w)
			if q > flank*flank {
				continue
			}
			// Cover: the rim of a stroke shades off over a pixel, so that its edge has no steps.
			cover := float32(1)
			if rim := (flank-float32(math.Sqrt(float64(q))))*w*ppm*0.7 + 0.1; rim < 1 {
				cover = rim
			}
			z := a.z + t*(b.z-a.z) + w*(1-q)*1.2
			at := row + i
			d := (z - l.h[at]) * (0.5 / weld)
			if d < -1 {
				continue
			}
			shade := 1 - 0.45*min(1, q)
			s := (a.s + t*(b.s-a.s)) * shade
			m := a.m + t*(b.m-a.m)
			// Smooth maximum of second degree; k is the share of the new stroke.
			k := cover
			if d < 1 {
				k *= 0.5 + 0.5*d
				l.h[at] += weld * k * (1 - k)
			}
			l.h[at] += k * (z - l.h[at])
			l.s[at] += k * (s - l.s[at])
			l.m[at] += k * (m - l.m[at])
		}
	}
}

// sample returns the bilinear value of one of the raster's grids at a point of the iris plane, clamped at its edge.
func (l *raster) sample(v []float32, x, y float64) float64 {
	c := float64(l.n) / 2
	fx, fy := c+x*l.ppm-0.5, c-y*l.ppm-0.5
	fx, fy = min(float64(l.n-1), max(0, fx)), min(float64(l.n-1), max(0, fy))
	i, j := min(int(fx), l.n-2), min(int(fy), l.n-2)
	tx, ty := fx-float64(i), fy-float64(j)
	at := j*l.n + i
	top := float64(v[at])*(1-tx) + float64(v[at+1])*tx
	low := float64(v[at+l.n])*(1-tx) + float64(v[at+l.n+1])*tx
	return top*(1-ty) + low*ty
}

// blur returns v smoothed by three box filters, near a Gaussian of the given standard deviation in pixels.
func (l *raster) blur(v []float32, sigma float64) []float32 {
	r := max(1, int(math.Round(math.Sqrt(4*sigma*sigma+1)-1)/2))
	a, b := append([]float32(nil), v...), make([]float32, len(v))
	for range 3 {
		parallel.Runs(l.n, 32, func(j0, j1 int) {
			for j := j0; j < j1; j++ {
				box(b[j*l.n:(j+1)*l.n], a[j*l.n:(j+1)*l.n], l.n, 1, r)
			}
		})
		parallel.Runs(l.n, 32, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				box(a[i:], b[i:], l.n, l.n, r)
			}
		})
	}
	return a
}

// box writes the mean over 2r+1 neighbours, clamped at the ends, of n values a stride apart.
func box(dst, src []float32, n, stride, r int) {
	sum := float32(0)
	at := func(i int) float32 { return src[min(n-1, max(0, i))*stride] }
	for i := -r; i <= r; i++ {
		sum += at(i)
	}
	k := 1 / float32(2*r+1)
	for i := range n {
		dst[i*stride] = sum * k
		sum += at(i+r+1) - at(i-r)
	}
}
