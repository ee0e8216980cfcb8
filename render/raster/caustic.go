package raster

import (
	"fmt"
	"math"
	"slices"

	"catchlight/light"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// behindCornea is the light that a cornea lets onto the iris' smooth form, baked: maps over the square of the relief. Values are basic
// irradiance (over n^2), as the iris' reflectance meets it.
type behindCornea struct {
	reach float64
	base  *relief      // the smooth form
	n     int          // side of the maps of lamps
	lamps [][]float32  // [lamp][texel]: flux over the ground across the axis and the lamp's radiance, and the mean direction toward the light, eye frame: 4 values
	m     int          // side of the map of the surroundings
	far   []colour.RGB // [texel]: irradiance of the surroundings
	back  []float64    // [texel]: share of what the tissue sends out that the cornea mirrors back to it
}

// transferred is what of the surroundings reaches the places of the form, without light: by the harmonics in the eye's frame, and by the
// bounces of plain objects: those of a place are first[i] to first[i+1].
type transferred struct {
	harmonics [][9]float64
	back      []float64
	bounces   []bounce
	weight    []float64
	first     []int32
}

// Sizes of the baking.
const (
	causticSide   = 128 // of the map: 0.1 mm a texel
	causticGrid   = 224 // of the rays over the cornea
	causticLooks  = 24  // points of a light
	causticParts  = 4   // that are summed up apart, on as many workers
	transferSide  = 20
	transferLooks = 196
)

// dome is the outer shell over the relief's square, looked down on: one place a ray.
type dome struct {
	p, n []geom.Vec // eye frame; n is zero where there is nothing
	area float64    // of a place, across the axis
}

// domeOf looks down on the shell of an eye.
func domeOf(s *frozen.Scene, e *frozen.Eye, reach float64, n, workers int) dome {
	b := &s.Objects[e.Outer]
	box := b.Mesh.Bounds()
	f := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}
	size := 2 * reach / float64(n)
	pass := cover.NewPass(cover.Flat(f, geom.Vec{Z: box.Hi.Z + 1}, float64(n)/2, float64(n)/2, size, n, n, 0.5, box.Hi.Z-box.Lo.Z+2))
	pass.Add(b.Mesh.P, b.Mesh.Tri, 0, cover.Front, workers)
	buf := pass.Draw(1, workers)
	d := dome{make([]geom.Vec, n*n), make([]geom.Vec, n*n), size * size}
	for i, id := range buf.ID {
		if id == cover.None {
			continue
		}
		pl := pass.At(id, float64(i%n)+0.5, float64(i/n)+0.5)
		sf := s.Surface(geom.Ray{}, &frozen.Hit{Object: e.Outer, Prim: pl.Prim, U: pl.U, V: pl.V})
		ns := sf.Ns
		if e.Normal.Valid() {
			ns = s.MappedNormal(&sf, &e.Normal, e.NormalGain)
		}
		d.p[i], d.n[i] = b.ToLocal.Point(sf.P), b.ToLocal.Vector(ns).Unit()
	}
	return d
}

// newBehindCornea bakes the light onto the iris. Of each lamp rays from a regular grid over the cornea are bent and their flux is spread
// over the map by tents; of the surroundings, nine coefficients a place say how much of each harmonic comes through.
//
// Sources: Francois, Gautron, Breton and Bouatouch, Image-Based Modeling of the Human Eye, IEEE TVCG 15(5), 2009 (a caustic map of the
// cornea); Sloan, Kautz and Snyder, Precomputed Radiance Transfer, SIGGRAPH 2002.
func (k *Look) newBehindCornea(index int, y *eyeLook, st *still) *behindCornea {
	c := &behindCornea{reach: y.relief.reach, base: st.base, n: causticSide, m: transferSide}
	in := causticInputs{Eye: formOf(y.e), Pose: y.object.ToWorld, Base: st.base, Cornea: st.cornea, Shadow: k.set.Shadow != "none"}
	if in.Shadow {
		in.Casters = k.plainCasters()
	}
	c.lamps = make([][]float32, len(k.lamps))
	for i := range k.lamps {
		in.Lamp = k.lamps[i].inputs()
		c.lamps[i] = derived(k, fmt.Sprintf("raster caustic of eye %d by lamp %s", index, k.lamps[i].name()), in, func() []float32 {
			return k.caustic(y, c, &st.dome, &k.lamps[i])
		})
	}
	hidden := k.set.Occlusion != "none" && k.standsAbout()
	tr := transferInputs{Eye: in.Eye, Base: st.base, Outer: y.object.Mesh}
	if hidden {
		tr.About = k.seen()
	}
	t := derived(k, fmt.Sprintf("raster transfer of eye %d", index), tr, func() *transferred { return k.newTransferred(y, c, hidden) })
	glow := k.glow(fmt.Sprintf("raster transfer of eye %d", index), t.bounces)
	turned := k.ambient.Turned(y.object.ToWorld.Vector)
	c.far, c.back = make([]colour.RGB, c.m*c.m), t.back
	for i := range c.far {
		for q, w := range t.harmonics[i] {
			c.far[i] = c.far[i].Add(turned[q].Scale(w))
		}
		for q := range c.far[i] {
			c.far[i][q] = max(0, c.far[i][q])
		}
		for b := t.first[i]; b < t.first[i+1]; b++ {
			c.far[i] = c.far[i].Add(glow[b].Scale(t.weight[b]))
		}
	}
	return c
}

