package frozen

import (
	"math"

	"catchlight/light"
	"catchlight/material/hair"
	"catchlight/material/medium"
	"catchlight/material/tissue"
	"catchlight/render/accel"
	"catchlight/render/camera"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Mask says which rays meet an object; a ray carries one bit, an object any.
type Mask uint8

// The kinds of rays.
const (
	CameraRays     Mask = 1 << iota // from the camera, also through the cornea
	ShadowRays                      // toward lights, and everything after a scattering event
	ReflectionRays                  // mirrored at an eye that the camera sees
)

// Shape is the geometric kind of an object.
type Shape uint8

// The shapes. All but Mesh and Strands are intersected in closed form in float64.
const (
	Mesh Shape = iota
	Sphere
	Rectangle
	Disc
	Box
	Slab
	Strands // hairs, in Hair
)

// Kind is how an object's surface answers light.
type Kind uint8

// The surface kinds. Outer and Inner are an eye's shells.
const (
	Diffuse Kind = iota
	Conductor
	Dielectric
	Matched // no interface: only what is inside counts
	Outer
	Inner
	Soft     // a scattering object under a thin coat; see Flesh
	TearLine // the thin strip of tears along a lid: it mirrors, and what is not mirrored goes straight on
	Hair     // strands alone: see material/hair
)

// Material is an object's surface, and the volume inside it.
type Material struct {
	Kind      Kind
	Colour    texture.Map // diffuse reflectance
	Eta, K    colour.RGB  // conductor
	Mirror    bool        // conductor that reflects all
	Index     float64     // dielectric
	Alpha     float64     // GGX alpha; 0 is smooth
	Rough     []RoughSide // rough dielectric: for every step of the index that it may make
	HasMedium bool
	Medium    medium.Medium
	Flesh     *Flesh
	Fibre     *hair.Look // of hair
}

// Flesh is a homogeneous scattering object with a colour painted on top. The map is applied as a filter of
// sqrt(colour/brightest) on entry and again on exit. That is reciprocal, and gives the map's colour where the map is even.
// Extinction is in 1/mm of the world.
type Flesh struct {
	Sigma colour.RGB // extinction
	Alpha colour.RGB // single-scattering albedo
	Top   colour.RGB // the map's brightest, which Alpha gives
	Guide Guide
	Coat  tissue.Coat
	Rough *RoughCoat // nil: the coat is smooth, or Gloss tells
	Gloss *Gloss     // of skin: two lobes and a fine relief; nil: one lobe, even
	Clear bool       // no coat: its index is 1
	Solid bool       // plain diffuse under its coat, as with scattering switched off
}

// Mirrored returns the share of light from outside at cosine c that the coat mirrors; w is its face there.
func (f *Flesh) Mirrored(w *Face, c float64) float64 {
	switch {
	case f.Gloss != nil:
		return f.Gloss.mirrored(w, c)
	case f.Rough != nil:
		return f.Rough.Mirrored(c)
	}
	return f.Coat.Reflectance(c)
}

// Out returns the coat's factor of light on its way out at cosine c; w is its face there.
func (f *Flesh) Out(w *Face, c float64) float64 {
	switch {
	case f.Gloss != nil:
		return (1 - f.Gloss.mirrored(w, c)) / (1 - f.Gloss.diffuse(w))
	case f.Rough != nil:
		return f.Rough.Out(c)
	}
	return f.Coat.Out(c)
}

// Paint returns the share of light that the paint lets pass on one crossing where the map shows c.
func (f *Flesh) Paint(c colour.RGB) (q colour.RGB) {
	for k := range q {
		if f.Top[k] > 0 {
			q[k] = math.Sqrt(max(0, min(1, c[k]/f.Top[k])))
		}
	}
	return q
}

// Object is one instance of a shape.
type Object struct {
	Name        string
	Shape       Shape
	ToWorld     geom.Affine // a similarity
	ToLocal     geom.Affine
	Scale       float64 // world mm per local mm
	Bounds      geom.Box
	Mask        Mask
	Size        geom.Vec // half extents of boxes and rectangles; X is the radius of spheres and discs; Z the thickness of slabs
	Mesh        *mesh.Mesh
	BVH         *accel.BVH
	Hair        *accel.Curves  // of Strands, and of those that follow it
	First, End  uint32         // which hairs of Hair are its own; one hierarchy serves several kinds, and the first of them answers rays for all
	Tangents    *mesh.Tangents // of Mesh; nil without a normal map
	Bump        texture.Map    // normal map of a plain mesh; not valid without one
	BumpGain    float64        // of its slopes
	Depth       Depth          // of Mesh, where it is walked in; nil: walks measure for themselves
	Closed      bool           // encloses a volume
	Material    Material
	Eye         int32        // index into Scene.Eyes for Outer and Inner, else -1
	Lit         *Lit         // how light falls on a scattering object; nil: from all around
	Apart       bool         // of flesh: whoever made it keeps it out of all eyes
	Before      []int32      // of flesh: objects that it may reach into and that take precedence over it: eyes' outer shells, and flesh
	Behind      []int32      // of flesh: flesh that it takes precedence over
	OpacityMask *OpacityMask // of a mesh with texture coordinates: parts that are not there; nil: all is
}

// OpacityMask is a mask over a mesh: rays pass where its value is below Threshold, or, where it blends, the share of them that it
// does not stop. Each ray then draws for itself whether it passes, so every mean is that of light weakened by the mask, on the
// way from the camera and toward lights alike.
type OpacityMask struct {
	Map       texture.Map
	Threshold float64
	Blend     bool
}

// At returns the mask's value at barycentrics u, v of a triangle.
func (c *OpacityMask) At(m *mesh.Mesh, prim uint32, u, v float64) float64 {
	if !c.Map.Varies() {
		return c.Map.Scalar(geom.UV{}, 0)
	}
	t := m.Tri[prim]
	p, q, r := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
	w := 1 - u - v
	return c.Map.Scalar(geom.UV{U: w*p.U + u*q.U + v*r.U, V: w*p.V + u*q.V + v*r.V}, 0)
}

// passes says whether a ray goes on through the mesh at a hit.
func (c *OpacityMask) passes(sc *accel.Scratch, m *mesh.Mesh, h *accel.Hit) bool {
	a := c.At(m, h.Prim, h.U, h.V)
	if c.Blend && sc.Coin != 0 {
		return a < 1 && sc.Toss() >= a
	}
	return a < c.Threshold
}

// throughCutouts follows a ray through what is cut out of a mesh to the first hit that is there. The kernel knows
// nothing of masks: it gives the next candidate behind the last one.
func (b *Object) throughCutouts(sc *accel.Scratch, o, d geom.Vec, tmin, tmax float64, h *accel.Hit) bool {
	last, step := uint32(math.MaxUint32), 1e-7
	for b.BVH.Closest(sc, o, d, tmin, tmax, h) {
		again := h.Prim == last
		if !again && !b.OpacityMask.passes(sc, b.Mesh, h) {
			return true
		}
		// Behind this hit. Distances are in single precision, so the same triangle may come once more: then a longer step.
		if last = h.Prim; again {
			step *= 2
		} else {
			step = 1e-7
		}
		tmin = h.T + step*math.Max(math.Abs(h.T), b.Bounds.Size().MaxAbs()/math.Max(b.Scale, 1e-12)/d.MaxAbs())
		if tmin >= tmax {
			return false
		}
	}
	return false
}

// Scene is a prepared scene. Nothing writes to it after it is made.
type Scene struct {
	Objects         []Object
	Eyes            []Eye
	Lights          []*light.Light
	LightTag        []int     // the light that it counts as on the film: a hot spot as the environment that it was cut from
	LightSides      []int     // first of the six tags of its sides, where an environment is kept apart by them; else -1
	LightSampled    []bool    // vertices are connected to it; an even sky is left to the rays that meet it
	LightSeen       []bool    // seen directly by the camera
	LightPick       []float64 // probability with which a deep vertex chooses each light
	Beams           []*Beams  // by eye, then by light: nil but for small lights
	Camera          *camera.Camera
	Plate           bool     // the camera is an irradiance plate
	PlateNormal     geom.Vec // direction that it faces
	CameraIn        []int32  // closed objects around the camera
	ShowEnvironment bool     // camera rays that meet no object see the distant lights; else they count as uncovered
	Settings        Settings // of the path tracer
}

// SideNames are the sides that light comes from, as seen by a camera straight before an eye, in the order of their tags.
var SideNames = [6]string{"right", "left", "above", "below", "front", "behind"}

// Tag returns what light i counts as on the film where it shines from the direction wi (unit, in the world).
func (s *Scene) Tag(i int, wi geom.Vec) int {
	first := s.LightSides[i]
	if first < 0 {
		return s.LightTag[i]
	}
	return first + side(wi)
}

// side returns the face of a cube about the eye that a direction points to.
func side(d geom.Vec) int {
	x, y, z := math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)
	k, v := 0, d.X
	switch {
	case y > x && y >= z:
		k, v = 2, d.Y
	case z > x:
		k, v = 4, d.Z
	}
	if v < 0 {
		k++
	}
	return k
}

