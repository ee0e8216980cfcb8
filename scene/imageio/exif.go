package imageio

import (
	"bytes"
	"encoding/binary"
)

// Taken is what the file of a photograph says of how it was taken.
type Taken struct {
	Turn  int     // how the rows and columns lie, 1 to 8 as in Exif (1 is upright); 0 where the file doesn't say
	Focal float64 // focal length in mm as on 35 mm film, whose picture is 43.27 mm across the corners; 0 where it doesn't say
}

// TakenFrom reads the Exif part of a JPEG file. What is not there or not sound counts as not said.
//
// Source: CIPA DC-008, Exchangeable image file format for digital still cameras: Exif Version 2.32, 2019, sections 4.5 and 4.6.
func TakenFrom(data []byte) (t Taken) {
	for at := 2; bytes.HasPrefix(data, []byte{0xff, 0xd8}) && at+4 <= len(data) && data[at] == 0xff; {
		kind, n := data[at+1], int(binary.BigEndian.Uint16(data[at+2:]))
		if kind == 0xda || n < 2 || at+2+n > len(data) { // the picture itself begins, or the file is cut
			return t
		}
		if object, ok := bytes.CutPrefix(data[at+4:at+2+n], []byte("Exif\x00\x00")); ok && kind == 0xe1 {
			return exif(object)
		}
		at += 2 + n
	}
	return t
}

// exif reads the two numbers out of a TIFF structure.
func exif(b []byte) (t Taken) {
	var order binary.ByteOrder = binary.LittleEndian
	switch {
	case bytes.HasPrefix(b, []byte("II*\x00")):
	case bytes.HasPrefix(b, []byte("MM\x00*")):
		order = binary.BigEndian
	default:
		return t
	}
	// entries calls f with the tag and the first value of each whole number in a directory.
	entries := func(from uint32, f func(tag uint16, v uint32)) {
		if uint64(from)+2 > uint64(len(b)) {
			return
		}
		n := int(order.Uint16(b[from:]))
		for i := range n {
			at := int(from) + 2 + 12*i
			if at+12 > len(b) {
				return
			}
			switch order.Uint16(b[at+2:]) {
			case 3: // SHORT
				f(order.Uint16(b[at:]), uint32(order.Uint16(b[at+8:])))
			case 4: // LONG
				f(order.Uint16(b[at:]), order.Uint32(b[at+8:]))
			}
		}
	}
	if len(b) < 8 {
		return t
	}
	entries(order.Uint32(b[4:]), func(tag uint16, v uint32) {
		switch tag {
		case 0x0112:
			if v >= 1 && v <= 8 {
				t.Turn = int(v)
			}
		case 0x8769: // where the camera's own directory is
			entries(v, func(tag uint16, v uint32) {
				if tag == 0xa405 && v < 10000 {
					t.Focal = float64(v)
				}
			})
		}
	})
	return t
}
