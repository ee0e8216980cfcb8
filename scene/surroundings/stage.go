package surroundings

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// paint says how a point p of normal n toward the eye looks.
type paintOf func(p, n geom.Vec) colour.RGB

// thing is a box along the axes, or the ball that fits into it.
type thing struct {
	mid, half geom.Vec
	ball      bool
	look      paintOf
	toward    geom.Vec // of a cone from the eye that holds it
	cos       float64
}

// stage is what stands in a place.
type stage struct {
	things []thing
	behind place // walls, or sky and ground
}

func v(x, y, z float64) geom.Vec { return geom.Vec{X: x, Y: y, Z: z} }

// put adds a box or ball about mid that reaches half of size to either side.
func (s *stage) put(ball bool, mid, size geom.Vec, look paintOf) {
	t := thing{mid: mid, half: size.Mul(0.5), ball: ball, look: look, toward: mid.Unit(), cos: -1}
	if r := t.half.Len() / mid.Len(); r < 1 {
		t.cos = math.Sqrt(1 - r*r)
	}
	s.things = append(s.things, t)
}

func (s *stage) box(mid, size geom.Vec, look paintOf)  { s.put(false, mid, size, look) }
func (s *stage) ball(mid, size geom.Vec, look paintOf) { s.put(true, mid, size, look) }

// see returns what is nearest in the unit direction d.
func (s *stage) see(d geom.Vec) colour.RGB {
	near := math.Inf(1)
	var best *thing
	var normal geom.Vec
	for i := range s.things {
		t := &s.things[i]
		if d.Dot(t.toward) < t.cos {
			continue
		}
		if at, n, ok := t.meet(d); ok && at < near {
			near, best, normal = at, t, n
		}
	}
	if best == nil {
		return s.behind(d)
	}
	return best.look(d.Mul(near), normal)
}

// meet returns where the ray from the eye meets the thing from outside.
func (t *thing) meet(d geom.Vec) (at float64, n geom.Vec, ok bool) {
	if t.ball {
		q := v(d.X/t.half.X, d.Y/t.half.Y, d.Z/t.half.Z)
		o := v(t.mid.X/t.half.X, t.mid.Y/t.half.Y, t.mid.Z/t.half.Z)
		a, b, c := q.Len2(), q.Dot(o), o.Len2()-1
		disc := b*b - a*c
		if disc <= 0 || b <= 0 {
			return 0, n, false
		}
		at = (b - math.Sqrt(disc)) / a
		p := q.Mul(at).Sub(o)
		return at, v(p.X/t.half.X, p.Y/t.half.Y, p.Z/t.half.Z).Unit(), true
	}
	lo, hi := 0.0, math.Inf(1)
	axis := func(d, m, h float64, e geom.Vec) {
		if d == 0 {
			if math.Abs(m) > h {
				hi = -1
			}
			return
		}
		a, b := (m-h)/d, (m+h)/d
		if a > b {
			a, b = b, a
		}
		if a > lo {
			lo, n = a, e.Mul(-math.Copysign(1, d))
		}
		hi = min(hi, b)
	}
	axis(d.X, t.mid.X, t.half.X, v(1, 0, 0))
	axis(d.Y, t.mid.Y, t.half.Y, v(0, 1, 0))
	axis(d.Z, t.mid.Z, t.half.Z, v(0, 0, 1))
	return lo, n, lo < hi && lo > 0
}

// room returns where the ray from the eye leaves the box from lo to hi, with the wall's normal.
func room(d, lo, hi geom.Vec) (p, n geom.Vec) {
	at := math.Inf(1)
	axis := func(d, lo, hi float64, e geom.Vec) {
		if d == 0 {
			return
		}
		b := hi
		if d < 0 {
			b = lo
		}
		if b/d < at {
			at, n = b/d, e.Mul(-math.Copysign(1, d))
		}
	}
	axis(d.X, lo.X, hi.X, v(1, 0, 0))
	axis(d.Y, lo.Y, hi.Y, v(0, 1, 0))
	axis(d.Z, lo.Z, hi.Z, v(0, 0, 1))
	return d.Mul(at), n
}

// lamp is an opening of the place that light comes in by: a flat face of an area in mm^2 that faces along n, of radiance 1.
type lamp struct {
	at, n    geom.Vec
	area     float64
	strength float64
}