// Settings are the path tracer's switches; see scene.Advanced.
type Settings struct {
	MaxDepth     int
	ExactExit    bool
	Manifold     bool
	Split        bool
	LightSamples bool
	NoRoulette   bool // paths that carry little go on: the slow twin that roulette is checked against
	Guided       bool
	Refraction   bool
	Caustic      bool
	Scattering   bool
	TearFilm     bool
	Shadow       bool
}

// Hit is where a ray meets an object or a light.
type Hit struct {
	T      float64
	Object int32   // index of the object; -1 for a light
	Light  int32   // index of the light; -1 for an object
	Prim   uint32  // triangle or hair
	U, V   float64 // barycentrics; of a hair: place along it, and sine of the place around it
}

// Intersect finds the closest hit in (tmin, tmax) among the objects and finite lights that the mask's rays meet.
func (s *Scene) Intersect(sc *accel.Scratch, r geom.Ray, tmin, tmax float64, mask Mask, lights bool, h *Hit) bool {
	found := false
	h.T, h.Object, h.Light = tmax, -1, -1
	inv := geom.Vec{X: 1 / r.D.X, Y: 1 / r.D.Y, Z: 1 / r.D.Z}
	for i := range s.Objects {
		b := &s.Objects[i]
		if b.Mask&mask == 0 {
			continue
		}
		if _, _, ok := b.Bounds.Hit(r.O, inv, tmin, h.T); !ok {
			continue
		}
		if b.Closest(sc, r, tmin, h.T, h) {
			h.Object, found = int32(i), true
			for b.Shape == Strands && h.Prim >= s.Objects[h.Object].End {
				h.Object++
			}
		}
	}
	if lights {
		for i, l := range s.Lights {
			if !l.Finite() {
				continue
			}
			if t, _, _, ok := l.Intersect(r.O, r.D, tmin, h.T); ok {
				h.T, h.Object, h.Light, found = t, -1, int32(i), true
			}
		}
	}
	return found
}

