package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/accel"
	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
)

func init() {
	const practice = "common practice, no published source"
	humans := join(humansBare, humansLidded)
	net := func(layer string, of func(s *eye.VesselStats) float64) func(*testing.T, *photograph) (float64, bool) {
		return func(t *testing.T, s *photograph) (float64, bool) { return vesselsOf(t, s, layer, of) }
	}
	um := func(of func(s *eye.VesselStats) float64) func(s *eye.VesselStats) float64 {
		return func(s *eye.VesselStats) float64 { return 1000 * of(s) }
	}
	measurePhotographs(
		photoMeasure{"a* of the white 2 mm and more from the limbus", humans, -3, 6, practice, whiteLab(1, 0, 1)},
		photoMeasure{"a* of that in its darker third", humans, -3, 6, practice, whiteLab(1, 0, 1./3)},
		photoMeasure{"b* of that white", humans, -2, 12, practice, whiteLab(2, 0, 1)},
		photoMeasure{"share of the white that vessels cover, %", humansBare, 5, 10, practice, vesselShare},
		photoMeasure{"shallow vessels, narrowest, um", humansBare, 10, 20, "visible ones of 10 to 100 um; from memory", net("shallow-vessels", um(func(s *eye.VesselStats) float64 { return s.Widths[0] }))},
		photoMeasure{"shallow vessels, widest, um", humansBare, 50, 100, "visible ones of 10 to 100 um; from memory", net("shallow-vessels", um(func(s *eye.VesselStats) float64 { return s.Widths[2] }))},
		photoMeasure{"deep vessels, widest, um", humansBare, 100, 250, "trunks of 0.1 to 0.25 mm; from memory", net("deep-vessels", um(func(s *eye.VesselStats) float64 { return s.Widths[2] }))},
		photoMeasure{"shallow vessels, depth, um", humansBare, 30, 100, "conjunctiva of 0.24 mm: Zhang et al. 2013; from memory", net("shallow-vessels", um(func(s *eye.VesselStats) float64 { return s.Depths[1] }))},
		photoMeasure{"deep vessels, depth, um", humansBare, 200, 400, practice, net("deep-vessels", um(func(s *eye.VesselStats) float64 { return s.Depths[1] }))},
		photoMeasure{"turn of shallow vessels along their width, degrees", humansBare, 0, 25.5, practice, net("shallow-vessels", func(s *eye.VesselStats) float64 { return s.Turn })},
		photoMeasure{"turn of deep vessels along their width, degrees", humansBare, 0, 25.5, practice, net("deep-vessels", func(s *eye.VesselStats) float64 { return s.Turn })},
		photoMeasure{"path over chord of shallow vessels", humansBare, 1.05, 1.25, practice, net("shallow-vessels", func(s *eye.VesselStats) float64 { return s.Winding })},
	)
}

// openWhite returns the pixels of the white that lie 2 mm and more from the limbus, mirrored lights left out.
func (s *photograph) openWhite() (out []int) {
	sc := accel.NewScratch()
	w := s.regions.Width
	for _, i := range s.inZone(Sclera, 1) {
		seen := s.p.seen(sc, float64(i%w)+0.5, float64(i/w)+0.5)
		e := &s.p.Scene.Eyes[s.regions.Eye[i]]
		at := s.p.Scene.Objects[e.Outer].ToLocal.Point(seen[0].P)
		globe := s.p.Description.Objects[0].Eye.Globe.Radius
		if phi := math.Acos(at.Z / at.Len()); phi*globe > math.Asin(e.LimbusRadius/globe)*globe+2 {
			out = append(out, i)
		}
	}
	return out
}

// whiteLab returns the median of a coordinate of CIE 1976 L*a*b* over the open white as seen, in the pixels that lie between
// two shares of the order by luma. Source: ISO/CIE 11664-4.
func whiteLab(k int, lo, hi float64) func(*testing.T, *photograph) (float64, bool) {
	return func(_ *testing.T, s *photograph) (float64, bool) {
		all := s.openWhite()
		if len(all) < 200 {
			return 0, false
		}
		var codes, values []float64
		for _, i := range all {
			codes = append(codes, s.code(i))
		}
		from, to := quantile(codes, lo), quantile(codes, min(hi, 0.9999))
		for n, i := range all {
			if codes[n] >= from && codes[n] <= to {
				var c colour.RGB
				for q := range 3 {
					c[q] = colour.DecodeSRGB(float64(s.shown.Pix[4*i+q]) / 255)
				}
				values = append(values, lab(c)[k])
			}
		}
		return quantile(values, 0.5), true
	}
}

// lab returns L*, a* and b* of a linear colour of Rec. 709 under its own white.
func lab(c colour.RGB) [3]float64 {
	f := func(t float64) float64 {
		if t > 216./24389 {
			return math.Cbrt(t)
		}
		return (24389./27*t + 16) / 116
	}
	x := (0.4124*c[0] + 0.3576*c[1] + 0.1805*c[2]) / 0.9505
	y := 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
	z := (0.0193*c[0] + 0.1192*c[1] + 0.9505*c[2]) / 1.0890
	return [3]float64{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

// vesselsOf measures a net of the scene's first eye, as it was grown.
func vesselsOf(t *testing.T, s *photograph, layer string, of func(s *eye.VesselStats) float64) (float64, bool) {
	for i := range s.p.Description.Objects {
		b := &s.p.Description.Objects[i]
		if b.Shape != "eye" || b.Eye.Asset != nil {
			continue
		}
		p, err := b.Eye.Params()
		require.NoError(t, err)
		p.MeshDetail = 0.4 // of shells that nobody looks at
		e, err := eye.Grow(p)
		require.NoError(t, err)
		for _, v := range e.VesselStats() {
			if v.Layer == layer {
				return of(&v), true
			}
		}
	}
	return 0, false
}

// vesselShare returns the share of the white from 2 mm outside the limbus to 70 degrees from the axis in which vessels take more
// than a tenth of the green light, %.
func vesselShare(_ *testing.T, s *photograph) (float64, bool) {
	e := &s.p.Scene.Eyes[0]
	if e.Tissue.Vessels == nil {
		return 0, false
	}
	globe := s.p.Description.Objects[0].Eye.Globe.Radius
	from := math.Asin(e.LimbusRadius/globe) + 2/globe
	n, of := 0, 0
	for i := range 200 {
		z := math.Cos(70*math.Pi/180) + (math.Cos(from)-math.Cos(70*math.Pi/180))*(float64(i)+0.5)/200
		r := math.Sqrt(1 - z*z)
		for k := range 1500 {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / 1500)
			f := e.Tissue.Vessels.At(geom.Vec{X: r * cos, Y: r * sin, Z: z})[1]
			of++
			if f*f < 0.9 { // crossed twice
				n++
			}
		}
	}
	return 100 * float64(n) / float64(of), true
}

// L*, a* and b* of three colours are those that the standard's formulas give by hand: white, middle grey and pure red of Rec.
// 709. Source of red's: 53.24, 80.09, 67.20, many published converters, from memory.
func TestLab(t *testing.T) {
	for c, want := range map[colour.RGB][3]float64{{1, 1, 1}: {100, 0, 0}, {0.18, 0.18, 0.18}: {49.5, 0, 0}, {1, 0, 0}: {53.24, 80.09, 67.20}} {
		got := lab(c)
		for k := range got {
			require.InDelta(t, want[k], got[k], 0.05, fmt.Sprint(c))
		}
	}
}
