// Package envmap holds light from far away in all directions as a latitude-longitude picture, with a density that
// follows it. It knows no scene: directions are in the picture's own frame.
//
// Map is the one main type: Radiance reads it, Sample draws a direction by its brightness, Pdf is the density of that.
// Options say how the density follows the picture:
//
// Hot spots (CutSpots) are small bright parts such as the sun or a lamp. Each becomes a Map of its own, so that it can be
// sampled as a light of its own; together with what is left they are the same picture (Spots).
//
// Compensation (Compensate) lowers the density where the picture is no brighter than its mean, because there the other
// technique of a combined estimator does well. No direction that shines loses all its density, so nothing is biased.
//
// The layout is that of OpenEXR's latitude-longitude environment maps: +Y is up (the top row), and from left to right
// the picture shows -Z at u = 0, +X at u = 1/4, +Z at u = 1/2, -X at u = 3/4 and -Z again at u = 1. Radiance is in
// W/(m^2 sr), linear RGB; densities are in 1/sr; random numbers are arguments in [0, 1).
//
// Sources: Karlik et al., MIS Compensation, ACM TOG 38(6), 2019; Debevec, Rendering Synthetic Objects into Real Scenes,
// SIGGRAPH 1998, for the idea of hot spots.
package envmap

import (
	"fmt"
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Map is an environment: a picture that is read by bilinear interpolation between texel centres (around the seam, and
// held at the first and last row towards the poles). It does not change after New, so any number of workers may read it.
//
// A hot spot is a Map of its own that holds a part of the picture's texels and is black elsewhere; see Spots.
type Map struct {
	w, h  int       // of the whole picture
	part  window    // of it that this map holds
	pix   []float32 // of the texels in part
	dist  distribution
	mean  float64 // of the channels' mean over the sphere
	peaks float64 // mean of its square over the square of the mean
	spots []*Map
	spot  bool // a hot spot: no light comes from farther off the axis than the angle whose cosine is least
	axis  geom.Vec
	least float64
}

// Options say how the density follows the picture.
type Options struct {
	// Gain weighs the channels, as the light that uses the map will scale them; zero means (1, 1, 1).
	Gain colour.RGB
	// Compensate lowers the density where the picture is no brighter than its mean, because another technique of a
	// combined estimator finds those directions as well. The estimator stays unbiased even alone: nothing that
	// shines loses its density, see floorShare.
	//
	// Source: Karlik et al., MIS Compensation, ACM TOG 38(6), 2019.
	Compensate bool
	// CutSpots takes hot spots out of the picture, as maps of their own that together with what is left make the same
	// picture; see Spots.
	CutSpots bool
}

// floorShare is the least share of its own brightness that a texel keeps as weight under Options.Compensate, so that a
// sample weighs at most ten times what it would without. Own choice.
const floorShare = 0.1

// maxTexels bounds the picture: 16384 x 8192, for which the tables of the density take about 1 GB.
const maxTexels = 16384 * 8192

// New makes a map of w x h texels from pix, which has 3*w*h values, row-major from the top left, linear RGB radiance in
// W/(m^2 sr); it keeps pix and does not copy it (what is cut out is taken from it). NaN, infinite and negative values are errors: the message counts them
// and names the first.
func New(w, h int, pix []float32, opt Options) (*Map, error) {
	if w < 1 || h < 1 || w > maxTexels/h {
		return nil, fmt.Errorf("environment of %d x %d texels: each side must be at least 1 and the product at most %d", w, h, maxTexels)
	}
	if len(pix) != 3*w*h {
		return nil, fmt.Errorf("environment of %d x %d texels: %d values given, want %d (three per texel)", w, h, len(pix), 3*w*h)
	}
	bad, first := 0, 0
	for i, v := range pix {
		if !(v >= 0 && v <= math.MaxFloat32) {
			if bad == 0 {
				first = i
			}
			bad++
		}
	}
	if bad > 0 {
		t := first / 3
		return nil, fmt.Errorf("environment of %d x %d texels: %d of %d values are not finite and >= 0, first %g in channel %d of texel (%d, %d)",
			w, h, bad, len(pix), pix[first], first%3, t%w, t/w)
	}
	g := opt.Gain
	if g.Black() {
		g = colour.Grey(1)
	}
	m := &Map{w: w, h: h, part: window{0, 0, w, h}, pix: pix}
	if opt.CutSpots {
		m.cutSpots(g)
	}
	m.mean = m.integrate(g) / (4 * math.Pi)
	m.peaks = m.contrast(g)
	cut := 0.0
	if opt.Compensate {
		cut = m.mean
	}
	m.dist = newDistribution(w, h, window{0, 0, w, h + 1}, func(x, y int) float64 {
		v := m.grey(x, y, g)
		if opt.Compensate {
			return max(v-cut, floorShare*v)
		}
		return v
	})
	return m, nil
}

// texelSolidAngle returns the solid angle of a texel of the picture's row y, in sr.
func (m *Map) texelSolidAngle(y int) float64 {
	return bandSolidAngle(float64(y)/float64(m.h), float64(y+1)/float64(m.h)) / float64(m.w)
}

// grey returns the mean of the channels of a texel that m holds after the gain g.
func (m *Map) grey(x, y int, g colour.RGB) float64 {
	i := 3 * (y*m.part.w + x)
	return (g[0]*float64(m.pix[i]) + g[1]*float64(m.pix[i+1]) + g[2]*float64(m.pix[i+2])) / 3
}

// integrate returns the integral of grey over the sphere, texel by texel.
func (m *Map) integrate(g colour.RGB) float64 {
	sum := 0.0
	for y := range m.part.h {
		row := 0.0
		for x := range m.part.w {
			row += m.grey(x, y, g)
		}
		sum += row * m.texelSolidAngle(m.part.y+y)
	}
	return sum
}

// contrast returns the mean over the sphere of the squares of grey over the square of its mean; 1 for a black picture.
func (m *Map) contrast(g colour.RGB) float64 {
	if m.mean == 0 {
		return 1
	}
	sum := 0.0
	for y := range m.h {
		row := 0.0
		for x := range m.w {
			v := m.grey(x, y, g)
			row += v * v
		}
		sum += row * m.texelSolidAngle(y)
	}
	return sum / (4 * math.Pi) / (m.mean * m.mean)
}

// Contrast returns the mean over the sphere of the picture's squares over the square of its mean, hot spots that were
// cut out left aside: 1 for an even sky; one less than it is the relative variance of light that is met by chance.
func (m *Map) Contrast() float64 { return m.peaks }

// Size returns the width and height in texels.
func (m *Map) Size() (w, h int) { return m.w, m.h }

// Black reports whether nothing shines.
func (m *Map) Black() bool { return m.dist.total == 0 }

// MeanRadiance returns the mean over the sphere of each channel, in the unit of the picture, hot spots that were cut
// out left aside; the texels count by the solid angle of their band.
func (m *Map) MeanRadiance() colour.RGB {
	var c colour.RGB
	for k := range c {
		var g colour.RGB
		g[k] = 3
		c[k] = m.integrate(g) / (4 * math.Pi)
	}
	return c
}

// Radiance returns the light that arrives from the unit direction d.
func (m *Map) Radiance(d geom.Vec) colour.RGB {
	if m.away(d) {
		return colour.RGB{}
	}
	u, v := UV(d)
	return m.at(u, v)
}

// at reads the picture at (u, v) in [0, 1].
func (m *Map) at(u, v float64) colour.RGB {
	x, y := u*float64(m.w)-0.5, v*float64(m.h)-0.5
	xf, yf := math.Floor(x), math.Floor(y)
	fx, fy := x-xf, y-yf
	x0, y0 := int(xf), int(yf)
	x1, y1 := x0+1, y0+1
	if x0 < 0 {
		x0 += m.w
	}
	if x1 >= m.w {
		x1 -= m.w
	}
	y0, y1 = max(y0, 0), min(y1, m.h-1)
	if m.spot {
		return m.patch(x0, y0, x1, y1, fx, fy)
	}
	a, b := 3*(y0*m.w+x0), 3*(y0*m.w+x1)
	c, d := 3*(y1*m.w+x0), 3*(y1*m.w+x1)
	p := m.pix
	wa, wb, wc, wd := (1-fx)*(1-fy), fx*(1-fy), (1-fx)*fy, fx*fy
	return colour.RGB{
		wa*float64(p[a]) + wb*float64(p[b]) + wc*float64(p[c]) + wd*float64(p[d]),
		wa*float64(p[a+1]) + wb*float64(p[b+1]) + wc*float64(p[c+1]) + wd*float64(p[d+1]),
		wa*float64(p[a+2]) + wb*float64(p[b+2]) + wc*float64(p[c+2]) + wd*float64(p[d+2]),
	}
}

// Sample maps (u0, u1) to a unit direction with density Pdf, in 1/sr, and returns the light from there. ok is false
// where nothing shines at all.
func (m *Map) Sample(u0, u1 float64) (d geom.Vec, pdf float64, l colour.RGB, ok bool) {
	if m.dist.total == 0 {
		return geom.Vec{}, 0, colour.RGB{}, false
	}
	u, cos, pdf := m.dist.sample(u0, u1)
	s, c := math.Sincos(2 * math.Pi * u)
	r := math.Sqrt(max(0, 1-cos*cos))
	d = geom.Vec{X: r * s, Y: cos, Z: -r * c}
	return d, pdf, m.at(u, math.Acos(cos)/math.Pi), true
}

// Pdf returns the density of Sample at the unit direction d, in 1/sr; 0 where it never goes.
func (m *Map) Pdf(d geom.Vec) float64 {
	if m.dist.total == 0 || m.away(d) {
		return 0
	}
	return m.dist.pdf(UV(d))
}

// UV returns where the picture shows the unit direction d: u in [0, 1) to the right, v in [0, 1] downwards.
func UV(d geom.Vec) (u, v float64) {
	u = math.Atan2(d.X, -d.Z) * (0.5 / math.Pi)
	if u < 0 {
		u++
	}
	if u >= 1 { // a tiny negative angle rounds up to a full turn
		u = 0
	}
	return u, math.Acos(min(1, max(-1, d.Y))) / math.Pi
}

// Direction is the inverse of UV.
func Direction(u, v float64) geom.Vec {
	s, c := math.Sincos(2 * math.Pi * u)
	st, ct := math.Sincos(math.Pi * v)
	return geom.Vec{X: st * s, Y: ct, Z: -st * c}
}

// bandSolidAngle returns the solid angle between the parallels v0 <= v1, in sr.
func bandSolidAngle(v0, v1 float64) float64 {
	return 2 * math.Pi * (math.Cos(math.Pi*v0) - math.Cos(math.Pi*v1))
}
