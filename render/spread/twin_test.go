package spread

import (
	"math"
	"math/rand/v2"

	"catchlight/material/fresnel"
	"catchlight/scene/geom"
)

// twin follows light in a half space or a ball by itself: analogue walks of one wavelength, exact absorption by its odds, no
// importance of any kind, and none of the program's own walks.
type twin struct {
	scatter, absorb float64 // 1/mm
	n               float64 // index inside; outside it is 1
	ball            float64 // radius, mm; 0 is the half space z < 0
	rng             *rand.Rand
}

func (w *twin) even() geom.Vec {
	z := 2*w.rng.Float64() - 1
	sin, cos := math.Sincos(2 * math.Pi * w.rng.Float64())
	r := math.Sqrt(1 - z*z)
	return geom.Vec{X: r * cos, Y: r * sin, Z: z}
}

// cosine is a direction about n by the cosine law.
func (w *twin) cosine(n geom.Vec) geom.Vec {
	for {
		if d := n.Add(w.even()); d.Len2() > 1e-12 {
			return d.Unit()
		}
	}
}

// wall returns how far it is to the surface along d.
func (w *twin) wall(p, d geom.Vec) float64 {
	if w.ball == 0 {
		if d.Z <= 0 {
			return math.Inf(1)
		}
		return -p.Z / d.Z
	}
	b := p.Dot(d)
	return -b + math.Sqrt(max(0, b*b-p.Len2()+w.ball*w.ball))
}

func (w *twin) normal(p geom.Vec) geom.Vec {
	if w.ball == 0 {
		return geom.Vec{Z: 1}
	}
	return p.Unit()
}

// walk lets light in at p of the surface by the cosine law outside; it returns where it comes out again.
func (w *twin) walk(p geom.Vec) (out geom.Vec, ok bool) {
	up := w.normal(p)
	d := w.cosine(up.Neg())
	if w.n != 1 {
		c := -d.Dot(up)
		if w.rng.Float64() < fresnel.Dielectric(c, w.n) {
			return out, false // mirrored: it never was in the body
		}
		// Snell: the part along the surface shrinks by the index.
		flat := d.Mad(c, up).Mul(1 / w.n)
		d = flat.Mad(-math.Sqrt(1-flat.Len2()), up)
	}
	sigma := w.scatter + w.absorb
	for {
		step := -math.Log(1-w.rng.Float64()) / sigma
		if far := w.wall(p, d); step >= far {
			p = p.Mad(far, d)
			up = w.normal(p)
			if w.n == 1 || w.rng.Float64() >= fresnel.Dielectric(d.Dot(up), 1/w.n) {
				return p, true
			}
			d = d.Mad(-2*d.Dot(up), up)
			p = p.Mad(-1e-9, up)
			continue
		}
		p = p.Mad(step, d)
		if w.rng.Float64()*sigma >= w.scatter {
			return out, false
		}
		d = w.even()
	}
}
