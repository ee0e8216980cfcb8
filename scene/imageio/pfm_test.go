package imageio

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Rows go from the bottom up, the sign of the scale tells the byte order (Debevec 2001).
func TestPFMForms(t *testing.T) {
	little := "\x00\x00\x80\x3f\x00\x00\x00\x40" // 1, 2
	big := "\x3f\x80\x00\x00\x40\x00\x00\x00"
	for _, c := range []struct{ name, file, want string }{
		{"grey, little-endian, two rows", "Pf\n1 2\n-1\n" + little, "[[2 1]] []"},
		{"grey, big-endian, one row", "Pf 2 1 1.0\n" + big, "[[1 2]] []"},
		{"carriage returns", "Pf\r\n2 1\r\n-1.0\r\n" + little, "[[1 2]] []"},
		{"scale", "Pf\n2 1\n-3\n" + little, "[[1 2]] [the scale 3 is not applied to the values]"},
		{"colour", "PF\n1 1\n-1\n" + little + "\x00\x00\x00\xc0", "[[1] [2] [-2]] [channel B: 1 of 1 values are negative, down to -2]"},
	} {
		p, err := ReadBytes(c.name, []byte(c.file))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := fmt.Sprint(p.Pix, p.Notes); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
	}
}

func TestPFMErrors(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"no header", "PF\n", "width"},
		{"glued", "PF1 1 -1\n", "space"},
		{"no scale", "PF\n1 1\n", "scale"},
		{"scale 0", "PF\n1 1\n0\n", "scale"},
		{"word for width", "PF\na 1\n-1\n", "\"a\""},
		{"short data", "PF\n2 2\n-1\n1234", "more than the file's 4 bytes"},
		{"huge", "PF\n100000 100000\n-1\n1234", "100000 x 100000"},
		{"negative", "PF\n-1 1\n-1\n1234", "-1 x 1"},
		{"overflow", "PF\n99999999999999999999 1\n-1\n1234", "whole numbers"},
	} {
		_, err := ReadBytes("heron.pfm", []byte(c.file))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error about %q", c.name, err, c.want)
		}
	}
}

// What is written is read back bit for bit, NaN with its payload included.
func TestPFMRoundTrip(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x.pfm")
	odd := []float32{0, float32(math.Copysign(0, -1)), 1e-45, -3.4e38, float32(math.Inf(1)), math.Float32frombits(0x7fc12345)}
	for _, c := range []int{1, 3} {
		if err := WritePFM(path, 6/c/2, 2, c, odd[:6/c/2*2*c]); err != nil {
			t.Fatal(err)
		}
		p, err := Read(path)
		if err != nil {
			t.Fatal(err)
		}
		for i := range p.W * p.H * c {
			if got, want := math.Float32bits(p.Pix[i%c][i/c]), math.Float32bits(odd[i]); got != want {
				t.Errorf("%d channels, value %d: got %08x, want %08x", c, i, got, want)
			}
		}
	}
	if err := WritePFM(path, 1, 1, 2, odd[:2]); err == nil {
		t.Error("two channels are written")
	}
	if fi, _ := os.ReadDir(filepath.Dir(path)); len(fi) != 1 {
		t.Errorf("%d files in the folder, want 1", len(fi))
	}
}

func FuzzPFM(f *testing.F) {
	f.Add([]byte("Pf\n1 2\n-1\n\x00\x00\x80\x3f\x00\x00\x00\x40"))
	f.Add([]byte("PF 1 1 1.0\n123456789012"))
	f.Fuzz(func(t *testing.T, data []byte) { fuzzRead(t, "P", data) })
}
