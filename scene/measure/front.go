package measure

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// front is what a look along the axis onto a mesh meets first: heights on a grid, and where on which triangle.
type front struct {
	reach, cell float64
	z           []float64 // -Inf where there is nothing
	tri         []int32
	u, v        []float64
}

// grid is the number of cells along a side.
const grid = 257

// look draws the mesh along f.N from outside, out to reach from the axis through centre.
func look(m *mesh.Mesh, centre geom.Vec, f geom.Frame, reach float64) *front {
	n := grid
	q := &front{reach: reach, cell: 2 * reach / float64(n), z: make([]float64, n*n), tri: make([]int32, n*n), u: make([]float64, n*n), v: make([]float64, n*n)}
	for i := range q.z {
		q.z[i], q.tri[i] = math.Inf(-1), -1
	}
	for k, t := range m.Tri {
		a, b, c := f.Local(m.P[t[0]].Sub(centre)), f.Local(m.P[t[1]].Sub(centre)), f.Local(m.P[t[2]].Sub(centre))
		den := (b.X-a.X)*(c.Y-a.Y) - (c.X-a.X)*(b.Y-a.Y)
		if den == 0 || max(a.Z, b.Z, c.Z) < 0 {
			continue
		}
		for y := max(0, q.at(min(a.Y, b.Y, c.Y))); y <= min(n-1, q.at(max(a.Y, b.Y, c.Y))); y++ {
			for x := max(0, q.at(min(a.X, b.X, c.X))); x <= min(n-1, q.at(max(a.X, b.X, c.X))); x++ {
				px, py := q.place(x), q.place(y)
				u := ((px-a.X)*(c.Y-a.Y) - (c.X-a.X)*(py-a.Y)) / den
				v := ((b.X-a.X)*(py-a.Y) - (px-a.X)*(b.Y-a.Y)) / den
				if u < 0 || v < 0 || u+v > 1 {
					continue
				}
				if h := a.Z + u*(b.Z-a.Z) + v*(c.Z-a.Z); h > q.z[y*n+x] {
					q.z[y*n+x], q.tri[y*n+x], q.u[y*n+x], q.v[y*n+x] = h, int32(k), u, v
				}
			}
		}
	}
	return q
}

func (q *front) at(x float64) int    { return int(math.Floor(max(-1, min(grid, (x+q.reach)/q.cell)))) }
func (q *front) place(i int) float64 { return (float64(i)+0.5)*q.cell - q.reach }

// rings of the meridian and sectors about the axis.
const rings = 96

// meridian returns the mean height by distance from the axis, of each sector; NaN where less than half of a ring's piece
// is met.
func (q *front) meridian() (z [sectors][rings]float64) {
	var n, of [sectors][rings]int
	for y := range grid {
		for x := range grid {
			px, py := q.place(x), q.place(y)
			k := int(math.Hypot(px, py) / q.reach * rings)
			if k >= rings {
				continue
			}
			s := int((math.Atan2(py, px)/(2*math.Pi)+1)*sectors) % sectors
			of[s][k]++
			if h := q.z[y*grid+x]; !math.IsInf(h, -1) {
				n[s][k]++
				z[s][k] += h
			}
		}
	}
	for s := range z {
		for k := range z[s] {
			if 2*n[s][k] > of[s][k] && of[s][k] > 0 {
				z[s][k] /= float64(n[s][k])
			} else {
				z[s][k] = math.NaN()
			}
		}
	}
	return z
}

// IrisRoot returns the half chord of the root of the iris: the middle of the flank by which the inner shell climbs or
// falls between the iris and the white. From the white inward the flank begins where half of its greatest turn against
// the sphere has come about, and it ends where half of its turn against the iris is gone. radius is that of the inner
// shell's own sphere, centre its centre. The definition is our own.
func IrisRoot(m *mesh.Mesh, s Sphere, f geom.Frame) Value {
	const by = byIris
	R := s.Radius.V
	reach := 0.92 * R
	q := look(m, s.Centre, f, reach)
	all := q.meridian()
	at := func(leave int) (root, width float64, why string) {
		var z [rings]float64
		for k := range z {
			sum, n := 0.0, 0
			for i := range all {
				if i != leave && !math.IsNaN(all[i][k]) {
					sum, n = sum+all[i][k], n+1
				}
			}
			z[k] = math.NaN()
			if n >= sectors/2 {
				z[k] = sum / float64(n)
			}
		}
		// Slopes over four rings, as angles; the sphere's is asin(rho/R).
		const h = 2
		d := reach / rings
		var slope, off [rings]float64
		for k := range z {
			slope[k], off[k] = math.NaN(), 0
			if k >= h && k+h < rings {
				slope[k] = geom.Degrees(math.Atan2(z[k-h]-z[k+h], 2*h*d))
				off[k] = slope[k] - geom.Degrees(math.Asin((float64(k)+0.5)*d/R))
			}
			if math.IsNaN(slope[k]) {
				off[k] = 0
			}
		}
		lo, hi := int(0.3*R/d), int(0.85*R/d)
		peak := lo
		for k := lo; k < hi; k++ {
			if math.Abs(off[k]) > math.Abs(off[peak]) {
				peak = k
			}
		}
		if math.Abs(off[peak]) < 8 {
			return 0, 0, "the inner shell turns nowhere out of its sphere by 8 degrees or more"
		}
		out := peak
		for out+1 < hi && math.Abs(off[out+1]) > math.Abs(off[peak])/2 {
			out++
		}
		if out+1 >= hi {
			return 0, 0, "the inner shell does not come back to its sphere"
		}
		var inner []float64
		for k := int(0.2 * R / d); k < int(0.3*R/d); k++ {
			if !math.IsNaN(slope[k]) && math.Abs(slope[k]) < 60 {
				inner = append(inner, slope[k])
			}
		}
		in := peak
		if iris := median(inner); !math.IsNaN(iris) && math.Abs(slope[peak]-iris) > 5 {
			for in-1 >= int(0.2*R/d) && math.Abs(slope[in-1]-iris) > math.Abs(slope[peak]-iris)/2 {
				in--
			}
		}
		return float64(in+out+1) / 2 * d, float64(out-in+1) * d, ""
	}
	root, width, why := at(-1)
	if why != "" {
		return none(by, "%s", why)
	}
	var some []float64
	for k := range sectors {
		if r, _, why := at(k); why == "" {
			some = append(some, r)
		}
	}
	// A flank as wide as w has its middle somewhere on it: w^2/12.
	return Value{V: root, SE: math.Sqrt(jackknife(some)*jackknife(some) + width*width/12), By: by, N: grid, Held: len(some) > sectors/2}
}
