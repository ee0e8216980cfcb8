package frozen

import "catchlight/scene/raw"

// WriteVolume keeps a map over the volume, or that there is none.
func WriteVolume(w *raw.Writer, m *VolumeMap) {
	n := 0
	if m != nil {
		n = m.n
	}
	raw.Value(w, n)
	if m != nil {
		raw.Slice(w, m.pix)
	}
}

// ReadVolume returns the map that was written.
func ReadVolume(r *raw.Reader) *VolumeMap {
	n := raw.ReadValue[int](r)
	if n == 0 {
		return nil
	}
	return &VolumeMap{n: n, pix: raw.ReadSlice[float32](r)}
}
