package frozen

import (
	"math"
	"unsafe"

	"catchlight/material/microfacet"
	"catchlight/material/tissue"
	"catchlight/render/accel"
	"catchlight/render/memory"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
	"catchlight/scene/texture"
)

// Eye is a two-shell eye. Its own frame has the origin in the centre of the globe, +Z out of the cornea, +Y up; both
// shells share it, and the local frame of both objects is this frame.
//
// The zone weight, not the gap between the shells, decides the physics of the outer shell: weight 1 is a dielectric
// interface, weight 0 a thin coat, and in between it is the first with that probability.
type Eye struct {
	Outer, Inner  int32   // objects
	LimbusRadius  float64 // local mm
	LimbusWidth   float64
	Opaque        float64             // mm by which the white reaches in over the cornea above and below; at the sides it is opaqueAside of it
	ForceCoat     bool                // no refraction anywhere: comparison only
	Index         float64             // bends light
	ReflectIndex  float64             // strength of reflection, at the outside angle
	Crossing      Crossing            // of the shell by light that leaves the sclera
	coat          tissue.Coat         // of ReflectIndex
	coatGain      float64             // makes its outward factor 1 in the mean over Crossing
	film          []RoughCoat         // by zone weight, where the tear film is rough; see PrepareRough
	BendIn        *microfacet.Balance // of a rough cornea where it bends light, from outside
	BendOut       *microfacet.Balance // and from inside
	AlphaCornea   float64             // GGX alpha of the tear film
	AlphaSclera   float64
	SmoothRefract bool
	Far           float64     // radius about the origin that holds the inner shell, local mm
	Normal        texture.Map // tangent-space normal map of the outer shell
	NormalGain    float64
	Bumps         Bumps       // of the wet skin over the white
	facets        *facetGrid  // of the outer shell with a normal map; made with the first table
	InnerNormal   texture.Map // of the inner shell

	InnerNormalGain float64
	Tissue          Tissue
}

// Tissue is the scattering object inside an eye's inner shell. Extinction is constant in each zone and blends across
// the limbus; only the single-scattering albedo follows the colour map.
type Tissue struct {
	ScatterIris   bool
	ScatterSclera bool
	SigmaIris     colour.RGB // extinction, 1/mm of the eye's own frame
	SigmaSclera   colour.RGB
	GuideIris     Guide // steer guided walks in the zones
	GuideSclera   Guide
	Alpha         *VolumeMap // single-scattering albedo
	Colour        *VolumeMap // diffuse reflectance
	Vessels       *VolumeMap // share of light that shallow vessels on top let pass on one crossing; nil is all
}

// Prepare fills what is derived.
func (e *Eye) Prepare() {
	e.coat = tissue.NewCoat(e.ReflectIndex)
	e.coatGain = e.Crossing.gain(e.coat.Out)
}

// Zone returns the iris-zone weight of a point of the eye's frame: 1 in the iris and cornea, 0 in the sclera, with a
// smooth blend LimbusWidth wide about the cylinder of LimbusRadius, and 0 behind the centre of the globe.
func (e *Eye) Zone(p geom.Vec) float64 {
	if e.ForceCoat {
		return 0
	}
	return e.TissueZone(p)
}

// Bend returns the probability with which the outer shell is a dielectric interface between what is outside and a point in
// the chamber: out and in are the Zone of the shell's point and of that one. Toward the iris the shell always bends light, as
// the thin coat is one over tissue: without this light would reach the iris straight through the coat beside the cornea.
func Bend(out, in float64) float64 { return 1 - (1-out)*(1-in) }