// caustic throws one lamp's light through the dome.
func (k *Look) caustic(y *eyeLook, c *behindCornea, d *dome, l *lamp) []float32 {
	to := &y.object.ToWorld
	n2 := y.e.Index * y.e.Index
	texel := 2 * c.reach / float64(c.n)
	parts := make([][]float64, causticParts)
	parallel.With(causticParts, k.workers, accel.NewScratch, func(sc *accel.Scratch, part int) {
		out := make([]float64, 4*c.n*c.n)
		for s := part; s < causticLooks; s += causticParts {
			look := l.look(s)
			for i, n := range d.n {
				if n.Z <= 0 {
					continue
				}
				p := to.Point(d.p[i])
				dir, weight := l.from(p, &look)
				if weight <= 0 {
					continue
				}
				wi := y.object.ToLocal.Vector(dir).Unit()
				cos := wi.Dot(n)
				if cos <= 0 {
					continue
				}
				in, ok := geom.Refract(wi, n, y.e.Index)
				if !ok {
					continue
				}
				q := c.base.meet(d.p[i], in)
				w := y.e.Zone(d.p[i])
				bends := frozen.Bend(w, y.e.Zone(q))
				if k.set.Shadow != "none" && k.blocked(sc, p, dir, l) {
					continue
				}
				// Flux through the place, whose true area is area/n.Z. Where the shell is a coat in part, that part goes on straight.
				flux := weight * cos * d.area / n.Z * (1 - y.e.MirroredAll(w, cos)) / (texel * texel * causticLooks)
				c.splat(out, q, in, flux*bends/n2) // basic irradiance, over n^2
				if bends < 1 {
					c.splat(out, c.base.meet(d.p[i], wi.Neg()), wi.Neg(), flux*(1-bends)/y.e.CoatShare(w))
				}
			}
		}
		parts[part] = out
	})
	for _, p := range parts[1:] {
		for i, v := range p {
			parts[0][i] += v
		}
	}
	return smooth(parts[0], c.n)
}

// splat spreads a ray's flux, which runs along in and meets the form at q, over the four texels about it.
func (c *behindCornea) splat(out []float64, q, in geom.Vec, flux float64) {
	if flux <= 0 || in.Z >= 0 {
		return
	}
	x, y := (q.X/c.reach+1)/2*float64(c.n)-0.5, (1-q.Y/c.reach)/2*float64(c.n)-0.5
	ix, iy := int(math.Floor(x)), int(math.Floor(y))
	fx, fy := x-float64(ix), y-float64(iy)
	for a := range 4 {
		jx, jy := ix+a%2, iy+a/2
		if jx < 0 || jy < 0 || jx >= c.n || jy >= c.n {
			continue
		}
		w := flux * (fx + float64(1-a%2)*(1-2*fx)) * (fy + float64(1-a/2)*(1-2*fy))
		o := out[4*(jy*c.n+jx):]
		o[0] += w
		o[1] -= w * in.X
		o[2] -= w * in.Y
		o[3] -= w * in.Z
	}
}

// smooth blurs the map by a tent of three texels, which hides the grid of the rays, and turns directions into unit vectors.
func smooth(in []float64, n int) []float32 {
	out := make([]float32, len(in))
	for y := range n {
		for x := range n {
			var sum [4]float64
			var weight float64
			for j := -1; j <= 1; j++ {
				for i := -1; i <= 1; i++ {
					if x+i < 0 || y+j < 0 || x+i >= n || y+j >= n {
						continue
					}
					w := float64((2 - i*i) * (2 - j*j))
					weight += w
					for c := range sum {
						sum[c] += w * in[4*((y+j)*n+x+i)+c]
					}
				}
			}
			o := out[4*(y*n+x):]
			o[0] = float32(sum[0] / weight)
			d := geom.Vec{X: sum[1], Y: sum[2], Z: sum[3]}
			if d.Len2() > 0 {
				d = d.Unit()
			}
			o[1], o[2], o[3] = float32(d.X), float32(d.Y), float32(d.Z)
		}
	}
	return out
}

