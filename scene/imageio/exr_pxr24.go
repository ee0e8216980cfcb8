package imageio

import "encoding/binary"

// exrUnpack24 undoes PXR24 for a block of lines, of which z is what its deflate text holds: in each line and channel the
// bytes of equal weight stand together, from the highest on, as differences between neighbours. Of floats the lowest 8 bits
// were given up when the file was written.
//
// Source: the layout document names the method; its bits are from memory of the published library
// (ImfPxr24Compressor.cpp), checked against files that it wrote.
func exrUnpack24(z []byte, planes []exrPlane, lines, n int) []byte {
	out := make([]byte, 0, n)
	for range lines {
		for _, p := range planes {
			bytes, up := p.t.packed24(), 0
			if p.t == exrFloat {
				up = 8
			}
			v := uint32(0)
			for i := range p.n {
				d := uint32(0)
				for k := range bytes {
					d = d<<8 | uint32(z[k*p.n+i])
				}
				v += d << up
				if p.t == exrHalf {
					out = binary.LittleEndian.AppendUint16(out, uint16(v))
				} else {
					out = binary.LittleEndian.AppendUint32(out, v)
				}
			}
			z = z[bytes*p.n:]
		}
	}
	return out
}

// packed24 returns the bytes of a value in PXR24.
func (t exrType) packed24() int {
	if t == exrFloat {
		return 3
	}
	return t.size()
}