// TissueZone is Zone for the tissue's coefficients, which do not follow the switch that turns refraction off.
func (e *Eye) TissueZone(p geom.Vec) float64 {
	if p.Z <= 0 {
		return 0
	}
	h := e.LimbusWidth / 2
	r2 := p.X*p.X + p.Y*p.Y
	if a := e.LimbusRadius - h - e.Opaque; r2 <= a*a {
		return 1
	}
	if b := e.LimbusRadius + h; r2 >= b*b {
		return 0
	}
	middle := e.LimbusRadius - e.Opaque*(opaqueAside+(1-opaqueAside)*p.Y*p.Y/r2)
	return 1 - geom.Smoothstep(middle-h, middle+h, math.Sqrt(r2))
}

// opaqueAside is how far the white reaches in at the sides, over how far above and below.
const opaqueAside = 0.3

// Majorant returns the larger extinction of the two zones, by channel.
func (t *Tissue) Majorant() (m colour.RGB) {
	for c := range m {
		m[c] = max(t.SigmaIris[c], t.SigmaSclera[c])
	}
	return
}

// Extinction returns the extinction at a point of the tissue, in the eye's frame, and how far around it at least it holds, in
// mm. pure is false where the zones blend: there the value is nil and Blended knows it.
func (e *Eye) Extinction(p geom.Vec) (sigma *colour.RGB, room float64, pure bool) {
	half := e.LimbusWidth / 2
	r := math.Sqrt(p.X*p.X + p.Y*p.Y)
	sigma, room = &e.Tissue.SigmaSclera, r-(e.LimbusRadius+half)
	if room < 0 {
		if p.Z <= 0 {
			room = -p.Z
		} else if room = min(e.LimbusRadius-e.Opaque-half-r, p.Z); room > 0 {
			sigma = &e.Tissue.SigmaIris
		}
	}
	if room < 0.02 {
		return nil, math.Inf(1), false
	}
	return sigma, room, true
}

// Blended returns the extinction at a point of the tissue, in the eye's frame.
func (e *Eye) Blended(p geom.Vec) (sigma colour.RGB) {
	w := e.TissueZone(p)
	for c := range sigma {
		sigma[c] = w*e.Tissue.SigmaIris[c] + (1-w)*e.Tissue.SigmaSclera[c]
	}
	return
}

// Reflectance returns the outer shell's Fresnel reflectance seen from outside at cosine c. The index of reflection
// may differ from that of bending.
func (e *Eye) Reflectance(c float64) float64 { return e.coat.Reflectance(c) }

// FacetIn returns what a facet of the outer shell mirrors at cosine c outside; coat is the switch that leaves out what the
// tear film mirrors.
func (e *Eye) FacetIn(c float64, coat bool) float64 {
	if !coat {
		return 0
	}
	return e.Reflectance(c)
}

// FacetOut is FacetIn for light from inside at cosine c there: 1 past the critical angle.
func (e *Eye) FacetOut(c float64, coat bool) float64 {
	s2 := (1 - c*c) * e.Index * e.Index
	if s2 >= 1 {
		return 1
	}
	return e.FacetIn(math.Sqrt(1-s2), coat)
}

// CoatOut is the factor of light that passes the coat outward at cosine c at the shell; inward it is 1 - Reflectance. See
// tissue.Coat; the shell lies above the tissue, so that light which leaves that evenly crosses it more steeply, and the factor
// is normalised for those directions.
func (e *Eye) CoatOut(c float64) float64 { return e.coat.Out(c) * e.coatGain }

// BendAlpha returns the GGX alpha of the cornea where it bends light: 0 if that is to be smooth. The roughness of the
// tear film over the sclera scatters what it mirrors alone, so it does not reach into the limbus here.
func (e *Eye) BendAlpha() float64 {
	if e.SmoothRefract {
		return 0
	}
	return e.AlphaCornea
}

// Alpha returns the GGX alpha of the tear film at zone weight w, where it mirrors light.
func (e *Eye) Alpha(w float64) float64 { return w*e.AlphaCornea + (1-w)*e.AlphaSclera }

// Guide holds, by channel, the diffusion length nu of a zone's mean albedo in mean free paths, and ln((nu+1)/(nu-1)).
type Guide struct{ Nu, Log colour.RGB }