// look is a point of a lamp: of a rectangle or disc in the world, with the area that it stands for, by the share of the light's radiance
// there; of the others on the unit disc.
type look struct {
	at   geom.Vec
	area float64
	a, b float64
}

// look returns point i of a lamp.
func (l *lamp) look(i int) (q look) {
	u, v := points[i][0], points[i][1]
	if l.Kind == light.Distant || l.Kind == light.Sphere {
		q.a, q.b = geom.ConcentricDisc(u, v)
		return q
	}
	q.at, q.area = l.Centre, math.Pi*l.Radius*l.Radius
	if l.Kind == light.Disc {
		a, b := geom.ConcentricDisc(u, v)
		q.at = q.at.Mad(a*l.Radius, l.Frame.S).Mad(b*l.Radius, l.Frame.T)
	} else {
		q.area = l.W * l.H * l.Open()
		n := float64(l.NX * l.NY)
		p := &l.panes[int(u*n)]
		s := u*n - math.Floor(u*n)
		q.at = geom.Lerp(geom.Lerp(p[0], p[1], s), geom.Lerp(p[3], p[2], s), v)
	}
	if l.Profiled() {
		off := q.at.Sub(l.Centre)
		q.area *= l.At(off.Dot(l.Frame.S), off.Dot(l.Frame.T))
	}
	return q
}

// from returns the unit direction from p to a point of the light, and the irradiance on a surface facing it, over the light's radiance, as
// if all of the light were there.
func (l *lamp) from(p geom.Vec, q *look) (d geom.Vec, e float64) {
	switch l.Kind {
	case light.Distant:
		f := geom.NewFrame(l.Frame.N)
		k := math.Tan(l.Radius)
		return l.Frame.N.Mad(q.a*k, f.S).Mad(q.b*k, f.T).Unit(), l.Solid()
	case light.Sphere:
		to, dist, sin, ok := l.toward(p)
		if !ok || sin >= 1 {
			return d, 0
		}
		f := geom.NewFrame(to)
		return to.Mul(dist).Mad(q.a*l.Radius, f.S).Mad(q.b*l.Radius, f.T).Unit(), 2 * math.Pi * (1 - math.Sqrt(1-sin*sin))
	}
	d = q.at.Sub(p)
	r2 := d.Len2()
	d = d.Mul(1 / math.Sqrt(r2))
	c := -d.Dot(l.Frame.N)
	if l.TwoSided {
		c = math.Abs(c)
	}
	return d, max(0, c) * q.area / r2
}

// blocked reports whether a plain object stands between p and the lamp in direction d.
func (k *Look) blocked(sc *accel.Scratch, p, d geom.Vec, l *lamp) bool {
	far := math.Inf(1)
	if l.Kind != light.Distant {
		far = l.Centre.Sub(p).Len()
	}
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		if b.Eye >= 0 || b.Mask&frozen.ShadowRays == 0 || letsThrough(b.Material.Kind) {
			continue
		}
		if b.Blocks(sc, geom.Ray{O: p, D: d}, 1e-6, far) {
			return true
		}
	}
	return false
}

// newTransferred follows light back from the places of the form; hidden tells whether plain objects are in the way.
func (k *Look) newTransferred(y *eyeLook, c *behindCornea, hidden bool) *transferred {
	n := c.m * c.m
	t := &transferred{harmonics: make([][9]float64, n), back: make([]float64, n)}
	places, weights := make([][]bounce, n), make([][]float64, n)
	parallel.With(n, k.workers, accel.NewScratch, func(sc *accel.Scratch, i int) {
		g := &gathered{}
		k.transfer(y, c, sc, i, hidden, g)
		t.harmonics[i], t.back[i], places[i], weights[i] = g.harmonics, g.back, g.bounces, g.weight
	})
	t.bounces, t.first = joined(places)
	t.weight = slices.Concat(weights...)
	return t
}

// gathered is what reaches one place.
type gathered struct {
	harmonics [9]float64
	back      float64
	bounces   []bounce
	weight    []float64
}

