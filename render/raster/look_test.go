package raster_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"catchlight/render"
	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	prep "catchlight/render/prepare"
	"catchlight/render/raster"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// plainEye is the plainest cornea: a sphere of radius 7.8 mm and index 1.336 without relief.
const plainEye = `map_size: 128, cornea: {asphericity: 0, wobble: 0}, limbus: {width: 0.4}, ` +
	`iris: {depth: %g, relief: 0, pupil: %g, pupil_offset: [0, 0], colour: %g, scattering: false}, sclera: {colour: 0, scattering: false, wobble: 0, roughness: 0}`

var built = render.NewCache()

// prepare makes a scene whose pixels share no samples: the checks take their errors as independent.
func prepare(t testing.TB, yaml string, set ...string) *render.Prepared {
	t.Helper()
	set = append([]string{"picture.sharing=none"}, set...)
	d, err := scene.Parse("check.yaml", []byte(yaml), set...)
	require.NoError(t, err)
	p, err := render.Prepare(context.Background(), d, render.Options{Cache: built})
	require.NoError(t, err)
	return p
}

func bake(t testing.TB, p *render.Prepared) *raster.Look {
	t.Helper()
	k, err := raster.Bake(context.Background(), new(prep.Maker), p.Scene, p.Description.Raster, 2)
	require.NoError(t, err)
	return k
}

func draw(t testing.TB, k *raster.Look, p *render.Prepared) *raster.Picture {
	t.Helper()
	pic, err := k.Draw(context.Background(), p.Scene.Camera, p.Description.Picture.Width, p.Description.Picture.Height)
	require.NoError(t, err)
	return pic
}

// both returns the pictures of the two looks.
func both(t testing.TB, p *render.Prepared) (drawn, traced film.Picture) {
	t.Helper()
	r, err := p.Raster(context.Background(), render.Options{})
	require.NoError(t, err)
	q, err := p.Render(context.Background(), render.Options{})
	require.NoError(t, err)
	return r.Film.Develop(), q.Film.Develop()
}

// Even light of radiance 1 shows a bare diffuse ball in its own colour and a mirror as 1 (conservation of energy), in both looks alike.
func TestEvenLight(t *testing.T) {
	for _, c := range []struct {
		material  string
		want      colour.RGB
		tolerance float64
	}{
		{"{colour: [0.8, 0.5, 0.2]}", colour.RGB{0.8, 0.5, 0.2}, 2e-4},
		{"{kind: conductor, mirror: true}", colour.Grey(1), 1e-5},
		{"{kind: conductor, mirror: true, roughness: 0.3}", colour.Grey(1), 0.006}, // the path tracer puts back what facets lose
	} {
		p := prepare(t, fmt.Sprintf(`
picture: {width: 24, height: 24, samples: 64, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 14, target: [0, 0, 0], orbit: {azimuth: 20, elevation: 10, distance: 100}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
raster: {prefilter_size: 32}
objects: [{name: ball, shape: sphere, material: %s}]`, c.material))
		drawn, traced := both(t, p)
		for ch := range 3 {
			mean, se, n := 0.0, 0.0, float64(len(drawn.Mean))
			for i := range drawn.Mean {
				require.InDelta(t, c.want[ch], drawn.Mean[i][ch], c.tolerance, "%s", c.material)
				mean, se = mean+traced.Mean[i][ch]/n, se+traced.Error[i][ch]*traced.Error[i][ch]/n/n
			}
			require.InDelta(t, c.want[ch], mean, 4*math.Sqrt(se)+1e-6)
		}
	}
}