// NewGuide makes a guide of diffusion lengths above 1.
func NewGuide(nu colour.RGB) Guide {
	g := Guide{Nu: nu}
	for c, v := range nu {
		g.Log[c] = math.Log((v + 1) / (v - 1))
	}
	return g
}

// VolumeMap holds a colour for each direction from the centre of the globe, so that a point inside the volume can
// look up what is painted in front of it. It is a picture in the stereographic radius about the optical axis, drawn
// in so that the iris takes half of the radius: rho = s/(s + VolumeShare), s = tan(angle/2).
type VolumeMap struct {
	n   int
	pix []float32 // 3 n n
}

// VolumeShare is tan(angle/2) of the direction that lies at half the map's radius: 35 degrees, just outside the iris.
const VolumeShare = 0.315

// NewVolumeMap makes a map of n x n texels by asking f for each texel i and its direction d (unit, eye frame). Rows
// are made by that many workers.
func NewVolumeMap(n int, f func(i int, d geom.Vec) colour.RGB, workers int) *VolumeMap {
	m := &VolumeMap{n: n, pix: make([]float32, 3*n*n)}
	Directions(n, func(i int, d geom.Vec) {
		c := f(i, d)
		m.pix[3*i], m.pix[3*i+1], m.pix[3*i+2] = float32(c[0]), float32(c[1]), float32(c[2])
	}, workers)
	return m
}

// Directions calls f for each texel of a map of n x n: its number in reading order and its direction.
func Directions(n int, f func(i int, d geom.Vec), workers int) {
	m := &VolumeMap{n: n}
	parallel.Each(n, workers, func(y int) {
		for x := 0; x < n; x++ {
			f(y*n+x, m.direction(x, y))
		}
	})
}

// Side is how many texels the map has along a side.
func (m *VolumeMap) Side() int { return m.n }

// Map returns the map of g(c) for each texel's c.
func (m *VolumeMap) Map(g func(c colour.RGB) colour.RGB, workers int) *VolumeMap {
	out := &VolumeMap{n: m.n, pix: make([]float32, len(m.pix))}
	parallel.Each(m.n, workers, func(y int) {
		for i := 3 * y * m.n; i < 3*(y+1)*m.n; i += 3 {
			c := g(colour.RGB{float64(m.pix[i]), float64(m.pix[i+1]), float64(m.pix[i+2])})
			out.pix[i], out.pix[i+1], out.pix[i+2] = float32(c[0]), float32(c[1]), float32(c[2])
		}
	})
	return out
}

// HugePages has the map kept on huge pages; m may be nil.
func (m *VolumeMap) HugePages() {
	if m != nil {
		memory.Huge(m.pix)
	}
}

func (m *VolumeMap) direction(x, y int) geom.Vec {
	a := (float64(x)+0.5)/float64(m.n)*2 - 1
	b := 1 - (float64(y)+0.5)/float64(m.n)*2
	rho := math.Hypot(a, b)
	if rho < 1e-9 {
		return geom.Vec{Z: 1}
	}
	q := min(rho, 0.999)
	s := VolumeShare * q / (1 - q)
	sin, cos := 2*s/(1+s*s), (1-s*s)/(1+s*s)
	return geom.Vec{X: sin * a / rho, Y: sin * b / rho, Z: cos}
}

// At returns the colour in front of point p of the eye's frame, bilinear between texels.
func (m *VolumeMap) At(p geom.Vec) colour.RGB {
	c := m.cell(p)
	return m.In(&c)
}

// VolumeCell is a place in a VolumeMap.
type VolumeCell struct {
	at     int // of the first number of the upper left of its four texels
	fx, fy float64
}

// Ahead returns the place in front of point p, and has what is there loaded meanwhile.
func (m *VolumeMap) Ahead(p geom.Vec) VolumeCell {
	c := m.cell(p)
	memory.Fetch(unsafe.Pointer(&m.pix[c.at]), unsafe.Pointer(&m.pix[c.at+3*m.n]))
	return c
}

