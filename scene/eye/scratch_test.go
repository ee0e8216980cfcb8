package eye

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// wideEye is a bird's eye whose pupil is wide: its fibres are short and its bundles far apart.
func wideEye() Params {
	p := Defaults()
	p.GlobeRadius, p.CorneaRadius, p.Asphericity, p.LimbusRadius, p.LimbusWidth, p.IrisDepth = 9, 6.8, -0.2, 6.4, 0.9, 4.1
	p.PupilDiameter, p.PupilOffset, p.Seed = 5.2, [2]float64{}, 31
	p.Pattern, _ = Pattern("amber")
	return p
}

// No strand of the upper deck runs across the others: beyond the collarette none leans by more than 50 degrees from the radius
// for 0.3 mm and more. Strands that left for a far neighbour did, as straight scratches.
func TestNoStrandRunsAcrossTheOthers(t *testing.T) {
	for name, p := range map[string]Params{"human": Defaults(), "wide pupil": wideEye()} {
		prof := newProfile(&p)
		g := newGrower(&p, newIris(&p, prof.apex-p.IrisDepth))
		g.layBundles()
		g.upperDeck()
		longest, run := 0.0, 0.0
		for i, s := range g.strokes {
			if i > 0 && s.a != g.strokes[i-1].b {
				run = 0
			}
			dx, dy := float64(s.b.x-s.a.x), float64(s.b.y-s.a.y)
			mx, my := float64(s.a.x+s.b.x)/2, float64(s.a.y+s.b.y)/2
			l, r := math.Hypot(dx, dy), math.Hypot(mx, my)
			_, rho := g.ir.polar(mx, my)
			if rho > 0.4 && math.Abs(dx*my-dy*mx)/(l*r) > math.Sin(50*math.Pi/180) {
				run += l
				longest = max(longest, run)
			} else {
				run = 0
			}
		}
		t.Logf("%s: longest run across %.2f mm", name, longest)
		assert.Less(t, longest, 0.3, name)
	}
}

// Furrows are folds, not cuts: the steepest side of their section leans by at most 35 degrees (0.7 mm per mm), and each runs over
// 40 to 180 degrees of the clock. They had sides of 55 degrees, some all round.
func TestFurrowsAreSoftPartialArcs(t *testing.T) {
	for name, p := range map[string]Params{"human": Defaults(), "wide pupil": wideEye()} {
		prof := newProfile(&p)
		pa := &painter{grower: newGrower(&p, newIris(&p, prof.apex-p.IrisDepth))}
		pa.fold(stream(p.Seed, "spots"), 5)
		for _, f := range pa.furrows {
			// The section is a Gaussian, whose steepest side is sqrt(2/e) of depth over half width.
			side := math.Sqrt(2/math.E) * f.depth / (f.half * pa.width)
			there := 0
			for _, k := range f.there {
				if k > 0.1 {
					there++
				}
			}
			arc := 360 * float64(there) / float64(len(f.there))
			t.Logf("%s: depth %.3f mm, side %.2f, %.0f degrees", name, f.depth, side, arc)
			assert.LessOrEqual(t, side, 0.7, name)
			assert.InDelta(t, 100, arc, 80, name)
		}
	}
}
