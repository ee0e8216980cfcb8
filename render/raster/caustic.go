package raster

import (
	"math"

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

// Sizes of the baking.
const (
	causticSide   = 128 // of the map: 0.1 mm a texel
	causticGrid   = 224 // of the rays over the cornea
	causticLooks  = 24  // points of a light
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
func (k *Look) newBehindCornea(y *eyeLook, st *still) *behindCornea {
	c := &behindCornea{reach: y.relief.reach, base: st.base, n: causticSide, m: transferSide}
	c.lamps = make([][]float32, len(k.lamps))
	parallel.Each(len(k.lamps), k.workers, func(i int) { c.lamps[i] = k.caustic(y, c, &st.dome, &k.lamps[i]) })
	c.far, c.back = make([]colour.RGB, c.m*c.m), make([]float64, c.m*c.m)
	parallel.Each(c.m, k.workers, func(j int) {
		sc := accel.NewScratch()
		for i := range c.m {
			c.far[j*c.m+i], c.back[j*c.m+i] = k.transfer(y, c, sc, i, j)
		}
	})
	return c
}

// caustic throws one lamp's light through the dome.
func (k *Look) caustic(y *eyeLook, c *behindCornea, d *dome, l *lamp) []float32 {
	sc := accel.NewScratch()
	out := make([]float64, 4*c.n*c.n)
	to := &y.object.ToWorld
	n2 := y.e.Index * y.e.Index
	texel := 2 * c.reach / float64(c.n)
	for s := range causticLooks {
		for i, n := range d.n {
			if n.Z <= 0 {
				continue
			}
			p := to.Point(d.p[i])
			dir, weight := l.from(p, s)
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
	return smooth(out, c.n)
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

// from returns the unit direction from p to point i of the light, and the irradiance on a surface facing it, over the light's
// radiance, as if all of the light were there.
func (l *lamp) from(p geom.Vec, i int) (d geom.Vec, e float64) {
	u, v := points[i][0], points[i][1]
	switch l.Kind {
	case light.Distant:
		a, b := geom.ConcentricDisc(u, v)
		f := geom.NewFrame(l.Frame.N)
		k := math.Tan(l.Radius)
		return l.Frame.N.Mad(a*k, f.S).Mad(b*k, f.T).Unit(), l.Solid()
	case light.Sphere:
		to, dist, sin, ok := l.toward(p)
		if !ok || sin >= 1 {
			return d, 0
		}
		a, b := geom.ConcentricDisc(u, v)
		f := geom.NewFrame(to)
		return to.Mul(dist).Mad(a*l.Radius, f.S).Mad(b*l.Radius, f.T).Unit(), 2 * math.Pi * (1 - math.Sqrt(1-sin*sin))
	}
	at, area, share := l.Centre, math.Pi*l.Radius*l.Radius, 1.0
	if l.Kind == light.Disc {
		a, b := geom.ConcentricDisc(u, v)
		at = at.Mad(a*l.Radius, l.Frame.S).Mad(b*l.Radius, l.Frame.T)
	} else {
		area = l.W * l.H * l.Open()
		n := float64(l.NX * l.NY)
		q := &l.panes[int(u*n)]
		s := u*n - math.Floor(u*n)
		at = geom.Lerp(geom.Lerp(q[0], q[1], s), geom.Lerp(q[3], q[2], s), v)
	}
	if l.Profiled() {
		off := at.Sub(l.Centre)
		share = l.At(off.Dot(l.Frame.S), off.Dot(l.Frame.T))
	}
	d = at.Sub(p)
	r2 := d.Len2()
	d = d.Mul(1 / math.Sqrt(r2))
	c := -d.Dot(l.Frame.N)
	if l.TwoSided {
		c = math.Abs(c)
	}
	return d, max(0, c) * area * share / r2
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

// transfer returns the basic irradiance of the surroundings at a place of the form, and the share of what leaves there that comes back.
func (k *Look) transfer(y *eyeLook, c *behindCornea, sc *accel.Scratch, i, j int) (e colour.RGB, back float64) {
	p := geom.Vec{X: ((float64(i)+0.5)/float64(c.m)*2 - 1) * c.reach, Y: (1 - (float64(j)+0.5)/float64(c.m)*2) * c.reach}
	p.Z = c.base.read(c.base.z, p.X, p.Y)
	up := geom.NewFrame(c.base.normal(p.X, p.Y))
	var t [9]float64
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
			dir = y.object.ToWorld.Vector(dir).Unit()
			if k.set.Occlusion != "none" && k.standsAbout() {
				r := geom.Ray{O: at, D: dir}
				if h, ok := k.nearest(sc, r, frozen.ShadowRays, y.e); ok {
					e = e.Add(k.seenBy(sc, r, &h).Scale(w))
					return
				}
			}
			for q, b := range shading.Basis(dir) {
				t[q] += w * b
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
		back += bends * mirrored / transferLooks
		if bends < 1 { // as a coat: straight
			gather(d, (1-bends)*y.e.MirroredOut(y.e.Zone(sp.P), d.Dot(n))*math.Pi/transferLooks)
		}
	}
	var far colour.RGB
	for q := range t {
		far = far.Add(k.ambient[q].Scale(t[q]))
	}
	for q := range far {
		e[q] += max(0, far[q])
	}
	return e, back
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
