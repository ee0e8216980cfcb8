package prepare

import (
	"catchlight/material/microfacet"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/lids"
	"catchlight/scene/texture"
)

// Shares of the two lobes of skin's shine: the part of the sharper one, and how much rougher the other is. Source: two lobes of about 0.3
// and 0.5, common practice; that two fit better than one: Ghosh et al., ACM TOG 27 (2008), from memory.
const (
	sharpPart  = 0.5
	broadRatio = 1.85
)

// skin makes the material of grown skin: its colour of blood and melanin, its relief, and its two lobes of shine.
func skin(s *scene.Skin, g *lids.Lids) frozen.Material {
	m := Soft(texture.FromImage(g.Complexion(s.Melanin, s.Blood), texture.Repeat), s.ScatterRadius, s.Index, s.Roughness, s.Scattering)
	if m.Flesh.Clear || m.Alpha < microfacet.MinAlpha {
		return m
	}
	m.Flesh.Rough = nil
	gloss := frozen.NewGloss(microfacet.Pair{A: m.Alpha, B: min(0.9, broadRatio*m.Alpha), Part: sharpPart}, &m.Flesh.Coat)
	gloss.Tilt = texture.FromImage(g.Relief.Tilt, texture.Repeat)
	gloss.Square = texture.FromImage(g.Relief.Square, texture.Repeat)
	gloss.Sheen = texture.FromImage(g.Relief.Sheen, texture.Repeat)
	gloss.Oil = s.Oil
	m.Flesh.Gloss = gloss
	return m
}