// Border finds the closest hit in (tmin, tmax) with an object that has no interface and that the mask's rays meet.
func (s *Scene) Border(sc *accel.Scratch, r geom.Ray, tmin, tmax float64, mask Mask, h *Hit) bool {
	found := false
	h.T, h.Object, h.Light = tmax, -1, -1
	for i := range s.Objects {
		b := &s.Objects[i]
		if b.Material.Kind == Matched && b.Mask&mask != 0 && b.Closest(sc, r, tmin, h.T, h) {
			h.Object, found = int32(i), true
		}
	}
	return found
}

// OccludedInside reports whether an object that the mask's rays meet lies in the chamber of eye e, nearer than the outer shell at
// distance far. Flesh and hair that reach into an eye are not there for light inside.
func (s *Scene) OccludedInside(sc *accel.Scratch, e *Eye, r geom.Ray, far float64, mask Mask) bool {
	inv := geom.Vec{X: 1 / r.D.X, Y: 1 / r.D.Y, Z: 1 / r.D.Z}
	for i := range s.Objects {
		b := &s.Objects[i]
		if int32(i) == e.Outer || b.Mask&mask == 0 || b.Material.Kind == Soft || b.Material.Kind == Hair || b.Material.Kind == Matched {
			continue
		}
		if _, _, ok := b.Bounds.Hit(r.O, inv, 0, far); ok && b.Blocks(sc, r, 0, far) {
			return true
		}
	}
	return false
}

// Occluded reports whether any object with an interface that the mask's rays meet lies in (tmin, tmax).
func (s *Scene) Occluded(sc *accel.Scratch, r geom.Ray, tmin, tmax float64, mask Mask) bool {
	inv := geom.Vec{X: 1 / r.D.X, Y: 1 / r.D.Y, Z: 1 / r.D.Z}
	for i := range s.Objects {
		b := &s.Objects[i]
		if b.Mask&mask == 0 || b.Material.Kind == Matched {
			continue
		}
		if _, _, ok := b.Bounds.Hit(r.O, inv, tmin, tmax); !ok {
			continue
		}
		if b.Blocks(sc, r, tmin, tmax) {
			return true
		}
	}
	return false
}

