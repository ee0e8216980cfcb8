package eye

import (
	"math"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// The masks of the parts add up to 1 everywhere, have soft edges, and where one is nearly all the map of zones says the same.
func TestMasks(t *testing.T) {
	e := paintedEye(t)
	const n = 160
	zones := baked(t, e, Zones, n)
	sum, iris := make([]float64, n*n), make([]float64, n*n)
	for _, p := range Parts() {
		soft, full := 0, 0
		for i, v := range baked(t, e, p.Mask, n) {
			sum[i] += float64(v)
			switch p.Mask {
			case MaskMargin, MaskPupillary, MaskCiliary:
				iris[i] += float64(v)
			}
			if v > 0.1 && v < 0.9 {
				soft++
			}
			if v > 0.95 {
				full++
				if int(zones[i]) != p.Zone {
					t.Fatalf("%s: texel (%d, %d) lies in zone %g, want %d", p.Name, i%n, i/n, zones[i], p.Zone)
				}
			}
		}
		if soft < 20 || full < 20 {
			t.Errorf("%s: %d soft texels, %d full ones", p.Name, soft, full)
		}
	}
	whole := baked(t, e, MaskIris, n)
	for i := range sum {
		if math.Abs(sum[i]-1) > 1e-5 || math.Abs(float64(whole[i])-iris[i]) > 1e-5 {
			t.Fatalf("texel %d: the parts add up to %g, the iris' to %g and its mask is %g", i, sum[i], iris[i], whole[i])
		}
	}
	nose := 1.0
	if e.Params.nasal() < 0 {
		nose = -1
	}
	side := 0.0
	for i, v := range baked(t, e, MaskCaruncle, n) {
		side += float64(v) * (float64(i%n) - n/2 + 0.5)
	}
	if side*nose <= 0 {
		t.Error("the caruncle side is not toward the nose")
	}
}

// The map Colour laid on the inner shell by its texture coordinates shows at each vertex what the renderer shows in the vertex'
// direction: the painted map on the iris plane within the lip, on the globe outside. Here that look-up is made plainly.
func TestColourAsSeen(t *testing.T) {
	e := paintedEye(t)
	n := e.Params.MapSize
	colours, films := texture.FromImage(e.Colour, texture.Clamp), texture.FromImage(e.Vessels, texture.Clamp)
	got := baked(t, e, Colour, n)
	var off, plain, count float64
	for i, p := range e.Inner.P {
		r := math.Hypot(p.X, p.Y)
		if p.Z < 5 || r < e.IrisRadius+0.1 || r > e.LipRadius-0.1 {
			continue
		}
		q := p.Mul(e.Params.GlobeRadius / p.Len())
		if k := e.IrisZ / p.Z; r*k < e.LipRadius {
			q = p.Mul(k)
		}
		at := func(u, v float64) int { return int(v*float64(n))*n + int(u*float64(n)) }
		uv, own := e.SurfaceUV(q), e.Inner.UV[i]
		green := func(uv geom.UV) float64 {
			return colours.RGB(uv, 0)[1] * math.Pow(films.RGB(uv, 0)[1], 2)
		}
		want, naive := green(uv), green(own)
		off += math.Abs(float64(got[3*at(own.U, own.V)+1]) - want)
		plain += math.Abs(naive - want)
		count++
	}
	if count < 1000 {
		t.Fatalf("%g vertices of the wall", count)
	}
	if off > 0.25*plain {
		t.Errorf("the wall's colour is off by %.4f in the mean; without the shift it would be %.4f", off/count, plain/count)
	}
}
