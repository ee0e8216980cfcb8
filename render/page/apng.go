package page

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/png"
)

// APNG returns frames of one size as an animated PNG that loops without end; delay is the time of a frame in ms.
//
// Source of the chunks acTL, fcTL and fdAT: W3C, Portable Network Graphics (PNG) Specification (Third Edition), 2025,
// section 11.3.6. The coding of each frame is the standard library's.
func APNG(frames []*image.NRGBA, delay int) ([]byte, error) {
	if len(frames) == 0 {
		return nil, fmt.Errorf("page: an animation without frames")
	}
	var out bytes.Buffer
	serial := uint32(0)
	size := frames[0].Bounds().Size()
	for i, m := range frames {
		if m.Bounds().Size() != size {
			return nil, fmt.Errorf("page: frame %d is %v, the first %v", i, m.Bounds().Size(), size)
		}
		// Frames of one picture must have one colour type: pictures without transparency are written without it.
		var b bytes.Buffer
		if err := png.Encode(&b, m); err != nil {
			return nil, err
		}
		data := b.Bytes()
		const signature = 8
		if i == 0 {
			out.Write(data[:signature])
		}
		for at := signature; at+12 <= len(data); {
			n := int(binary.BigEndian.Uint32(data[at:]))
			kind, body := string(data[at+4:at+8]), data[at+8:at+8+n]
			at += 12 + n
			switch kind {
			case "IHDR":
				if i == 0 {
					chunk(&out, kind, body)
					chunk(&out, "sRGB", []byte{0})
					chunk(&out, "acTL", binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, uint32(len(frames))), 0))
				}
				c := binary.BigEndian.AppendUint32(nil, serial)
				serial++
				for _, v := range []uint32{uint32(size.X), uint32(size.Y), 0, 0} {
					c = binary.BigEndian.AppendUint32(c, v)
				}
				c = binary.BigEndian.AppendUint16(c, uint16(delay))
				c = binary.BigEndian.AppendUint16(c, 1000)
				chunk(&out, "fcTL", append(c, 0, 0)) // no disposal, no blending
			case "IDAT":
				if i == 0 {
					chunk(&out, kind, body)
					continue
				}
				chunk(&out, "fdAT", append(binary.BigEndian.AppendUint32(nil, serial), body...))
				serial++
			}
		}
	}
	chunk(&out, "IEND", nil)
	return out.Bytes(), nil
}

// chunk writes a PNG chunk: length, name, object and the check sum of name and object.
func chunk(b *bytes.Buffer, name string, body []byte) {
	part := append([]byte(name), body...)
	b.Write(binary.BigEndian.AppendUint32(nil, uint32(len(body))))
	b.Write(part)
	b.Write(binary.BigEndian.AppendUint32(nil, crc32.ChecksumIEEE(part)))
}
