package imageio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/half"
)

// openexr holds files that the OpenEXR library of the Academy Software Foundation wrote from the formulas below.
const openexr = "../../testdata/images/openexr/"

func mix(x, y, c uint32) uint32 {
	v := x*2654435761 + y*40503 + c*69069
	v ^= v >> 15
	v *= 2246822519
	return v ^ v>>13
}

// value is texel x, y of channel c as the library was given it.
func value(t exrType, x, y, c int) float32 {
	switch t {
	case exrHalf:
		m := (x + 2*y + 5*c) % 97
		if x%8 < 3 {
			m += int(mix(uint32(x), uint32(y), uint32(c)) % 16)
		}
		return float32(m)*0.25 - 3
	case exrFloat:
		return float32(x*x+3*y+c) / 7
	}
	return float32(uint32(x/4)*65537 + uint32(3*y) + uint32(c))
}

// holds checks a channel against the formula.
func holds(t *testing.T, p *Picture, name string, typ exrType, c int) {
	t.Helper()
	pix := p.Channel(name)
	require.NotNil(t, pix, name)
	for i, v := range pix {
		if want := value(typ, i%p.W, i/p.W, c); v != want {
			t.Fatalf("%s: texel %d, %d is %v, want %v", name, i%p.W, i/p.W, v, want)
		}
	}
}

// Every texel of the library's PIZ files, scan lines and tiles, halves, floats and whole numbers; a file of more than 2^14
// values, whose wavelet is another; and one of one value.
func TestPIZ(t *testing.T) {
	p, err := Read(openexr + "piz.exr")
	require.NoError(t, err)
	require.Equal(t, []string{"R", "G", "B", "Z", "id"}, p.Names)
	for i, name := range []string{"R", "G", "B"} {
		holds(t, p, name, exrHalf, i)
	}
	holds(t, p, "Z", exrFloat, 3)
	holds(t, p, "id", exrUint, 4)
	p, err = Read(openexr + "piz_tiles.exr")
	require.NoError(t, err)
	for i, name := range []string{"R", "G", "B"} {
		holds(t, p, name, exrHalf, i)
	}
	p, err = Read(openexr + "piz_ramp.exr")
	require.NoError(t, err)
	for i, v := range p.Pix[0] {
		if want := half.ToFloat(uint16(i)); v != want {
			t.Fatalf("half %d came out as %v, want %v", i, v, want)
		}
	}
	p, err = Read(openexr + "piz_flat.exr")
	require.NoError(t, err)
	require.Equal(t, float32(0.5), slices.Min(p.Pix[0]))
	require.Equal(t, float32(0.5), slices.Max(p.Pix[0]))
}

// PXR24 keeps halves and whole numbers, and of floats the upper 24 bits, rounded.
func TestPXR24(t *testing.T) {
	p, err := Read(openexr + "pxr24.exr")
	require.NoError(t, err)
	for i, name := range []string{"R", "G", "B"} {
		holds(t, p, name, exrHalf, i)
	}
	holds(t, p, "id", exrUint, 4)
	for i, v := range p.Channel("Z") {
		want := value(exrFloat, i%p.W, i/p.W, 3)
		if math.Float32bits(v)&0xff != 0 || math.Abs(float64(v-want)) > math.Abs(float64(want))/(1<<16) {
			t.Fatalf("texel %d is %v, want %v to 24 bits", i, v, want)
		}
	}
}

// Of several parts the first with colours is the picture; others of its window come as PART.CHANNEL; the rest is noted.
func TestParts(t *testing.T) {
	p, err := Read(openexr + "parts.exr")
	require.NoError(t, err)
	require.Equal(t, []string{"R", "G", "B", "A", "depth.Z", "glow.B", "glow.G", "glow.R", "mask.Y"}, p.Names)
	for name, c := range map[string]int{"R": 0, "G": 1, "B": 2, "A": 5, "glow.R": 6, "glow.G": 7, "glow.B": 8, "mask.Y": 10} {
		holds(t, p, name, exrHalf, c)
	}
	holds(t, p, "depth.Z", exrFloat, 3)
	require.Contains(t, p.Notes, `part "corner": its data window is not that of the picture; it is left out`)
	require.NotNil(t, p.Primaries)
	require.InDelta(t, 0.32168, p.Primaries[6], 1e-6) // of the part that is the picture
	h, err := ReadHeader(openexr + "parts.exr")
	require.NoError(t, err)
	require.Equal(t, [3]int{61, 45, 4}, [3]int{h.W, h.H, h.Channels})
	im, _, err := ReadTexture(openexr+"parts.exr", As{Channel: "depth.Z"})
	require.NoError(t, err)
	_, _, c := im.Size()
	require.Equal(t, 1, c)
}

