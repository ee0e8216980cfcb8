package mesh

import (
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// MeanCurvature returns the mean curvature at each vertex of m in 1/mm, positive where the surface bulges: half the trace of the
// second fundamental form that fits, by least squares, how the normals of a triangle's corners change along its edges, in the mean over
// the triangles about a place, weighted by the area that is nearest to it. Normals are those of Normals, with whose weights it is exact
// where vertices lie on a sphere. Vertices in one place have one value; one without a sound triangle has 0.
//
// Sources: Rusinkiewicz, Estimating Curvatures and Their Derivatives on Triangle Meshes, 3DPVT 2004; the areas: Meyer, Desbrun,
// Schroeder and Barr, Discrete Differential-Geometry Operators for Triangulated 2-Manifolds, 2003.
func MeanCurvature(m *Mesh) []float64 {
	tri, at, place := topology(m)
	q := &Mesh{P: at, Tri: tri}
	Normals(q)
	type face struct {
		h float64
		w [3]float64
	}
	faces := make([]face, len(tri))
	parallel.Runs(len(tri), 4096, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			t := tri[i]
			p, n := [3]geom.Vec{at[t[0]], at[t[1]], at[t[2]]}, [3]geom.Vec{q.N[t[0]], q.N[t[1]], q.N[t[2]]}
			if h, ok := facetCurvature(p, n); ok {
				faces[i] = face{h, cornerAreas(p)}
			}
		}
	})
	sum, total := make([]float64, len(at)), make([]float64, len(at))
	for i := range faces {
		for k, v := range tri[i] {
			w := faces[i].w[k]
			sum[v], total[v] = sum[v]+w*faces[i].h, total[v]+w
		}
	}
	out := make([]float64, len(m.P))
	for v, k := range place {
		if total[k] > 0 {
			out[v] = sum[k] / total[k]
		}
	}
	return out
}

// facetCurvature is the mean curvature of one triangle from the normals at its corners.
func facetCurvature(p, n [3]geom.Vec) (h float64, ok bool) {
	x := p[1].Sub(p[0])
	z := x.Cross(p[2].Sub(p[0]))
	l := z.Len()
	longest := max(x.Len2(), p[2].Sub(p[1]).Len2(), p[0].Sub(p[2]).Len2())
	if !(l > 1e-6*longest) {
		return 0, false
	}
	s := x.Unit()
	t := z.Mul(1 / l).Cross(s)
	var xx, xy, yy, r0, r1, r2 float64
	for k := range 3 {
		e, d := p[(k+1)%3].Sub(p[k]), n[(k+1)%3].Sub(n[k])
		ex, ey, dx, dy := e.Dot(s), e.Dot(t), d.Dot(s), d.Dot(t)
		xx, xy, yy = xx+ex*ex, xy+ex*ey, yy+ey*ey
		r0, r1, r2 = r0+ex*dx, r1+ex*dy+ey*dx, r2+ey*dy
	}
	// [xx xy 0; xy xx+yy xy; 0 xy yy] (a, b, c) = (r0, r1, r2), by Cramer's rule for a + c.
	g := xx + yy
	det := xx*(g*yy-xy*xy) - xy*xy*yy
	a := r0*(g*yy-xy*xy) - xy*(r1*yy-xy*r2)
	c := xx*(g*r2-r1*xy) - xy*xy*r2 + r0*xy*xy
	return (a + c) / (2 * det), det > 0
}

// cornerAreas shares a triangle's area among its corners: to each what is nearest to it, or of an obtuse one a half and two quarters.
func cornerAreas(p [3]geom.Vec) (w [3]float64) {
	area := p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Len() / 2
	var dot, l2 [3]float64 // at a corner; of the edge across from it
	for k := range 3 {
		a, b := p[(k+1)%3].Sub(p[k]), p[(k+2)%3].Sub(p[k])
		dot[k], l2[k] = a.Dot(b), a.Sub(b).Len2()
	}
	for k := range 3 {
		if dot[k] < 0 {
			w = [3]float64{area / 4, area / 4, area / 4}
			w[k] = area / 2
			return w
		}
	}
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		// The edge from k to i is across from j, with cotangent dot/(2 area).
		w[k] = (l2[j]*dot[j] + l2[i]*dot[i]) / (16 * area)
	}
	return w
}