// Samples and rays of the path tracer through them meet the same objects at the same depth, in both projections; where they differ, the
// outline runs within a pixel: some neighbour shows the other object too.
func TestOutlinesAndDepth(t *testing.T) {
	for _, camera := range []string{
		"{target: [2, 1, 4], orbit: {azimuth: 34, elevation: 12, distance: 300}, focal_length: 200}",
		"{kind: orthographic, width: 44, target: [2, 1, 4], orbit: {azimuth: 34, elevation: 12, distance: 300}}",
	} {
		const n = 96
		p := prepare(t, `
picture: {width: 96, height: 96}
camera: `+camera+`
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
raster: {coverage_samples: 4, texture_size: 64, prefilter_size: 16, caustic: none, occlusion: none}
objects:
  - {name: eye, shape: eye, map_size: 64}
  - {name: ball, shape: sphere, radius: 5, transform: {translate: [9, 6, 16]}}
  - {name: crate, shape: box, size: [6, 5, 9], transform: {translate: [-8, -9, 9], rotate: [20, 30, 10]}}
  - {name: pane, shape: rectangle, size: [12, 8, 1], transform: {translate: [-12, 12, 0], rotate: [10, 40, 0]}}
  - {name: coin, shape: disc, radius: 4, transform: {translate: [14, -10, 6], rotate: [-30, 20, 0]}}
  - {name: floor, shape: slab, thickness: 1, transform: {translate: [0, -15, 0], rotate: [-90, 0, 0]}}`)
		object, depth, offset := bake(t, p).Visible(p.Scene.Camera, n, n)
		sc := accel.NewScratch()
		seen, away := map[int32]int{}, 0
		worst := 0.0
		for i, b := range object {
			ox, oy := offset(i % 4)
			x, y := float64(i/4%n)+ox, float64(i/4/n)+oy
			o, d, _ := p.Scene.Camera.Ray(x, y, 0.5, 0.5)
			h := frozen.Hit{T: math.Inf(1), Object: -1}
			ray := geom.Ray{O: o, D: d}
			for k := range p.Scene.Objects {
				if p.Scene.Objects[k].Material.Kind != frozen.Inner && p.Scene.Objects[k].Closest(sc, ray, 0, h.T, &h) {
					h.Object = int32(k)
				}
			}
			seen[b]++
			if h.T > 1e6 && !math.IsInf(h.T, 1) { // toward the horizon the slab's stand-in ends first
				continue
			}
			if h.Object != b {
				away++
				near := false
				for dy := -1; dy <= 1; dy++ {
					for dx := -1; dx <= 1; dx++ {
						if qx, qy := i/4%n+dx, i/4/n+dy; qx >= 0 && qy >= 0 && qx < n && qy < n {
							for s := range 4 {
								near = near || object[4*(qy*n+qx)+s] == h.Object
							}
						}
					}
				}
				require.True(t, near, "pixel %d, %d: %d drawn, %d traced at %g mm", i/4%n, i/4/n, b, h.Object, h.T)
				continue
			}
			if b < 0 {
				continue
			}
			// The distance along the axis; on a slope it runs with the step of 1/256 pixel that corners are moved by.
			want := h.T * -d.Dot(p.Scene.Camera.Frame().N)
			sf := p.Scene.Surface(ray, &h)
			slope := 1 / max(0.02, math.Abs(sf.Ng.Dot(d)))
			off := math.Abs(depth[i]-want) / slope
			if p.Scene.Objects[b].Name != "floor" {
				worst = max(worst, off)
			} else {
				require.InEpsilon(t, want, depth[i], 0.01)
			}
		}
		require.GreaterOrEqual(t, len(seen), 6)
		t.Logf("%d of %d samples show another object, depth off by %.4f mm at most", away, len(object), worst)
		require.Less(t, float64(away), 0.004*float64(len(object)))
		require.Less(t, worst, 0.02) // a pixel is 0.46 mm
	}
}

// The pupil seen along the axis through a plain cornea is 1.1313 times its size (m = n d'/d, d' = d/(n - (n-1) d/R), paraxial, a single
// surface of radius 7.8 mm and index 1.336, 3.6 mm behind the apex); 1.129 by exact rays 1 mm off the axis. Straight rays show it as it is.
func TestPupilSeen(t *testing.T) {
	for iris, want := range map[string]float64{"refracted": 1.1313, "straight": 1, "offset": 1.12} {
		p := prepare(t, fmt.Sprintf(`
picture: {width: 200, height: 200}
camera: {kind: orthographic, width: 4, target: [0, 0, 8], orbit: {distance: 100}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
raster: {caustic: none, occlusion: none, texture_size: 1024, reflection: none, prefilter_size: 16}
objects: [{name: eye, shape: eye, `+plainEye+`}]`, 3.6-0.114, 2.0, 0.9), "raster.iris="+iris)
		k := bake(t, p)
		pic := draw(t, k, p)
		area := 0.0
		for i := range pic.Mean {
			if pic.Mean[i][1] < 0.3 {
				area++
			}
		}
		seen := math.Sqrt(area * 4e-4 / math.Pi)
		m := seen / math.Sqrt(k.PupilOpen()/math.Pi)
		t.Logf("%s: radius %.4f mm, magnification %.4f", iris, seen, m)
		tolerance := 0.006
		if iris == "offset" {
			tolerance = 0.05
		}
		assert.InEpsilon(t, want, m, tolerance)
	}
}

