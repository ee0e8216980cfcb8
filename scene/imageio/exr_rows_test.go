package imageio

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"catchlight/scene/colour"
)

// Rows of parts, in any cut, are what is read as a whole; the library's own tool takes the parts apart to the same values; a
// value too large for halves makes its channel one of 32 bits.
//
// Long: one file is written once and looked at in every way.
func TestEXRParts(t *testing.T) {
	const w, h = 37, 70
	dir := t.TempDir()
	path := filepath.Join(dir, "parts.exr")
	value := func(part, c, x, y int) float32 { return float32(part*1000+c*100) + float32(x)/8 + float32(y)/4 }
	parts := []EXRPart{
		{Name: "picture", Channels: []EXRChannel{{Name: "B"}, {Name: "G", Half: true}, {Name: "R", Half: true}}, Attrs: map[string]string{"tide": "low"}},
		{Name: "light.lamp", Channels: []EXRChannel{{Name: "R", Half: true}}},
	}
	calls := 0
	err := WriteEXRRows(path, w, h, parts, colour.Rec709, func(y0, y1 int, planes [][][]float32) error {
		calls++
		for p := range planes {
			for c := range planes[p] {
				for i := range planes[p][c] {
					planes[p][c][i] = value(p, c, i%w, y0+i/w)
				}
			}
		}
		if y1 == h {
			planes[0][2][len(planes[0][2])-1] = 7e4
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if parts[0].Channels[2].Half != true {
		t.Error("the caller's parts were changed")
	}
	f, err := OpenEXR(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.W != w || f.H != h || f.Part("light.lamp") != 1 || f.Part("moon") != -1 || f.Parts[0].Attrs["tide"] != "low" || f.Channel(0, "R") != 2 {
		t.Fatalf("%+v", f.Parts)
	}
	whole, err := Read(path)
	if err != nil {
		t.Fatal(err)
	}
	for p, names := range [][]string{{"B", "G", "R"}, {"light.lamp.R"}} {
		for _, cut := range [][2]int{{0, h}, {15, 17}, {16, 32}, {69, 70}} {
			rows, err := f.Rows(p, cut[0], cut[1])
			if err != nil {
				t.Fatal(err)
			}
			for c, n := range names {
				if !slices.Equal(rows[c], whole.Channel(n)[cut[0]*w:cut[1]*w]) {
					t.Errorf("part %d, %s, rows %v differ", p, n, cut)
				}
			}
		}
	}
	if got := whole.Channel("R")[w*h-1]; got != 7e4 {
		t.Errorf("a value beyond halves came back as %v", got)
	}
	tool(t, "exrmultipart", "-separate", "-i", path, "-o", filepath.Join(dir, "apart"))
	other, err := Read(filepath.Join(dir, "apart.2.exr"))
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(other.Channel("R"), whole.Channel("light.lamp.R")) {
		t.Error("the library's tool reads other values")
	}
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, cut := range []int{3, 200, len(data) / 2} {
		bad := filepath.Join(dir, "cut.exr")
		if err := os.WriteFile(bad, data[:cut], 0o666); err != nil {
			t.Fatal(err)
		}
		g, err := OpenEXR(bad)
		if err == nil {
			_, err = g.Rows(1, h-1, h)
			g.Close()
		}
		if err == nil || !strings.Contains(err.Error(), "cut.exr") {
			t.Errorf("cut at %d: %v", cut, err)
		}
	}
}
