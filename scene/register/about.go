package register

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Peak is the turn about an axis that lays one relief on another.
type Peak struct {
	Angle float64 // radians, from the first to the second
	SE    float64 // expected, from the noise of the correlation at the peak
	Corr  float64 // correlation there
	Clear float64 // how many standard deviations of the correlation it stands out
	Next  float64 // the next peak's correlation, further than 10 degrees away
	Held  bool
	Why   string
}

// Sizes of the annulus that About looks at: angles and rings.
const (
	turns = 1440
	rings = 64
)

// Bars of a peak: standard deviations, and over the next one. Own choice.
const (
	heldClear = 8
	heldNext  = 1.5
)

// About finds the turn about f.N through centre that lays the relief of a on that of b, from their heights along the axis in an annulus
// of the radii r0 to r1: each ring less its mean, cross-correlated over the angle, summed over the rings, with a parabola at the peak.
// f says where the angle is 0.
func About(a, b *Surface, centre geom.Vec, f geom.Frame, r0, r1 float64) Peak {
	ha, oka := heights(a, centre, f, r0, r1)
	hb, okb := heights(b, centre, f, r0, r1)
	if oka < rings/2 || okb < rings/2 {
		return Peak{Why: "the annulus is not covered"}
	}
	c := make([]float64, turns)
	var va, vb float64
	for k := range rings {
		for i := range turns {
			va += ha[k][i] * ha[k][i]
			vb += hb[k][i] * hb[k][i]
		}
	}
	// What is left of a smooth shape's facets is no relief.
	floor := 1e-5 * r1 * math.Sqrt(rings*turns)
	if math.Sqrt(va) < floor || math.Sqrt(vb) < floor {
		return Peak{Why: "there is no relief about the axis"}
	}
	parallel.Runs(turns, 16, func(i0, i1 int) {
		for s := i0; s < i1; s++ {
			sum := 0.0
			for k := range rings {
				x, y := &ha[k], &hb[k]
				for i := range turns - s {
					sum += x[i] * y[i+s]
				}
				for i := turns - s; i < turns; i++ {
					sum += x[i] * y[i+s-turns]
				}
			}
			c[s] = sum / math.Sqrt(va*vb)
		}
	})
	return peak(c)
}

// peak finds and judges the highest correlation.
func peak(c []float64) Peak {
	best := 0
	mean, sq := 0.0, 0.0
	for s, x := range c {
		if x > c[best] {
			best = s
		}
		mean += x / turns
	}
	away := func(s int) int {
		d := (s - best + turns) % turns
		return min(d, turns-d)
	}
	next, n := 0.0, 0
	for s, x := range c {
		if away(s) > turns/36 {
			next = max(next, x)
			sq += (x - mean) * (x - mean)
			n++
		}
	}
	sd := math.Sqrt(sq / float64(n))
	l, m, r := c[(best+turns-1)%turns], c[best], c[(best+1)%turns]
	shift := 0.0
	bend := 2*m - l - r
	if bend > 0 {
		shift = (r - l) / (2 * bend)
	}
	step := 2 * math.Pi / turns
	p := Peak{Angle: (float64(best) + shift) * step, Corr: m, Clear: (m - mean) / max(sd, 1e-12), Next: next, Held: true}
	if p.Angle > math.Pi {
		p.Angle -= 2 * math.Pi
	}
	if bend > 0 {
		// Noise of the two neighbours' difference over the bend.
		p.SE = step * math.Sqrt(max(0, 1-m*m)*bend/2) / bend / math.Sqrt(rings)
	}
	switch {
	case next > 0.5 && m < heldNext*next:
		p.Held, p.Why = false, "several turns fit about as well"
	case p.Clear < heldClear || m < heldNext*next:
		p.Held, p.Why = false, "no turn stands out of the others"
	}
	return p
}

// heights are those along the axis, from in front, each ring less its mean; ok counts the rings that are covered.
func heights(s *Surface, centre geom.Vec, f geom.Frame, r0, r1 float64) (h [][turns]float64, ok int) {
	h = make([][turns]float64, rings)
	full := make([]bool, rings)
	far := 4*r1 + s.Mesh.Bounds().Size().Len()
	parallel.Runs(rings, 1, func(i0, i1 int) {
		for k := i0; k < i1; k++ {
			rho := r0 + (r1-r0)*(float64(k)+0.5)/rings
			mean, n := 0.0, 0
			for i := range turns {
				sin, cos := math.Sincos(2 * math.Pi * float64(i) / turns)
				o := centre.Add(f.World(geom.Vec{X: rho * cos, Y: rho * sin, Z: far}))
				h[k][i] = math.NaN()
				if q, hit := s.Tree.Ray(o, f.N.Neg(), 0, 2*far, -1); hit {
					h[k][i] = far - q.T
					mean += h[k][i]
					n++
				}
			}
			full[k] = n > turns*9/10
			for i := range turns {
				if h[k][i] -= mean / float64(max(1, n)); math.IsNaN(h[k][i]) || !full[k] {
					h[k][i] = 0
				}
			}
		}
	})
	for _, k := range full {
		if k {
			ok++
		}
	}
	return h, ok
}
