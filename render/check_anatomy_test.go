package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/film"
	"catchlight/scene/colour"
)

// darkAspect returns the width over the height of the dark round in a picture of n x n pixels, from its second moments: those of
// an ellipse are a quarter of its half axes squared. Dark is below level.
func darkAspect(pic *film.Picture, n int, level float64) (aspect float64, pixels int) {
	var sx, sy, sxx, syy float64
	for i := range pic.Mean {
		if pic.Mean[i][1] < level {
			x, y := float64(i%n), float64(i/n)
			pixels++
			sx, sy, sxx, syy = sx+x, sy+y, sxx+x*x, syy+y*y
		}
	}
	k := float64(pixels)
	return math.Sqrt((sxx/k - sx*sx/k/k) / (syy/k - sy*sy/k/k)), pixels
}

// The built eye's dilated pupil from aside, beside what was measured on people: 30 right eyes, dilated, photographed along the
// horizontal field to 90 degrees, gave the ratio of the least to the greatest diameter as 0.99 cos((phi + 5.3)/1.121), phi the
// field angle in degrees, temporal negative, R^2 0.99. The peak lies where the camera looks along the optical axis, 5.3
// degrees aside the line of sight, so an angle a from our axis stands for phi + 5.3 = a. A flat disc without a
// cornea would give cos a: 0.12 less at 70 degrees.
//
// Source: Mathur, Gehrmann and Atchison, Journal of Vision 13(6):3, 2013 (abstract). Numbers of Spring and Stiles 1948 and of
// Jay 1962, which it agrees with, were not found.
func TestPupilSeenObliquely(t *testing.T) {
	const n = 72
	yaml := fmt.Sprintf(furnace, 8, 9.0, "{name: eye, shape: eye, map_size: 128, "+
		"iris: {pupil: 6, pupil_offset: [0, 0], colour: 0.9, scattering: false}, sclera: {colour: 0.9, scattering: false}}")
	top := apex(prepare(t, yaml))
	for _, a := range []float64{0, 20, 40, 55, 70} {
		pic := trace(t, yaml, fmt.Sprintf("picture.width=%d", n), fmt.Sprintf("picture.height=%d", n), fmt.Sprintf("camera.target=[0, 0, %g]", top-3),
			fmt.Sprintf("camera.orbit.azimuth=%g", a), "camera.orbit.elevation=0", "effects.tear_film=false").Film.Develop()
		got, pixels := darkAspect(&pic, n, 0.3)
		want := 0.99 * math.Cos(a/1.121*math.Pi/180)
		t.Logf("%2.0f degrees: %.3f, measured on people %.3f, flat disc %.3f (%d pixels)", a, got, want, math.Cos(a*math.Pi/180), pixels)
		require.Greater(t, pixels, 400)
		assert.InDelta(t, want, got, 0.04, "%g degrees", a)
	}
}

// visibleIris looks at the built eye along its axis and returns the width in mm of what is dark in front of its white: between the
// steepest steps of brightness on both sides, where an edge finder sees the limbus, and between the places halfway from iris to
// white. step is the distance from a tenth to nine tenths of that rise, the mean of both sides.
func visibleIris(t *testing.T, set ...string) (steepest, halfway, step float64) {
	const n, span = 120, 15.0
	yaml := fmt.Sprintf(furnace, 32, span, "{name: eye, shape: eye, map_size: 512, sclera: {veins: 0, mottling: 0}}")
	pic := trace(t, yaml, append(set, fmt.Sprintf("picture.width=%d", n), "picture.height=8", "camera.target=[0, 0, 10]",
		"camera.orbit.azimuth=0", "camera.orbit.elevation=0", "effects.tear_film=false")...).Film.Develop()
	const px = span / n
	for side := range 2 {
		// From outside inward, the mean of the rows, each pixel with its neighbours.
		var raw, v [n / 2]float64
		for i := range pic.Mean {
			x := i % n
			if side == 1 {
				x = n - 1 - x
			}
			if x < n/2 {
				raw[x] += pic.Mean[i][1] / 8
			}
		}
		for x := 1; x < n/2-1; x++ {
			v[x] = (raw[x-1] + 2*raw[x] + raw[x+1]) / 4
		}
		radius := func(x float64) float64 { return span/2 - (x+0.5)*px }
		white, iris := 0.0, 0.0
		for x := 1; x < n/2-1; x++ {
			switch r := radius(float64(x)); {
			case r > 7 && r < 7.4:
				white += v[x] / 3
			case r > 3 && r < 4.25:
				iris += v[x] / 10
			}
		}
		cross := func(share float64) float64 {
			for x := 2; x < n/2-1; x++ {
				if a, b := v[x-1]-iris-share*(white-iris), v[x]-iris-share*(white-iris); radius(float64(x)) < 7 && a > 0 && b <= 0 {
					return radius(float64(x-1) + a/(a-b))
				}
			}
			return math.NaN()
		}
		most, at := 0.0, 0.0
		for x := 2; x < n/2-1; x++ {
			if d := v[x-1] - v[x]; radius(float64(x)) > 4.5 && d > most {
				most, at = d, radius(float64(x)-0.5)
			}
		}
		steepest, halfway, step = steepest+at, halfway+cross(0.5), step+(cross(0.9)-cross(0.1))/2
	}
	return
}

