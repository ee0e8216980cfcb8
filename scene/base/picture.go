package base

import (
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Picture draws a set's wires, n pixels a panel: both shells from the front and from aside, and their texture planes below. It returns
// sRGB bytes of a picture 4 panels wide and 2 high.
func (s *Set) Picture(n int) (w, h int, pix []uint8) {
	w, h = 4*n, 2*n
	c := &wires{w: w, h: h, ink: make([][3]float32, w*h)}
	paper := [3]float32{0.035, 0.04, 0.045}
	for i := range c.ink {
		c.ink[i] = paper
	}
	side := geom.RotateY(geom.Radians(-62))
	half := 0.0
	for _, p := range s.Outer.P {
		half = max(half, p.Len())
	}
	k := 0.46 * float64(n) / half
	for i, v := range []struct {
		turn   geom.Affine
		meshes []*Mesh
	}{{geom.Identity(), []*Mesh{s.Outer, s.Shade, s.Tear}}, {side, []*Mesh{s.Outer, s.Shade, s.Tear}}, {geom.Identity(), []*Mesh{s.Inner}}, {side, []*Mesh{s.Inner}}} {
		at := func(p geom.Vec) [2]float64 {
			q := v.turn.Vector(p)
			return [2]float64{(float64(i)+0.5)*float64(n) + k*q.X, 0.5*float64(n) - k*q.Y}
		}
		for _, m := range v.meshes {
			m.draw(c, at, func(q [4]Corner) bool {
				d := m.P[q[2].P].Sub(m.P[q[0].P]).Cross(m.P[q[3].P].Sub(m.P[q[1].P]))
				return v.turn.Vector(d).Z > 0
			})
		}
	}
	for i, m := range []*Mesh{s.Outer, s.Inner, s.Tear, s.Shade} {
		at := func(t geom.UV) [2]float64 {
			return [2]float64{(float64(i) + 0.02 + 0.96*t.U) * float64(n), (1.02 + 0.96*t.V) * float64(n)}
		}
		m.drawUV(c, at)
	}
	return w, h, c.bytes()
}

// Colours of the wires, linear: faces, named loops, strips.
var (
	faceInk  = [3]float32{0.30, 0.36, 0.40}
	loopInk  = [3]float32{0.95, 0.45, 0.08}
	tearInk  = [3]float32{0.10, 0.75, 0.85}
	shadeInk = [3]float32{0.75, 0.22, 0.30}
)

func (m *Mesh) wireInk() [3]float32 {
	switch m.Name {
	case "tear_strip":
		return tearInk
	case "occlusion_strip":
		return shadeInk
	}
	return faceInk
}

func (m *Mesh) draw(c *wires, at func(geom.Vec) [2]float64, faces func([4]Corner) bool) {
	near := map[uint32]bool{}
	for _, q := range m.Quads {
		if !faces(q) {
			continue
		}
		for k := range 4 {
			near[q[k].P] = true
			c.line(at(m.P[q[k].P]), at(m.P[q[(k+1)%4].P]), 0.55, m.wireInk())
		}
	}
	for _, l := range m.Loops {
		for j, p := range l.Places {
			o := l.Places[(j+1)%len(l.Places)]
			if near[p] && near[o] {
				c.line(at(m.P[p]), at(m.P[o]), 1.1, loopInk)
			}
		}
	}
}

func (m *Mesh) drawUV(c *wires, at func(geom.UV) [2]float64) {
	loop := map[[2]uint32]bool{}
	for _, l := range m.Loops {
		for j, p := range l.Places {
			o := l.Places[(j+1)%len(l.Places)]
			loop[[2]uint32{min(p, o), max(p, o)}] = true
		}
	}
	for _, pass := range []bool{false, true} {
		for _, q := range m.Quads {
			for k := range 4 {
				a, b := q[k], q[(k+1)%4]
				if l := loop[[2]uint32{min(a.P, b.P), max(a.P, b.P)}]; l == pass {
					ink, wide := m.wireInk(), 0.5
					if l {
						ink, wide = loopInk, 1
					}
					c.line(at(m.UV[a.UV]), at(m.UV[b.UV]), wide, ink)
				}
			}
		}
	}
}

// wires is a picture of lines, linear.
type wires struct {
	w, h int
	ink  [][3]float32
}

// line draws from a to b in pixels, wide on each side, by its cover of the pixels.
func (c *wires) line(a, b [2]float64, wide float64, ink [3]float32) {
	ex, ey := b[0]-a[0], b[1]-a[1]
	inv := ex*ex + ey*ey
	if inv > 0 {
		inv = 1 / inv
	}
	for y := max(0, int(min(a[1], b[1])-wide-1)); y <= min(c.h-1, int(max(a[1], b[1])+wide+1)); y++ {
		for x := max(0, int(min(a[0], b[0])-wide-1)); x <= min(c.w-1, int(max(a[0], b[0])+wide+1)); x++ {
			px, py := float64(x)+0.5-a[0], float64(y)+0.5-a[1]
			t := min(1, max(0, (px*ex+py*ey)*inv))
			cover := float32(min(1, max(0, wide+0.5-math.Hypot(px-t*ex, py-t*ey))))
			if cover == 0 {
				continue
			}
			p := &c.ink[y*c.w+x]
			for k := range p {
				p[k] += cover * (ink[k] - p[k])
			}
		}
	}
}

// bytes are the pixels by the transfer function of IEC 61966-2-1.
func (c *wires) bytes() []uint8 {
	out := make([]uint8, 3*c.w*c.h)
	parallel.Runs(c.h, 32, func(y0, y1 int) {
		for i := y0 * c.w; i < y1*c.w; i++ {
			for k, v := range c.ink[i] {
				x := 12.92 * float64(v)
				if v > 0.0031308 {
					x = 1.055*math.Pow(float64(v), 1/2.4) - 0.055
				}
				out[3*i+k] = uint8(255*min(1, x) + 0.5)
			}
		}
	})
	return slices.Clip(out)
}
