package render

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// cleanScene is a small eye by a window.
const cleanScene = `
picture: {width: 40, height: 40, samples: 16, seed: 3, denoise: true}
camera: {target: [0, 0, 4], orbit: {azimuth: 14, elevation: 2, distance: 1000}, focal_length: 1300}
lights:
  - {name: window, kind: rectangle, orbit: {azimuth: -36, elevation: 28, distance: 1400}, width: 860, height: 1100, radiance: 15}
  - {name: room, kind: constant, radiance: 0.2}
objects:
  - {name: eye, shape: eye, map_size: 256}
`

func cleanRender(t *testing.T, workers int, set ...string) *Result {
	t.Helper()
	path := filepath.Join(t.TempDir(), "scene.yaml")
	require.NoError(t, os.WriteFile(path, []byte(cleanScene), 0o666))
	d, err := scene.Load(path, set...)
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{})
	require.NoError(t, err)
	r, err := p.Render(context.Background(), Options{Workers: workers})
	require.NoError(t, err)
	return r
}

// The denoised picture lies nearer to one of many samples and another seed than the raw one does; the raw sums are those
// of a render that was not asked for it; the denoised bits do not depend on the workers; files hold both.
func TestDenoise(t *testing.T) {
	r := cleanRender(t, 1)
	raw := r.Film.Develop().Mean
	plain := cleanRender(t, 2, "picture.denoise=false")
	require.Nil(t, plain.clean)
	require.Equal(t, plain.Film.Develop().Mean, raw)
	require.Equal(t, cleanRender(t, 3).clean, r.clean)
	truth := cleanRender(t, 2, "picture.denoise=false", "picture.samples=256", "picture.seed=9").Film.Develop().Mean
	far := func(a []colour.RGB) float64 {
		sum := 0.0
		for i := range a {
			for c := range 3 {
				d := math.Sqrt(max(0, a[i][c])) - math.Sqrt(max(0, truth[i][c])) // about as seen
				sum += d * d
			}
		}
		return math.Sqrt(sum)
	}
	t.Logf("denoised %.4f, raw %.4f", far(shownLight(r)), far(raw))
	require.Less(t, far(shownLight(r)), 0.8*far(raw)) // pixels that share samples leave it less to take: 0.75 measured
	var a, b colour.RGB
	for i := range raw {
		a, b = a.Add(shownLight(r)[i]), b.Add(truth[i])
	}
	require.InEpsilon(t, b.Luminance(), a.Luminance(), 0.01)
	require.NotNil(t, r.Stats.Denoised)
	require.Nil(t, plain.Stats.Denoised)

	file := filepath.Join(t.TempDir(), "a.exr")
	require.NoError(t, r.Write(file))
	pic, err := imageio.Read(file)
	require.NoError(t, err)
	require.Equal(t, float32(shownLight(r)[800][1]), pic.Channel(CleanLayer + ".G")[800])
	require.Equal(t, float32(raw[800][1]), pic.Channel("G")[800])

	// A film put together from parts is denoised alike.
	j, err := Joined(context.Background(), r.d, r.Film)
	require.NoError(t, err)
	require.Equal(t, r.clean, j.clean)
	r.Stats.Denoised.Seconds, j.Stats.Denoised.Seconds = 0, 0
	require.Equal(t, r.Stats.Denoised, j.Stats.Denoised)
}

// From 8 samples on the denoised picture has the raw one's mean within 0.2 %, and the report says how far off it is: of a bare eye,
// and of one in lids, whose rare bright samples the filter trusts little.
func TestDenoiseKeepsTheMean(t *testing.T) {
	for _, set := range [][]string{
		{"picture.samples=8"}, {"picture.samples=32"}, {"picture.samples=8", "objects.eye.lids={facet_size: 0.5}", "camera.focal_length=900"},
	} {
		r := cleanRender(t, 2, set...)
		var shown, raw colour.RGB
		for i, c := range r.Film.Develop().Mean {
			raw, shown = raw.Add(c), shown.Add(shownLight(r)[i])
		}
		shift := shown.Luminance()/raw.Luminance() - 1
		t.Logf("%v: %+.4f %%, %.2f %% taken first", set, 100*shift, 100*r.Stats.Denoised.Taken)
		require.Less(t, math.Abs(shift), 0.002)
		require.InDelta(t, shift, r.Stats.Denoised.Shift, 1e-8) // the report adds up strips
	}
}

// Before a transparent background the coverage is denoised with the picture's weights: it lies nearer to one of 1024 samples, keeps its
// mean, and pixels wholly on the eye or wholly beside it keep theirs to the bit. The file as seen shows it.
func TestDenoisedAlpha(t *testing.T) {
	see := []string{"view.background=transparent", "picture.sharing=none", "objects.eye.iris.scattering=false", "objects.eye.sclera.scattering=false"}
	r := cleanRender(t, 2, see...)
	raw := r.Film.Develop().Alpha
	truth := cleanRender(t, 2, append(see, "picture.denoise=false", "picture.samples=1024", "picture.seed=9", "advanced.max_depth=1")...).Film.Develop().Alpha
	far := func(a []float64) float64 {
		sum := 0.0
		for i := range a {
			sum += (a[i] - truth[i]) * (a[i] - truth[i])
		}
		return math.Sqrt(sum / float64(len(a)))
	}
	t.Logf("RMS of the coverage: raw %.5f, denoised %.5f", far(raw), far(shownCover(r)))
	require.Less(t, far(shownCover(r)), far(raw)*2/3)
	var a, b float64
	for i := range truth {
		a, b = a+shownCover(r)[i], b+truth[i]
	}
	require.InEpsilon(t, b, a, 0.002)
	require.Equal(t, 1.0, shownCover(r)[20*40+20])
	require.Zero(t, shownCover(r)[0])
	m, err := r.Shown()
	require.NoError(t, err)
	for i, v := range shownCover(r) {
		require.Equal(t, byte(255*v+0.5), m.Pix[4*i+3])
	}
	require.Empty(t, cleanRender(t, 2).clean.cover, "the environment covers all")
}

// shownLight is the denoised picture.
func shownLight(r *Result) []colour.RGB { return r.clean.mean(0, r.Width*r.Height) }

// shownCover is its coverage.
func shownCover(r *Result) []float64 { return r.clean.alpha(0, r.Width*r.Height) }

// A picture that is denoised strip by strip has the bits of one that is denoised as a whole.
func TestCleanInStrips(t *testing.T) {
	p := prepare(t, marshEye, "picture.samples=8", "picture.height=50", "picture.denoise=true", "view.background=colour")
	r := finish(t, p)
	whole, told, err := p.cleanIn(r.Film, Options{Workers: 2}, 1<<20)
	require.NoError(t, err)
	strips, same, err := p.cleanIn(r.Film, Options{Workers: 3}, 1)
	require.NoError(t, err)
	require.Equal(t, whole, strips)
	require.Equal(t, [2]float64{told.Shift, told.Taken}, [2]float64{same.Shift, same.Taken})
	require.Equal(t, whole, r.clean)
}
