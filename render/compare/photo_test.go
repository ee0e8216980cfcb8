package compare

import (
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/chart"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// charted makes a photo of a colour chart as a camera of some tint and exposure sees it, with 12 px to a patch and its first
// patch's middle at 20,30. leaning moves each lower row to the right.
func charted(tint colour.RGB, leaning int) *Photo {
	p := &Photo{Width: 160, Height: 100, Pix: make([]colour.RGB, 160*100), Scene: true}
	for i := range p.Pix {
		x, y := i%160-14, i/160-24
		if y < 0 || y >= 48 {
			continue
		}
		if x -= leaning * (y / 12); x < 0 || x >= 72 {
			continue
		}
		p.Pix[i] = chart.Patches[y/12*chart.Columns+x/12].Linear().Mul(tint)
	}
	return p
}

// A tint is found from the chart's greys and undone: then all patches are the published ones. It may stand slanted.
func TestChart(t *testing.T) {
	tint := colour.RGB{1.4, 1, 0.55}
	for _, lean := range []int{0, 3} {
		p := charted(tint, lean)
		d := float64(3 * lean)
		patches, err := p.Chart([4][2]float64{{20, 30}, {80, 30}, {80 + d, 66}, {20 + d, 66}})
		require.NoError(t, err)
		gains, err := Neutral(patches, colour.Grey)
		require.NoError(t, err)
		for c := range gains {
			require.InEpsilon(t, 1/tint[c], gains[c], 0.02, "the greys are not quite grey")
		}
		for i := range patches {
			patches[i] = patches[i].Mul(gains)
		}
		require.Less(t, ChartError(patches), 0.6)
	}
	p := charted(tint, 0)
	_, err := p.Chart([4][2]float64{{20, 30}, {80, 66}, {80, 30}, {20, 66}})
	require.ErrorContains(t, err, "no quadrangle")
	_, err = p.Chart([4][2]float64{{20, 30}, {200, 30}, {200, 66}, {20, 66}})
	require.ErrorContains(t, err, "does not lie in the picture")
	_, err = Neutral(make([]colour.RGB, 24), colour.Grey)
	require.ErrorContains(t, err, "black or blown out")
}

// The mean of a patch sets white and exposure; patches that tell nothing are refused.
func TestPatch(t *testing.T) {
	p := &Photo{Width: 40, Height: 30, Pix: make([]colour.RGB, 1200)}
	for i := range p.Pix {
		p.Pix[i] = colour.RGB{0.4, 0.2, 0.1}
		if i%40 >= 30 {
			p.Pix[i] = colour.Grey(1)
		}
		if i/40 >= 20 {
			p.Pix[i] = colour.RGB{0.3, 0.3, 0}
		}
	}
	c, uneven, err := p.Patch(10, 10, 4)
	require.NoError(t, err)
	require.InDelta(t, 0, uneven, 1e-12)
	_, uneven, err = (&Photo{Width: 40, Height: 30, Pix: p.Pix, Scene: true}).Patch(30, 10, 4) // half grey, half white
	require.NoError(t, err)
	half := colour.RGB{0.4, 0.2, 0.1}.Luminance()
	require.InDelta(t, (1-half)/(1+half), uneven, 1e-9)
	g := Grey(c, colour.Grey(0.2))
	require.InDelta(t, 0.5, g[0], 1e-12)
	require.InDelta(t, 2, g[2], 1e-12)
	for _, bad := range []struct {
		x, y, r float64
		says    string
	}{{1, 10, 4, "does not lie"}, {10, 10, 0, "does not lie"}, {35, 10, 3, "blown out"}, {10, 25, 3, "black in a channel"}} {
		_, _, err := p.Patch(bad.x, bad.y, bad.r)
		require.ErrorContains(t, err, bad.says)
	}
}

// A file of 8 bits is read as sRGB; a smaller size keeps the mean light, whatever the ratio of the sizes.
func TestReadPhoto(t *testing.T) {
	file := filepath.Join(t.TempDir(), "reeds.png")
	pix := make([]byte, 3*30*20)
	for i := range pix {
		pix[i] = byte(i * 7)
	}
	require.NoError(t, imageio.WritePNG(file, 30, 20, 3, pix, nil))
	p, err := ReadPhoto(file)
	require.NoError(t, err)
	require.False(t, p.Scene)
	require.InDelta(t, colour.DecodeSRGB(float64(pix[3*45+1])/255), p.Pix[45][1], 1e-6)
	mean := func(p *Photo) (sum colour.RGB) {
		for _, c := range p.Pix {
			sum = sum.Add(c.Scale(1 / float64(len(p.Pix))))
		}
		return sum
	}
	for _, s := range [][2]int{{30, 20}, {15, 10}, {13, 7}, {1, 1}, {41, 23}} {
		q := p.Resize(s[0], s[1])
		for c, v := range mean(p) {
			require.InDelta(t, v, mean(q)[c], 1e-9, "%v", s)
		}
	}
	_, err = ReadPhoto(filepath.Join(t.TempDir(), "none.png"))
	require.Error(t, err)
}

// Where the corners of a picture of 3 x 2 go for each orientation: Exif 2.32, table of tag 0x0112, says which sides of the
// picture row 0 and column 0 of the file are.
func TestUpright(t *testing.T) {
	p := &Photo{Width: 3, Height: 2}
	for i := range 6 {
		p.Pix = append(p.Pix, colour.Grey(float64(i)))
	}
	for turn, want := range map[int]string{0: "012/345", 1: "012/345", 2: "210/543", 3: "543/210", 4: "345/012", 5: "03/14/25", 6: "30/41/52", 7: "52/41/30", 8: "25/14/03"} {
		q := p.upright(turn)
		got := ""
		for i, c := range q.Pix {
			if i > 0 && i%q.Width == 0 {
				got += "/"
			}
			got += string(rune('0' + int(c[0])))
		}
		require.Equal(t, want, got, "orientation %d", turn)
	}
}
