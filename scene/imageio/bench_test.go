package imageio

import (
	"math/rand/v2"
	"path/filepath"
	"testing"
)

// benchPicture is a half-float picture as noisy as a short render: a gradient with 1 % noise.
func benchPicture(w, h int) []EXRChannel {
	r := rand.New(rand.NewPCG(7, 7))
	var out []EXRChannel
	for _, name := range []string{"R", "G", "B"} {
		p := make([]float32, w*h)
		for i := range p {
			p[i] = float32(float64(i%w+i/w) / float64(w) * (1 + 0.01*r.NormFloat64()))
		}
		out = append(out, EXRChannel{Name: name, Half: true, Pix: p})
	}
	return out
}

func BenchmarkEXR(b *testing.B) {
	const w, h = 960, 540
	channels := benchPicture(w, h)
	path := filepath.Join(b.TempDir(), "x.exr")
	b.Run("write", func(b *testing.B) {
		b.SetBytes(w * h * 6)
		for b.Loop() {
			if err := WriteEXR(path, w, h, channels, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("read", func(b *testing.B) {
		b.SetBytes(w * h * 6)
		for b.Loop() {
			if _, err := Read(path); err != nil {
				b.Fatal(err)
			}
		}
	})
}

func BenchmarkReadHDR(b *testing.B) {
	b.SetBytes(512 * 256 * 4)
	for b.Loop() {
		if _, err := Read(environment + "apartment.hdr"); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReadPNG(b *testing.B) {
	const n = 1024
	path := filepath.Join(b.TempDir(), "x.png")
	pix := make([]uint8, 3*n*n)
	for i := range pix {
		pix[i] = uint8(i*i>>9 + i)
	}
	if err := WritePNG(path, n, n, 3, pix, nil); err != nil {
		b.Fatal(err)
	}
	b.SetBytes(3 * n * n)
	for b.Loop() {
		p, err := Read(path)
		if err != nil {
			b.Fatal(err)
		}
		p.Image(true)
	}
}
