package base

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Version names the order of vertices and faces and the texture coordinates.
const Version = 1

// Corner is a corner of a quad: a place, and its texture coordinates on that side of a seam.
type Corner struct{ P, UV uint32 }

// Mesh is a set of quads that wind counter-clockwise seen from outside.
type Mesh struct {
	Name  string
	P     []geom.Vec // mm
	N     []geom.Vec // unit
	UV    []geom.UV
	Chart []geom.UV // one a place: where the built eye's own maps have it; nil for strips
	Quads [][4]Corner
	Loops []Loop
}

// Loop is a ring of places that is in every level.
type Loop struct {
	Name   string
	Places []uint32 // counter-clockwise seen from the front, from +X on
}

// grid is the step to which places are rounded, mm: a hundredth of the wavelength of light, so that a version's numbers are the same on
// machines that add up in another order.
const grid = 1e-6

func rounded(p geom.Vec) geom.Vec {
	r := func(x float64) float64 { return math.Round(x/grid) * grid }
	return geom.Vec{X: r(p.X), Y: r(p.Y), Z: r(p.Z)}
}

// Triangles cuts each quad from its first corner to its third, whatever its shape, and joins corners that share place and coordinates.
// from names the place of each vertex.
func (m *Mesh) Triangles() (t *mesh.Mesh, from []uint32) {
	t = &mesh.Mesh{}
	at := map[Corner]uint32{}
	vertex := func(c Corner) uint32 {
		i, ok := at[c]
		if !ok {
			i = uint32(len(t.P))
			at[c] = i
			t.P, t.N, t.UV = append(t.P, m.P[c.P]), append(t.N, m.N[c.P]), append(t.UV, m.UV[c.UV])
			from = append(from, c.P)
		}
		return i
	}
	for _, q := range m.Quads {
		a, b, c, d := vertex(q[0]), vertex(q[1]), vertex(q[2]), vertex(q[3])
		t.Tri = append(t.Tri, [3]uint32{a, b, c}, [3]uint32{a, c, d})
	}
	return t, from
}

// normals sets the normals by the weights of mesh.Normals, across seams.
func (m *Mesh) normals() {
	t := &mesh.Mesh{P: m.P}
	for _, q := range m.Quads {
		t.Tri = append(t.Tri, [3]uint32{q[0].P, q[1].P, q[2].P}, [3]uint32{q[0].P, q[2].P, q[3].P})
	}
	mesh.Normals(t)
	m.N = t.N
}

// Mirror turns a right eye's mesh into a left one's: x and u change sides, so that the same picture is that of the other eye turned
// over, and the winding is turned back. Order stays.
func (m *Mesh) Mirror() {
	for i := range m.P {
		m.P[i].X, m.N[i].X = -m.P[i].X, -m.N[i].X
	}
	for i := range m.UV {
		m.UV[i].U = 1 - m.UV[i].U
	}
	for i := range m.Chart {
		m.Chart[i].U = 1 - m.Chart[i].U
	}
	for i, q := range m.Quads {
		m.Quads[i] = [4]Corner{q[0], q[3], q[2], q[1]} // the diagonal from the first to the third corner stays
	}
}

// Order is a hash of everything that a version keeps: faces, texture coordinates to 1e-6 and, where places is set, places too.
func (m *Mesh) Order(places bool) string {
	h := sha256.New()
	put := func(v ...int64) {
		for _, x := range v {
			var b [8]byte
			binary.LittleEndian.PutUint64(b[:], uint64(x))
			h.Write(b[:])
		}
	}
	for _, q := range m.Quads {
		for _, c := range q {
			put(int64(c.P), int64(c.UV))
		}
	}
	for _, t := range m.UV {
		put(int64(math.Round(t.U*1e6)), int64(math.Round(t.V*1e6)))
	}
	if places {
		for _, p := range m.P {
			put(int64(math.Round(p.X*1e5)), int64(math.Round(p.Y*1e5)), int64(math.Round(p.Z*1e5)))
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}
