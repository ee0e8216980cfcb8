// Package texture holds pictures in memory and the maps that surfaces look their values up in.
//
//	Map    what a surface reads: a constant, a picture or a set of tiles, with a gain and an offset; the zero value is no map
//	Image  a picture with its mip-maps, in the bit depth that it came in (Coding)
//	Tiles  pictures side by side over texture space, numbered from 1001
//
// RGB, Scalar and Normal read a map at texture coordinates; Grad is the slope of a height map. Each is filtered over the
// footprint of the sample, its width in texture coordinates: linear within a level and between two levels. Wrap says what
// lies outside [0, 1).
//
// Values are linear, whatever the file's coding; u runs to the right and v down, both 0 at the top left. After BuildMips
// nothing is written, so any number of workers may read at once.
//
// Source: Williams, Pyramidal Parametrics, SIGGRAPH 1983, for mip-maps and the look-up between two of them.
package texture

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Wrap says what a picture shows outside [0, 1) x [0, 1).
type Wrap uint8

// The ways to wrap.
const (
	Repeat Wrap = iota // the picture again
	Clamp              // its edge texels
	Mirror             // the picture turned over, then the picture again
)

type kind uint8

const (
	none kind = iota
	constant
	image
	tiled
)

// Map is anything that can be evaluated at a surface point with a footprint: a constant or a picture. The zero
// value is "no map": it is not Valid and evaluates to 0. A Map is small and copied freely; reading it from many
// workers at once is safe.
type Map struct {
	kind   kind
	wrap   Wrap
	c      colour.RGB
	im     *Image
	tiles  *Tiles
	gain   float64
	offset float64
	down   bool           // a normal map whose green points down
	turn   *colour.Matrix // of a picture in other primaries; nil for none
	kept   bool           // colours stay within lo to hi
	lo, hi float64
}

// Constant returns a map that is c everywhere.
func Constant(c colour.RGB) Map { return Map{kind: constant, c: c} }

// FromImage returns a map that reads im, and builds its mip-maps. A nil picture gives no map.
func FromImage(im *Image, wrap Wrap) Map {
	if im == nil {
		return Map{}
	}
	im.BuildMips()
	return Map{kind: image, wrap: wrap, im: im, gain: 1}
}

// Scaled returns the map gain m + offset, in every channel; scaling no map gives no map.
func (m Map) Scaled(gain, offset float64) Map {
	switch m.kind {
	case constant:
		m.c = m.c.Scale(gain).Add(colour.Grey(offset))
	case image, tiled:
		m.gain, m.offset = m.gain*gain, m.offset*gain+offset
	}
	return m
}

// Valid reports whether there is a map; the zero value is none.
func (m *Map) Valid() bool { return m.kind != none }

// Varies reports whether the map reads a picture.
func (m *Map) Varies() bool { return m.kind == image || m.kind == tiled }

// Image returns the picture that the map reads, or nil.
func (m *Map) Image() *Image { return m.im }

// place returns the picture to read at uv and the coordinates in it.
func (m *Map) place(uv geom.UV) (im *Image, u, v float64) {
	if m.kind == tiled {
		return m.tiles.pick(uv)
	}
	return m.im, fold(uv.U, m.wrap), fold(uv.V, m.wrap)
}

// Mean returns the mean of the map over its picture.
func (m *Map) Mean() colour.RGB {
	switch m.kind {
	case tiled:
		return m.scaled(m.tiles.mean())
	case image:
	default:
		return m.c
	}
	a := m.im.Mean()
	c := colour.RGB{a[0], a[1], a[2]}
	if m.im.c == 1 {
		c = colour.Grey(a[0])
	}
	return m.scaled(c)
}

// RGB returns the three channels at uv. footprint is the width of the sample in uv units, >= 0; the look-up is
// bilinear within a level and linear between levels. A picture of one channel gives a grey; one of two gives
// them and a third that is 0.
func (m *Map) RGB(uv geom.UV, footprint float64) colour.RGB {
	if !m.Varies() {
		return m.c
	}
	r, g, b := m.read(uv, footprint, true)
	return m.scaled(colour.RGB{r, g, b})
}