func (m *VolumeMap) cell(p geom.Vec) VolumeCell {
	r2 := p.X*p.X + p.Y*p.Y
	l := math.Sqrt(r2 + p.Z*p.Z)
	// With s = r/(l+z), rho/r = 1/(r + share (l+z)): no division by a small number on the axis.
	k := 1 / (math.Sqrt(r2) + VolumeShare*(l+p.Z) + 1e-12)
	n := float64(m.n)
	x := (0.5+0.5*p.X*k)*n - 0.5
	y := (0.5-0.5*p.Y*k)*n - 0.5
	lim := float64(m.n - 1)
	x, y = max(0, min(x, lim)), max(0, min(y, lim))
	ix, iy := int(x), int(y)
	ix, iy = min(ix, m.n-2), min(iy, m.n-2)
	return VolumeCell{3 * (iy*m.n + ix), x - float64(ix), y - float64(iy)}
}

// In returns the colour at a place.
func (m *VolumeMap) In(at *VolumeCell) colour.RGB {
	i, fx, fy := at.at, at.fx, at.fy
	j := i + 3*m.n
	a := m.pix[i : i+6 : i+6]
	b := m.pix[j : j+6 : j+6]
	var c colour.RGB
	for q := 0; q < 3; q++ {
		top := float64(a[q]) + fx*(float64(a[q+3])-float64(a[q]))
		bot := float64(b[q]) + fx*(float64(b[q+3])-float64(b[q]))
		c[q] = top + fy*(bot-top)
	}
	return c
}

// Mean returns the solid-angle-free mean over texels that keep reports true for their direction.
func (m *VolumeMap) Mean(keep func(d geom.Vec) bool) colour.RGB {
	var sum [3]float64
	var cnt float64
	step := max(1, m.n/256)
	for y := step / 2; y < m.n; y += step {
		for x := step / 2; x < m.n; x += step {
			if d := m.direction(x, y); keep(d) {
				i := 3 * (y*m.n + x)
				for c := 0; c < 3; c++ {
					sum[c] += float64(m.pix[i+c])
				}
				cnt++
			}
		}
	}
	if cnt == 0 {
		return colour.RGB{}
	}
	return colour.RGB(sum).Scale(1 / cnt)
}

// ShellPoint is a point of an eye's outer shell in the eye's own frame, with the normal that bends light there.
type ShellPoint struct {
	Prim uint32
	U, V float64
	P    geom.Vec // local
	N    geom.Vec // unit; interpolated, and perturbed by the normal map where the shell has one
	Ng   geom.Vec
	Dist float64 // from the ray's origin, local mm
}

// CastOuter finds where a local ray from inside meets the outer shell. The point lies on the ray and in the
// triangle's plane to float64.
func (s *Scene) CastOuter(sc *accel.Scratch, e *Eye, o, d geom.Vec, tmin, tmax float64, mapped bool, out *ShellPoint) bool {
	b := &s.Objects[e.Outer]
	var h accel.Hit
	if !b.BVH.Closest(sc, o, d, tmin, tmax, &h) {
		return false
	}
	m := b.Mesh
	t := m.Tri[h.Prim]
	p0 := m.P[t[0]]
	e1, e2 := m.P[t[1]].Sub(p0), m.P[t[2]].Sub(p0)
	n := e1.Cross(e2)
	// Plane hit and barycentrics in float64.
	den := n.Dot(d)
	if den == 0 {
		return false
	}
	dist := n.Dot(p0.Sub(o)) / den
	q := o.Mad(dist, d).Sub(p0)
	n2 := n.Len2()
	u := q.Cross(e2).Dot(n) / n2
	v := e1.Cross(q).Dot(n) / n2
	out.Prim, out.U, out.V, out.Dist = h.Prim, u, v, dist
	s.shellPoint(e, out, mapped)
	out.Ng = n.Mul(1 / math.Sqrt(n2))
	return true
}

