package texture

import "catchlight/scene/raw"

// Write keeps a picture of plain values (see NewImage) without its smaller copies; other codings are not kept, and read back as none.
func Write(w *raw.Writer, im *Image) {
	if im == nil || im.base.pix == nil {
		raw.Slice(w, []int(nil))
		return
	}
	raw.Slice(w, []int{im.base.w, im.base.h, im.c})
	raw.Slice(w, im.base.pix)
}

// Read returns the picture that was written, or nil.
func Read(r *raw.Reader) *Image {
	size := raw.ReadSlice[int](r)
	if len(size) != 3 {
		return nil
	}
	pix := raw.ReadSlice[float32](r)
	if w, h, c := size[0], size[1], size[2]; len(pix) == w*h*c && w*h*c > 0 {
		return NewImage(w, h, c, pix)
	}
	return nil
}
