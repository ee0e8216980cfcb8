package light

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// panes is a grid of nx by ny equal panes with dark bars between them, as in a window; the zero value is one pane.
type panes struct {
	nx, ny int
	bar    float64 // mm
}

// FlatOption changes a rectangle or disc while it is made.
type FlatOption func(*Light, *checker)

// maxPanes bounds the panes along one side.
const maxPanes = 1000

// WithPanes divides a rectangle into nx by ny equal panes, in [1, 1000], by bars of the given width in mm, >= 0. The
// bars run between panes, not around the edge, and emit nothing; a ray still hits them.
func WithPanes(nx, ny int, bar float64) FlatOption {
	return func(l *Light, c *checker) {
		if l.Kind != Rectangle {
			c.fail("panes", nx*ny, "left out: rectangles alone have panes")
			return
		}
		if nx < 1 || nx > maxPanes {
			c.fail("panes across", nx, "in [1, 1000]")
			return
		}
		if ny < 1 || ny > maxPanes {
			c.fail("panes down", ny, "in [1, 1000]")
			return
		}
		if !(bar >= 0) || float64(nx-1)*bar >= l.w || float64(ny-1)*bar >= l.h {
			c.fail("bar", bar, "at least 0 mm, and narrow enough to leave room for the panes")
			return
		}
		l.panes = panes{nx, ny, bar}
	}
}

// NewRectangle makes a flat rectangle of w x h mm about centre, S and T of the frame running along its width and
// height. It shines along N, or from both faces, with the same radiance in all directions.
func NewRectangle(name string, frame geom.Frame, centre geom.Vec, w, h float64, radiance colour.RGB, twoSided bool, opts ...FlatOption) (*Light, error) {
	c := checker{name: name}
	c.frame(frame)
	c.point("centre", centre)
	c.length("width", w)
	c.length("height", h)
	c.radiance("radiance", radiance)
	l := &Light{Name: name, Kind: Rectangle, TwoSided: twoSided, radiance: radiance, frame: frame, centre: centre,
		w: w, h: h, area: w * h}
	for _, o := range opts {
		o(l, &c)
	}
	if err := c.err(); err != nil {
		return nil, err
	}
	return l, nil
}

// OpenArea returns the area in mm^2 that is not bars of a rectangle of w x h mm with nx by ny panes and bars of the
// given width in mm between them; w h where NewRectangle would refuse these.
func OpenArea(w, h float64, nx, ny int, bar float64) float64 {
	if a := w * h * (panes{nx, ny, bar}).open(w, h); nx > 0 && ny > 0 && float64(nx-1)*bar < w && float64(ny-1)*bar < h {
		return a
	}
	return w * h
}

// open returns the share of a rectangle of w x h mm that is not bars.
func (p panes) open(w, h float64) float64 {
	if p.nx == 0 {
		return 1
	}
	return (1 - float64(p.nx-1)*p.bar/w) * (1 - float64(p.ny-1)*p.bar/h)
}

// onBar reports whether x, in [0, w] from one edge, lies on one of the bars between n panes.
func onBar(x, w float64, n int, bar float64) bool {
	pitch := (w + bar) / float64(n) // a pane and the bar after it
	i := math.Floor(x / pitch)
	return x-i*pitch > pitch-bar && int(i) < n-1
}

// radianceAt returns the radiance at p on a rectangle or disc.
func (l *Light) radianceAt(p geom.Vec) colour.RGB {
	if l.panes.nx == 0 && l.face == nil {
		return l.radiance
	}
	x, y := l.onFace(p)
	if l.panes.nx > 0 && l.onBars(x, y) {
		return colour.RGB{}
	}
	if l.face != nil {
		return l.radiance.Scale(l.face.on(x, y))
	}
	return l.radiance
}

// onBars reports whether a point lies on a bar between panes.
func (l *Light) onBars(x, y float64) bool {
	return onBar(x+0.5*l.w, l.w, l.panes.nx, l.panes.bar) || onBar(y+0.5*l.h, l.h, l.panes.ny, l.panes.bar)
}

// smallSolidAngle, in sr, is where a rectangle changes from sampling by solid angle, whose angles then lose their
// digits, to sampling by area, which is as good when all of the rectangle is equally far. Own choice: the solid angle
// still has about nine digits there.
const smallSolidAngle = 1e-6

// spherical is a rectangle as seen from a point: its sides in a frame along its edges, z < 0 the distance to its plane.
type spherical struct {
	x0, y0, x1, y1, z float64
	omega             float64 // solid angle, sr
	k                 float64 // 2 pi - g2 - g3 of the paper
}

// see returns the rectangle as seen from ref; ok is false where it does not shine there.
//
// Source: Urena, Fajardo and King, An Area-Preserving Parametrization for Spherical Rectangles, CGF 32(4), 2013. Its
// angles g are acos of products of edge normals; here each is pi/2 plus an arc tangent, which keeps its digits.
func (l *Light) see(ref geom.Vec) (q spherical, ok bool) {
	d := l.centre.Sub(ref)
	z := d.Dot(l.frame.N)
	if z == 0 || z > 0 && !l.TwoSided {
		return q, false
	}
	x, y := d.Dot(l.frame.S), d.Dot(l.frame.T)
	q = spherical{x - 0.5*l.w, y - 0.5*l.h, x + 0.5*l.w, y + 0.5*l.h, -math.Abs(z), 0, 0}
	q.measure()
	return q, q.omega > 0
}

