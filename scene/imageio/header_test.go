package imageio

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// A header tells the size, the channels and the depth that reading the whole picture finds.
func TestHeader(t *testing.T) {
	dir := t.TempDir()
	name := func(s string) string { return filepath.Join(dir, s) }
	const w, h = 6, 4
	plane := make([]float32, w*h)
	words := make([]uint16, 3*w*h)
	for _, err := range []error{
		WritePNG(name("a.png"), w, h, 1, make([]uint8, w*h), nil), WritePNG(name("b.png"), w, h, 3, make([]uint8, 3*w*h), nil),
		WritePNG16(name("c.png"), w, h, 1, words[:w*h], nil), WritePNG16(name("d.png"), w, h, 3, words, nil),
		WriteTIFF(name("e.tif"), w, h, 3, words), WriteHDR(name("f.hdr"), w, h, make([]float32, 3*w*h)),
		WritePFM(name("g.pfm"), w, h, 1, plane), WritePFM(name("h.pfm"), w, h, 3, make([]float32, 3*w*h)),
		WriteEXR(name("i.exr"), w, h, []EXRChannel{{Name: "Y", Half: true, Pix: plane}}, nil),
		WriteEXR(name("j.exr"), w, h, []EXRChannel{{Name: "R", Pix: plane}, {Name: "G", Pix: plane}, {Name: "B", Pix: plane}}, nil),
	} {
		if err != nil {
			t.Fatal(err)
		}
	}
	files, err := filepath.Glob(name("*"))
	if err != nil || len(files) != 10 {
		t.Fatal(files, err)
	}
	for _, file := range files {
		got, err := ReadHeader(file)
		if err != nil {
			t.Errorf("%s: %v", file, err)
			continue
		}
		p, err := Read(file)
		if err != nil {
			t.Fatal(err)
		}
		st, err := os.Stat(file)
		if err != nil {
			t.Fatal(err)
		}
		if got.W != p.W || got.H != p.H || got.Channels != len(p.Names) || got.Bits != p.Depth || got.Float == p.Encoded || got.File != st.Size() {
			t.Errorf("%s: header %+v, picture %d x %d, %q, %d bits, coded %t", file, got, p.W, p.H, p.Names, p.Depth, p.Encoded)
		}
	}
}

// No header asks for more than a picture may be, whatever the bytes.
func FuzzHeader(f *testing.F) {
	f.Add([]byte("PF\n4 2\n-1\n"))
	f.Add([]byte("#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 8 +X 16\n"))
	f.Add([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0dIHDR\x00\x00\x00\x04\x00\x00\x00\x04\x10\x02\x00\x00\x00\x00\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := headerOf("fuzz", bytes.NewReader(data), int64(len(data)))
		if err != nil {
			return
		}
		if h.W < 1 || h.H < 1 || h.W > MaxSide || h.H > MaxSide || h.Channels < 1 || h.Channels > 4 || h.Texture(As{}) <= 0 {
			t.Fatalf("%+v", h)
		}
	})
}
