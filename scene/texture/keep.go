package texture

import "catchlight/scene/raw"

// Write keeps a picture of plain values (see NewImage) or of half-precision numbers without its smaller copies; other codings are not
// kept, and read back as none.
func Write(w *raw.Writer, im *Image) {
	switch {
	case im != nil && im.base.pix != nil:
		raw.Slice(w, []int{im.base.w, im.base.h, im.c})
		raw.Slice(w, im.base.pix)
	case im != nil && im.base.coding == Half:
		raw.Slice(w, []int{im.base.w, im.base.h, im.c, int(Half)})
		raw.Slice(w, im.base.pix16)
	default:
		raw.Slice(w, []int(nil))
	}
}

// Read returns the picture that was written, or nil.
func Read(r *raw.Reader) *Image {
	size := raw.ReadSlice[int](r)
	fits := func(n int) bool { return n > 0 && n == size[0]*size[1]*size[2] }
	switch len(size) {
	case 3:
		if pix := raw.ReadSlice[float32](r); fits(len(pix)) {
			return NewImage(size[0], size[1], size[2], pix)
		}
	case 4:
		if pix := raw.ReadSlice[uint16](r); fits(len(pix)) {
			return NewImage16(size[0], size[1], size[2], pix, Half)
		}
	}
	return nil
}
