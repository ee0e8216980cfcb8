package live

import (
	"math"
	"sync"

	"catchlight/render"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// sight looks at one eye of a prepared scene through its camera. It is for one goroutine.
type sight struct {
	p     *render.Prepared
	s     *frozen.Scene
	sc    *accel.Scratch
	eye   int
	e     *frozen.Eye
	outer *frozen.Object
	w, h  float64 // of the film, pixels
	rings *rings
}

// rings are the outlines of an eye in its own frame.
type rings struct {
	limbus, pupil []geom.Vec
	centre        geom.Vec // of the pupil, or of the axis where there is none
}

// ringsOf keeps the outlines of the last eyes, since finding a pupil takes a look through the whole mesh.
type ringsOf struct {
	mu   sync.Mutex
	of   map[[2]*mesh.Mesh]*rings
	last [][2]*mesh.Mesh
}

func (k *ringsOf) get(p *render.Prepared, eye int) *rings {
	e := &p.Scene.Eyes[eye]
	outer, inner := &p.Scene.Objects[e.Outer], &p.Scene.Objects[e.Inner]
	id := [2]*mesh.Mesh{outer.Mesh, inner.Mesh}
	k.mu.Lock()
	defer k.mu.Unlock()
	if r := k.of[id]; r != nil && len(r.limbus) > 0 {
		return r
	}
	r := &rings{}
	m, err := p.Marks(eye)
	if err != nil {
		return r
	}
	for _, v := range m.Limbus {
		r.limbus = append(r.limbus, outer.ToLocal.Point(v))
	}
	for _, v := range m.Pupil {
		q := inner.ToLocal.Point(v)
		r.pupil = append(r.pupil, q)
		r.centre = r.centre.Add(q.Mul(1 / float64(len(m.Pupil))))
	}
	if k.of == nil {
		k.of = map[[2]*mesh.Mesh]*rings{}
	}
	k.of[id] = r
	if k.last = append(k.last, id); len(k.last) > 4 {
		delete(k.of, k.last[0])
		k.last = k.last[1:]
	}
	return r
}

// known reports whether the outlines of a scene's eyes are there already.
func (k *ringsOf) known(p *render.Prepared) bool {
	eye := front(p, 0.5, 0.5)
	if eye < 0 {
		return true
	}
	e := &p.Scene.Eyes[eye]
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.of[[2]*mesh.Mesh{p.Scene.Objects[e.Outer].Mesh, p.Scene.Objects[e.Inner].Mesh}] != nil
}

// look returns a sight of an eye; nil where the scene has none.
func (k *ringsOf) look(p *render.Prepared, eye int) *sight {
	if eye < 0 || eye >= len(p.Scene.Eyes) {
		return nil
	}
	pic := &p.Description.Picture
	v := &sight{p: p, s: p.Scene, sc: accel.NewScratch(), eye: eye, e: &p.Scene.Eyes[eye], w: float64(pic.Width), h: float64(pic.Height)}
	v.outer = &v.s.Objects[v.e.Outer]
	v.rings = k.get(p, eye)
	return v
}

// front returns the eye that stands nearest to a point of the film, 0 to 1.
func front(p *render.Prepared, x, y float64) int {
	best, least := -1, math.Inf(1)
	w, h := float64(p.Description.Picture.Width), float64(p.Description.Picture.Height)
	for i := range p.Scene.Eyes {
		px, py, _, ok := p.Scene.Camera.Project(p.Scene.Objects[p.Scene.Eyes[i].Outer].ToWorld.Point(geom.Vec{}))
		if d := math.Hypot(px-x*w, py-y*h); ok && d < least {
			best, least = i, d
		}
	}
	return best
}

// ray is the camera's ray through the middle of the lens.
func (v *sight) ray(px, py float64) geom.Ray {
	o, d, _ := v.s.Camera.Ray(px, py, 0.5, 0.5)
	return geom.Ray{O: o, D: d}
}

// meet is where a ray first meets the outer shell, with nothing else in the way.
func (v *sight) meet(r geom.Ray) (frozen.Surface, bool) {
	var h frozen.Hit
	if !v.outer.Closest(v.sc, r, 0, math.Inf(1), &h) {
		return frozen.Surface{}, false
	}
	h.Object, h.Light = v.e.Outer, -1
	sf := v.s.Surface(r, &h)
	return sf, sf.Ng.Dot(r.D) < 0
}

// share is a film position in shares of the film.
func (v *sight) share(px, py float64) [2]float64 { return [2]float64{px / v.w, py / v.h} }

// onto returns the film position that sees a point of the world, with nothing bent; ok is false behind the camera.
func (v *sight) onto(q geom.Vec) (px, py float64, ok bool) {
	px, py, _, ok = v.s.Camera.Project(q)
	return px, py, ok
}

// pixel is how many mm a pixel covers at a point of the world.
func (v *sight) pixel(q geom.Vec) float64 {
	_, _, depth, _ := v.s.Camera.Project(q)
	width, spread := v.s.Camera.PixelSpread()
	return width + depth*spread
}

// solve finds a film position where two smooth numbers are 0, from a first guess, by Newton's method with differences of a step of
// pixels. ok is false where it does not come within tolerance.
func solve(px, py, step, tolerance float64, f func(px, py float64) (a, b float64, ok bool)) (float64, float64, bool) {
	a, b, ok := f(px, py)
	for range 30 {
		if !ok {
			return px, py, false
		}
		if math.Hypot(a, b) < tolerance {
			return px, py, true
		}
		ax, bx, okX := f(px+step, py)
		ay, by, okY := f(px, py+step)
		if !okX || !okY {
			return px, py, false
		}
		ax, bx, ay, by = (ax-a)/step, (bx-b)/step, (ay-a)/step, (by-b)/step
		det := ax*by - ay*bx
		if det == 0 {
			return px, py, false
		}
		dx, dy := -(a*by-ay*b)/det, -(ax*b-a*bx)/det
		// Half of the way again and again, until it gets better.
		for k := 1.0; ; k /= 2 {
			if k < 1e-3 {
				return px, py, math.Hypot(a, b) < 100*tolerance
			}
			na, nb, nok := f(px+k*dx, py+k*dy)
			if nok && math.Hypot(na, nb) < math.Hypot(a, b) {
				px, py, a, b = px+k*dx, py+k*dy, na, nb
				break
			}
		}
	}
	return px, py, math.Hypot(a, b) < 100*tolerance
}

// through returns the film position that sees a point behind the cornea, bent at the outer shell.
func (v *sight) through(q geom.Vec) (px, py float64, ok bool) {
	px, py, ok = v.onto(q)
	if !ok {
		return px, py, false
	}
	if bends := v.s.Settings.Refraction && v.e.Index != 1; !bends {
		return px, py, true
	}
	z := v.outer.ToLocal.Point(q)
	mm := v.pixel(q)
	return solve(px, py, 0.02/mm, 1e-5, func(px, py float64) (float64, float64, bool) {
		r := v.ray(px, py)
		sf, ok := v.meet(r)
		if !ok {
			return 0, 0, false
		}
		d, ok := geom.Refract(r.D.Neg(), sf.Ns, v.e.Index)
		if !ok {
			return 0, 0, false
		}
		o, dl := v.outer.ToLocal.Point(sf.P), v.outer.ToLocal.Vector(d)
		if !(dl.Z < 0) {
			return 0, 0, false
		}
		at := o.Mad((z.Z-o.Z)/dl.Z, dl)
		return at.X - z.X, at.Y - z.Y, true
	})
}

// clock says where a point of the world lies about the pupil's centre, across the eye's axis: hours in (0, 12], and mm.
func (v *sight) clock(q geom.Vec) (hours, mm float64) {
	d := v.outer.ToLocal.Point(q).Sub(v.rings.centre)
	hours = math.Mod(math.Atan2(d.X, d.Y)*6/math.Pi+12, 12)
	if hours == 0 {
		hours = 12
	}
	return hours, math.Hypot(d.X, d.Y) * v.outer.Scale
}

// at is the point of the outer shell at a clock position and so many mm from the pupil's centre.
func (v *sight) at(hours, mm float64) (frozen.Surface, bool) {
	sin, cos := math.Sincos(hours * math.Pi / 6)
	c := v.rings.centre.Add(geom.Vec{X: sin, Y: cos}.Mul(mm / v.outer.Scale))
	far := 2 * v.outer.Mesh.Bounds().Size().Len()
	down := v.outer.ToWorld.Vector(geom.Vec{Z: -1}).Unit()
	return v.meet(geom.Ray{O: v.outer.ToWorld.Point(geom.Vec{X: c.X, Y: c.Y, Z: far}), D: down})
}

// cornea reports whether a point of the outer shell, in the world, is of the cornea or its limbus.
func (v *sight) cornea(q geom.Vec) bool {
	l := v.outer.ToLocal.Point(q)
	return l.Z > 0 && math.Hypot(l.X, l.Y) <= v.e.LimbusRadius+v.e.LimbusWidth/2
}
