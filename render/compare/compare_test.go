package compare

import (
	"bytes"
	"encoding/json"
	"image"
	"image/png"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/imgcmp"
	"catchlight/render/view"
	"catchlight/scene/colour"
)

const wide, high = 60, 40

// tide makes a pair of pictures: the test is the reference but for the right third, which is half as bright.
func tide() *Pair {
	side := func(name string, dim float64) Side {
		s := Side{Name: name, File: name, Seen: image.NewNRGBA(image.Rect(0, 0, wide, high))}
		for i := range wide * high {
			c := colour.RGB{0.2 + 0.01*float64(i%7), 0.3, 0.25 + 0.005*float64(i/wide)}
			if i%wide >= 40 {
				c = c.Scale(dim)
			}
			s.Linear, s.Display, s.Error = append(s.Linear, c.Scale(2)), append(s.Display, c), append(s.Error, colour.Grey(0.02))
		}
		rgb := make([]byte, 3*wide*high)
		view.Bytes(rgb, s.Display, 1)
		for i := range wide * high {
			copy(s.Seen.Pix[4*i:], rgb[3*i:3*i+3])
			s.Seen.Pix[4*i+3] = 255
		}
		return s
	}
	columns := func(x0, x1 int) imgcmp.Mask {
		m := make(imgcmp.Mask, wide*high)
		for i := range m {
			m[i] = i%wide >= x0 && i%wide < x1
		}
		return m
	}
	return &Pair{Title: "tide: low against high", Width: wide, Height: high, Reference: side("high", 1), Test: side("low", 0.5), PerDegree: imgcmp.DeskViewing, Workers: 2,
		Regions: []Region{
			{Name: "iris", Mask: columns(0, 30), Kind: 3},
			{Name: "sclera", Mask: columns(40, wide), Kind: 5},
			{Name: "pupil", Mask: make(imgcmp.Mask, wide*high), Kind: 2},
		}, Notes: []string{"a note"}}
}

// The numbers of a region are those of its pixels alone: where nothing changed 0, 1 and alike, where light was halved a ratio
// of .5 and, by CIE 15, the lightness of half the light. A region without pixels is left out.
func TestMeasure(t *testing.T) {
	r, err := Measure(tide())
	require.NoError(t, err)
	require.Len(t, r.Regions, 3)
	whole, same, half := r.Regions[0], r.Regions[1], r.Regions[2]
	require.Equal(t, []string{"picture", "iris", "sclera"}, []string{whole.Region, same.Region, half.Region})
	require.Equal(t, []int{wide * high, 30 * high, 20 * high}, []int{whole.Pixels, same.Pixels, half.Pixels})
	require.Equal(t, Number(0), same.Colour.High)
	require.InDelta(t, 0, float64(same.FLIP.Median), 1e-9)
	require.InDelta(t, 1, float64(same.Ratio), 1e-12)
	require.InDelta(t, 0.5, float64(half.Ratio), 1e-12)
	for _, v := range half.RatioRGB {
		require.InDelta(t, 0.5, float64(v), 1e-12)
	}
	require.Greater(t, float64(half.FLIP.Mean), 0.1)
	require.Greater(t, float64(half.HDRFLIP.Mean), float64(half.FLIP.Mean)*0.5)
	require.Greater(t, float64(same.SSIM), float64(half.SSIM))
	l := func(y float64) float64 { return 116*math.Cbrt(y) - 16 }
	y := r.pair.Reference.Display[50].Luminance()
	require.InDelta(t, l(y/2)-l(y), r.lighter[50], 0.05)
	require.Equal(t, 20.0, r.Scales["lightness"])
	// Normal numbers go together as the errors of pixels that share samples.
	n := normals(200, 200, math.Pi)
	var square, next float64
	for i, v := range n {
		square += v * v
		if i%200 > 0 {
			next += v * n[i-1]
		}
	}
	require.InDelta(t, 40000, square, 1000)
	require.InDelta(t, math.Exp(-1), next/square, 0.04)
	// Errors: of the mean luminance over 800 pixels, of both pictures.
	e := 0.02 / math.Sqrt(800)
	ma, _, _ := imgcmp.Mean(imgcmp.Image{Width: wide, Height: high, Pix: r.pair.Reference.Linear}, r.pair.Regions[1].Mask)
	require.InDelta(t, 0.5*math.Hypot(e/ma.Luminance(), e/(ma.Luminance()/2)), float64(half.RatioError), 1e-9)
	require.Contains(t, r.Summary(), "differ most in the sclera")
	require.True(t, math.IsNaN(float64(same.Grain)), "nothing is known of how light is shown")

	// Without scene light, as with a photograph, there is no HDR-FLIP, and the ratio is of what is seen.
	p := tide()
	p.Test.Linear, p.Test.Error, p.Reference.Error = nil, nil, nil
	r, err = Measure(p)
	require.NoError(t, err)
	require.Equal(t, "display light", r.Light)
	require.True(t, math.IsNaN(float64(r.Regions[0].HDRFLIP.Mean)))
	require.True(t, math.IsNaN(float64(r.Regions[0].RatioError)))
	require.Len(t, r.Maps(), 3)
	data, err := json.Marshal(r.Report)
	require.NoError(t, err)
	require.Contains(t, string(data), `"hdr_flip":{"mean":null`)

	p = tide()
	p.Test.Display = p.Test.Display[1:]
	p.Regions[0].Mask = nil
	_, err = Measure(p)
	require.ErrorContains(t, err, "low has 2399 pixels as seen")
	require.ErrorContains(t, err, "a mask of 0 for 2400 pixels")
}

