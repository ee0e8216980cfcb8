package render

import (
	"math"

	"catchlight/render/pathtrace"
)

// Missed says how much of a small light's way through a cornea the solver does not find, by rays thrown forward from it.
type Missed struct {
	Eye    string  `json:"eye"`
	Light  string  `json:"light"`
	Share  float64 `json:"not_found"`
	AtMost float64 `json:"not_found_at_most"` // about 95 times of 100
	Rays   int     `json:"rays"`              // that came to the iris
	Lost   int     `json:"rays_not_found"`
}

// atMost returns an upper end for a share of which lost of n rays tell q: 3/n where none was lost (the rule of three, about 95 %), and about
// two standard errors of independent rays more than that where some were, which a lattice stays below.
//
// Source: Hanley and Lippman-Hand, If Nothing Goes Wrong, Is Everything All Right?, JAMA 249 (1983), 1743 (from memory).
func atMost(q float64, n int) float64 {
	return min(1, q+2*math.Sqrt(q*(1-q)/float64(n))+3/float64(n))
}

// lost fills the report of light through corneas. The lattice is the same for any number of workers.
func (p *Prepared) lost(team []worker, s *Stats) {
	n := len(p.Scene.Lights)
	bent, unfound := make([]float64, n), make([]float64, n)
	for i := range team {
		for k := range n {
			bent[k] += team[i].t.Bent[k]
			unfound[k] += team[i].t.Unfound[k]
		}
	}
	type sum struct{ lost, most, all float64 }
	small := make([]sum, n)
	t := pathtrace.New(p.Scene, 0)
	for i := range p.Scene.Beams {
		if p.Scene.Beams[i] == nil {
			continue
		}
		eye, k := i/n, i%n
		m := t.Missed(eye, k)
		if m.Rays == 0 || !(m.Flux > 0) {
			continue
		}
		q := m.Lost / m.Flux
		r := Missed{p.Scene.Objects[p.Scene.Eyes[eye].Inner].Name, p.Scene.Lights[k].Name, q, atMost(q, m.Rays), m.Rays, m.LostRays}
		s.Missed = append(s.Missed, r)
		small[k].lost += m.Lost
		small[k].most += m.Flux * r.AtMost
		small[k].all += m.Flux
	}
	var all, lost, most float64
	for k := range n {
		s.Bent += bent[k]
		found := bent[k] - unfound[k]
		if q := small[k]; q.all > 0 {
			// Found is the rest of what there is.
			whole := bent[k]
			if q.lost < q.all {
				whole = max(whole, found/(1-q.lost/q.all))
			}
			all += whole
			lost += whole * q.lost / q.all
			most += whole * q.most / q.all
			continue
		}
		all += bent[k]
		lost += unfound[k]
		most += unfound[k]
	}
	if all > 0 {
		s.NotFound, s.NotFoundMost = lost/all, most/all
	}
	s.Bent /= math.Max(1, float64(s.Samples))
}
