package frozen

import (
	"catchlight/material/microfacet"
	"catchlight/material/tissue"
)

// RoughCoat is a tissue.Coat with a rough face: its facets mirror by single scattering, and what they do not mirror
// passes, so that with a white base still nothing is lost. Read-only after NewRoughCoat.
//
// Source: the layering by directional albedo of Kulla and Conty, SIGGRAPH course notes 2017 (from
// memory), in the form of tissue.Coat.
type RoughCoat struct {
	share *microfacet.Balance
	flat  float64 // share of diffuse light that is let in
	norm  float64 // of the outward factor: 1 over it, or for light that does not come evenly; see Crossing
}

// NewRoughCoat makes the coat c rough; an alpha below microfacet.MinAlpha leaves it smooth.
func NewRoughCoat(alpha float64, c *tissue.Coat) RoughCoat {
	r := RoughCoat{share: microfacet.NewBalance(alpha, 0, c.Reflectance)}
	const n = 256
	re := 0.0
	for i := range n {
		mu := (float64(i) + 0.5) / n
		re += 2 * mu * r.share.Mirrored(mu) / n
	}
	r.flat, r.norm = 1-re, 1/(1-re)
	return r
}

// Mirrored returns the share of light from outside at cosine c that the coat mirrors.
func (r *RoughCoat) Mirrored(c float64) float64 { return r.share.Mirrored(c) }

// Out returns the factor of light on its way out at cosine c.
func (r *RoughCoat) Out(c float64) float64 { return (1 - r.share.Mirrored(c)) * r.norm }

// RoughSide is a rough interface met from one side.
type RoughSide struct {
	Eta   float64 // index of the far side over that of the near side
	Share *microfacet.Balance
}

// RoughGain returns the factor by which light that a rough dielectric mirrors or passes makes up for what scatters between
// its facets; mu is the cosine on the near side.
func (m *Material) RoughGain(eta, mu float64) float64 {
	for i := range m.Rough {
		if s := &m.Rough[i]; s.Eta == eta {
			return s.Share.Gain(mu)
		}
	}
	return 1
}

// filmZones is how many zone weights the tear film's balance is tabulated at, from sclera to cornea.
const filmZones = 9

// Film is what Prepare and PrepareRough tabulate of an eye. It rests on its indices, roughnesses and Crossing alone.
type Film struct {
	coat            tissue.Coat
	gain            float64
	zones           []RoughCoat
	bendIn, bendOut *microfacet.Balance
}

// Film returns what was tabulated of an eye.
func (e *Eye) Film() *Film { return &Film{e.coat, e.coatGain, e.film, e.BendIn, e.BendOut} }

// Take gives an eye what was tabulated of one with the same indices, roughnesses and Crossing.
func (e *Eye) Take(f *Film) {
	e.coat, e.coatGain, e.film, e.BendIn, e.BendOut = f.coat, f.gain, f.zones, f.bendIn, f.bendOut
}

// PrepareRough tabulates the eye's rough faces; coat is the switch that leaves out what the tear film mirrors.
func (e *Eye) PrepareRough(coat bool) {
	if max(e.AlphaCornea, e.AlphaSclera) >= microfacet.MinAlpha {
		e.film = make([]RoughCoat, filmZones)
		for i := range e.film {
			e.film[i] = NewRoughCoat(e.Alpha(float64(i)/(filmZones-1)), &e.coat)
			e.film[i].norm *= e.Crossing.gain(e.film[i].Out)
		}
	}
	if a := e.BendAlpha(); a >= microfacet.MinAlpha {
		e.BendIn = microfacet.NewBalance(a, e.Index, func(c float64) float64 { return e.FacetIn(c, coat) })
		e.BendOut = microfacet.NewBalance(a, 1/e.Index, func(c float64) float64 { return e.FacetOut(c, coat) })
	}
}

// Mirrored returns the share of light from outside at cosine c that the tear film mirrors where the zone weight is w.
func (e *Eye) Mirrored(w, c float64) float64 {
	if e.Alpha(w) < microfacet.MinAlpha {
		return e.Reflectance(c)
	}
	i, f := filmZone(w)
	return (1-f)*e.film[i].Mirrored(c) + f*e.film[i+1].Mirrored(c)
}

// MirroredOut is CoatOut where the zone weight is w, with the film's roughness there.
func (e *Eye) MirroredOut(w, c float64) float64 {
	if e.Alpha(w) < microfacet.MinAlpha {
		return e.CoatOut(c)
	}
	i, f := filmZone(w)
	return (1-f)*e.film[i].Out(c) + f*e.film[i+1].Out(c)
}

// MirroredAll is Mirrored with what a rough cornea mirrors of light that scatters between its facets: the rest passes.
func (e *Eye) MirroredAll(w, c float64) float64 {
	m := e.Mirrored(w, c)
	if e.BendIn != nil {
		m *= 1 + w*(e.BendIn.Gain(c)-1)
	}
	return m
}

// CoatShare returns the share of diffuse light on the shell that the coat lets in where the zone weight is w.
func (e *Eye) CoatShare(w float64) float64 {
	if e.Alpha(w) < microfacet.MinAlpha {
		return e.coat.In(1) / e.coat.Out(1)
	}
	i, f := filmZone(w)
	return (1-f)*e.film[i].flat + f*e.film[i+1].flat
}

func filmZone(w float64) (i int, f float64) {
	x := w * (filmZones - 1)
	i = min(int(x), filmZones-2)
	return i, x - float64(i)
}
