package accel

import (
	"unsafe"

	"catchlight/scene/geom"
	"catchlight/scene/raw"
)

// kept is what of a hierarchy is neither arena nor the caller's.
type kept struct {
	root  uint32
	box   geom.Box
	clip  geom.Box
	mid   geom.Vec
	scale float64
	stats Stats
}

// Write keeps a hierarchy without the positions and indices, which are the caller's to keep.
func (b *BVH) Write(w *raw.Writer) {
	raw.Value(w, kept{b.root, b.box, b.clip, b.mid, b.scale, b.stats})
	raw.Slice(w, b.mem)
}

// Read returns the hierarchy that was written, over the same positions and indices.
func Read(r *raw.Reader, p []geom.Vec, tri [][3]uint32) *BVH {
	k := raw.ReadValue[kept](r)
	b := &BVH{p: p, tri: tri, root: k.root, box: k.box, clip: k.clip, mid: k.mid, scale: k.scale, stats: k.stats}
	b.mem = raw.ReadSlice[block](r)
	b.base = unsafe.Pointer(unsafe.SliceData(b.mem))
	return b
}
