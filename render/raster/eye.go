package raster

import (
	"math"
	"slices"

	"catchlight/render/frozen"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// eyeLook is what is baked for one eye.
type eyeLook struct {
	e      *frozen.Eye
	object *frozen.Object // the outer shell, whose frame is the eye's
	tint   texture.Map    // colour of the tissue by direction, vessels on top laid over it
	relief *relief
	behind *behindCornea      // nil: the iris is lit without focus
	spread [3]shading.Spread  // of the sclera
	kernel [3]*shading.Kernel // of the sclera, the limbus, the iris; nil: light is not spread over the picture
	sky    *skyShare          // nil: nothing hides the surroundings
	around *surround          // nil: nothing stands about the eye
	sees   float64            // irradiance on the iris over that before the cornea, in basic radiance; see newEyeLook
}

func (k *Look) newEyeLook(index int) *eyeLook {
	e := &k.scene.Eyes[index]
	y := &eyeLook{e: e, object: &k.scene.Objects[e.Outer]}
	st := k.still(index)
	y.tint, y.relief = st.tint, st.relief
	// Light along the axis is focused on the iris: its irradiance grows by 1/(1 - d(n-1)/(n R))^2 (paraxial optics), loses what the
	// surface reflects, and is seen from outside through the same surface: basic radiance, over n^2. R and d are read off the shells.
	apex, radius := k.apex(e)
	depth := max(0, apex-y.relief.read(y.relief.z, 0.5*e.LimbusRadius, 0))
	n := e.Index
	f := 1 - depth*(n-1)/(n*radius)
	y.sees = (1 - e.MirroredAll(1, 1)) / (f * f * n * n)
	y.spread = spreadOf(e, e.Tissue.SigmaSclera, y.object.Scale, func(zone float64) bool { return zone == 0 })
	if k.set.Scattering == "screen" {
		iris := spreadOf(e, e.Tissue.SigmaIris, y.object.Scale, func(zone float64) bool { return zone == 1 })
		white, fine := shading.NewKernel(y.spread, k.set.ScatteringTaps), shading.NewKernel(iris, k.set.ScatteringTaps)
		var mixed [3]shading.Spread
		for c := range mixed {
			mixed[c].D = 2 / (1/y.spread[c].D + 1/iris[c].D) // extinctions blend
		}
		between := shading.NewKernel(mixed, k.set.ScatteringTaps)
		switch t := &e.Tissue; {
		case t.ScatterSclera && t.ScatterIris:
			y.kernel = [3]*shading.Kernel{white, between, fine}
		case t.ScatterSclera:
			y.kernel[0] = white
		case t.ScatterIris:
			y.kernel[2] = fine
		}
	}
	k.light(index, y, st)
	return y
}

// standsAbout reports whether there are plain objects beside the eyes.
func (k *Look) standsAbout() bool {
	return slices.ContainsFunc(k.scene.Objects, func(b frozen.Object) bool { return b.Eye < 0 })
}

// apex returns the height of the outer shell on the axis and its radius of curvature there, from heights up to 2 mm off the axis.
func (k *Look) apex(e *frozen.Eye) (z, radius float64) {
	m := k.scene.Objects[e.Outer].Mesh
	// z = z0 - r^2/(2 R), least squares over the vertices near the axis.
	reach := 0.35 * e.LimbusRadius
	var n, sr, sz, srr, srz float64
	for _, p := range m.P {
		if r2 := p.X*p.X + p.Y*p.Y; p.Z > 0 && r2 < reach*reach {
			n, sr, sz, srr, srz = n+1, sr+r2, sz+p.Z, srr+r2*r2, srz+r2*p.Z
		}
	}
	slope := (n*srz - sr*sz) / (n*srr - sr*sr)
	return (sz - slope*sr) / n, -1 / (2 * slope)
}

// tint bakes the colour of the tissue, seen through the vessels on top on the way in and out, in the map's own layout.
func (k *Look) tint(e *frozen.Eye) texture.Map {
	n := k.set.TextureSize
	pix := make([]float32, 3*n*n)
	frozen.Directions(n, func(i int, d geom.Vec) {
		c := e.Tissue.Colour.At(d)
		if f := e.Tissue.Vessels; f != nil {
			q := f.At(d)
			c = c.Mul(q).Mul(q)
		}
		for j := range c {
			pix[3*i+j] = float32(c[j])
		}
	}, k.workers)
	return quantised(pix, n, k.set.TextureBits, texture.SRGB8, texture.SRGB16, colour.EncodeSRGB)
}

// quantised makes a map of n x n texels of three values in [0, 1] with the given bits a channel; code turns them into what a coding holds.
func quantised(pix []float32, n, bits int, in8, in16 texture.Coding, code func(float64) float64) texture.Map {
	if bits == 32 {
		return texture.FromImage(texture.NewImage(n, n, 3, pix), texture.Clamp)
	}
	step := func(v float32, top float64) float64 { return math.Round(top * code(max(0, min(1, float64(v))))) }
	if bits == 8 {
		b := make([]uint8, len(pix))
		for i, v := range pix {
			b[i] = uint8(step(v, 255))
		}
		return texture.FromImage(texture.NewImage8(n, n, 3, b, in8), texture.Clamp)
	}
	b := make([]uint16, len(pix))
	for i, v := range pix {
		b[i] = uint16(step(v, 65535))
	}
	return texture.FromImage(texture.NewImage16(n, n, 3, b, in16), texture.Clamp)
}

// chart returns where the map of directions holds the point p; see frozen.VolumeMap.
func chart(p geom.Vec) geom.UV {
	r := math.Hypot(p.X, p.Y)
	q := 0.5 / (r + frozen.VolumeShare*(p.Len()+p.Z) + 1e-12)
	return geom.UV{U: 0.5 + p.X*q, V: 0.5 - p.Y*q}
}

// tissue reads the colour at a point of the eye's frame; dx and dy are the pixel's steps there.
func (k *Look) tissue(y *eyeLook, p, dx, dy geom.Vec) colour.RGB {
	uv := chart(p)
	a, b := chart(p.Add(dx)), chart(p.Add(dy))
	return k.colour(&y.tint, uv, geom.UV{U: a.U - uv.U, V: a.V - uv.V}, geom.UV{U: b.U - uv.U, V: b.V - uv.V})
}

// outer shades the outer shell of an eye: what it mirrors, and below it white and iris, mixed by the zone as the path tracer does.
func (k *frame) outer(f *fragment) (out shaded) {
	y := k.eyes[k.scene.Objects[f.sf.Object].Eye]
	e, b := y.e, y.object
	n := f.sf.Ns
	if e.Normal.Valid() && !f.baked {
		n = k.mapped(f, n, &e.Normal, e.NormalGain)
	}
	n = turn(f.wo, f.sf.Ng, n)
	p := b.ToLocal.Point(f.sf.P)
	dx, dy := b.ToLocal.Vector(f.dx), b.ToLocal.Vector(f.dy)
	w := e.Zone(p)
	wet, alpha := k.wetNormal(y, f, n, p, w)
	mirrored := e.MirroredAll(w, f.wo.Dot(wet))
	out.l = k.tearFilm(y, f, wet, alpha, colour.Grey(mirrored))
	pass := 1 - mirrored
	// The iris behind it.
	var e1, a1, e0, a0 colour.RGB // irradiance and what turns it into radiance: of the iris and of the sclera
	var q geom.Vec
	seen := false
	if p.Z > 0 && math.Hypot(p.X, p.Y) < y.relief.reach {
		if q, seen = k.behind(y, f, n, p); seen {
			w = frozen.Bend(w, e.Zone(q))
		}
	}
	if w < 1 || seen {
		e0 = k.white(y, f, n, p)
	}
	if w < 1 {
		// Light passes a coat straight: beside the iris what it covers lies deeper, and so elsewhere.
		under := p
		if d := b.ToLocal.Vector(f.wo.Neg()).Unit(); seen && d.Z < -0.1 {
			under = y.relief.meet(p, d)
		}
		a0 = k.tissue(y, under, dx, dy).Scale((1 - w) * pass / math.Pi)
	}
	if seen && w > 0 {
		if open, at := y.relief.tissueShare(q, dx, dy); open > 0 {
			tint := k.tissue(y, at, dx, dy)
			e1 = k.iris(y, f, at, dx, dy, tint, e0)
			a1 = tint.Scale(w * pass * open / math.Pi)
		}
	}
	// Both wait to be spread over the picture, with the scattering of their zone.
	zone := 0
	if w > 0.15 {
		zone = 1
	}
	if w > 0.85 {
		zone = 2
	}
	out.kernel, out.owner = y.kernel[zone], y.e
	out.a = a0.Add(a1)
	for c := range out.a {
		if out.a[c] > 0 {
			out.e[c] = (e0[c]*a0[c] + e1[c]*a1[c]) / out.a[c]
		}
	}
	return out
}

// wetNormal returns the normal and the roughness by which the tear film mirrors at a point p of the eye's frame: bumps that a pixel
// does not show one by one make it rough. For a slope of mean square s^2 in two directions the alpha of the same spread is s.
//
// Source of slopes as roughness: Olano and Baker, LEAN Mapping, I3D 2010.
func (k *frame) wetNormal(y *eyeLook, f *fragment, n, p geom.Vec, w float64) (wet geom.Vec, alpha float64) {
	e, b := y.e, y.object
	alpha = e.Alpha(w)
	if e.Bumps.Slope == 0 || w >= 1 {
		return n, alpha
	}
	foot := math.Sqrt(b.ToLocal.Vector(f.dx).Cross(b.ToLocal.Vector(f.dy)).Len())
	q, lost := e.Bumps.Tilt(b.ToLocal.Vector(n).Unit(), p, w, max(foot, 1e-6))
	return turn(f.wo, f.sf.Ng, b.ToWorld.Vector(q).Unit()), math.Sqrt(alpha*alpha + lost)
}

// tearFilm returns what the tear film mirrors: surroundings and lamps or cards, and in front of them what stands about the eye.
func (k *frame) tearFilm(y *eyeLook, f *fragment, n geom.Vec, alpha float64, response colour.RGB) colour.RGB {
	alpha = widen(alpha, f.bend)
	r := geom.Reflect(f.wo, n)
	var lit colour.RGB
	var share float64
	if k.set.Glints == "lamps" || k.set.Glints == "both" {
		lit, share = k.glints(k.lamps, f, n, r, alpha)
	}
	if k.set.Glints == "cards" || k.set.Glints == "both" {
		more, _ := k.glints(k.cards, f, n, r, alpha)
		lit = lit.Add(more)
	}
	out := k.mirrored(r, alpha).Scale(1 - share).Add(lit)
	if y.around != nil && k.set.Reflection != "none" {
		// Two rays at opposite corners of the pixel, and the other two where these differ.
		fr := geom.NewFrame(r)
		wide := math.Sqrt(f.bend/2) / 2 // the mirrored ray turns twice as far as the normal
		ray := func(a, b float64) (colour.RGB, float64) {
			return y.around.meets(f.sf.P, r.Mad(a*wide, fr.S).Mad(b*wide, fr.T).Unit())
		}
		l0, s0 := ray(1, 1)
		l1, s1 := ray(-1, -1)
		l, share := l0.Scale(s0).Add(l1.Scale(s1)), s0+s1
		if s0 != s1 {
			l2, s2 := ray(1, -1)
			l3, s3 := ray(-1, 1)
			l, share = l.Add(l2.Scale(s2)).Add(l3.Scale(s3)).Scale(0.5), (share+s2+s3)/2
		}
		out = out.Scale(1 - share/2).Add(l.Scale(0.5))
	}
	return out.Mul(response)
}

// behind returns the point of the relief that the pixel sees, in the eye's frame.
func (k *frame) behind(y *eyeLook, f *fragment, n geom.Vec, p geom.Vec) (geom.Vec, bool) {
	b := y.object
	d := b.ToLocal.Vector(f.wo.Neg()).Unit()
	ln := b.ToLocal.Vector(n).Unit()
	switch {
	case k.set.Iris == "offset":
		// The point below the surface, moved by the depth times the refracted ray's slope to first order, d/n - (1 - 1/n) N, without
		// a search (after Kaneko et al., Detailed Shape Representation with Parallax Mapping, ICAT 2001).
		depth := max(0, p.Z-y.relief.read(y.relief.z, p.X, p.Y))
		t := d.Mul(1/y.e.Index).Mad(1/y.e.Index-1, ln)
		q := geom.Vec{X: p.X + depth*t.X, Y: p.Y + depth*t.Y}
		q.Z = y.relief.read(y.relief.z, q.X, q.Y)
		return q, true
	case k.set.Iris == "refracted" && !y.e.ForceCoat:
		bent, ok := geom.Refract(d.Neg(), ln, y.e.Index)
		if !ok {
			return p, false
		}
		d = bent
	}
	if d.Z >= 0 {
		return p, false
	}
	return y.relief.meet(p, d), true
}

// iris returns the basic irradiance on the iris at q (eye frame), seen through the cornea's fragment f. Toward the sclera the light just
// beneath the shell takes over by the zone: that is white.
func (k *frame) iris(y *eyeLook, f *fragment, q, dx, dy geom.Vec, tint, white colour.RGB) colour.RGB {
	rise := 1 - y.e.TissueZone(q)
	if rise >= 1 {
		return white
	}
	uv := y.relief.uv(q.X, q.Y)
	s := 1 / (2 * y.relief.reach)
	slope := k.colour(&y.relief.slopes, uv, geom.UV{U: dx.X * s, V: -dx.Y * s}, geom.UV{U: dy.X * s, V: -dy.Y * s})
	ln := geom.Vec{X: slope[0], Y: slope[1], Z: 1}.Unit()
	var e colour.RGB
	if y.behind != nil {
		e = y.behind.at(k.Look, q, ln, slope[2], tint)
	} else {
		n := y.object.ToWorld.Vector(ln).Unit()
		at := y.object.ToWorld.Point(q)
		e = y.sky.at(y.object.ToLocal.Point(f.sf.P), k.ambient.Irradiance(n)).Scale(slope[2])
		for i := range k.lamps {
			l := &k.lamps[i]
			c := l.cosine(at, n)
			if c <= 0 {
				continue
			}
			c *= k.onEyes[i].lit(f.sf.P, f.sf.Ng, k.set.Shadow)
			if k.set.Caustic == "gradient" {
				// Brighter away from the light: 0.072 per mm and sine of its angle, read off rays through the default cornea at
				// 30 to 50 degrees.
				d, _, _, _ := l.toward(at)
				d = y.object.ToLocal.Vector(d).Unit()
				c *= max(0, 1-0.42/y.e.LimbusRadius*(q.X*d.X+q.Y*d.Y))
			}
			e = e.Add(l.strength().Scale(c))
		}
		e = e.Scale(y.sees)
	}
	if k.set.LimbalDarkening > 0 {
		r := math.Hypot(q.X, q.Y)
		e = e.Scale(1 - k.set.LimbalDarkening*geom.Smoothstep(0.75*y.e.LimbusRadius, y.e.LimbusRadius, r))
	}
	if y.e.Tissue.ScatterIris && k.set.Scattering != "none" {
		// Strands are as thin as light travels below their surface: what falls on their flanks comes out over the ground that they
		// cover. So the flux counts by that ground (own approximation), which keeps the energy that tilted facets would lose.
		base := 1.0
		if y.behind != nil {
			base = y.behind.base.normal(q.X, q.Y).Z
		}
		e = e.Scale(min(2, base/ln.Z))
	}
	return colour.Lerp(e, white, rise)
}

// white returns the irradiance on the sclera below its coat, as it counts for what the coat lets out again.
func (k *frame) white(y *eyeLook, f *fragment, n, p geom.Vec) colour.RGB {
	e := y.sky.at(p, k.ambient.Irradiance(n))
	round := y.object.Scale * p.Len()
	w := y.e.Zone(p)
	bent := k.set.Scattering == "bent" && y.e.Tissue.ScatterSclera
	for i := range k.lamps {
		l := &k.lamps[i]
		d, _, sin, ok := l.toward(f.sf.P)
		if !ok {
			continue
		}
		c := colour.Grey(l.cosine(f.sf.P, n))
		cos := d.Dot(n)
		if bent {
			// The light's middle stands for all of it: what bending the light adds to what falls straight on.
			if all := l.cosine(f.sf.P, d); cos > -0.7 && all > 0 {
				for q := range c {
					c[q] += all * (shading.Bent(cos, y.spread[q].D/round) - max(0, cos))
					c[q] = max(0, c[q])
				}
			}
		}
		if c.Max() <= 0 {
			continue
		}
		lit := k.onEyes[i].lit(f.sf.P, n, k.set.Shadow)
		e = e.Add(l.strength().Mul(c).Scale(lit * (1 - y.e.Mirrored(w, steepness(cos, 0.7*sin))) / y.e.CoatShare(w)))
	}
	return e
}

// steepness returns the cosine at which a light whose middle stands at cos, and which reaches s to either side, falls on a surface in the mean:
// that of its part above the horizon, weighted by itself, as if it were even in height.
func steepness(cos, s float64) float64 {
	a, b := max(0, cos-s), min(1, cos+s)
	if b-a < 1e-6 {
		return max(0.02, cos)
	}
	return 2.0 / 3 * (b*b*b - a*a*a) / (b*b - a*a)
}

// turn is the shading normal of a surface, which the middle of a pixel may see from beneath by rounding.
func turn(wo, ng, ns geom.Vec) geom.Vec { return geom.ShadingNormal(wo, ng, ns, 1e-4) }
