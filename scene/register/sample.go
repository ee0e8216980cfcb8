package register

import (
	"math"
	"slices"
	"sort"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

// Surface is a mesh that can be asked.
type Surface struct {
	Tree   *near.Tree
	Mesh   *mesh.Mesh
	smooth []geom.Vec // normals of vertices, by places
}

// NewSurface prepares a mesh, which must not change. Its normals are made anew, smooth, so that facets do not count as shape.
func NewSurface(m *mesh.Mesh) (*Surface, error) {
	t, err := near.New(m)
	if err != nil {
		return nil, err
	}
	q := &mesh.Mesh{P: m.P, Tri: m.Tri}
	mesh.Normals(q)
	return &Surface{Tree: t, Mesh: m, smooth: q.N}, nil
}

// normal is the smooth unit normal at barycentrics of a triangle.
func (s *Surface) normal(tri int, u, v float64) geom.Vec {
	c := s.Mesh.Tri[tri]
	return geom.Mix(s.smooth[c[0]], s.smooth[c[1]], s.smooth[c[2]], u, v).Unit()
}

// Point is a place on a mesh.
type Point struct {
	P, N geom.Vec // N: smooth, unit
	Tri  int
}

// Sample returns n places spread over a mesh by area: one in each n-th of it, in the order of the triangles, at places within
// that follow the multiples of the plastic number's powers (the R2 sequence; Roberts 2018, from memory).
func (s *Surface) Sample(n int) []Point {
	m := s.Mesh
	sum := make([]float64, len(m.Tri)+1)
	for i, c := range m.Tri {
		sum[i+1] = sum[i] + m.P[c[1]].Sub(m.P[c[0]]).Cross(m.P[c[2]].Sub(m.P[c[0]])).Len()/2
	}
	all := sum[len(m.Tri)]
	if !(all > 0) {
		return nil
	}
	const g = 1.32471795724474602596
	out := make([]Point, n)
	parallel.Runs(n, 4096, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			at := (float64(i) + 0.5) / float64(n) * all
			k := sort.SearchFloat64s(sum, at) - 1
			k = max(0, min(k, len(m.Tri)-1))
			_, a := math.Modf(float64(i+1) / g)
			_, b := math.Modf(float64(i+1) / (g * g))
			if a+b > 1 {
				a, b = 1-a, 1-b
			}
			c := m.Tri[k]
			out[i] = Point{P: geom.Mix(m.P[c[0]], m.P[c[1]], m.P[c[2]], a, b), N: s.normal(k, a, b), Tri: k}
		}
	})
	return out
}

// Vertices returns the vertices with their smooth normals, in their order.
func (s *Surface) Vertices() []Point {
	out := make([]Point, len(s.Mesh.P))
	for i, p := range s.Mesh.P {
		out[i] = Point{P: p, N: s.smooth[i]}
	}
	return out
}

// Distances is how far samples lie from a mesh. Signed distances are positive outside it.
type Distances struct {
	Mean, RMS, P95, Most float64 // RMS, P95 and Most of absolute distances
	MostAt               geom.Vec
	Outward              float64   // 99.9 % of the distances are below it
	Inward               float64   // and of their negatives
	Turn                 float64   // 95 % of the normals disagree by less, radians
	Signed               []float64 // a sample each; NaN where nothing lies within reach
}

// Apart measures how far samples lie from a mesh, up to far.
func (s *Surface) Apart(list []Point, far float64) Distances {
	d := Distances{Signed: make([]float64, len(list))}
	turn := make([]float64, len(list))
	parallel.Runs(len(list), 1024, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			q, ok := s.Tree.Nearest(list[i].P, far)
			if !ok {
				d.Signed[i], turn[i] = math.NaN(), math.NaN()
				continue
			}
			d.Signed[i] = q.D
			n := s.normal(q.Tri, q.U, q.V)
			turn[i] = math.Atan2(n.Cross(list[i].N).Len(), n.Dot(list[i].N))
		}
	})
	var sorted, abs, turns []float64
	for i, x := range d.Signed {
		if math.IsNaN(x) {
			continue
		}
		d.Mean += x
		d.RMS += x * x
		if math.Abs(x) > d.Most {
			d.Most, d.MostAt = math.Abs(x), list[i].P
		}
		sorted, abs, turns = append(sorted, x), append(abs, math.Abs(x)), append(turns, turn[i])
	}
	n := len(sorted)
	if n == 0 {
		return Distances{Signed: d.Signed}
	}
	d.Mean /= float64(n)
	d.RMS = math.Sqrt(d.RMS / float64(n))
	slices.Sort(sorted)
	slices.Sort(abs)
	slices.Sort(turns)
	d.P95, d.Turn = abs[n*95/100], turns[n*95/100]
	d.Outward, d.Inward = max(0, sorted[min(n-1, n*999/1000)]), max(0, -sorted[n/1000])
	return d
}

// Bake is what rays from a low mesh onto a high one meet: from Cage outside each place inward, to Cage beneath it.
type Bake struct {
	Cage            float64
	Miss            float64 // share that meets nothing
	Wrong           float64 // share whose hit faces away, or lies more than 80 degrees aslant
	Twice           float64 // share that could meet another surface in reach
	MissAt, WrongAt geom.Vec
	State           []uint8 // of a sample: 0 right, 1 missed, 2 wrong
}

// Cast casts rays from samples of a low mesh onto this high one.
func (s *Surface) Cast(low []Point, cage float64) Bake {
	b := Bake{Cage: cage, State: make([]uint8, len(low))}
	twice := make([]bool, len(low))
	slant := math.Cos(geom.Radians(80))
	parallel.Runs(len(low), 1024, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			q := &low[i]
			o, d := q.P.Mad(cage, q.N), q.N.Neg()
			h, ok := s.Tree.Ray(o, d, 0, 2*cage, -1)
			if !ok {
				b.State[i] = 1
				continue
			}
			if s.normal(h.Tri, h.U, h.V).Dot(q.N) < slant {
				b.State[i] = 2
			}
			_, twice[i] = s.Tree.Ray(o, d, h.T*(1+1e-9)+1e-9*cage, 2*cage, h.Tri)
		}
	})
	for i, k := range b.State {
		switch k {
		case 1:
			if b.Miss == 0 {
				b.MissAt = low[i].P
			}
			b.Miss++
		case 2:
			if b.Wrong == 0 {
				b.WrongAt = low[i].P
			}
			b.Wrong++
		}
		if twice[i] {
			b.Twice++
		}
	}
	n := float64(max(1, len(low)))
	b.Miss, b.Wrong, b.Twice = b.Miss/n, b.Wrong/n, b.Twice/n
	return b
}
