package eye

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Colour is kept by direction from the globe's centre, so every place between the iris' flat and the white needs a direction of its
// own: the angle from the axis grows all the way up the wall, by a fifth of its slope on the flat at least. It did not: it
// stood still from 5.6 mm to 6.2 mm, which showed as a grey band with a line of iris outside it.
func TestEveryPlaceOfTheWallHasItsOwnDirection(t *testing.T) {
	goat := Defaults()
	goat.GlobeRadius, goat.CorneaRadius, goat.Asphericity, goat.LimbusRadius, goat.LimbusWidth, goat.IrisDepth, goat.PupilDiameter = 14.5, 10.2, -0.25, 8.6, 1.4, 4.4, 7.6
	narrow := Defaults()
	narrow.LimbusRadius, narrow.LimbusWidth = 5.7, 0.9
	for name, p := range map[string]Params{"human": Defaults(), "narrow": narrow, "heron": wideEye(), "goat": goat} {
		prof := newProfile(&p)
		ir := newIris(&p, prof.apex-p.IrisDepth)
		low := ir.z - ir.convexity
		flat := low / (ir.wall.foot*ir.wall.foot + low*low) // slope of the angle on the flat, by differentiation
		last, before := math.Atan2(ir.wall.foot, low), ir.wall.foot
		t.Logf("%s: foot %.3f mm, root %.3f, lip %.3f", name, ir.wall.foot, ir.root, ir.lip)
		for i := 1; i <= 200; i++ {
			s := float64(i) / 200
			r := ir.wall.foot + s*(ir.lip-ir.wall.foot)
			st := prof.front(r)
			k := ir.wall.at(r)
			x, z := r+k*(st.r-p.ShellGap*st.nr-r), low+k*(st.z-p.ShellGap*st.nz-low)
			angle := math.Atan2(x, z)
			assert.Greater(t, (angle-last)/(r-before), 0.2*flat, "%s: %.3f mm from the axis", name, r)
			assert.Less(t, z, prof.front(x).z-0.1*p.ShellGap, "%s: below the outer shell at %.3f mm", name, r)
			last, before = angle, r
		}
	}
}
