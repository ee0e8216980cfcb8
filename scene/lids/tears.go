package lids

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
)

// tears makes the strip of water in the corner between globe and rim, with a concave front, thin along the upper lid, and
// the wet film that goes on over the inner part of the rim.
func (s *socket) tears() *mesh.Mesh {
	p := s.p
	const arc, film = 8, 5
	n := len(s.o.s)
	pts := make([]geom.Vec, 0, (n+1)*(arc+film+1))
	for j := range arc + film + 1 {
		for i := range n + 1 {
			q := &s.o.s[i%n]
			// The strip is fuller below than above, pools toward the inner corner, and is nowhere quite even.
			h := p.Tears * (1 - 0.55*q.upper) * (1 + 0.35*geom.Smoothstep(0.8, 1, q.t)) * (1 + 0.18*noise.Line(s.seed+31, q.arc*0.22))
			foot := p.Gap + innerRound*0.6 + h
			var d, a float64
			if j <= arc {
				// Half-way from a quarter circle to its chord: a curvature of some 0.4 mm at a height of 0.3.
				f := float64(j) / arc
				sin, cos := math.Sincos(f * math.Pi / 2)
				d, a = -h+(h-0.02)*(sin+f)/2, -0.02+(foot+0.02)*(1-cos+f)/2
			} else {
				f := float64(j-arc) / film
				a = foot + f*0.45*(p.Rim-foot)
				d = -0.02 - 0.07*math.Sin(math.Pi*min(1, max(0, (a-p.Gap-innerRound)/(p.Rim-innerRound-outerRound)))) + 0.03*geom.Smoothstep(0.8, 1, f)
			}
			x, y := q.ray(d - q.lean()*max(0, a-p.Gap))
			pts = append(pts, s.head(s.g.point(x, y, 0).Mad(a, q.up)))
		}
	}
	return s.surface(pts, n+1)
}
