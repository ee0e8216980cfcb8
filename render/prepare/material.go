package prepare

import (
	"errors"
	"fmt"
	"slices"

	"catchlight/material/fresnel"
	"catchlight/material/medium"
	"catchlight/material/microfacet"
	"catchlight/material/tissue"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// material makes a material; own is what the object's file says of it, nil for nothing.
func (p *preparer) material(b *scene.Object, m *scene.Material, own *ownLook) frozen.Material {
	key := "objects." + b.Name + ".material"
	out := frozen.Material{Eta: m.Eta, K: m.K, Mirror: m.Mirror, Index: m.Index, Alpha: m.Roughness * m.Roughness}
	switch m.Kind {
	case "diffuse":
		out.Kind = frozen.Diffuse
	case "conductor":
		out.Kind = frozen.Conductor
	case "dielectric":
		out.Kind = frozen.Dielectric
	case "matched":
		out.Kind = frozen.Matched
	case "tears":
		out.Kind = frozen.TearLine
	}
	tex, err := p.texture(key+".colour", &m.Colour, true)
	if err != nil {
		p.fail(key+".colour", err)
	}
	if own != nil {
		if own.colour.Valid() {
			tex = own.colour
		}
		if m.Roughness == 0 && own.rough > 0 {
			q := *m
			q.Roughness = own.rough
			m, out.Alpha = &q, own.rough*own.rough
		}
	}
	out.Colour = tex
	if m.Kind == "tissue" {
		out.Kind, out.Flesh = frozen.Soft, flesh(m, &tex)
	}
	if in := m.Inside; in != nil {
		if m.Kind != "dielectric" && m.Kind != "matched" {
			p.fail(key+".inside", fmt.Errorf("a %s surface lets no light in; only dielectric and matched objects can hold a medium", m.Kind))
			return out
		}
		var med medium.Medium
		switch {
		case in.Colour != nil && in.MeanFreePath != nil:
			alpha := colour.RGB{}
			for c := range alpha {
				// The inversion is for isotropic scattering: with g it gives the reduced albedo, undone here.
				a := tissue.SingleScatterAlbedo(in.Colour[c])
				alpha[c] = a / (1 - in.G + a*in.G)
			}
			med, err = medium.New(*in.MeanFreePath, alpha, in.G)
		case in.SigmaA != nil && in.SigmaS != nil:
			med, err = medium.FromCoefficients(*in.SigmaA, *in.SigmaS, in.G)
		default:
			err = errors.New("give sigma_a and sigma_s, or colour and mean_free_path")
		}
		if err != nil {
			p.fail(key+".inside", err)
		}
		out.HasMedium, out.Medium = true, med
	}
	return out
}

// balance tabulates rough dielectrics for every step of the index that they may make: against air and whatever else may
// lie on their other side.
func (p *preparer) balance() {
	others := []float64{1}
	for i := range p.out.Objects {
		switch m := &p.out.Objects[i].Material; m.Kind {
		case frozen.Dielectric:
			others = append(others, m.Index)
		case frozen.Outer:
			others = append(others, p.out.Eyes[p.out.Objects[i].Eye].Index)
		}
	}
	slices.Sort(others)
	others = slices.Compact(others)
	for i := range p.out.Objects {
		m := &p.out.Objects[i].Material
		if m.Kind != frozen.Dielectric || m.Alpha < microfacet.MinAlpha {
			continue
		}
		for _, n := range others {
			for _, eta := range []float64{m.Index / n, n / m.Index} {
				if eta != 1 {
					m.Rough = append(m.Rough, frozen.RoughSide{Eta: eta, Share: microfacet.NewBalance(m.Alpha, eta, func(c float64) float64 { return fresnel.Dielectric(c, eta) })})
				}
			}
		}
	}
}

// flesh makes the object under a map: one that is deep shows the brightest colour of the map, looked for on a grid.
func flesh(m *scene.Material, tex *texture.Map) *frozen.Flesh {
	top := tex.RGB(geom.UV{}, 0)
	const n = 128
	for i := range n * n {
		if !tex.Varies() {
			break
		}
		c := tex.RGB(geom.UV{U: (float64(i%n) + 0.5) / n, V: (float64(i/n) + 0.5) / n}, 1.0/n)
		for k := range top {
			top[k] = max(top[k], c[k])
		}
	}
	f := &frozen.Flesh{Top: top, Clear: m.Index == 1, Solid: !m.Scattering, Alpha: albedo(top, nil, nil)}
	f.Sigma, f.Guide = zone(top, m.ScatterRadius, nil, nil, 1)
	if !f.Clear {
		f.Coat = tissue.NewCoat(m.Index)
		if a := m.Roughness * m.Roughness; a >= microfacet.MinAlpha {
			r := frozen.NewRoughCoat(a, &f.Coat)
			f.Rough = &r
		}
	}
	return f
}

// Soft makes a scattering object under a coat.
func Soft(c texture.Map, half colour.RGB, index, roughness float64, scatter bool) frozen.Material {
	m := scene.Material{ScatterRadius: half, Index: index, Roughness: roughness, Scattering: scatter}
	return frozen.Material{Kind: frozen.Soft, Colour: c, Index: index, Alpha: roughness * roughness, Flesh: flesh(&m, &c)}
}

// zone returns a zone's extinction per mm of the eye's frame and its guide, from its mean reflectance and radius or from
// its coefficients where the scene gives those.
func zone(mean, half colour.RGB, a, s *colour.RGB, scale float64) (sigma colour.RGB, g frozen.Guide) {
	var nu colour.RGB
	for c := range nu {
		alpha := tissue.SingleScatterAlbedo(mean[c])
		sigma[c] = scale / tissue.MeanFreePath(half[c], alpha)
		if s != nil {
			alpha, sigma[c] = s[c]/(a[c]+s[c]), scale*(a[c]+s[c])
		}
		nu[c] = tissue.DiffusionLength(alpha)
	}
	return sigma, frozen.NewGuide(nu)
}

// albedo returns the single-scattering albedo of a zone: of its coefficients, else of a reflectance.
func albedo(q colour.RGB, a, s *colour.RGB) (alpha colour.RGB) {
	for c := range alpha {
		if s != nil {
			alpha[c] = s[c] / (a[c] + s[c])
		} else {
			alpha[c] = tissue.SingleScatterAlbedo(q[c])
		}
	}
	return alpha
}

// reflectance returns the colour under diffuse light of a deep object with these coefficients.
func reflectance(a, s *colour.RGB) (q colour.RGB) {
	for c, alpha := range albedo(colour.RGB{}, a, s) {
		q[c] = tissue.DiffuseAlbedo(alpha)
	}
	return q
}