// The iris that is seen is as wide as people's: 11.7 +- 0.5 mm between the steepest steps. Halfway from iris to white lies
// farther out, as the rim of the white darkens before it; how far is told, not judged. The edge is no line: from a tenth to
// nine tenths the brightness takes 0.2 to 2 mm.
//
// Sources: Rüfer, Schröder and Erb, White-to-white corneal diameter, Cornea 24, 2005: 11.71 +- 0.42 mm (from memory); the width
// of the step: common practice, no published source.
func TestVisibleIris(t *testing.T) {
	steepest, halfway, step := visibleIris(t)
	t.Logf("visible iris %.2f mm wide between the steepest steps, %.2f mm halfway; step %.2f mm", steepest, halfway, step)
	assert.InDelta(t, 11.7, steepest, 0.5)
	assert.Greater(t, step, 0.2)
	assert.Less(t, step, 2.0)
	// A limbus half a millimetre farther in is seen there: the measure follows what it measures.
	narrow, _, _ := visibleIris(t, "objects.eye.limbus.radius=5.35")
	t.Logf("limbus 0.5 mm farther in: %.2f mm", narrow)
	assert.InDelta(t, steepest-1, narrow, 0.3)
}

// What white and irises of each pattern send back under an even sky without what the cornea mirrors, beside what was published.
func TestReflectanceOfWhiteAndIrisLong(t *testing.T) {
	row := longTable(t, "reflectance", "Share of an even sky of radiance 1 that the built eye's white (6.8 to 7.6 mm from the axis) and iris (3 to 4.5 mm) send back "+
		"toward the front, without the mirror image of the sky: red, green, blue in linear Rec. 709, luminance Y.\n\n"+
		"Published ranges: none found in these terms. Hyperspectral pictures of irises were analysed by components (abstract; Medina et al., J. Biomedical Optics 16(7), "+
		"2011); in other measurements the cornea's reflection dominates (Chen et al., J. Display Technology 10, 2014). For the white one thesis "+
		"(University of Georgia, found as an abstract) names small differences with age, and no absolute values.\n\n| what | R | G | B | Y | published |\n| --- | --- | --- | --- | --- | --- |")
	const n, span = 64, 18.0
	for _, pattern := range []string{"hazel", "grey-blue", "brown", "green", "amber"} {
		yaml := fmt.Sprintf(furnace, 64, span, "{name: eye, shape: eye, map_size: 1024, iris: {pattern: "+pattern+"}}")
		pic := trace(t, yaml, fmt.Sprintf("picture.width=%d", n), fmt.Sprintf("picture.height=%d", n), "camera.target=[0, 0, 10]", "camera.orbit.azimuth=0",
			"camera.orbit.elevation=0", "effects.tear_film=false").Film.Develop()
		ring := func(from, to float64) colour.RGB {
			var c colour.RGB
			k := 0.0
			for i := range pic.Mean {
				if r := math.Hypot((float64(i%n)+0.5-n/2)*span/n, (float64(i/n)+0.5-n/2)*span/n); r > from && r < to {
					c, k = c.Add(pic.Mean[i]), k+1
				}
			}
			return c.Scale(1 / k)
		}
		for _, q := range []struct {
			what     string
			from, to float64
		}{{"iris, " + pattern, 3, 4.5}, {"white beside it", 6.8, 7.6}} {
			c := ring(q.from, q.to)
			y := 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2]
			row("| %s | %.3f | %.3f | %.3f | %.3f | none found |", q.what, c[0], c[1], c[2], y)
			assert.True(t, y > 0 && y < 1, q.what)
		}
	}
}