// Grain: with errors of nothing it is nothing; with errors as large as the noise that really tells two pictures apart, it
// foretells FLIP between them within a fifth.
func TestGrain(t *testing.T) {
	p := tide()
	p.Test = p.Reference
	p.Shade = func(linear []colour.RGB) ([]colour.RGB, error) {
		out := make([]colour.RGB, len(linear))
		for i, c := range linear {
			out[i] = c.Scale(0.5)
		}
		return out, nil
	}
	still := make([]colour.RGB, wide*high)
	p.Reference.Error, p.Test.Error = still, still
	r, err := Measure(p)
	require.NoError(t, err)
	require.InDelta(t, 0, float64(r.Regions[0].Grain), 1e-9)

	const sigma = 0.06
	g := rand.New(rand.NewPCG(9, 9))
	noise := func() (linear, errors []colour.RGB) {
		for _, c := range tide().Reference.Linear {
			linear, errors = append(linear, c.Add(colour.Grey(sigma*g.NormFloat64()))), append(errors, colour.Grey(sigma))
		}
		return linear, errors
	}
	for _, s := range []*Side{&p.Reference, &p.Test} {
		s.Linear, s.Error = noise()
		s.Display, err = p.Shade(s.Linear)
		require.NoError(t, err)
	}
	r, err = Measure(p)
	require.NoError(t, err)
	require.Greater(t, float64(r.Regions[0].FLIP.Mean), 0.05)
	require.InEpsilon(t, float64(r.Regions[0].FLIP.Mean), float64(r.Regions[0].Grain), 0.2)
	require.Greater(t, float64(r.Regions[0].HDRFLIP.Mean), 0.03)

	// Seen without their grain the pictures are one, but for the ratio, which is of the raw light.
	for _, s := range []*Side{&p.Reference, &p.Test} {
		s.Clean = tide().Reference.Linear
		s.Display, err = p.Shade(s.Clean)
		require.NoError(t, err)
	}
	raw := r.Regions[0].Ratio
	r, err = Measure(p)
	require.NoError(t, err)
	require.InDelta(t, 0, float64(r.Regions[0].HDRFLIP.Mean), 1e-9)
	require.True(t, math.IsNaN(float64(r.Regions[0].Grain)))
	require.Equal(t, raw, r.Regions[0].Ratio)
}

func TestScale(t *testing.T) {
	for _, c := range []struct{ most, want float64 }{{0.1, 2}, {2, 2}, {2.1, 5}, {9.9, 10}, {-13, 20}, {49, 50}} {
		require.Equal(t, c.want, scale([]float64{0, c.most, c.most}), "%v", c.most)
	}
}

