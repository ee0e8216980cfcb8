package raster

import (
	"math"
	"slices"

	"catchlight/light"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// shadow is what stands between one light and what is seen: for each direction from the light's middle the distance to the first object.
type shadow struct {
	view   cover.View
	frame  geom.Frame // of the view: N toward the light
	eye    geom.Vec   // of the view
	flat   bool       // rays run in parallel
	near   float64    // perspective: of the view
	length float64    // flat: depth is 1 - distance/length
	n      int
	texel  float64                  // width of a texel: mm, or mm per mm of distance
	dist   []float32                // distance along the view in mm; +Inf where nothing stands
	blocks blocks                   // of dist
	least  float64                  // the smallest
	points [shadowPoints][2]float64 // of the light; see point
	low    [2]float64               // the least of their coordinates
	high   [2]float64               // and the most
}

// newShadow returns an empty map of the casters as the lamp's middle sees the region of the receivers, a ball about centre.
//
// Source: Williams, Casting Curved Shadows on Curved Surfaces, SIGGRAPH 1978.
func newShadow(l *lamp, centre geom.Vec, radius float64, casters []caster, n int) *shadow {
	s := &shadow{n: n, least: math.Inf(1)}
	radius *= 1.02
	if l.Kind == light.Distant {
		s.flat, s.frame = true, geom.NewFrame(l.Frame.N)
		// As far toward the light as any caster reaches.
		out := radius
		for i := range casters {
			for _, p := range casters[i].points {
				if d := p.Sub(centre).Dot(l.Frame.N); d < 0.5*slabReach {
					out = max(out, d)
				}
			}
		}
		out++
		s.length, s.texel = out+radius, 2*radius/float64(n)
		s.view = cover.Flat(s.frame, centre.Mad(out, l.Frame.N), float64(n)/2, float64(n)/2, s.texel, n, n, 0, s.length)
	} else {
		s.eye = l.Centre
		back := l.Centre.Sub(centre)
		d := back.Len()
		s.frame = geom.NewFrame(back.Mul(1 / d))
		if l.Kind == light.Rectangle { // so that the light's sides lie along the map's
			if t := l.Frame.T.Mad(-l.Frame.T.Dot(s.frame.N), s.frame.N); t.Len() > 0.2 {
				t = t.Unit()
				s.frame.S, s.frame.T = t.Cross(s.frame.N), t
			}
		}
		tan := 2.0
		if d > radius*1.1 {
			tan = min(tan, radius/math.Sqrt(d*d-radius*radius))
		}
		s.near, s.texel = max(1e-3, 1e-4*d), 2*tan/float64(n)
		s.view = cover.Perspective(s.frame, l.Centre, tan, n, n, s.near)
	}
	for i := range s.points {
		s.points[i][0], s.points[i][1] = s.point(l, i)
	}
	s.low, s.high = s.points[0], s.points[0]
	for _, q := range s.points {
		for c := range q {
			s.low[c], s.high[c] = min(s.low[c], q[c]), max(s.high[c], q[c])
		}
	}
	return s
}

// draw returns the distances of the casters that in chooses.
func (s *shadow) draw(casters []caster, in func(c *caster) bool, workers int) []float32 {
	pass := cover.NewPass(s.view)
	for i := range casters {
		if in(&casters[i]) {
			casters[i].addTo(pass, int32(i), cover.Both, workers)
		}
	}
	buf := pass.Draw(1, workers)
	dist := make([]float32, s.n*s.n)
	for i, z := range buf.Depth {
		d := math.Inf(1)
		if buf.ID[i] != cover.None {
			d = s.distance(float64(z))
		}
		dist[i] = float32(d)
	}
	return dist
}

// with returns the shadow of what stands at the given distances: nil where nothing stands.
func (s *shadow) with(dist []float32) *shadow {
	out := *s
	out.dist = dist
	for _, d := range dist {
		out.least = min(out.least, float64(d))
	}
	if math.IsInf(out.least, 1) {
		return nil
	}
	out.blocks = newBlocks(dist, s.n, max(1, s.n/64))
	return &out
}

func (s *shadow) distance(depth float64) float64 {
	if s.flat {
		return s.length * (1 - depth)
	}
	return s.near / depth
}

// plane is the receiver's tangent plane as the map sees it: at map position (x, y) it lies at the distance 1/(c + a x + b y), or c + a x + b y
// where rays run in parallel. A look aside is held against it and not against the receiver's own distance, so that a tilted surface
// does not hide the light from itself.
//
// Source: Isidoro, Shadow Mapping: GPU-based Tips and Techniques, GDC 2006 (receiver plane depth bias).
type plane struct {
	a, b, c float64
	flat    bool
}

// plane returns that of point p and normal n, which faces the light.
func (s *shadow) plane(p, n geom.Vec) plane {
	half := float64(s.n) / 2
	ns, nt, nn := n.Dot(s.frame.S)*s.texel, -n.Dot(s.frame.T)*s.texel, n.Dot(s.frame.N)
	if s.flat {
		// p + u S + v T - w N lies on the plane where w = (u n.S + v n.T)/n.N.
		x, y, z := s.view.Project(p)
		k := 1 / max(0.02, nn)
		return plane{ns * k, nt * k, s.distance(z) - (x*ns+y*nt)*k, true}
	}
	m := 1 / min(-1e-9, n.Dot(p.Sub(s.eye)))
	return plane{ns * m, nt * m, (-nn - half*(ns+nt)) * m, false}
}

// hides reports whether the map's texel at (x, y) holds something clearly before the plane.
func (s *shadow) hides(q *plane, x, y float64) bool {
	if top := float64(s.n); !(x >= 0 && y >= 0 && x < top && y < top) {
		return false
	}
	i, j := int(x), int(y)
	d := float64(s.dist[j*s.n+i])
	w := q.c + q.a*(float64(i)+0.5) + q.b*(float64(j)+0.5)
	if q.flat {
		return d < w
	}
	return 1/d > w*(1+1e-6)
}

// clear reports that no texel at a position in the rectangle holds anything before the plane. Where it does not say so, some may.
func (s *shadow) clear(q *plane, x0, y0, x1, y1 float64) bool {
	const most = 100 // blocks: past that looking at the points is as fast
	top := float64(s.n - 1)
	if !(x1 >= 0 && y1 >= 0 && x0 <= top+1 && y0 <= top+1) {
		return x0 == x0 && y0 == y0 && x1 == x1 && y1 == y1
	}
	x0, y0, x1, y1 = max(0, x0-1), max(0, y0-1), min(x1+1, top), min(y1+1, top) // a texel more for rounding
	side := s.blocks.side
	i0, j0, i1, j1 := int(x0)/side, int(y0)/side, int(x1)/side, int(y1)/side
	if (i1-i0+1)*(j1-j0+1) > most {
		return false
	}
	for j := j0; j <= j1; j++ {
		for i := i0; i <= i1; i++ {
			// The plane's least (for parallel rays its most) over the block's texels.
			lo, hi := float64(i*side), float64((i+1)*side)
			a0, a1 := q.a*lo, q.a*hi
			b0, b1 := q.b*float64(j*side), q.b*float64((j+1)*side)
			d := float64(s.blocks.least[j*s.blocks.n+i])
			if q.flat {
				if w := q.c + max(a0, a1) + max(b0, b1); !(d >= w+1e-9*math.Abs(w)) {
					return false
				}
			} else if w := q.c + min(a0, a1) + min(b0, b1); !(1/d <= w) {
				return false
			}
		}
	}
	return true
}

// compare returns the share of light that passes at map position (x, y) in texels: bilinear between four comparisons.
//
// Source: Reeves, Salesin and Cook, Rendering Antialiased Shadows with Depth Maps, SIGGRAPH 1987.
func (s *shadow) compare(q *plane, x, y float64) float64 {
	x, y = x-0.5, y-0.5
	fx, fy := x-math.Floor(x), y-math.Floor(y)
	lit := func(dx, dy float64) float64 {
		if s.hides(q, x+dx, y+dy) {
			return 0
		}
		return 1
	}
	a, b := lit(0, 0)*(1-fx)+lit(1, 0)*fx, lit(0, 1)*(1-fx)+lit(1, 1)*fx
	return a + fy*(b-a)
}

// The numbers of sample points: for casters in the way, and for the share of the light that they hide.
const (
	blockerPoints = 24
	shadowPoints  = 64
)

// points is a sequence of points of the unit square, all of whose shadows on either side are even.
//
// Source: Roberts, The Unreasonable Effectiveness of Quasirandom Sequences, web note, 2018.
var points = func() (p [shadowPoints][2]float64) {
	const a, b = 0.7548776662466927, 0.5698402909980532
	for i := range p {
		x, y := 0.5+a*float64(i), 0.5+b*float64(i)
		p[i] = [2]float64{x - math.Floor(x), y - math.Floor(y)}
	}
	return p
}()

// lit returns the share of the lamp that p sees past the casters; n is the normal there. mode is a word of scene.Raster.Shadow.
//
// Source of the soft edge that grows with distance: Fernando, Percentage-Closer Soft Shadows, SIGGRAPH sketches 2005. Each sample point stands
// for one point of the light, so rectangles, discs and panes have their own shapes.
func (s *shadow) lit(p, n geom.Vec, mode string) float64 {
	if s == nil {
		return 1
	}
	// The point is lifted off the surface by what a texel spans there, so that an object does not shade itself in stripes.
	lift := s.texel
	if !s.flat {
		lift *= max(0, s.view.W.At(p))
	}
	p = p.Mad(1.5*lift, n)
	x, y, z := s.view.Project(p)
	d := s.distance(z)
	if !(d > s.least) {
		return 1
	}
	face := s.plane(p, n)
	switch mode {
	case "hard":
		return s.compare(&face, x, y)
	case "soft":
		sum := 0.0
		for j := -2; j <= 2; j++ {
			for i := -2; i <= 2; i++ {
				sum += s.compare(&face, x+float64(i), y+float64(j))
			}
		}
		return sum / 25
	}
	// A point q of the light and a caster at the distance b: the ray passes q (1/b - 1/d) beside the middle (per mm of distance).
	aside := func(b float64) float64 {
		if s.flat {
			return (d - b) / s.texel
		}
		return (1/b - 1/d) / s.texel
	}
	var sum float64
	found := 0
	reach := aside(s.least)
	if s.clear(&face, x+reach*s.low[0], y-reach*s.high[1], x+reach*s.high[0], y-reach*s.low[1]) {
		return 1
	}
	for i := range blockerPoints {
		qx, qy := s.points[i*shadowPoints/blockerPoints][0], s.points[i*shadowPoints/blockerPoints][1]
		if tx, ty := x+reach*qx, y-reach*qy; s.hides(&face, tx, ty) {
			sum += min(d, float64(s.dist[int(ty)*s.n+int(tx)]))
			found++
		}
	}
	if found == 0 {
		return 1
	}
	reach = aside(sum / float64(found))
	hidden := 0
	for i := range shadowPoints {
		qx, qy := s.points[i][0], s.points[i][1]
		if s.hides(&face, x+reach*qx, y-reach*qy) {
			hidden++
		}
	}
	return 1 - float64(hidden)/shadowPoints
}

// point returns point i of the light in the map's frame: mm to the right and up, or for a distant light the tangent of the angle.
func (s *shadow) point(l *lamp, i int) (x, y float64) {
	u, v := points[i][0], points[i][1]
	if l.Kind == light.Rectangle {
		if n := l.NX * l.NY; n > 1 { // inside one of the panes
			k := int(u * float64(n))
			q := &l.panes[k]
			at := geom.Lerp(geom.Lerp(q[0], q[1], u*float64(n)-float64(k)), geom.Lerp(q[3], q[2], u*float64(n)-float64(k)), v).Sub(l.Centre)
			return at.Dot(s.frame.S), at.Dot(s.frame.T)
		}
		at := l.Frame.S.Mul((u-0.5)*l.W).Mad((v-0.5)*l.H, l.Frame.T)
		return at.Dot(s.frame.S), at.Dot(s.frame.T)
	}
	a, b := geom.ConcentricDisc(u, v)
	switch l.Kind {
	case light.Disc:
		at := l.Frame.S.Mul(a*l.Radius).Mad(b*l.Radius, l.Frame.T)
		return at.Dot(s.frame.S), at.Dot(s.frame.T)
	case light.Distant:
		k := math.Tan(l.Radius)
		return a * k, b * k
	}
	return a * l.Radius, b * l.Radius
}

// caster is what casts shadows: eyes take those of plain objects alone, as their own shells are round and shade themselves by their normals;
// everything else takes all.
type caster struct {
	solid
	plain bool
}

// castShadows finds the casters.
func (k *Look) castShadows() {
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		kind := b.Material.Kind
		if b.Mask&frozen.ShadowRays != 0 && kind != frozen.Outer && !letsThrough(kind) {
			var s solid
			if n := slices.IndexFunc(k.solids, func(s solid) bool { return s.object == int32(i) && s.low == nil }); n >= 0 {
				s = k.solids[n]
			} else {
				s = solidOf(b, int32(i))
			}
			k.casters = append(k.casters, caster{s, kind != frozen.Inner})
		}
	}
}

