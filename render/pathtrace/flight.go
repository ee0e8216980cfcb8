package pathtrace

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// flight is one straight piece of a walk, against one extinction. Its length is sampled for one channel, chosen by what the
// walk carries, and weighted over all channels that might have been chosen (the balance heuristic). With a guide half of
// the flights are guided: their directions lean toward the way out, and they are longer that way, in the proportions in
// which light leaves a deep object; each flight is weighted over both ways of choosing it.
//
// Sources: Dwivedi, Nucl. Sci. Eng. 80 (1982), 172; Krivanek and d'Eon, A Zero-Variance-Based Sampling Scheme for Monte
// Carlo Subsurface Scattering, SIGGRAPH Talks 2014.
type flight struct {
	sigma *colour.RGB   // extinction
	guide *frozen.Guide // nil: plain
	fresh bool          // the direction was sampled with the flight, so its density counts
	q     colour.RGB    // odds of the channels
	mu    float64       // cosine to the way out
	dist  float64       // to the collision, if nothing comes between
}

// choose samples the flight's length, and its direction d where it is fresh; up is the way out.
func (f *flight) choose(rng *sampler.Stream, beta colour.RGB, up geom.Vec, d *geom.Vec) {
	u := rng.Float64()
	f.q = channelOdds(beta)
	c := pickChannel(f.q, &u)
	guided := f.guide != nil && rng.Float64() < 0.5
	if f.fresh {
		if guided {
			*d = guideDirection(f.guide.Nu[c], f.guide.Log[c], up, rng.Float64(), rng.Float64())
		} else {
			*d = geom.UniformSphere(rng.Float64(), rng.Float64())
		}
	}
	rate := f.sigma[c]
	if f.guide != nil {
		f.mu = d.Dot(up)
		if guided {
			rate *= 1 - f.mu/f.guide.Nu[c]
		}
	}
	f.dist = -math.Log(1-u) / rate
}

// weight returns the share of light that flies as far as the flight did, and collides there or not, over the density with
// which it was sampled.
func (f *flight) weight(fly float64, collided bool) colour.RGB {
	s := f.sigma
	tr := colour.RGB{math.Exp(-s[0] * fly), math.Exp(-s[1] * fly), math.Exp(-s[2] * fly)}
	if collided {
		tr = tr.Mul(*s)
	}
	pdf := f.q[0]*tr[0] + f.q[1]*tr[1] + f.q[2]*tr[2]
	if g := f.guide; g != nil {
		// One of two techniques chose the flight, each for any channel: the balance heuristic over all six. Densities of
		// directions count in units of the even one.
		var steered float64
		for k, q := range f.q {
			if q == 0 {
				continue
			}
			rate := s[k] * (1 - f.mu/g.Nu[k])
			w := q * math.Exp(-rate*fly)
			if collided {
				w *= rate
			}
			if f.fresh {
				w *= guideDensity(g.Nu[k], g.Log[k], f.mu)
			}
			steered += w
		}
		pdf = (pdf + steered) / 2
	}
	return tr.Scale(1 / pdf)
}