// The baked light on the iris: on the axis T/(1 - d (n-1)/(n R))^2 = 1.2534 times the irradiance before the cornea, over n^2; beside it ray
// density times transmittance times cosine (own computation by rays, the same table that the path tracer is held against). In even light
// the middle gets 0.90 to 0.98 of pi: what escapes to, by reciprocity, but for what is mirrored back.
func TestLightOnTheIris(t *testing.T) {
	for azimuth, want := range map[float64][5]float64{
		0:  {1.214, 1.244, 1.253, 1.244, 1.214},
		50: {1.061, 1.016, 0.961, 0.904, 0.847},
	} {
		p := prepare(t, fmt.Sprintf(`
picture: {width: 8, height: 8}
camera: {orbit: {}}
lights:
  - {name: lamp, kind: distant, angle: 0.53, orbit: {azimuth: %g}, irradiance: [1, 1, 1]}
  - {name: sky, kind: constant, radiance: [1, 1, 1]}
raster: {texture_size: 512, prefilter_size: 16}
objects: [{name: eye, shape: eye, `+plainEye+`}]`, azimuth, 3.6, 1.6, 0.5))
		k := bake(t, p)
		f, _ := p.Scene.Lights[0].Form()
		for i, w := range want {
			lamp, far := k.BehindCornea(float64(i)-2, f.Radiance[1])
			e := lamp * f.Radiance[1] * 1.336 * 1.336
			t.Logf("%g degrees, x = %d mm: %.4f, want %.3f; even light %.4f pi", azimuth, i-2, e, w, far/math.Pi)
			assert.InEpsilon(t, w, e, 0.02)
			assert.Greater(t, far/math.Pi, 0.88)
			assert.Less(t, far/math.Pi, 0.98)
		}
	}
}

// A soft shadow's edge is the share of the light that stands clear of it: beneath a half-plane card, a point x beyond its edge sees the part
// of a square light that similar triangles say (penumbra = size (d - b)/b).
func TestSoftShadow(t *testing.T) {
	p := prepare(t, `
picture: {width: 64, height: 64}
camera: {kind: orthographic, width: 40, target: [0, 0, 0], orbit: {distance: 100}}
lights: [{name: lamp, kind: rectangle, position: [0, 0, 500], target: [0, 0, 0], width: 100, height: 100, radiance: [1, 1, 1]}]
raster: {shadow_size: 1024}
objects:
  - {name: ground, shape: rectangle, size: [60, 60, 1]}
  - {name: card, shape: rectangle, size: [100, 100, 1], transform: {translate: [50, 0, 20]}, visibility: {camera: false}}`)
	k := bake(t, p)
	// The card covers x > 0 at z = 20; from (x, 0, 0) the light point at q passes the card's height at x + (q - x) 20/500.
	lit := k.Lit(0, geom.Vec{Z: 1}, geom.Vec{}, 30)
	for x := -5.0; x <= 5; x += 0.25 {
		q := -24 * x                                                                          // the light beyond this is hidden
		require.InDelta(t, max(0, min(1, (q+50)/100)), lit(geom.Vec{X: x}), 0.055, "x %g", x) // 64 points and a texel
	}
	require.Equal(t, 1.0, lit(geom.Vec{X: -9}))
	require.Equal(t, 0.0, lit(geom.Vec{X: 9}))
}

// A shell within a budget of triangles keeps to it, lies on the fine one at its corners, and shows nearly the same picture: light from
// all round tells normals in the mirror and outlines alone.
func TestTriangleBudget(t *testing.T) {
	const yaml = `
picture: {width: 96, height: 96}
view: {background: colour}
camera: {orbit: {azimuth: 20, distance: 300}, target: [0, 0, 2], focal_length: 320}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}, {name: lamp, kind: sphere, position: [200, 300, 400], radius: 60, radiance: [9, 9, 9]}]
raster: {texture_size: 512, prefilter_size: 32, caustic: none, occlusion: none, scattering: none}
objects: [{name: eye, shape: eye, map_size: 128}]`
	fine := prepare(t, yaml)
	pic := draw(t, bake(t, fine), fine)
	for _, most := range []int{600, 4000} {
		p := prepare(t, yaml, fmt.Sprintf("raster.triangles=%d", most))
		k := bake(t, p)
		count, worst := k.Net()
		require.LessOrEqual(t, count, most)
		require.Greater(t, count, most*8/10)
		require.Less(t, worst, 1e-4) // mm off the fine shell at corners
		q := draw(t, k, p)
		away, area := 0.0, 0.0
		for i := range q.Mean {
			area += q.Alpha[i] - pic.Alpha[i]
			if q.Alpha[i] == 1 && pic.Alpha[i] == 1 {
				away += math.Abs(q.Mean[i][1]-pic.Mean[i][1]) / float64(len(q.Mean))
			}
		}
		t.Logf("%d triangles: pixels off by %.4f in the mean, outline smaller by %.1f pixels", count, away, -area)
		require.Less(t, away, 0.02)
		require.Less(t, math.Abs(area), 160*600/float64(most)) // a polygon of m sides loses pi (2 pi/m)^2/6 of the circle's area; m grows with the root of the budget
	}
}