// The palettes end and meet where they should, and stay apart for the three kinds of colour blindness: all classes
// of a map differ by more than 3 in CIEDE2000 as dichromats see them, the colours of regions by more than 10.
func TestPalettes(t *testing.T) {
	require.Equal(t, plusMinus[5], plusMinus.at(0.5))
	require.Equal(t, amount[0], amount.at(-1))
	require.Equal(t, amount[len(amount)-1], amount.at(2))
	least := map[string]float64{"plusMinus": 3, "amount": 3, "kinds": 10}
	for name, r := range map[string]ramp{"plusMinus": plusMinus, "amount": amount, "kinds": kinds} {
		for kind, m := range dichromats {
			var seen []colour.RGB
			for _, c := range r {
				p := colour.RGB{colour.DecodeSRGB(float64(c.R) / 255), colour.DecodeSRGB(float64(c.G) / 255), colour.DecodeSRGB(float64(c.B) / 255)}
				p = m.Apply(p)
				for i, v := range p {
					p[i] = min(max(v, 0), 1)
				}
				seen = append(seen, p)
			}
			for i := range seen {
				for j := range i {
					d := imgcmp.Colours(seen[i:i+1], seen[j:j+1])[0]
					require.Greater(t, d, least[name], "%s, %s: %d and %d", name, kind, j, i)
				}
			}
		}
	}
}

// dichromats are matrices of linear sRGB for complete red, green and blue blindness.
//
// Source: Machado, Oliveira and Fernandes, A Physiologically-Based Model for Simulation of Color Vision Deficiency, IEEE
// Trans. Vis. Comput. Graph. 15(6), 2009, severity 1.
var dichromats = map[string]colour.Matrix{
	"red":   {{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}},
	"green": {{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}},
	"blue":  {{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}},
}

// Every file is sound: pictures decode to their sizes, the wipe holds the reference on its left and the test on its right,
// the page points nowhere outside.
func TestFiles(t *testing.T) {
	r, err := Measure(tide())
	require.NoError(t, err)
	files, err := r.Files()
	require.NoError(t, err)
	by := map[string][]byte{}
	for _, f := range files {
		require.NotContains(t, by, f.Name)
		require.Contains(t, FileNames("high", "low"), f.Name)
		by[f.Name] = f.Data
	}
	size := func(name string, w, h int) image.Image {
		m, err := png.Decode(bytes.NewReader(by[name]))
		require.NoError(t, err, name)
		require.Equal(t, image.Rect(0, 0, w, h), m.Bounds(), name)
		return m
	}
	size("high.png", wide, high)
	size("low.png", wide, high)
	size("side-by-side.png", 2*wide+3*margin, high+2*margin+line)
	w := size("wipe.png", wide+2*margin, high+2*margin+line)
	at := func(x int) any {
		return image.NewNRGBA(image.Rect(0, 0, 1, 1)).ColorModel().Convert(w.At(margin+x, margin+line+20))
	}
	require.Equal(t, any(r.pair.Reference.Seen.NRGBAAt(10, 20)), at(10))
	require.Equal(t, any(r.pair.Test.Seen.NRGBAAt(50, 20)), at(50))
	size("wipe.apng", wide, high+line)
	size("blink.apng", wide, high+line)
	size("regions.png", wide, high)
	for _, l := range r.Maps() {
		size(l.ID+".png", 200+2*margin, high+2*margin+3*line)
	}
	require.Equal(t, 2, strings.Count(string(by["blink.apng"]), "fcTL"))
	require.Equal(t, sweepFrames, strings.Count(string(by["wipe.apng"]), "fcTL"))
	var back Report
	require.NoError(t, json.Unmarshal(by["compare.json"], &back))
	require.Len(t, back.Regions, len(r.Regions))
	require.InDelta(t, float64(r.Regions[2].FLIP.Mean), float64(back.Regions[2].FLIP.Mean), 1e-6)
	require.NotContains(t, string(by["compare.html"]), "http", "nothing is fetched")
}
