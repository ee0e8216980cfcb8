package adopt

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Globe is what was measured of an outer shell, in the file's units as read.
type Globe struct {
	Centre geom.Vec
	Radius float64  // of the sphere that most of it lies on
	Axis   geom.Vec // unit, out of the cornea
	Bulge  float64  // how far the cornea stands out of the sphere at most, as a share of Radius
	Limbus float64  // distance from the axis at which the surface leaves the sphere
	Cornea float64  // radius of the sphere fitted to the middle of the cornea
	Length float64  // extent along the axis
	Apex   float64  // height of the front pole above Centre, along the axis
}

// sample is a piece of surface.
type sample struct {
	p geom.Vec
	a float64 // area
}

func samples(m *mesh.Mesh) []sample {
	step := max(1, len(m.Tri)/200_000)
	var out []sample
	for i := 0; i < len(m.Tri); i += step {
		t := m.Tri[i]
		a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		// Corners lie on the true surface, middles of flat triangles beneath it.
		w := b.Sub(a).Cross(c.Sub(a)).Len() / 6
		out = append(out, sample{a, w}, sample{b, w}, sample{c, w})
	}
	return out
}

// fitSphere returns the sphere of least squares through the samples, weighted (algebraic form: |p|^2 = 2 c.p + k).
func fitSphere(s []sample, w func(sample) float64) (c geom.Vec, r float64, ok bool) {
	var mid geom.Vec
	var sum float64
	for _, q := range s {
		mid = mid.Mad(w(q), q.p)
		sum += w(q)
	}
	if !(sum > 0) {
		return
	}
	mid = mid.Mul(1 / sum)
	a := mat.NewSymDense(4, nil)
	b := mat.NewVecDense(4, nil)
	for _, q := range s {
		k := w(q) / sum
		p := q.p.Sub(mid)
		row := [4]float64{2 * p.X, 2 * p.Y, 2 * p.Z, 1}
		for i := range row {
			for j := i; j < 4; j++ {
				a.SetSym(i, j, a.At(i, j)+k*row[i]*row[j])
			}
			b.SetVec(i, b.AtVec(i)+k*row[i]*p.Len2())
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(a, b); err != nil {
		return
	}
	c = geom.Vec{X: x.AtVec(0), Y: x.AtVec(1), Z: x.AtVec(2)}
	r = math.Sqrt(x.AtVec(3) + c.Len2())
	return c.Add(mid), r, r > 0 && !math.IsInf(r, 0) && c.Finite()
}

// measure finds sphere, axis and cornea of an outer shell. ok is false where no sphere fits.
//
// The sphere is fitted again and again with less and less weight for what stands off it (Tukey's biweight), so that
// the cornea does not pull it; the axis is the mean direction of what stands out.
func measure(m *mesh.Mesh) (g Globe, ok bool) {
	s := samples(m)
	c, r, ok := fitSphere(s, func(q sample) float64 { return q.a })
	if !ok {
		return g, false
	}
	for cut := 0.3; cut > 0.03; cut *= 0.8 {
		limit := cut * r
		nc, nr, ok := fitSphere(s, func(q sample) float64 {
			e := math.Abs(q.p.Sub(c).Len()-r) / limit
			if e >= 1 {
				return 0
			}
			return q.a * (1 - e*e) * (1 - e*e)
		})
		if !ok {
			break
		}
		c, r = nc, nr
	}
	g.Centre, g.Radius = c, r
	far := 0.0
	for _, q := range s {
		far = max(far, q.p.Sub(c).Len())
	}
	g.Bulge = far/r - 1
	for _, q := range s {
		v := q.p.Sub(c)
		if e := v.Len() - r - 0.4*(far-r); e > 0 {
			g.Axis = g.Axis.Mad(q.a*e, v.Unit())
		}
	}
	if g.Axis.Len2() == 0 {
		g.Axis = geom.Vec{Z: 1}
	}
	g.Axis = g.Axis.Unit()
	lo, hi := math.Inf(1), math.Inf(-1)
	var front []ring
	for _, q := range s {
		v := q.p.Sub(c)
		z := v.Dot(g.Axis)
		lo, hi = min(lo, z), max(hi, z)
		if z > 0 {
			front = append(front, ring{v.Mad(-z, g.Axis).Len(), v.Len() - r, q.a})
		}
	}
	g.Length, g.Apex = hi-lo, hi
	g.Limbus = limbusOf(front, r, far)
	if g.Limbus > 0 {
		_, g.Cornea, _ = fitSphere(s, func(q sample) float64 {
			v := q.p.Sub(c)
			z := v.Dot(g.Axis)
			if z < 0 || v.Mad(-z, g.Axis).Len() > 0.66*g.Limbus {
				return 0
			}
			return q.a
		})
	}
	return g, true
}

// ring is a piece of the front: its distance from the axis, how far it stands off the sphere, its area.
type ring struct{ rho, e, a float64 }

// limbusOf returns the largest distance from the axis at which a tenth of the bulge is left, 0 for none. The sphere's radius is
// r, the farthest point far from its centre.
func limbusOf(front []ring, r, far float64) float64 {
	slices.SortFunc(front, func(a, b ring) int {
		switch {
		case a.rho < b.rho:
			return -1
		case a.rho > b.rho:
			return 1
		}
		return 0
	})
	const bins = 96
	var sum, area [bins]float64
	for _, q := range front {
		if k := int(q.rho / r * bins); k < bins {
			sum[k] += q.a * q.e
			area[k] += q.a
		}
	}
	prev, at := 0.0, 0.0
	for k := range bins {
		if area[k] == 0 {
			continue
		}
		e, x := sum[k]/area[k], (float64(k)+0.5)/bins*r
		if e < 0.1*(far-r) && at > 0 {
			if prev > e {
				x = at + (x-at)*(prev-0.1*(far-r))/(prev-e)
			}
			return x
		}
		prev, at = e, x
	}
	return 0
}