// shadowInputs is all that a lamp's shadows read.
type shadowInputs struct {
	Lamp     lampInputs
	Casters  []casterInputs
	Centre   geom.Vec
	Radius   float64
	Size     int
	Eyes, On bool // whether eyes take shadows, and other objects
}

type casterInputs struct {
	Shape   frozen.Shape
	Size    geom.Vec
	Mesh    *mesh.Mesh
	Opacity *frozen.OpacityMask
	Hair    *accel.Curves
	First   uint32 // of its hairs
	Pose    geom.Affine
	Plain   bool
}

func (k *Look) casterInputs(plain bool) (list []casterInputs) {
	for i := range k.casters {
		if c := &k.casters[i]; c.plain || !plain {
			b := &k.scene.Objects[c.object]
			list = append(list, casterInputs{b.Shape, b.Size, b.Mesh, b.OpacityMask, b.Hair, b.First, b.ToWorld, c.plain})
		}
	}
	return list
}

func (k *Look) plainCasters() []casterInputs { return k.casterInputs(true) }

// shadowPair is what a lamp's light is held back by on its way to eyes and to everything else.
type shadowPair struct{ onEyes, onAll *shadow }

// shadows draws the maps of all lamps about a ball that is a little larger than what the picture shows.
func (k *frame) shadows(centre geom.Vec, radius float64) {
	k.onEyes, k.onAll = make([]*shadow, len(k.lamps)), make([]*shadow, len(k.lamps))
	if k.set.Shadow == "none" {
		return
	}
	in := shadowInputs{Size: k.set.ShadowSize}
	in.Centre, in.Radius = rounded(centre, radius)
	in.Casters = k.casterInputs(false)
	in.Eyes = len(k.plainCasters()) > 0
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		kind := b.Material.Kind
		in.On = in.On || len(k.casters) > 0 && kind != frozen.Outer && kind != frozen.Inner && b.Mask&frozen.CameraRays != 0
	}
	if !in.Eyes && !in.On {
		return
	}
	for i := range k.lamps {
		l := &k.lamps[i]
		in.Lamp = l.inputs()
		q := derived(k.Look, "raster shadows of lamp "+l.name(), in, func() (q shadowPair) {
			s := newShadow(l, in.Centre, in.Radius, k.casters, in.Size)
			dist := s.draw(k.casters, func(c *caster) bool { return c.plain }, k.workers)
			if in.Eyes {
				q.onEyes = s.with(dist)
			}
			if in.On {
				all := s.draw(k.casters, func(c *caster) bool { return !c.plain }, k.workers)
				for i, d := range dist {
					all[i] = min(all[i], d)
				}
				q.onAll = s.with(all)
			}
			return q
		})
		k.onEyes[i], k.onAll[i] = q.onEyes, q.onAll
	}
}

// rounded returns a ball that holds the given one and is the same for most that are a little aside, so that shadow maps need not be drawn
// anew for a camera that moves on: at most 1.35 times as large.
func rounded(centre geom.Vec, radius float64) (geom.Vec, float64) {
	// The middle moves by at most half the diagonal of a step of 1/8: 0.109 of the ball.
	const steps, room = 8, 1 / (1 - 0.1083)
	r := math.Exp2(math.Ceil(4*math.Log2(radius*room)) / 4)
	snap := func(x float64) float64 { return math.Round(x*steps/r) * r / steps }
	return geom.Vec{X: snap(centre.X), Y: snap(centre.Y), Z: snap(centre.Z)}, r
}

// letsThrough reports whether light passes a surface of this kind.
func letsThrough(kind frozen.Kind) bool {
	return kind == frozen.Matched || kind == frozen.Dielectric || kind == frozen.TearLine
}
