// Package mesh holds indexed triangles with normals and texture coordinates.
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

// Bounds returns the box about all positions.
func (m *Mesh) Bounds() geom.Box {
	b := geom.EmptyBox()
	for _, p := range m.P {
		b = b.Grow(p)
	}
	return b
}
