package frozen

import (
	"math"

	"catchlight/material/microfacet"
	"catchlight/material/tissue"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// Gloss is the coat of skin. Its facets are of two kinds (microfacet.Pair), it mirrors more where skin is oily, and it has a relief
// of lines and pores finer than the mesh. What of the relief is drawn is taken out of the roughness, as both are slopes of one face:
// the square of a lobe's alpha is the square of what is seen from afar less the mean square of the slope that the relief has about
// there, mesh and map together. A look-up over a footprint gives back what it evens out.
//
// Source of the sum of squares: Olano and Baker, LEAN Mapping, I3D 2010 (from memory): slopes of a normal distribution add so, and an
// alpha is the root of twice their variance along one axis, that is of both axes together.
type Gloss struct {
	Tilt   texture.Map // slope of the relief, in the object's frame: the normal is that of the mesh less it, in the tangent plane
	Square texture.Map // square of Tilt's length
	Sheen  texture.Map // mean square slope of lines and pores about there; oil: what multiplies all that is mirrored, 0 to 1; what multiplies roughness
	Oil    float64     // multiplies the map's
	Seen   microfacet.Pair
	table  [glossNodes]*microfacet.Balance
	even   [glossNodes]float64 // what of diffuse light is mirrored
}

// The balance is tabulated at roughnesses up from glossLeast, evenly; between them it is linear.
const (
	glossNodes = 9
	glossLeast = 0.1
	glossStep  = 0.1
)

// NewGloss makes the gloss of a coat without relief; its maps may be set afterwards.
func NewGloss(seen microfacet.Pair, c *tissue.Coat) *Gloss {
	g := &Gloss{Seen: seen, Oil: 1}
	for i := range g.table {
		b := microfacet.NewBalance(glossLeast+glossStep*float64(i), 0, c.Reflectance)
		const n = 256
		for k := range n {
			mu := (float64(k) + 0.5) / n
			g.even[i] += 2 * mu * b.Mirrored(mu) / n
		}
		g.table[i] = b
	}
	return g
}

// Face is how a coat's facets lie at a place, and what share of light they mirror of what the index alone says.
type Face struct {
	Lobes microfacet.Pair
	Oil   float64
}

// FaceAt returns the face of flesh of roughness alpha at uv.
func (f *Flesh) FaceAt(alpha float64, uv geom.UV) Face {
	if f.Gloss == nil {
		return Face{Lobes: microfacet.Pair{A: alpha, B: alpha, Part: 1}, Oil: 1}
	}
	return f.Gloss.Face(uv, 0)
}

// Face returns the face at uv without what slopes the relief has there; lost is the mean square slope that a look-up of Tilt evened
// out.
func (g *Gloss) Face(uv geom.UV, lost float64) Face {
	f := Face{Lobes: g.Seen, Oil: min(1, g.Oil)}
	if g.Sheen.Valid() {
		c := g.Sheen.RGB(uv, 0)
		f.Oil = max(0, min(1, g.Oil*c[1]))
		f.Lobes.A, f.Lobes.B = g.narrow(c[2]*f.Lobes.A, c[0], lost), g.narrow(c[2]*f.Lobes.B, c[0], lost)
	}
	return f
}

// narrow takes the mean square slope s out of an alpha and puts what of it is lost to the view back. Half of an alpha stays in any
// case: no facet of skin is a mirror.
func (g *Gloss) narrow(alpha, s, lost float64) float64 {
	return max(glossLeast, math.Sqrt(max(0.25*alpha*alpha, alpha*alpha-s)+lost))
}

// Slope returns the mean slope of the relief over a footprint in uv, in the object's frame, and with a footprint its mean square.
func (g *Gloss) Slope(uv geom.UV, footprint float64) (s geom.Vec, square float64) {
	if !g.Tilt.Valid() {
		return s, 0
	}
	c := g.Tilt.RGB(uv, footprint)
	if footprint > 0 {
		square = g.Square.Scalar(uv, footprint)
	}
	return geom.Vec{X: c[0], Y: c[1], Z: c[2]}, square
}

// Bend returns the normal n of object b (world, unit) with a slope of the relief on it.
func (g *Gloss) Bend(b *Object, n, slope geom.Vec) geom.Vec {
	s := b.ToWorld.Vector(slope).Mul(1 / b.Scale)
	return n.Mad(s.Dot(n), n).Sub(s).Unit()
}

// Relief returns the normal of flesh at a surface point with its fine relief, where it has one.
func (s *Scene) Relief(sf *Surface) geom.Vec {
	b := &s.Objects[sf.Object]
	if f := b.Material.Flesh; f != nil && f.Gloss != nil {
		s, _ := f.Gloss.Slope(sf.UV, 0)
		return f.Gloss.Bend(b, sf.Ns, s)
	}
	return sf.Ns
}

// Share returns the share of light from outside at cosine c that facets of one kind mirror where skin is oily.
func (g *Gloss) Share(alpha, c float64) float64 {
	i, f := glossNode(alpha)
	return (1-f)*g.table[i].Mirrored(c) + f*g.table[i+1].Mirrored(c)
}

func (g *Gloss) mirrored(w *Face, c float64) float64 {
	return w.Oil * (w.Lobes.Part*g.Share(w.Lobes.A, c) + (1-w.Lobes.Part)*g.Share(w.Lobes.B, c))
}

// diffuse returns the share of light from all around that the face mirrors.
func (g *Gloss) diffuse(w *Face) float64 {
	at := func(alpha float64) float64 {
		i, f := glossNode(alpha)
		return (1-f)*g.even[i] + f*g.even[i+1]
	}
	return w.Oil * (w.Lobes.Part*at(w.Lobes.A) + (1-w.Lobes.Part)*at(w.Lobes.B))
}

func glossNode(alpha float64) (i int, f float64) {
	x := max(0, min((alpha-glossLeast)/glossStep, glossNodes-1))
	i = min(int(x), glossNodes-2)
	return i, x - float64(i)
}