// Bits do not depend on the workers, with everything on.
func TestSameBits(t *testing.T) {
	p := prepare(t, `
picture: {width: 72, height: 64}
lights:
  - {name: window, kind: rectangle, orbit: {azimuth: -36, elevation: 28, distance: 1400}, width: 860, height: 1100, panes: [2, 3], bar: 50, radiance: [15, 14.6, 14]}
  - {name: room, kind: constant, radiance: [0.22, 0.21, 0.20]}
raster: {texture_size: 256, prefilter_size: 64, shadow_size: 256, glare: 0.6, glints: both, cards: [{name: card, direction: {azimuth: 30, elevation: 20}}]}
camera: {focal_length: 1080, orbit: {}}
objects:
  - {name: eye, shape: eye, map_size: 256}
  - {name: card, shape: box, transform: {translate: [0, 14.6, 11.5], rotate: [16, 0, 0]}, size: [34, 1.5, 15], material: {colour: 0.05}, visibility: {camera: false}}`)
	var first film.Picture
	for _, workers := range []int{1, 3} {
		r, err := p.Raster(context.Background(), render.Options{Workers: workers})
		require.NoError(t, err)
		pic := r.Film.Develop()
		for _, c := range pic.Mean {
			require.True(t, c.Finite())
		}
		if workers == 1 {
			first = pic
		} else {
			require.Equal(t, first.Mean, pic.Mean)
			require.Equal(t, first.Alpha, pic.Alpha)
		}
	}
	_, err := raster.Bake(context.Background(), new(prep.Maker), &frozen.Scene{Plate: true}, p.Description.Raster, 1)
	require.Error(t, err)
}

// Under tissue of scatter_radius r50 the edge of a cast shadow, from a quarter to three quarters of its height, is as wide as the path tracer's
// random walks make it, within 10 %: a flat block without a coat, half shaded from a small lamp straight above.
func TestShadowEdgeOnTissue(t *testing.T) {
	p := prepare(t, `
picture: {width: 160, height: 32, samples: 384, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 8, target: [0, 0, 0], orbit: {distance: 100}}
lights: [{name: lamp, kind: distant, angle: 0.1, orbit: {azimuth: 0}, irradiance: [3, 3, 3]}]
raster: {scattering_taps: 33}
objects:
  - {name: block, shape: box, size: [60, 60, 30], transform: {translate: [0, 0, -15]}, material: {kind: tissue, colour: [0.75, 0.6, 0.45], scatter_radius: [0.9, 0.45, 0.3], index: 1}}
  - {name: card, shape: rectangle, size: [100, 100, 1], transform: {translate: [50, 0, 2]}, material: {colour: 0}, visibility: {camera: false}}`)
	drawn, traced := both(t, p)
	width := func(pic *film.Picture, c int) float64 {
		const w, h = 160, 32
		var row [w]float64
		for i := range pic.Mean {
			row[i%w] += pic.Mean[i][c] / h
		}
		lo, hi := 0.0, 0.0
		for i := range 12 {
			hi, lo = hi+row[i]/12, lo+row[w-1-i]/12
		}
		at := func(share float64) float64 { // from the bright side on the left
			level := lo + share*(hi-lo)
			for i := 1; i < w; i++ {
				if row[i] < level && row[i-1] >= level && i > 12 {
					return float64(i-1) + (row[i-1]-level)/(row[i-1]-row[i])
				}
			}
			return math.NaN()
		}
		return (at(0.25) - at(0.75)) * 8 / w
	}
	for c := range 3 {
		a, b := width(&drawn, c), width(&traced, c)
		t.Logf("channel %d: drawn %.4f mm, traced %.4f mm", c, a, b)
		assert.InEpsilon(t, b, a, 0.10)
	}
}
