package mesh

import (
	"catchlight/scene/geom"
	"catchlight/scene/raw"
)

// Write keeps a mesh, or that there is none.
func Write(w *raw.Writer, m *Mesh) {
	raw.Value(w, m != nil)
	if m != nil {
		raw.Slice(w, m.P)
		raw.Slice(w, m.N)
		raw.Slice(w, m.UV)
		raw.Slice(w, m.Tri)
		raw.Slice(w, m.Part)
	}
}

// Read returns the mesh that was written.
func Read(r *raw.Reader) *Mesh {
	if !raw.ReadValue[bool](r) {
		return nil
	}
	return &Mesh{P: raw.ReadSlice[geom.Vec](r), N: raw.ReadSlice[geom.Vec](r), UV: raw.ReadSlice[geom.UV](r),
		Tri: raw.ReadSlice[[3]uint32](r), Part: raw.ReadSlice[Part](r)}
}
