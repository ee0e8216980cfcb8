// Package plinth makes what a bare eye lies on in a picture: a turned slab with rounded edges, a shallow hollow in its top, and the low
// waves of cut stone.
//
//	Params  its measures in mm; Check says which do not go together
//	Build   the mesh
//
// Its own frame: the middle of its top is the origin, +Y is up and out of the top. Triangles wind counter-clockwise seen from outside.
package plinth

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/noise"
)

// Params are the measures of a plinth, in mm.
type Params struct {
	Radius    float64 // of the slab
	Thickness float64
	Bevel     float64 // radius of its edges, and of the hollow's lip
	Cup       float64 // radius of the sphere that the hollow is cut by; 0 is none
	Depth     float64 // of the hollow's middle below the top
	Relief    float64 // root of the mean square height of the waves on top
	Wave      float64 // length of the longest wave
	Seed      uint64
}

// Error says which key does not go with the others.
type Error struct {
	Key  string // as in a scene: radius, thickness, bevel, cup, depth
	Text string
}

func (e *Error) Error() string { return e.Key + ": " + e.Text }

// Check reports measures that make no body.
func (p *Params) Check() error {
	if least := 2 * p.Bevel; p.Thickness <= least {
		return &Error{"thickness", fmt.Sprintf("%g mm is not more than both edges, which take %g", p.Thickness, least)}
	}
	hollow := 0.0
	if p.Cup > 0 {
		if p.Depth >= p.Cup {
			return &Error{"depth", fmt.Sprintf("%g mm is not less than the hollow's radius of %g", p.Depth, p.Cup)}
		}
		if p.Depth+p.Bevel >= p.Thickness {
			return &Error{"depth", fmt.Sprintf("%g mm goes through a slab of %g", p.Depth, p.Thickness)}
		}
		hollow = p.lip()
	}
	if p.Radius <= hollow+p.Bevel {
		return &Error{"radius", fmt.Sprintf("%g mm leaves no top: hollow and edge take %.3g", p.Radius, hollow+p.Bevel)}
	}
	return nil
}

// lip returns the distance from the axis at which the rounded lip of the hollow meets the top: the lip's circle touches both.
func (p *Params) lip() float64 {
	a, b := p.Cup+p.Bevel, p.Cup-p.Depth+p.Bevel
	return math.Sqrt(a*a - b*b)
}

// place is a point of the profile: distance from the axis and height.
type place struct{ r, y float64 }

// facet is the longest step along the profile and round the rim, mm; a larger slab takes more, so that it has mostSteps at most.
const (
	facet     = 0.3
	mostSteps = 1200
)

// step returns the length of facets.
func (p *Params) step() float64 { return max(facet, 2*math.Pi*p.Radius/mostSteps) }

// profile returns the outline from the middle of the top round the edge to the middle of the base, both ends on the axis.
func (p *Params) profile() []place {
	var out []place
	step := p.step()
	line := func(to place) {
		from := out[len(out)-1]
		n := math.Ceil(math.Hypot(to.r-from.r, to.y-from.y) / step)
		for i := 1.0; i <= n; i++ {
			out = append(out, place{from.r + (to.r-from.r)*i/n, from.y + (to.y-from.y)*i/n})
		}
	}
	// An arc about c of radius r, from angle a to b; 0 points up, a quarter turn away from the axis. Its first point is there already.
	arc := func(c place, r, a, b float64) {
		n := max(math.Ceil(r*math.Abs(b-a)/step), 8)
		for i := 1.0; i <= n; i++ {
			s, k := math.Sincos(a + (b-a)*i/n)
			out = append(out, place{c.r + r*s, c.y + r*k})
		}
	}
	out = append(out, place{})
	if p.Cup > 0 && p.Depth > 0 {
		out[0].y = -p.Depth
		end := math.Atan2(p.lip(), p.Cup-p.Depth+p.Bevel) // of the hollow, from its lowest point
		arc(place{0, p.Cup - p.Depth}, p.Cup, math.Pi, math.Pi-end)
		if p.Bevel > 0 {
			arc(place{p.lip(), -p.Bevel}, p.Bevel, -end, 0)
		}
	}
	line(place{p.Radius - p.Bevel, 0})
	if p.Bevel > 0 {
		arc(place{p.Radius - p.Bevel, -p.Bevel}, p.Bevel, 0, math.Pi/2)
	}
	line(place{p.Radius, p.Bevel - p.Thickness})
	if p.Bevel > 0 {
		arc(place{p.Radius - p.Bevel, p.Bevel - p.Thickness}, p.Bevel, math.Pi/2, math.Pi)
	}
	line(place{0, -p.Thickness})
	out[len(out)-1] = place{0, -p.Thickness}
	return out
}

// Build makes the mesh, closed. Texture coordinates lie over it as a picture seen from above, its square about the slab.
func Build(p Params) (*mesh.Mesh, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	line := p.profile()
	n := int(max(48, math.Ceil(2*math.Pi*p.Radius/p.step())))
	m := &mesh.Mesh{}
	add := func(at place, turn float64) {
		s, c := math.Sincos(turn)
		q := geom.Vec{X: at.r * s, Y: at.y, Z: at.r * c}
		q.Y += p.wave(q)
		m.P = append(m.P, q)
		m.UV = append(m.UV, geom.UV{U: 0.5 + q.X/(2*p.Radius), V: 0.5 + q.Z/(2*p.Radius)})
	}
	rings := line[1 : len(line)-1]
	add(line[0], 0)
	for _, at := range rings {
		for i := range n {
			add(at, 2*math.Pi*float64(i)/float64(n))
		}
	}
	add(line[len(line)-1], 0)
	vertex := func(ring, i int) uint32 { return uint32(1 + ring*n + i%n) }
	last := uint32(len(m.P) - 1)
	for i := range n {
		m.Tri = append(m.Tri, [3]uint32{0, vertex(0, i), vertex(0, i+1)})
		for k := range len(rings) - 1 {
			a, b, c, d := vertex(k, i), vertex(k, i+1), vertex(k+1, i+1), vertex(k+1, i)
			m.Tri = append(m.Tri, [3]uint32{a, d, c}, [3]uint32{a, c, b})
		}
		m.Tri = append(m.Tri, [3]uint32{last, vertex(len(rings)-1, i+1), vertex(len(rings)-1, i)})
	}
	mesh.Normals(m)
	return m, nil
}

// waveShare brings three octaves of noise to the root mean square 1, by own computation; TestWavesHaveTheHeightAskedFor holds it.
const waveShare = 3.3

// wave returns how far the top stands up at a place. The hollow is polished, and has none.
func (p *Params) wave(q geom.Vec) float64 {
	if p.Relief == 0 || p.Wave == 0 {
		return 0
	}
	keep := 1.0
	if p.Cup > 0 {
		lip := p.lip()
		keep = geom.Smoothstep(lip, lip+p.Bevel+p.Wave, math.Hypot(q.X, q.Z))
	}
	s := 1 / p.Wave
	return keep * p.Relief * waveShare * noise.Octaves(p.Seed, s*q.X, s*q.Y, s*q.Z, 3)
}