// on returns the irradiance of the lamps over pi on a surface, their faces taken as points, nothing in the way.
func on(lamps []lamp, p, n geom.Vec) (e float64) {
	for i := range lamps {
		l := &lamps[i]
		r := l.at.Sub(p)
		r2 := r.Len2() + l.area/math.Pi
		e += l.strength * l.area * max(0, r.Dot(n)) * max(0, -r.Dot(l.n)) / (r2 * r2 * math.Pi)
	}
	return e
}

// matte is a surface of an even colour under lamps and an even light ambient.
func matte(lamps []lamp, ambient float64, albedo colour.RGB) paintOf {
	return func(p, n geom.Vec) colour.RGB {
		return albedo.Scale(ambient*(0.75+0.25*n.Y) + on(lamps, p, n))
	}
}

// shines is a surface of an even radiance.
func shines(l colour.RGB) paintOf { return func(geom.Vec, geom.Vec) colour.RGB { return l } }

// planks returns what boards of the given width do to a colour at x across and y along them: each its own tone, dark gaps, grain.
func planks(seed uint64, x, y, width float64) float64 {
	i := math.Floor(x / width)
	f := x/width - i
	t := 1 + 0.25*noise.Lattice(seed, int64(i)) + 0.12*noise.Space(seed, x/12, y/260, 0.5)
	if gap := min(f, 1-f) * width; gap < 5 {
		t *= 0.3
	}
	return t
}

// soft is a smooth step from 0 at a to 1 at b.
func soft(a, b, x float64) float64 {
	t := min(1, max(0, (x-a)/(b-a)))
	return t * t * (3 - 2*t)
}

// grid reports whether a point lies on the bars of a window from (x0, y0) to (x1, y1) of nx by ny panes.
func grid(x, y, x0, y0, x1, y1 float64, nx, ny int, bar float64) bool {
	along := func(x, size float64, n int) bool {
		pitch := (size + bar) / float64(n)
		i := math.Floor(x / pitch)
		return x-i*pitch > pitch-bar && int(i) < n-1
	}
	return along(x-x0, x1-x0, nx) || along(y-y0, y1-y0, ny)
}

// within reports whether a point lies in a rectangle.
func within(x, y, x0, y0, x1, y1 float64) bool { return x >= x0 && x <= x1 && y >= y0 && y <= y1 }

// outside is the sky above the horizon of an opening, from 1 at elevation top (a tangent) to 0.6 at the horizon, and trees below.
func outside(seed uint64, d geom.Vec, top float64) colour.RGB {
	t := d.Y / math.Hypot(d.X, d.Z)
	az := math.Atan2(d.X, d.Z)
	line := 0.02 + 0.05*noise.Octaves(seed, 9*az, 0.5, 0.5, 5)
	if t < line {
		return colour.RGB{0.8, 1, 0.7}.Scale(0.07 + 0.05*noise.Octaves(seed+1, 60*az, 60*t, 0.5, 3))
	}
	c := colour.RGB{1.02, 1, 0.97}
	return colour.Lerp(c.Scale(0.6), colour.RGB{0.95, 1, 1.06}, soft(0, top, t)).Scale(1 + 0.08*noise.Octaves(seed+2, 5*az, 9*t, 0.5, 3))
}

// photographer stands where the camera of a portrait does, and the camera before the face.
func (s *stage) photographer(azimuth float64, lamps []lamp) {
	sin, cos := math.Sincos(azimuth * math.Pi / 180)
	at := func(across, up, far float64) geom.Vec { return v(far*sin+across*cos, up, far*cos-across*sin) }
	coat := matte(lamps, 0.05, colour.RGB{0.16, 0.16, 0.18})
	s.ball(at(0, -560, 1120), v(520, 950, 420), coat)
	s.ball(at(0, 20, 1120), v(200, 270, 220), matte(lamps, 0.1, colour.RGB{0.4, 0.28, 0.22}))
	s.ball(at(0, 95, 1130), v(215, 170, 235), coat)
	s.box(at(0, -20, 985), v(150, 105, 90), shines(colour.Grey(0.004)))
	s.ball(at(0, -20, 940), v(95, 95, 95), shines(colour.Grey(0.008)))
	s.box(at(-120, -300, 1000), v(70, 420, 70), coat)
	s.box(at(120, -300, 1000), v(70, 420, 70), coat)
}