// Closest finds the object's first hit in (tmin, tmax) and fills h but for its Object and Light.
func (b *Object) Closest(sc *accel.Scratch, r geom.Ray, tmin, tmax float64, h *Hit) bool {
	o, d := b.ToLocal.Point(r.O), b.ToLocal.Vector(r.D)
	if b.Shape == Mesh {
		var ah accel.Hit
		if b.OpacityMask != nil {
			if !b.throughCutouts(sc, o, d, tmin, tmax, &ah) {
				return false
			}
		} else if !b.BVH.Closest(sc, o, d, tmin, tmax, &ah) {
			return false
		}
		h.T, h.Prim, h.U, h.V = ah.T, ah.Prim, ah.U, ah.V
		return true
	}
	if b.Shape == Strands {
		var ah accel.CurveHit
		if b.First > 0 || !b.Hair.Closest(sc, o, d, tmin, tmax, &ah) {
			return false
		}
		h.T, h.Prim, h.U, h.V = ah.T, ah.Hair, ah.U, ah.H
		return true
	}
	t, face, ok := b.analytic(o, d, tmin, tmax)
	if ok {
		h.T, h.Prim = t, face
	}
	return ok
}

// Blocks reports whether the object has any hit in (tmin, tmax).
func (b *Object) Blocks(sc *accel.Scratch, r geom.Ray, tmin, tmax float64) bool {
	o, d := b.ToLocal.Point(r.O), b.ToLocal.Vector(r.D)
	if b.Shape == Mesh {
		if b.OpacityMask != nil {
			var h accel.Hit
			return b.throughCutouts(sc, o, d, tmin, tmax, &h)
		}
		return b.BVH.Occluded(sc, o, d, tmin, tmax)
	}
	if b.Shape == Strands {
		return b.First == 0 && b.Hair.Occluded(sc, o, d, tmin, tmax)
	}
	_, _, ok := b.analytic(o, d, tmin, tmax)
	return ok
}

// analytic intersects the closed-form shapes in local coordinates; face says which side of a box (0..5: -x +x -y +y
// -z +z) or slab (0 front, 1 back) was hit.
func (b *Object) analytic(o, d geom.Vec, tmin, tmax float64) (t float64, face uint32, ok bool) {
	in := func(t float64) bool { return t > tmin && t < tmax }
	switch b.Shape {
	case Sphere:
		// Stable quadratic: the distance of the centre from the line is taken first.
		rad := b.Size.X
		dd := d.Len2()
		m := -o.Dot(d) / dd
		q := o.Mad(m, d)
		disc := (rad*rad - q.Len2()) / dd
		if disc < 0 {
			return 0, 0, false
		}
		sq := math.Sqrt(disc)
		if t = m - sq; in(t) {
			return t, 0, true
		}
		t = m + sq
		return t, 0, in(t)
	case Rectangle:
		t = -o.Z / d.Z
		if !in(t) {
			return 0, 0, false
		}
		return t, 0, math.Abs(o.X+t*d.X) <= b.Size.X && math.Abs(o.Y+t*d.Y) <= b.Size.Y
	case Disc:
		t = -o.Z / d.Z
		if !in(t) {
			return 0, 0, false
		}
		x, y := o.X+t*d.X, o.Y+t*d.Y
		return t, 0, x*x+y*y <= b.Size.X*b.Size.X
	case Slab:
		t0, t1 := -o.Z/d.Z, (-b.Size.Z-o.Z)/d.Z
		f0, f1 := uint32(0), uint32(1)
		if t0 > t1 {
			t0, t1, f0, f1 = t1, t0, f1, f0
		}
		if in(t0) {
			return t0, f0, true
		}
		return t1, f1, in(t1)
	case Box:
		lo, hi := math.Inf(-1), math.Inf(1)
		var fl, fh uint32
		for i := 0; i < 3; i++ {
			e := b.Size.At(i)
			n, f := (-e-o.At(i))/d.At(i), (e-o.At(i))/d.At(i)
			fn, ff := uint32(2*i), uint32(2*i+1)
			if n > f {
				n, f, fn, ff = f, n, ff, fn
			}
			if n > lo {
				lo, fl = n, fn
			}
			if f < hi {
				hi, fh = f, ff
			}
		}
		if lo > hi {
			return 0, 0, false
		}
		if in(lo) {
			return lo, fl, true
		}
		return hi, fh, in(hi)
	}
	return 0, 0, false
}
