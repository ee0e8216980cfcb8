package texture

import (
	"math"
	"slices"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// plainTile is a picture of one value.
func plainTile(v float32, w, h int) *Image {
	p := make([]float32, w*h)
	for i := range p {
		p[i] = v
	}
	return NewImage(w, h, 1, p)
}

// The numbering by hand: columns rightward from 1001, rows upward by ten; v runs down, so the row above the first has
// negative v.
func TestTileOf(t *testing.T) {
	for _, c := range []struct {
		u, v float64
		want int
	}{{.5, .5, 1001}, {1.5, .5, 1002}, {9.5, .5, 1010}, {.5, -.5, 1011}, {2.5, -3.5, 1043}, {-.5, .5, 0}, {10.5, .5, 0}, {.5, 1.5, 0}} {
		if got := TileOf(geom.UV{U: c.u, V: c.v}); got != c.want {
			t.Errorf("(%g, %g): tile %d, want %d", c.u, c.v, got, c.want)
		}
	}
}

// Each tile shows its own picture, of any size; a tile that is not there shows its nearest neighbour, never black; the
// edge of a tile is not mixed with the far edge of the same tile or with the next one; nothing breaks on odd numbers.
func TestTiles(t *testing.T) {
	ramp := make([]float32, 64)
	for i := range ramp {
		ramp[i] = float32(i%8) / 8
	}
	set, err := NewTiles(map[int]*Image{1001: plainTile(.25, 4, 4), 1002: plainTile(.5, 16, 2), 1012: NewImage(8, 8, 1, ramp)})
	if err != nil {
		t.Fatal(err)
	}
	m := FromTiles(set)
	for _, c := range []struct{ u, v, want float64 }{
		{.5, .5, .25}, {.999999, .000001, .25}, {1.000001, .5, .5}, {1.5, .5, .5}, {1.0000001, -.5, 0}, {1.9999999, -.5, 7. / 8},
		{7.5, .5, .5}, {-3, .5, .25}, {.5, -.5, .25},
	} {
		near(t, "tile", m.Scalar(geom.UV{U: c.u, V: c.v}, 0), c.want, 1e-5)
	}
	near(t, "wide footprint", m.Scalar(geom.UV{U: .5, V: .5}, 3), .25, 1e-6)
	mean := m.Mean()
	near(t, "mean of three tiles", mean[0], (.25+.5+3.5/8)/3, 1e-6)
	if got := set.Missing([]geom.UV{{U: .5, V: .5}, {U: 2.5, V: .5}, {U: .5, V: -.5}, {U: 2.1, V: .1}, {U: -1, V: 0}}); !slices.Equal(got, []int{0, 1003, 1011}) {
		t.Errorf("missing tiles %v, want 0 1003 1011", got)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		if v := m.Scalar(geom.UV{U: bad, V: bad}, bad); !(v >= 0 && v <= 1) {
			t.Errorf("at %v: %v", bad, v)
		}
	}
	if _, err := NewTiles(map[int]*Image{999: plainTile(0, 1, 1)}); err == nil {
		t.Error("tile 999 is taken")
	}
	if _, err := NewTiles(nil); err == nil {
		t.Error("an empty set is taken")
	}
}

// A picture with its mip-maps takes what its depth says: the base and the first copy (a quarter of its texels) as they
// are, the other copies (a twelfth) in 16 bits: 4.25, 5.33, 2.67 and 1.42 bytes a texel for RGB8, RG16, R16 and R8.
func TestBytesPerTexel(t *testing.T) {
	const n = 1024
	quarter, rest := n*n/4, (n*n/4-1)/3 // texels of the first copy and of the others, of a power of two
	var sum int64
	for _, c := range []struct {
		im   *Image
		want int
	}{
		{NewImage8(n, n, 3, make([]uint8, 3*n*n), SRGB8), 3*n*n + 3*quarter + 6*rest},
		{NewImage16(n, n, 2, make([]uint16, 2*n*n), Signal16), 4*n*n + 4*quarter + 4*rest},
		{NewImage16(n, n, 1, make([]uint16, n*n), Signal16), 2*n*n + 2*quarter + 2*rest},
		{NewImage8(n, n, 1, make([]uint8, n*n), Signal8), n*n + quarter + 2*rest},
	} {
		c.im.BuildMips()
		var held int64
		for _, l := range append([]level{c.im.base}, c.im.mips...) {
			held += int64(len(l.pix8) + 2*len(l.pix16) + 4*len(l.pix))
		}
		w, h, ch := c.im.Size()
		if said := Bytes(w, h, ch, c.im.base.coding); held != int64(c.want) || said != held {
			t.Errorf("%d channels: %d bytes held, %d forecast, want %d", ch, held, said, c.want)
		}
		sum += held
	}
	if at8192 := sum * 64; at8192 > 1e9 {
		t.Errorf("four maps of 8192 take %d bytes", at8192)
	}
}

// Unit normals of two channels: the third follows, whatever the wrap; green down turns y alone.
func TestNormalOfTwoChannels(t *testing.T) {
	x, y := .36, -.48
	code := func(v float64) uint16 { return uint16(math.Round(65535 * (v + 1) / 2)) }
	m := FromImage(NewImage16(1, 1, 2, []uint16{code(x), code(y)}, Signal16), Repeat)
	n := m.Normal(geom.UV{U: .5, V: .5}, 0)
	near(t, "x", n.X, x, 2e-5)
	near(t, "y", n.Y, y, 2e-5)
	near(t, "z", n.Z, .8, 2e-5)
	down := m.GreenDown()
	near(t, "green down", down.Normal(geom.UV{}, 0).Y, -y, 2e-5)
	if c := m.RGB(geom.UV{}, 0); c == (colour.RGB{}) {
		t.Error("black")
	}
}
