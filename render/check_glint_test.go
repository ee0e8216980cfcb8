package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The first Purkinje image: the cornea mirrors lamps as a convex mirror. Sizes of the picture of a face D away, seen
// along the axis, are by exact rays (own computation); paraxial is H f/(D+f) with f = R/2 = 3.9 mm. Place: light from
// an angle phi off the line of sight is mirrored R sin(phi/2) beside the apex. Strength: F at normal incidence,
// ((n-1)/(n+1))^2 = 0.02069, times the lamp's radiance.
func TestFirstPurkinjeImage(t *testing.T) {
	const n, width = 256, 8.0
	const px = width / n
	const yaml = `
picture: {width: 256, height: 256, samples: 4, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 8, target: [0, 0, %g], orbit: {azimuth: 0, distance: 300}}
lights: [{name: lamp, camera_visible: false, %s}]
objects: [{name: eye, shape: eye, ` + plainEye + `}]
`
	top := apex(prepare(t, fmt.Sprintf(yaml, 0.0, "kind: constant, radiance: [1, 1, 1]", 5.5, 2.0, 0.0)))
	for _, c := range []struct {
		name, lamp string
		wide, x    float64 // mm on the picture; 0: not asked
	}{
		{"window, 1 m wide at 2 m", fmt.Sprintf("kind: rectangle, width: 1000, height: 1200, position: [0, 0, %g], radiance: [50, 50, 50]", top+2000), 1.9025, 0},
		{"softbox, 600 mm at 1 m", fmt.Sprintf("kind: rectangle, width: 600, height: 600, position: [0, 0, %g], radiance: [50, 50, 50]", top+1000), 2.2572, 0},
		{"disc, 450 mm at 600 mm", fmt.Sprintf("kind: disc, radius: 225, position: [0, 0, %g], radiance: [50, 50, 50]", top+600), 2.7674, 0},
		{"sun from 20 degrees", "kind: distant, angle: 2, orbit: {azimuth: 20}, radiance: [50, 50, 50]", 0, 1.3545},
		{"sun from 30 degrees", "kind: distant, angle: 2, orbit: {azimuth: 30}, radiance: [50, 50, 50]", 0, 2.0188},
		{"sun from 45 degrees", "kind: distant, angle: 2, orbit: {azimuth: 45}, radiance: [50, 50, 50]", 0, 2.9849},
	} {
		t.Run(c.name, func(t *testing.T) {
			pic := trace(t, fmt.Sprintf(yaml, top, c.lamp, 5.5, 2.0, 0.0)).Film.Develop()
			// Coverage of the middle rows by the lamp's picture.
			full := 50 * math.Pow((plainIndex-1)/(plainIndex+1), 2)
			if c.wide > 0 {
				across := 0.0
				for x := range n {
					across += (pic.Mean[n/2*n+x][1] + pic.Mean[(n/2-1)*n+x][1]) / 2 / full * px
				}
				t.Logf("%.4f mm across, want %.4f", across, c.wide)
				assert.InDelta(t, c.wide, across, px)
				assert.InEpsilon(t, full, pic.Mean[n/2*n+n/2][1], 1e-3)
				return
			}
			sum, at := 0.0, 0.0
			for i := range pic.Mean {
				sum += pic.Mean[i][1]
				at += pic.Mean[i][1] * (float64(i%n) + 0.5 - n/2) * px
			}
			t.Logf("%.4f mm beside the apex, want %.4f", at/sum, c.x)
			assert.InDelta(t, c.x, at/sum, 0.25*px)
		})
	}
}
