package live

import (
	"math"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// glint is where a light is, for the mirror law: its middle, and pairs of opposite points of its outline.
type glint struct {
	distant bool // the points are directions
	middle  geom.Vec
	across  [][2]geom.Vec
}

// toward is the unit direction from a point of the world to a point of the light.
func (g *glint) toward(from, point geom.Vec) geom.Vec {
	if g.distant {
		return point.Unit()
	}
	return point.Sub(from).Unit()
}

// glintOf is the outline of a light; ok is false for skies.
func glintOf(l *light.Light) (g glint, ok bool) {
	f, ok := l.Form()
	if !ok {
		r, ok := l.Rim(geom.Vec{})
		if !ok {
			return g, false
		}
		g.distant, g.middle = r.Distant, r.Points[0]
		for k := 1; k <= 4 && k+4 < len(r.Points); k++ {
			g.across = append(g.across, [2]geom.Vec{r.Points[k], r.Points[k+4]})
		}
		return g, true
	}
	return glintOfForm(&f), true
}

func glintOfForm(f *light.Form) (g glint) {
	g.middle = f.Centre
	s, t := f.Frame.S, f.Frame.T
	switch f.Kind {
	case light.Rectangle:
		s, t = s.Mul(f.W/2), t.Mul(f.H/2)
	case light.Distant:
		g.distant, g.middle = true, f.Frame.N
		b := geom.NewFrame(f.Frame.N)
		k := math.Tan(min(1.5, f.Radius))
		s, t = b.S.Mul(k), b.T.Mul(k)
	case light.Sphere:
		b := geom.NewFrame(f.Centre.Unit()) // eyes are about the origin, and how it is turned matters little
		s, t = b.S.Mul(f.Radius), b.T.Mul(f.Radius)
	default:
		s, t = s.Mul(f.Radius), t.Mul(f.Radius)
	}
	for _, d := range []geom.Vec{s, t} {
		g.across = append(g.across, [2]geom.Vec{g.middle.Add(d), g.middle.Sub(d)})
	}
	return g
}

// mirrored finds the film position where the outer shell mirrors a point of a light to the camera: there the normal halves the
// angle between the two (the mirror law). It starts at a guess.
func (v *sight) mirrored(g *glint, point geom.Vec, px, py float64) (float64, float64, bool) {
	mm := v.pixel(v.outer.ToWorld.Point(geom.Vec{Z: v.e.LimbusRadius}))
	return solve(px, py, 0.02/mm, 1e-6, func(px, py float64) (float64, float64, bool) {
		r := v.ray(px, py)
		sf, ok := v.meet(r)
		if !ok {
			return 0, 0, false
		}
		want := g.toward(sf.P, point)
		got := geom.Reflect(r.D.Neg(), v.normal(&sf, r.D))
		f := geom.NewFrame(want)
		if got.Dot(want) < 0 {
			return 2, 2, true // far off
		}
		return got.Dot(f.S), got.Dot(f.T), true
	})
}

// normal is what mirrors at a point of the outer shell: that of its surface and relief. The fine bumps of normal maps
// scatter a catchlight about that place.
func (v *sight) normal(sf *frozen.Surface, d geom.Vec) geom.Vec {
	if sf.Ns.Dot(d) < 0 {
		return sf.Ns
	}
	return sf.Ng
}

// guess is the film position of a coarse lattice over the cornea whose mirrored ray comes nearest to a point of a light.
func (v *sight) guess(g *glint) (px, py float64, ok bool) {
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, q := range v.rings.limbus {
		if x, y, ok := v.onto(v.outer.ToWorld.Point(q)); ok {
			lo[0], lo[1], hi[0], hi[1] = min(lo[0], x), min(lo[1], y), max(hi[0], x), max(hi[1], y)
		}
	}
	const side = 24
	best := -1.0
	for k := range side * side {
		x := lo[0] + (hi[0]-lo[0])*(1.3*(float64(k%side)+0.5)/side-0.15)
		y := lo[1] + (hi[1]-lo[1])*(1.3*(float64(k/side)+0.5)/side-0.15)
		r := v.ray(x, y)
		sf, met := v.meet(r)
		if !met {
			continue
		}
		if c := geom.Reflect(r.D.Neg(), v.normal(&sf, r.D)).Dot(g.toward(sf.P, g.middle)); c > best {
			px, py, best, ok = x, y, c, true
		}
	}
	return px, py, ok
}

// catchlight finds a light's mirror image; ok is false where no point of the shell that the camera sees mirrors it.
func (v *sight) catchlight(name string, g *glint) (c Catchlight, ok bool) {
	px, py, ok := v.guess(g)
	if !ok {
		return c, false
	}
	if px, py, ok = v.mirrored(g, g.middle, px, py); !ok {
		return c, false
	}
	sf, ok := v.meet(v.ray(px, py))
	if !ok {
		return c, false
	}
	c = Catchlight{Light: name, Place: v.share(px, py), Seen: v.cornea(sf.P) && v.open(&sf, g)}
	c.Clock, c.Off = v.clock(sf.P)
	c.Size = v.extent(g, px, py)
	return c, true
}

// extent is the larger of the mirror image's extents across the eye's axis, mm.
func (v *sight) extent(g *glint, px, py float64) (most float64) {
	at := func(point geom.Vec) (geom.Vec, bool) {
		x, y, ok := v.mirrored(g, point, px, py)
		if !ok {
			return geom.Vec{}, false
		}
		sf, ok := v.meet(v.ray(x, y))
		return v.outer.ToLocal.Point(sf.P), ok
	}
	for _, p := range g.across {
		a, okA := at(p[0])
		b, okB := at(p[1])
		if okA && okB {
			most = max(most, math.Hypot(a.X-b.X, a.Y-b.Y)*v.outer.Scale)
		}
	}
	return most
}

// open reports whether the camera sees a point of the shell and the point the light's middle.
func (v *sight) open(sf *frozen.Surface, g *glint) bool {
	px, py, ok := v.onto(sf.P)
	if !ok {
		return false
	}
	var h frozen.Hit
	if !v.s.Intersect(v.sc, v.ray(px, py), 0, math.Inf(1), frozen.CameraRays, false, &h) || h.Object != v.e.Outer {
		return false
	}
	d := g.toward(sf.P, g.middle)
	far := math.Inf(1)
	if !g.distant {
		far = g.middle.Sub(sf.P).Len() * (1 - 1e-6)
	}
	return !v.s.Occluded(v.sc, geom.Ray{O: sf.Leave(d), D: d}, 0, far, frozen.ReflectionRays)
}