// transfer gathers the basic irradiance of the surroundings at place i of the form, and the share of what leaves there that comes back.
func (k *Look) transfer(y *eyeLook, c *behindCornea, sc *accel.Scratch, i int, hidden bool, g *gathered) {
	p := geom.Vec{X: ((float64(i%c.m)+0.5)/float64(c.m)*2 - 1) * c.reach, Y: (1 - (float64(i/c.m)+0.5)/float64(c.m)*2) * c.reach}
	p.Z = c.base.read(c.base.z, p.X, p.Y)
	up := geom.NewFrame(c.base.normal(p.X, p.Y))
	var sp frozen.ShellPoint
	const side = 14 // squared: transferLooks
	for s := range transferLooks {
		d := up.World(geom.CosineHemisphere((float64(s%side)+0.5)/side, (float64(s/side)+0.5)/side))
		if !k.scene.CastOuter(sc, y.e, p, d, 0, math.Inf(1), true, &sp) {
			continue
		}
		bends := frozen.Bend(y.e.Zone(sp.P), y.e.Zone(p))
		n := sp.N
		if d.Dot(n) <= 0 {
			continue
		}
		at := y.object.ToWorld.Point(sp.P)
		gather := func(dir geom.Vec, w float64) {
			if hidden {
				r := geom.Ray{O: at, D: y.object.ToWorld.Vector(dir).Unit()}
				if h, ok := k.nearest(sc, r, frozen.ShadowRays, y.e); ok {
					g.bounces, g.weight = append(g.bounces, k.bounceOff(r, &h)), append(g.weight, w)
					return
				}
			}
			for q, b := range shading.Basis(dir) {
				g.harmonics[q] += w * b
			}
		}
		mirrored := 1.0
		if out, ok := geom.Refract(d.Neg(), n.Neg(), 1/y.e.Index); ok && bends > 0 && out.Dot(n) > 0 {
			mirrored = y.e.Reflectance(out.Dot(n))
			if b := y.e.BendOut; b != nil {
				mirrored = min(1, b.Mirrored(d.Dot(n))*b.Gain(d.Dot(n)))
			}
			gather(out, bends*(1-mirrored)*math.Pi/transferLooks)
		}
		g.back += bends * mirrored / transferLooks
		if bends < 1 { // as a coat: straight
			gather(d, (1-bends)*y.e.MirroredOut(y.e.Zone(sp.P), d.Dot(n))*math.Pi/transferLooks)
		}
	}
}

// at returns the irradiance on the iris at q, on tissue of normal n, both in the eye's frame; open is the share of diffuse light that the
// relief lets in there, tint the tissue's reflectance: what it sends out and the cornea mirrors back falls on it again.
func (c *behindCornea) at(k *Look, q, n geom.Vec, open float64, tint colour.RGB) (e colour.RGB) {
	x, y := (q.X/c.reach+1)/2, (1-q.Y/c.reach)/2
	base := c.base.normal(q.X, q.Y)
	for i := range c.lamps {
		v := sample(c.lamps[i], c.n, x, y)
		d := geom.Vec{X: v[1], Y: v[2], Z: v[3]}
		if v[0] <= 0 {
			continue
		}
		// From the flux over the ground to the irradiance of the form, and from that to the tilted tissue's.
		e = e.Add(k.lamps[i].Radiance.Scale(v[0] * base.Z * max(0, d.Dot(n)) / max(0.15, d.Dot(base))))
	}
	far, back := c.surround(x, y)
	e = e.Add(far.Scale(open * (1 + n.Dot(base)) / 2))
	for q := range e {
		e[q] /= 1 - back*tint[q]
	}
	return e
}

// surround returns the irradiance of the surroundings at (x, y) in [0, 1] and the share that comes back, bilinear.
func (c *behindCornea) surround(x, y float64) (e colour.RGB, back float64) {
	for _, q := range taps(c.m, x, y) {
		e, back = e.Add(c.far[q.at].Scale(q.w)), back+q.w*c.back[q.at]
	}
	return e, back
}

// tap is one of the four texels of a bilinear look-up, with its weight.
type tap struct {
	at int
	w  float64
}

// taps returns those of a map of n x n at (x, y) in [0, 1], held at its edge.
func taps(n int, x, y float64) (out [4]tap) {
	px, py := x*float64(n)-0.5, y*float64(n)-0.5
	i, j := int(math.Floor(px)), int(math.Floor(py))
	fx, fy := px-float64(i), py-float64(j)
	for q := range out {
		out[q].w = (fx + float64(1-q%2)*(1-2*fx)) * (fy + float64(1-q/2)*(1-2*fy))
		out[q].at = max(0, min(n-1, j+q/2))*n + max(0, min(n-1, i+q%2))
	}
	return out
}

// sample reads four values bilinearly at (x, y) in [0, 1].
func sample(pix []float32, n int, x, y float64) (out [4]float64) {
	px, py := max(0, min(float64(n)-1.001, x*float64(n)-0.5)), max(0, min(float64(n)-1.001, y*float64(n)-0.5))
	i, j := int(px), int(py)
	fx, fy := px-float64(i), py-float64(j)
	a, b := pix[4*(j*n+i):4*(j*n+i)+8], pix[4*((j+1)*n+i):4*((j+1)*n+i)+8]
	for c := range out {
		p, q := float64(a[c])+fx*float64(a[c+4]-a[c]), float64(b[c])+fx*float64(b[c+4]-b[c])
		out[c] = p + fy*(q-p)
	}
	return out
}