// Damage of every byte of a block is an error or other values, never a panic or much memory; what is plain is said.
func TestPIZDamaged(t *testing.T) {
	file, err := os.ReadFile(openexr + "piz_flat.exr")
	require.NoError(t, err)
	r := &exrBytes{b: file[8:]}
	_, err = exrReadHeader(r, 2)
	require.NoError(t, err)
	head := len(file) - len(r.b)
	for i := head; i < len(file); i += 3 {
		for _, x := range []byte{0, 0xff} {
			bent := bytes.Clone(file)
			bent[i] ^= x ^ 0x80
			if p, err := ReadBytes("flat.exr", bent); err == nil {
				require.Len(t, p.Pix[0], 256*256)
			} else {
				require.Contains(t, err.Error(), "flat.exr: OpenEXR: ")
			}
		}
	}
	block := int(binary.LittleEndian.Uint64(file[head:])) + 8 // bitmap's ends, bitmap, length, code
	for want, bend := range map[string]func(b []byte){
		"the bitmap of values runs from byte 65535 to 65535 of 8192": func(b []byte) { copy(b[block:], "\xff\xff\xff\xff") },
		"the code claims 2147483647 bytes":                           func(b []byte) { copy(b[block+5:], "\xff\xff\xff\x7f") },
		"the code's table runs from 70000 to":                        func(b []byte) { copy(b[block+9:], le32(70000)) },
		"the code claims 4294967295 bits":                            func(b []byte) { copy(b[block+9+12:], "\xff\xff\xff\xff") },
		"the code's lengths make no full tree":                       func(b []byte) { b[block+9+20] ^= 0x04 },
	} {
		b := bytes.Clone(file)
		bend(b)
		_, err := ReadBytes("flat.exr", b)
		require.ErrorContains(t, err, "the block of scan line 0: "+want)
	}
}

// Faults of files of several parts are named with the part.
func TestPartsDamaged(t *testing.T) {
	file, err := os.ReadFile(openexr + "parts.exr")
	require.NoError(t, err)
	swap := func(old, new string) []byte {
		require.True(t, bytes.Contains(file, []byte(old)), "%q", old)
		return bytes.Replace(file, []byte(old), []byte(new), 1)
	}
	parts, _, err := exrReadHeaders(&exrBytes{b: file[4:]})
	require.NoError(t, err)
	require.Len(t, parts, 5)
	r := &exrBytes{b: file[4:]}
	_, _, err = exrReadHeaders(r)
	require.NoError(t, err)
	chunk := binary.LittleEndian.Uint64(r.b[8*3:]) // the first of part 1
	other := bytes.Clone(file)
	binary.LittleEndian.PutUint32(other[chunk:], 3)
	for want, b := range map[string][]byte{
		`part number 1 is called "depth", as no other or none`:                                   swap("string\x00"+le32(6)+"beauty", "string\x00"+le32(5)+"depth"),
		`part "beauty": the block of scan line 0 says that it is of part number 3, not 1`:        other,
		`part "depth" is of the type "scanlineimagf"`:                                            swap("scanlineimage", "scanlineimagf"),
		`part "depth" claims 7 chunks, must have 3`:                                              swap("chunkCount\x00int\x00"+le32(4, 3), "chunkCount\x00int\x00"+le32(4, 7)),
		`part "depth" claims -1 chunks`:                                                          swap("chunkCount\x00int\x00"+le32(4, 3), "chunkCount\x00int\x00"+le32(4, -1)),
		fmt.Sprintf(`the block of scan line 0 is said to start at byte %d`, uint64(1)<<62|chunk): nil,
	} {
		if b == nil {
			b = bytes.Clone(file)
			binary.LittleEndian.PutUint64(b[len(file)-len(r.b)+24:], 1<<62|chunk)
		}
		_, err := ReadBytes("parts.exr", b)
		require.ErrorContains(t, err, want)
	}
	// Not one cut of it is read without an error.
	for n := 0; n < len(file)-1; n += 97 {
		if _, err := ReadBytes("parts.exr", file[:n]); err == nil {
			t.Fatalf("%d bytes of %d are read", n, len(file))
		}
	}
}
