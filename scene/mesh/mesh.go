// Package mesh holds indexed triangles with normals and texture coordinates, and what is done to them before they are
// rendered: closing, welding, taking apart, subdividing, displacing, tangents.
//
//	Mesh      the triangles: positions in mm, unit normals, texture coordinates, one Part a triangle
//	Part      what a triangle of an eye's inner shell is: Tissue, which scatters, or Backing, which absorbs
//	Tangents  the frame that a tangent-space normal map is read in; MakeTangents computes it
//
//	Weld, Islands, Close   join corners in one place, take connected parts apart, put caps on holes
//	Subdivide, LevelsFor   a smooth surface, and how fine it has to be (FacetError)
//	Normals, Displace      normals anew; vertices moved along them
//
// Triangles wind counter-clockwise seen from outside, so Volume is positive and normals point outward. Texture coordinates
// run to the right and down: v is 0 at the top of a picture. Lengths are in mm, angles in radians.
//
// Sources: Loop, Smooth Subdivision Surfaces Based on Triangles, MSc thesis, University of Utah, 1987; Mikkelsen,
// Simulation of Wrinkled Surfaces Revisited, MSc thesis, University of Copenhagen, 2008, and glTF 2.0, section 3.7.2.1, for
// tangents; Max, Weights for Computing Vertex Normals from Facet Normals, JGT 4(2), 1999. Each function names its own.
package mesh

import "catchlight/scene/geom"

// Part says what a triangle of an eye's inner shell is made of.
type Part uint8

// The parts of a shell.
const (
	Tissue  Part = iota // scatters
	Backing             // absorbs all that reaches it: pupil opening, cavity-facing walls, the back of the iris
)

// Mesh is a set of triangles. All per-vertex slices have one entry a vertex; N and UV may be nil.
// Triangles wind counter-clockwise seen from outside.
type Mesh struct {
	P    []geom.Vec  // positions, mm
	N    []geom.Vec  // unit normals
	UV   []geom.UV   // texture coordinates, v down
	Tri  [][3]uint32 // vertex indices
	Part []Part      // one a triangle; nil means all Tissue
}

// Append adds a copy of q to m. What only one of them has, normals or texture coordinates, is for the caller to drop.
func (m *Mesh) Append(q *Mesh) {
	base := uint32(len(m.P))
	m.P, m.N, m.UV = append(m.P, q.P...), append(m.N, q.N...), append(m.UV, q.UV...)
	for _, t := range q.Tri {
		m.Tri = append(m.Tri, [3]uint32{base + t[0], base + t[1], base + t[2]})
	}
}

// TurnOver lets every triangle wind the other way; normals stay.
func (m *Mesh) TurnOver() {
	for i, t := range m.Tri {
		m.Tri[i][1], m.Tri[i][2] = t[2], t[1]
	}
}

// Bounds returns the box about all positions.
func (m *Mesh) Bounds() geom.Box {
	b := geom.EmptyBox()
	for _, p := range m.P {
		b = b.Grow(p)
	}
	return b
}
