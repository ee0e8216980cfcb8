package light

import (
	"math"
	"sort"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// Profile says how the radiance of a rectangle or disc differs over its face: a hot core and a fall-off, as soft boxes and lit
// curtains have, and what is seen through a window. It only moves light about: the mean over what shines is the light's radiance.
//
// Source: common practice, no published source.
type Profile struct {
	Core, Edge float64 // radiance in the middle, and at the corners (of a disc, its rim), before the rest; [0, 100], not both 0
	Soft       float64 // share of half the shorter side over which the outer edge fades in from black, [0, 1]
	Noise      float64 // relative size of slow waves over the face, [0, 0.5]
	Sky        float64 // radiance at the horizon, or at the lower edge without one, over that at the upper edge, [0, 100]
	Horizon    float64 // share of the height that lies below the horizon, an uneven line of trees, [0, 1)
	Ground     float64 // radiance below the horizon over that at the upper edge, [0, 100]
	Curtain    float64 // share of half the width that a curtain takes at either side, with an uneven edge, [0, 1)
	Cloth      float64 // radiance of the curtains over that of what they cover, [0, 1]
	Seed       uint64  // of noise, trees and curtains
}

// Flat is the profile that changes nothing.
var Flat = Profile{Core: 1, Edge: 1, Sky: 1}

// face is a profile over one light: how it is read, and how it is sampled, uniformly in area within the cells of a grid that follow
// it. Bars lie between cells, so no sample is lost on them. A disc's cells are sectors of rings of equal area.
type face struct {
	Profile
	disc   bool
	w, h   float64 // mm; a disc: its diameter
	panes  panes   // at least 1 x 1
	gain   float64 // makes the mean over what shines 1
	n, m   int     // cells across and down
	row    []float64
	cell   []float64 // n running sums for each row
	dens   []float64 // per mm^2
	cw, ch float64   // of a cell, mm; a disc: turns, and share of the squared radius
	area   float64   // of a cell, mm^2
}

// finest is how many cells a face has along one side, where its panes leave it that many.
const finest = 64

// WithProfile gives a rectangle or disc a profile; it comes after WithPanes.
func WithProfile(p Profile) FlatOption {
	return func(l *Light, c *checker) { l.shape(p, c) }
}

// check reports what of a profile is out of range.
func (p *Profile) check(c *checker) {
	for _, v := range []struct {
		field       string
		value, most float64
	}{
		{"core", p.Core, 100}, {"edge", p.Edge, 100}, {"soft", p.Soft, 1}, {"noise", p.Noise, 0.5}, {"sky", p.Sky, 100},
		{"horizon", p.Horizon, 0.99}, {"ground", p.Ground, 100}, {"curtain", p.Curtain, 0.99}, {"cloth", p.Cloth, 1},
	} {
		if !(v.value >= 0 && v.value <= v.most) {
			c.fail("profile "+v.field, v.value, "in [0, "+number(v.most)+"]")
		}
	}
	if p.Core == 0 && p.Edge == 0 {
		c.fail("profile core", p.Core, "above 0 where edge is 0")
	}
}

// shape gives l the profile p.
func (l *Light) shape(p Profile, c *checker) {
	if p.check(c); len(c.errs) > 0 {
		return
	}
	f := &face{Profile: p, w: l.w, h: l.h, panes: l.panes, gain: 1}
	if l.Kind == Disc {
		f.disc, f.w, f.h = true, 2*l.radius, 2*l.radius
	}
	if f.panes.nx == 0 {
		f.panes = panes{nx: 1, ny: 1}
	}
	a, b := max(1, finest/f.panes.nx), max(1, finest/f.panes.ny) // cells of a pane
	f.n, f.m = a*f.panes.nx, b*f.panes.ny
	f.cw = (f.w - float64(f.panes.nx-1)*f.panes.bar) / float64(f.n)
	f.ch = (f.h - float64(f.panes.ny-1)*f.panes.bar) / float64(f.m)
	f.area = f.cw * f.ch
	if f.disc {
		f.cw, f.ch = 1/float64(f.n), 1/float64(f.m)
		f.area = math.Pi * l.radius * l.radius * f.cw * f.ch
	}
	f.row, f.cell, f.dens = make([]float64, f.m), make([]float64, f.n*f.m), make([]float64, f.n*f.m)
	mean := f.measure()
	if !(mean > 0) {
		c.fail("profile", p, "such that something shines")
		return
	}
	f.gain = 1 / mean
	l.face = f
}

// measure fills the density of the cells and returns the mean of the profile over what shines.
func (f *face) measure() (mean float64) {
	const sub = 4
	shines, total := 0, 0.0
	for j := range f.m {
		for i := range f.n {
			x0, y0 := f.corner(i, j)
			sum, square, open := 0.0, 0.0, 0
			for k := range sub * sub {
				x, y := x0+(float64(k%sub)+0.5)/sub*f.cw, y0+(float64(k/sub)+0.5)/sub*f.ch
				v := f.at(f.place(x, y))
				sum, square, open = sum+v, square+v*v, open+1
			}
			mean, shines = mean+sum, shines+open
			f.dens[j*f.n+i] = math.Sqrt(square / (sub * sub))
			total += f.dens[j*f.n+i]
		}
	}
	mean /= float64(max(1, shines))
	// Every cell keeps a share: what shines between the points that were looked at is sampled too.
	least := 0.02 * total / float64(f.n*f.m)
	sum := 0.0
	for j := range f.m {
		c, in := f.cell[j*f.n:(j+1)*f.n], 0.0
		for i := range c {
			in += f.dens[j*f.n+i] + least
			c[i] = in
		}
		sum += in
		f.row[j] = sum
		for i := range c {
			c[i] /= in
		}
	}
	for j := range f.row {
		f.row[j] /= sum
	}
	for i := range f.dens {
		f.dens[i] = (f.dens[i] + least) / (sum * f.area)
	}
	return mean
}

// place turns where a point is in the grid into mm from the face's lower left corner.
func (f *face) place(a, b float64) (x, y float64) {
	if !f.disc {
		return a, b
	}
	sin, cos := math.Sincos(2 * math.Pi * a)
	r := f.w / 2 * math.Sqrt(b)
	return f.w/2 + r*cos, f.h/2 + r*sin
}

// corner returns where cell (i, j) begins in the grid.
func (f *face) corner(i, j int) (x, y float64) {
	a, b := f.n/f.panes.nx, f.m/f.panes.ny
	return float64(i)*f.cw + float64(i/a)*f.panes.bar, float64(j)*f.ch + float64(j/b)*f.panes.bar
}

// find returns the cell of a point; ok is false on bars.
func (f *face) find(x, y float64) (i int, ok bool) {
	if f.disc {
		u, w := 2*x/f.w-1, 2*y/f.h-1
		turn := math.Atan2(w, u) / (2 * math.Pi)
		if turn < 0 {
			turn++
		}
		return min(int((u*u+w*w)*float64(f.m)), f.m-1)*f.n + min(int(turn*float64(f.n)), f.n-1), true
	}
	along := func(x, size float64, n, cells int, c float64) (int, bool) {
		k := cells / n
		pitch := (size + f.panes.bar) / float64(n)
		p := min(max(int(x/pitch), 0), n-1)
		q := int((x - float64(p)*pitch) / c)
		if q >= k && (n == 1 || p == n-1 || x-float64(p)*pitch <= float64(k)*c) {
			q = k - 1 // the far edge itself
		}
		return p*k + max(q, 0), q < k
	}
	a, okA := along(x, f.w, f.panes.nx, f.n, f.cw)
	b, okB := along(y, f.h, f.panes.ny, f.m, f.ch)
	return b*f.n + a, okA && okB
}

// at reads the profile at a point in mm from the face's lower left corner, before its mean is made 1. Bars are not its business.
func (f *face) at(x, y float64) float64 {
	u, w := 2*x/f.w-1, 2*y/f.h-1
	r2 := u*u + w*w
	edge := min((1-math.Abs(u))*f.w, (1-math.Abs(w))*f.h) / min(f.w, f.h)
	if f.disc {
		edge = 1 - math.Sqrt(r2)
	} else {
		r2 /= 2
	}
	q := max(0, 1-r2)
	v := f.Edge + (f.Core-f.Edge)*q*q
	if edge < f.Soft {
		t := max(0, edge) / f.Soft
		v *= t * t * (3 - 2*t)
	}
	line := 0.0
	if f.Horizon > 0 {
		line = f.Horizon * (1 + 0.35*noise.Octaves(f.Seed+1, 4*u, 0.5, 0.5, 4))
	}
	if up := (w + 1) / 2; up < line {
		v *= f.Ground
	} else if f.Sky != 1 {
		t := (1 - up) / (1 - line)
		v *= 1 + (f.Sky-1)*t*t*(3-2*t)
	}
	if f.Curtain > 0 {
		if f.Curtain*(1+0.2*noise.Line(f.Seed+2, 1.5*w+math.Copysign(7, u))) > 1-math.Abs(u) {
			v *= f.Cloth * (1 + 0.3*noise.Line(f.Seed+3, 25*u))
		}
	}
	if f.Noise > 0 {
		v *= max(0, 1+2*f.Noise*noise.Space(f.Seed, 1.7*u+0.5, 1.7*w*f.h/f.w+0.5, 0.5))
	}
	return v
}

// on returns what the radiance is multiplied by at (x, y), mm from the middle of the light.
func (f *face) on(x, y float64) float64 {
	return f.at(x+f.w/2, y+f.h/2) * f.gain
}

// sample maps (u0, u1) to a point, mm from the middle, and its density per mm^2.
func (f *face) sample(u0, u1 float64) (x, y, pdf float64) {
	j, fy := pick(f.row, u1)
	i, fx := pick(f.cell[j*f.n:(j+1)*f.n], u0)
	x, y = f.corner(i, j)
	x, y = f.place(x+fx*f.cw, y+fy*f.ch)
	return x - f.w/2, y - f.h/2, f.dens[j*f.n+i]
}

// pick returns the first index whose running sum exceeds u, and where u lies within that step, in [0, 1).
func pick(c []float64, u float64) (int, float64) {
	i := min(sort.Search(len(c), func(k int) bool { return c[k] > u }), len(c)-1)
	a := 0.0
	if i > 0 {
		a = c[i-1]
	}
	if !(c[i] > a) {
		return i, 0.5
	}
	return i, min(max(0, (u-a)/(c[i]-a)), 1-0x1p-53)
}

// pdf returns the density per mm^2 with which the point (x, y), mm from the middle, is sampled.
func (f *face) pdf(x, y float64) float64 {
	i, ok := f.find(x+f.w/2, y+f.h/2)
	if !ok {
		return 0
	}
	return f.dens[i]
}

// onFace returns the place of p on the light, mm from its middle.
func (l *Light) onFace(p geom.Vec) (x, y float64) {
	q := p.Sub(l.centre)
	return q.Dot(l.frame.S), q.Dot(l.frame.T)
}

// sampleFace samples a light that has a profile.
func (l *Light) sampleFace(ref geom.Vec, u0, u1 float64) (s Sample, ok bool) {
	if l.behind(ref) {
		return s, false
	}
	x, y, pdf := l.face.sample(u0, u1)
	s.P = l.centre.Mad(x, l.frame.S).Mad(y, l.frame.T)
	v := s.P.Sub(ref)
	s.Dist = v.Len()
	s.Wi = v.Mul(1 / s.Dist)
	var c float64
	if s.N, c, ok = l.facing(s.Wi); !ok {
		return s, false
	}
	s.L = l.radianceAt(s.P)
	s.PdfArea = pdf
	s.Pdf = pdf * s.Dist * s.Dist / c
	return s, true
}