func (s *Scene) shellPoint(e *Eye, out *ShellPoint, mapped bool) {
	m := s.Objects[e.Outer].Mesh
	t := m.Tri[out.Prim]
	out.P = geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], out.U, out.V)
	out.N = geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], out.U, out.V).Unit()
	if mapped && e.Normal.Valid() {
		out.N, _, _ = s.mappedNormal(e, out, false)
	}
}

// mappedNormal applies the outer shell's normal map; with derivs it also returns dN/db1 and dN/db2.
func (s *Scene) mappedNormal(e *Eye, p *ShellPoint, derivs bool) (n, d1, d2 geom.Vec) {
	m := s.Objects[e.Outer].Mesh
	t := m.Tri[p.Prim]
	at := func(u, v float64) geom.Vec {
		base := geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], u, v).Unit()
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		w := 1 - u - v
		uv := geom.UV{U: w*a.U + u*b.U + v*c.U, V: w*a.V + u*b.V + v*c.V}
		return s.Objects[e.Outer].Tilted(p.Prim, base, u, v, e.Normal.Normal(uv, 0), e.NormalGain)
	}
	n = at(p.U, p.V)
	if !derivs {
		return n, geom.Vec{}, geom.Vec{}
	}
	const h = 1e-3
	d1 = at(p.U+h, p.V).Sub(at(p.U-h, p.V)).Mul(1 / (2 * h))
	d2 = at(p.U, p.V+h).Sub(at(p.U, p.V-h)).Mul(1 / (2 * h))
	return n, d1, d2
}

// ShellDerivs returns the triangle's edges (dP/db1, dP/db2) and the normal's derivatives by the barycentrics.
func (s *Scene) ShellDerivs(e *Eye, p *ShellPoint, mapped bool) (e1, e2, d1, d2 geom.Vec) {
	m := s.Objects[e.Outer].Mesh
	t := m.Tri[p.Prim]
	p0 := m.P[t[0]]
	e1, e2 = m.P[t[1]].Sub(p0), m.P[t[2]].Sub(p0)
	if mapped && e.Normal.Valid() {
		_, d1, d2 = s.mappedNormal(e, p, true)
		return
	}
	n0, n1, n2 := m.N[t[0]], m.N[t[1]], m.N[t[2]]
	raw := geom.Mix(n0, n1, n2, p.U, p.V)
	l := raw.Len()
	n := raw.Mul(1 / l)
	a, b := n1.Sub(n0).Mul(1/l), n2.Sub(n0).Mul(1/l)
	d1 = a.Mad(-a.Dot(n), n)
	d2 = b.Mad(-b.Dot(n), n)
	return
}

// Tilted returns the unit normal, in the object's frame, that a vector q of a tangent-space normal map, green up, stands for at
// barycentrics u, v of a triangle; gain scales its slopes, as the standard's scale does. Where the mesh gives no
// direction it is n. See mesh.Tangents.
func (b *Object) Tilted(prim uint32, n geom.Vec, u, v float64, q geom.Vec, gain float64) geom.Vec {
	d := b.Tangents.Decode(b.Mesh, prim, u, v, gain*q.X, gain*q.Y, max(0.02, q.Z))
	if d.Len2() < 1e-12 {
		return n
	}
	return d.Unit()
}

// MappedNormal tilts the shading normal of an eye's surface point by a normal map of its object; gain scales the slopes.
func (s *Scene) MappedNormal(sf *Surface, m *texture.Map, gain float64) geom.Vec {
	b := &s.Objects[sf.Object]
	n := b.ToLocal.Vector(sf.Ns).Unit()
	return b.ToWorld.Vector(b.Tilted(sf.Prim, n, sf.U, sf.V, m.Normal(sf.UV, 0), gain)).Unit()
}
