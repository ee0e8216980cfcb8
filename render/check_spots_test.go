package render

import (
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/light/envmap"
	"catchlight/render/film"
	"catchlight/scene/imageio"
)

// marshSky writes a latitude-longitude picture of a sky over darker ground with a sun of the given radius in degrees, at
// azimuth 50 and elevation 15 degrees, and returns its path.
func marshSky(t testing.TB, degrees, strength float64) string {
	t.Helper()
	const w, h = 512, 256
	at := envmap.Direction(0.5-50./360, 0.5-15./180)
	pix := make([]float32, 0, 3*w*h)
	for i := range w * h {
		d := envmap.Direction((float64(i%w)+0.5)/w, (float64(i/w)+0.5)/h)
		c := [3]float64{0.06, 0.05, 0.04}
		if d.Y > 0 {
			c = [3]float64{0.2 + 0.1*d.X, 0.25 + 0.1*d.X, 0.35 + 0.1*d.X}
		}
		if d.Dot(at) > math.Cos(degrees*math.Pi/180) {
			c = [3]float64{strength, 0.8 * strength, 0.6 * strength}
		}
		for _, v := range c {
			pix = append(pix, float32(v))
		}
	}
	path := filepath.Join(t.TempDir(), "marsh.pfm")
	require.NoError(t, imageio.WritePFM(path, w, h, 3, pix))
	return path
}

const underSun = `
picture: {width: 24, height: 24, samples: %d, seed: %d, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 14, target: [0, 0, 8], orbit: {azimuth: 0}}
lights: [{name: marsh, kind: environment, file: %q, hot_spots: %t}]
objects: [{name: eye, shape: eye, map_size: 128}]
`

// Hot spots cut out of an environment change no picture's mean.
func TestHotSpotsKeepTheMean(t *testing.T) {
	for _, c := range []struct {
		name              string
		degrees, strength float64
		spp               int
		coat              bool
	}{
		{"sun, no mirror image", 0.8, 6000, 256, false}, {"lamp", 4, 60, 128, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := marshSky(t, c.degrees, c.strength)
			coat := fmt.Sprintf("effects.tear_film=%t", c.coat)
			with := trace(t, fmt.Sprintf(underSun, c.spp, 1, file, true), coat)
			without := trace(t, fmt.Sprintf(underSun, 2*c.spp, 2, file, false), coat)
			p, q := with.Film.Develop(), without.Film.Develop()
			iris := func(i int) bool { return math.Hypot(float64(i%24)-11.5, float64(i/24)-11.5)*14/24 < 4.5 }
			for ch := range 3 {
				for what, keep := range map[string]func(int) bool{"picture": nil, "iris": iris} {
					a, sa := mean(&p, ch, keep)
					b, sb := mean(&q, ch, keep)
					both := math.Hypot(sa, sb)
					t.Logf("%s, channel %d: %.5f +- %.5f, without the cut %.5f +- %.5f (%+.1f standard errors)", what, ch, a, sa, b, sb, (b-a)/both)
					assert.LessOrEqual(t, both, 0.02*a, what)
					assert.InDelta(t, b, a, 3*both, what)
				}
			}
		})
	}
}

// On the film a hot spot is the environment that it was cut from, and it shifts no other light's random numbers: what
// comes from a second light is the same to the bit with and without it.
func TestHotSpotsKeepTheTag(t *testing.T) {
	file := marshSky(t, 0.8, 6000)
	layers := []film.Layer{{Name: "marsh", Light: 0, Classes: film.AllClasses}, {Name: "lamp", Light: 1, Classes: film.AllClasses}}
	lamp := fmt.Sprintf("lights=[{name: marsh, kind: environment, file: %q, hot_spots: %%t}, {name: lamp, kind: distant, angle: 5, orbit: {azimuth: -30}, radiance: [9, 9, 9]}]", file)
	var lamps [2]film.Halved
	for k, cut := range []bool{true, false} {
		p := prepare(t, fmt.Sprintf(underSun, 1, 1, file, cut), fmt.Sprintf(lamp, cut), "advanced.max_depth=9", "advanced.guided=false") // deep vertices choose between lights; guides look at the lights as they are cut
		if cut {
			require.Len(t, p.Scene.Lights, 3)
		}
		next, f := tracer(t, p, layers...)
		for range 24 * 24 * 4 {
			next()
		}
		_, marsh := f.Halves(0)
		rest, lamp := f.Halves(1)
		lamps[k] = lamp
		for half := range rest.Mean {
			for i, c := range rest.Mean[half] {
				assert.InDelta(t, c[0], marsh.Mean[half][i][0], 1e-9*(1+c[0]))
			}
		}
	}
	for half := range lamps[0].Mean {
		assert.True(t, slices.Equal(lamps[0].Mean[half], lamps[1].Mean[half]))
	}
}