// read returns what the picture holds at uv, of channel 0 alone where rgb is not set.
func (m *Map) read(uv geom.UV, footprint float64, rgb bool) (r, g, b float64) {
	im, u, v := m.place(uv)
	k, f := im.lod(footprint)
	r, g, b = im.bilinear(k, u, v, m.wrap, rgb)
	if f > 0 {
		r1, g1, b1 := im.bilinear(k+1, u, v, m.wrap, rgb)
		r, g, b = r+f*(r1-r), g+f*(g1-g), b+f*(b1-b)
	}
	return r, g, b
}

// scaled brings what a picture holds to the working primaries, then to the map's range.
func (m *Map) scaled(c colour.RGB) colour.RGB {
	if m.turn != nil {
		c = m.turn.Apply(c)
	}
	c = colour.RGB{m.gain*c[0] + m.offset, m.gain*c[1] + m.offset, m.gain*c[2] + m.offset}
	if m.kept {
		c = clamped(c, m.lo, m.hi)
	}
	return c
}

// Turned returns the colour map m whose picture's linear colours are taken through a matrix at each look-up, before gain
// and offset; a linear map of colours and the filter over texels commute. A constant stays as it is.
func (m Map) Turned(by *colour.Matrix) Map {
	m.turn = by
	return m
}

// Normal returns the unit tangent-space normal at uv of a normal map, with green up; footprint as for RGB. Texels hold
// 0 to 1 for -1 to 1. The third component of a picture of two channels follows from them.
func (m *Map) Normal(uv geom.UV, footprint float64) geom.Vec {
	c := m.RGB(uv, footprint)
	n := geom.Vec{X: 2*c[0] - 1, Y: 2*c[1] - 1, Z: 2*c[2] - 1}
	if m.Varies() && m.im.c == 2 {
		n.Z = math.Sqrt(max(0, 1-n.X*n.X-n.Y*n.Y))
	}
	if m.down {
		n.Y = -n.Y
	}
	return n.Mul(1 / max(1e-9, n.Len()))
}

// GreenDown returns the normal map m whose green points down in the picture.
func (m Map) GreenDown() Map {
	m.down = !m.down
	return m
}

// Scalar returns the first channel at uv; footprint as for RGB.
func (m *Map) Scalar(uv geom.UV, footprint float64) float64 {
	if !m.Varies() {
		return m.c[0]
	}
	r, _, _ := m.read(uv, footprint, false)
	return m.gain*r + m.offset
}

// Grad returns the derivative of Scalar by u and by v at uv, per uv unit; footprint as for RGB. It is continuous:
// it belongs to the smooth surface through the texels, of which Scalar is the bilinear form. A constant gives 0, 0.
func (m *Map) Grad(uv geom.UV, footprint float64) (du, dv float64) {
	if !m.Varies() {
		return 0, 0
	}
	im, u, v := m.place(uv)
	k, f := im.lod(footprint)
	du, dv = im.gradient(k, u, v, m.wrap)
	if f > 0 {
		du1, dv1 := im.gradient(k+1, u, v, m.wrap)
		du, dv = du+f*(du1-du), dv+f*(dv1-dv)
	}
	du, dv = du*m.gain, dv*m.gain
	switch m.wrap {
	case Clamp:
		if uv.U < 0 || uv.U > 1 {
			du = 0
		}
		if uv.V < 0 || uv.V > 1 {
			dv = 0
		}
	case Mirror:
		if turned(uv.U) {
			du = -du
		}
		if turned(uv.V) {
			dv = -dv
		}
	}
	return du, dv
}

// fold brings a coordinate into [0, 1]; what is not finite becomes 0.
func fold(u float64, wrap Wrap) float64 {
	switch wrap {
	case Repeat:
		u -= math.Floor(u)
	case Clamp:
		u = min(max(u, 0), 1)
	case Mirror:
		u -= 2 * math.Floor(u/2)
		if u > 1 {
			u = 2 - u
		}
	}
	if !(u >= 0 && u <= 1) {
		return 0
	}
	return u
}

// turned reports whether a mirrored picture is turned over at u.
func turned(u float64) bool { return u-2*math.Floor(u/2) > 1 }