// measure sets omega and k by the sides.
func (q *spherical) measure() {
	a0, a1 := corner(q.x1, q.y0, q.z), corner(q.x1, q.y1, q.z)
	a2, a3 := corner(q.x0, q.y1, q.z), corner(q.x0, q.y0, q.z)
	q.omega = (a1 - a0) - (a2 - a3)
	q.k = math.Pi + a2 - a3
}

// corner returns the solid angle, with sign, of the rectangle from the foot of the perpendicular to the corner (x, y).
func corner(x, y, z float64) float64 {
	return math.Atan(x * y / (-z * math.Sqrt(x*x+y*y+z*z)))
}

func (l *Light) solidAngleRectangle(ref geom.Vec) float64 {
	q, ok := l.see(ref)
	if !ok {
		return 0
	}
	return q.omega
}

func (l *Light) sampleRectangle(ref geom.Vec, u0, u1 float64) (s Sample, ok bool) {
	q, ok := l.see(ref)
	if !ok {
		return s, false
	}
	var x, y float64
	byArea, barred, pdf := q.omega < smallSolidAngle, l.panes.barred(), 1/q.omega
	switch {
	case byArea && barred:
		x, y = l.sampleOpenArea(&q, u0, u1)
	case byArea:
		x, y = q.x0+u0*(q.x1-q.x0), q.y0+u1*(q.y1-q.y0)
	case barred:
		x, y, pdf = l.sampleOpen(&q, u0, u1)
	default:
		x, y = q.sample(u0, u1)
	}
	// (x, y) is relative to the foot of the perpendicular from ref.
	z := l.centre.Sub(ref).Dot(l.frame.N)
	v := l.frame.World(geom.Vec{X: x, Y: y, Z: z})
	s.P = ref.Add(v)
	s.Dist = v.Len()
	s.Wi = v.Mul(1 / s.Dist)
	n, c, ok := l.facing(s.Wi)
	if !ok {
		return s, false
	}
	s.N = n
	s.L = l.radianceAt(s.P)
	if byArea {
		s.PdfArea = 1 / l.sampledArea()
		s.Pdf = s.PdfArea * s.Dist * s.Dist / c
	} else {
		s.Pdf = pdf
		s.PdfArea = s.Pdf * c / (s.Dist * s.Dist)
	}
	return s, true
}

// sample maps (u0, u1) to a point of the rectangle that is uniform in solid angle.
func (q *spherical) sample(u0, u1 float64) (x, y float64) {
	b0 := -q.y0 / math.Sqrt(q.z*q.z+q.y0*q.y0)
	b1 := q.y1 / math.Sqrt(q.z*q.z+q.y1*q.y1)
	sin, cos := math.Sincos(u0*q.omega + q.k)
	f := (cos*b0 - b1) / sin
	cu := math.Copysign(1/math.Sqrt(f*f+b0*b0), f)
	cu = min(1, max(-1, cu))
	x = -cu * q.z / max(math.Sqrt(1-cu*cu), 1e-12)
	x = min(q.x1, max(q.x0, x))
	return x, q.along(x, u1)
}

// along maps u1 to y at that x.
func (q *spherical) along(x, u1 float64) (y float64) {
	d := math.Sqrt(x*x + q.z*q.z)
	h0 := q.y0 / math.Sqrt(d*d+q.y0*q.y0)
	h1 := q.y1 / math.Sqrt(d*d+q.y1*q.y1)
	h := h0 + u1*(h1-h0)
	y = q.y1
	if h*h < 1-1e-14 {
		y = min(q.y1, max(q.y0, h*d/math.Sqrt(1-h*h)))
	}
	return y
}

// sampledArea is the area that samples lie on.
func (l *Light) sampledArea() float64 {
	if l.panes.barred() {
		return l.area * l.panes.open(l.w, l.h)
	}
	return l.area
}

func (l *Light) hitRectangle(o, d geom.Vec, tmin, tmax float64) (t float64, p, n geom.Vec, ok bool) {
	t, p, n, ok = l.hitPlane(o, d, tmin, tmax)
	if !ok {
		return 0, p, n, false
	}
	q := p.Sub(l.centre)
	ok = math.Abs(q.Dot(l.frame.S)) <= 0.5*l.w && math.Abs(q.Dot(l.frame.T)) <= 0.5*l.h
	return t, p, n, ok
}

func (l *Light) pdfRectangle(ref, d geom.Vec) float64 {
	t, p, n, ok := l.hitRectangle(ref, d, 0, math.Inf(1))
	if !ok {
		return 0
	}
	return l.pdfAreaRectangle(ref, p) * t * t / -d.Dot(n)
}

func (l *Light) pdfAreaRectangle(ref, p geom.Vec) float64 {
	q, ok := l.see(ref)
	if !ok {
		return 0
	}
	if l.face != nil {
		return l.face.pdf(l.onFace(p))
	}
	barred := l.panes.barred()
	if barred && l.onBars(l.onFace(p)) {
		return 0
	}
	if q.omega < smallSolidAngle {
		return 1 / l.sampledArea()
	}
	v := p.Sub(ref)
	angle := q.omega
	if barred {
		angle = l.openAngle(&q, v.Dot(l.frame.S))
	}
	d2 := v.Len2()
	return math.Abs(v.Dot(l.frame.N)) / (angle * d2 * math.Sqrt(d2))
}
