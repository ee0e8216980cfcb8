package lids

import "math/rand/v2"

// How far left and right differ at an asymmetry of 1, mm: most of it, and never less than half. Openings, creases and brows of
// healthy people differ by some tenths of a millimetre to a millimetre. Common practice, no published source.
const (
	unlikeHeight = 0.5 // of the opening, by the upper rim alone
	unlikeTilt   = 0.5
	unlikeCrease = 0.7
	unlikeFold   = 0.25
	unlikeBrow   = 1.4 // height of the brow's middle
	unlikeArch   = 0.9
)

// sided returns the parameters of one side of a pair: about those of p, half of each difference to one side and half to the
// other. Which side has more is drawn from the seed, each by itself. A single eye keeps p.
func (p *Params) sided(left bool) *Params {
	q := *p
	if p.Spacing == 0 || p.Asymmetry == 0 {
		return &q
	}
	r := rand.New(rand.NewPCG(p.Seed, 0x51de))
	differ := func(most float64) float64 {
		d := p.Asymmetry * most * uniform(r, 0.5, 1) / 2
		if r.Float64() < 0.5 != left {
			return -d
		}
		return d
	}
	h := differ(unlikeHeight)
	q.Height, q.Cover = p.height()+h, p.Cover-h
	q.Tilt += differ(unlikeTilt)
	if d := differ(unlikeCrease); p.Crease > 0 {
		q.Crease = max(0.5, p.Crease+d)
	}
	if d := differ(unlikeFold); p.Fold > 0 {
		q.Fold = max(0.05, p.Fold+d)
	}
	q.BrowHeight += differ(unlikeBrow)
	q.BrowArch += differ(unlikeArch)
	return &q
}
