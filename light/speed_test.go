package light

import (
	"testing"

	"catchlight/scene/geom"
)

// Nothing on the way of a ray allocates.
func TestNoAllocation(t *testing.T) {
	for _, l := range everything(t) {
		n := testing.AllocsPerRun(50, func() {
			s, _ := l.Sample(geom.Vec{X: 1}, 0.3, 0.8)
			sink += s.Pdf + l.PdfDir(geom.Vec{X: 1}, s.Wi) + l.PdfAreaAt(geom.Vec{X: 1}, s.P) + l.Irradiance(s.P) + l.RadianceDir(s.Wi)[0]
			_, _, _, ok := l.Intersect(geom.Vec{}, s.Wi, 0, 1)
			if ok {
				sink++
			}
		})
		if n != 0 {
			t.Errorf("%s: %g allocations", l.Name, n)
		}
	}
}

var sink float64

func BenchmarkSample(b *testing.B) {
	for _, l := range everything(b) {
		b.Run(l.Name, func(b *testing.B) {
			u := 0.0
			for b.Loop() {
				u += 0.000123
				if u >= 1 {
					u = 0
				}
				s, _ := l.Sample(geom.Vec{X: u}, u, 1-u)
				sink += s.Pdf
			}
		})
	}
}

func BenchmarkPdfDir(b *testing.B) {
	for _, l := range everything(b) {
		b.Run(l.Name, func(b *testing.B) {
			d := l.centre.Unit()
			if !l.Finite() {
				d = geom.Vec{X: 0.6, Z: 0.8}
			}
			u := 0.0
			for b.Loop() {
				u += 0.000123
				if u >= 1 {
					u = 0
				}
				sink += l.PdfDir(geom.Vec{X: u}, d)
			}
		})
	}
}
