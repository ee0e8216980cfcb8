package render

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/chart"
	"catchlight/scene/colour"
)

// The chart under a neutral light, rendered, linear, and divided by what a perfect white gives in the same place, has the
// published colours: 23 of its patches within 1 CIEDE2000 (the 24th, cyan, lies outside Rec. 709). The values are
// X-Rite's of November 2014.
func TestChartReadsAsPublished(t *testing.T) {
	const text = `
picture: {width: 120, height: 120, samples: 64}
camera: {kind: orthographic, width: 30, target: [0, 0, 8], orbit: {azimuth: 20, elevation: 10, distance: 200}}
lights: [{name: lamp, kind: rectangle, orbit: {azimuth: 40, elevation: 30, distance: 3000}, width: 500, height: 500, radiance: 30}, {name: sky, kind: constant, radiance: 0.4}]
objects: []
`
	d, err := scene.Parse("chart.yaml", []byte(text), "objects="+chart.Objects(false, true, 20, 10))
	require.NoError(t, err)
	read := func(d *scene.Description) [24]colour.RGB {
		p, err := Prepare(context.Background(), d, Options{})
		require.NoError(t, err)
		pic := finish(t, p).Film.Develop()
		var out [24]colour.RGB
		for i := range out {
			// Of the 3.3 mm of a patch the middle 2; four pixels are a millimetre.
			x, y := 60+4*(float64(i%6)-2.5)*3.7, 60-4*(7.4-1.85-float64(i/6)*3.7)
			n := 0.0
			for v := int(y) - 4; v < int(y)+4; v++ {
				for u := int(x) - 4; u < int(x)+4; u++ {
					out[i] = out[i].Add(pic.Mean[v*120+u])
					n++
				}
			}
			out[i] = out[i].Scale(1 / n)
		}
		return out
	}
	seen := read(d)
	white, err := d.With("objects=[{name: white, shape: rectangle, size: [60, 60, 1], transform: {translate: [0, 0, 8], rotate: [-10, 20, 0]}, material: {kind: diffuse, colour: 1}}]")
	require.NoError(t, err)
	full := read(white)
	worst := 0.0
	for i, p := range chart.Patches {
		c := seen[i]
		for k := range c {
			c[k] /= full[i][k]
		}
		diff := chart.Difference(chart.Lab(c), p.Lab)
		if i == chart.OutOfGamut {
			t.Logf("cyan, cut at the gamut: %.2f", diff)
			continue
		}
		require.Less(t, diff, 1.0, p.Name)
		worst = max(worst, diff)
	}
	t.Logf("worst of 23: %.3f", worst)
}
