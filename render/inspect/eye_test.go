package inspect

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// revolved is a closed surface of revolution about Z from a profile that ends on the axis at the back; open in front where its first
// place is off the axis. Coordinates are a disc: the distance along the profile, out to 0.48.
func revolved(n int, profile [][2]float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	along := []float64{0}
	for i := 1; i < len(profile); i++ {
		along = append(along, along[i-1]+math.Hypot(profile[i][0]-profile[i-1][0], profile[i][1]-profile[i-1][1]))
	}
	far := along[len(along)-1]
	start := profile[0][0] / (profile[0][0] + far) // the pupil's share of the disc
	at := make([][]uint32, len(profile))
	for i, q := range profile {
		f := 0.48 * (start + (1-start)*along[i]/far)
		for j := range n {
			if q[0] < 1e-9 && i == 0 && j > 0 {
				at[i] = append(at[i], at[i][0])
				continue
			}
			a := 2 * math.Pi * float64(j) / float64(n)
			if q[0] < 1e-9 && i > 0 {
				a += math.Pi / float64(n)
			}
			s, c := math.Sincos(a)
			at[i] = append(at[i], uint32(len(m.P)))
			p := geom.Vec{X: q[0] * c, Y: q[0] * s, Z: q[1]}
			if q[0] < 1e-9 {
				p.X, p.Y = 0, 0
			}
			m.P = append(m.P, p)
			m.UV = append(m.UV, geom.UV{U: 0.5 + f*c, V: 0.5 - f*s})
		}
	}
	for i := range len(profile) - 1 {
		for j := range n {
			k := (j + 1) % n
			if profile[i][0] > 1e-9 {
				m.Tri = append(m.Tri, [3]uint32{at[i][j], at[i+1][j], at[i][k]})
			}
			if profile[i+1][0] > 1e-9 {
				m.Tri = append(m.Tri, [3]uint32{at[i][k], at[i+1][j], at[i+1][k]})
			}
		}
	}
	mesh.Normals(m)
	return m
}

// goodOuter is the check eye: globe 12 mm, cornea a conic of radius 7.8 and Q -0.26 that meets it at 5.85; apex 12.965.
func goodOuter(n int) *mesh.Mesh {
	var list [][2]float64
	rings := n * 3 / 4
	for i := range rings + 1 {
		a := math.Pi * float64(i) / float64(rings)
		rho, z := 12*math.Sin(a), 12*math.Cos(a)
		if z > 0 && rho < 5.85 {
			z = 12.965 - rho*rho/(7.8+math.Sqrt(7.8*7.8-0.74*rho*rho))
		}
		if i == rings {
			rho = 0
		}
		list = append(list, [2]float64{rho, z})
	}
	return revolved(n, list)
}

// goodInner has a flat iris at 9.9 mm with a lip, a hole of 1.8 mm and a globe close beneath the outer one.
func goodInner(n int, pupil float64) *mesh.Mesh {
	list := [][2]float64{{pupil, 9.7}, {pupil + 0.1, 9.9}, {pupil + 0.4, 9.9}}
	for i := range 10 {
		list = append(list, [2]float64{pupil + 0.5 + (5.3-pupil-0.5)*float64(i)/9, 9.85 - 0.05*float64(i)/9})
	}
	for i := range n/2 + 1 {
		a := math.Asin(5.7/11.9) + (math.Pi-math.Asin(5.7/11.9))*float64(i)/float64(n/2)
		q := [2]float64{11.9 * math.Sin(a), 11.9 * math.Cos(a)}
		if i == n/2 {
			q[0] = 0
		}
		list = append(list, q)
	}
	return revolved(n, list)
}

// eye is an eye that faults are planted in.
type eye struct {
	outer, inner *mesh.Mesh
	others       []*Part
	told         Told
	change       func(s *Subject) // after it is measured
}

func goodEye() *eye { return &eye{outer: goodOuter(96), inner: goodInner(64, 1.8)} }

func (e *eye) subject(t *testing.T) *Subject {
	t.Helper()
	var o, i *Part
	if e.outer != nil {
		o = &Part{Name: "cornea_white", Mesh: e.outer}
	}
	if e.inner != nil {
		i = &Part{Name: "iris_body", Mesh: e.inner}
	}
	s, err := NewSubject("reed cutter", o, i, e.others, e.told)
	require.NoError(t, err)
	if e.change != nil {
		e.change(s)
	}
	return s
}

// within says which vertices of a mesh lie within r of p.
func within(m *mesh.Mesh, p geom.Vec, r float64) map[uint32]bool {
	out := map[uint32]bool{}
	for i, q := range m.P {
		if q.Sub(p).Len() < r {
			out[uint32(i)] = true
		}
	}
	return out
}

// drop leaves out the triangles with a corner of some vertices.
func drop(m *mesh.Mesh, some map[uint32]bool) {
	var keep [][3]uint32
	for _, c := range m.Tri {
		if !some[c[0]] && !some[c[1]] && !some[c[2]] {
			keep = append(keep, c)
		}
	}
	m.Tri = keep
}

// change moves all vertices of a mesh.
func change(m *mesh.Mesh, by func(p geom.Vec) geom.Vec) {
	for i, p := range m.P {
		m.P[i] = by(p)
	}
	mesh.Normals(m)
}
