package render

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/render/film"
)

// The plainest cornea: a sphere of radius 7.8 mm and index 1.336, no relief anywhere, and tissue that doesn't scatter below its surface.
const plainEye = `map_size: 128, cornea: {asphericity: 0, wobble: 0}, limbus: {width: 0.4, reach: 0}, ` +
	`iris: {depth: %g, relief: 0, pupil: %g, pupil_offset: [0, 0], colour: %g, scattering: false}, sclera: {colour: 0, scattering: false, wobble: 0, roughness: 0}`

const (
	plainRadius = 7.8
	plainIndex  = 1.336
)

// apex returns z of the foremost point of a scene's first eye.
func apex(p *Prepared) float64 {
	return p.Scene.Objects[p.Scene.Eyes[0].Outer].Mesh.Bounds().Hi.Z
}

// hits returns the distance from the axis at which a ray parallel to it at height h is, at depth d behind the apex of
// the plain cornea (Snell's law, exact).
func hits(h, d float64) float64 {
	i := math.Asin(h / plainRadius)
	bend := i - math.Asin(h/plainRadius/plainIndex)
	sag := plainRadius - math.Sqrt(plainRadius*plainRadius-h*h)
	return h - (d-sag)*math.Tan(bend)
}

func TestHits(t *testing.T) {
	// Own computation, ray by ray, another program: depth 3.6 mm.
	for h, want := range map[float64]float64{0.5: 0.44212, 1: 0.88523, 2: 1.77867, 4: 3.63674, 5.5: 5.19316} {
		assert.InDelta(t, want, hits(h, 3.6), 6e-6)
	}
}

// pupil returns the area of the dark round in the picture, and its centre, in mm.
func pupilAt(pic *film.Picture, n int, width float64) (area, cx, cy float64) {
	px := width / float64(n)
	count := 0.0
	for i := range pic.Mean {
		if pic.Mean[i][1] < 0.35 {
			count++
			cx += (float64(i%n) + 0.5 - float64(n)/2) * px
			cy += (float64(n)/2 - float64(i/n) - 0.5) * px
		}
	}
	return count * px * px, cx / count, cy / count
}

// The pupil seen through the cornea is wider than it is, and nearer. With its margin 3.6 mm behind the apex:
// magnification 1.1313 and apparent depth 3.0485 mm (d' = d/(n - (n-1) d/R), m = n d'/d; paraxial, a single surface).
func TestApparentPupil(t *testing.T) {
	const n, width = 160, 4.0
	// The margin is rounded with a radius of 0.12 mm, so its narrowest ring lies that much behind the iris plane.
	object := fmt.Sprintf("{name: eye, shape: eye, "+plainEye+"}", 3.6-0.114, 2.0, 0.9)
	yaml := fmt.Sprintf(furnace, 8, width, object)
	front := prepare(t, yaml, "picture.width=160", "picture.height=160")
	top := apex(front)
	view := func(azimuth float64) *film.Picture {
		pic := trace(t, yaml, "picture.width=160", "picture.height=160", fmt.Sprintf("camera.target=[0, 0, %g]", top),
			fmt.Sprintf("camera.orbit.azimuth=%g", azimuth), "camera.orbit.elevation=0").Film.Develop()
		return &pic
	}
	// What rays by Snell's law see of the margin's vertices: per sector the ray nearest the axis that grazes one.
	const sectors = 96
	var seen, physical [sectors]float64
	inner := front.Scene.Objects[front.Scene.Eyes[0].Inner].Mesh
	for i := range sectors {
		seen[i], physical[i] = math.Inf(1), math.Inf(1)
	}
	for _, p := range inner.P {
		d, r := top-p.Z, math.Hypot(p.X, p.Y)
		if d > 3.75 || r > 1.3 {
			continue
		}
		lo, hi := 0.0, 3.0
		for range 50 {
			if mid := (lo + hi) / 2; hits(mid, d) < r {
				lo = mid
			} else {
				hi = mid
			}
		}
		s := int(math.Floor((math.Atan2(p.Y, p.X)+math.Pi)/(2*math.Pi)*sectors)) % sectors
		seen[s], physical[s] = min(seen[s], lo), min(physical[s], r)
	}
	var a, b float64
	for i := range sectors {
		require.False(t, math.IsInf(seen[i], 1))
		a += seen[i] * seen[i] / sectors
		b += physical[i] * physical[i] / sectors
	}
	byRays, size := math.Sqrt(a), math.Sqrt(b)
	area, _, _ := pupilAt(view(0), n, width)
	r := math.Sqrt(area / math.Pi)
	t.Logf("radius %.4f mm, seen %.4f mm, by rays %.4f mm: magnification %.4f", size, r, byRays, r/size)
	assert.InEpsilon(t, byRays, r, 0.004)
	assert.InDelta(t, 1.0, size, 0.02)
	// 0.6 %: rays 1.13 mm from the axis fall short of the paraxial value by 0.2 %, and a pixel is 2 % of the radius.
	assert.InEpsilon(t, 1.1313, r/size, 0.006)

	// From aside: a point on the axis 4.2 mm before the centre of curvature whose ray makes 10 degrees inside is seen
	// from 11.811 degrees, n 4.2 sin 10 from the line through the centre.
	th := 11.811 * math.Pi / 180
	want := plainRadius*math.Sin(th) - plainIndex*4.2*math.Sin(math.Pi/18)
	_, right, _ := pupilAt(view(11.811), n, width)
	_, left, _ := pupilAt(view(-11.811), n, width)
	off := (left - right) / 2
	t.Logf("seen from aside %.4f mm from the apex, want %.4f: depth %.4f mm", math.Abs(off), want, math.Abs(off)/math.Sin(th))
	assert.InEpsilon(t, want, math.Abs(off), 0.015)
	assert.InEpsilon(t, 3.0485, math.Abs(off)/math.Sin(th), 0.015)
}

// The light that a distant lamp throws through the cornea onto a plane 3.6 mm behind its apex, as a share of what it
// throws onto a plane that faces it. On the axis: T/(1 - d (n-1)/(n R))^2 = 1.2534; beside it own computation, ray
// density times transmittance times cosine. The lamp tilts toward +x.
func TestLightThroughTheCornea(t *testing.T) {
	const yaml = `
picture: {width: 35, height: 5, samples: %d, filter: box, filter_width: 1}
camera: {kind: plate, normal: [0, 0, 1], width: 7, target: [0, 0, %g]}
advanced: {manifold: %t}
lights: [{name: lamp, kind: distant, angle: %g, orbit: {azimuth: %g}, irradiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, ` + plainEye + `}]
`
	rows := []struct {
		azimuth float64
		want    [7]float64
	}{
		{0, [7]float64{1.159, 1.214, 1.244, 1.253, 1.244, 1.214, 1.159}},
		{30, [7]float64{1.130, 1.171, 1.169, 1.144, 1.106, 1.059, 1.003}},
		{50, [7]float64{1.059, 1.061, 1.016, 0.961, 0.904, 0.847, 0.792}},
		{60, [7]float64{1.033, 0.990, 0.914, 0.841, 0.775, 0.716, 0.662}},
		{70, [7]float64{1.029, 0.904, 0.791, 0.702, 0.631, 0.571, 0}}, // the last one is at the edge of the shadow
	}
	limbus, width := []string{"objects.eye.limbus.width=0.4", "objects.eye.limbus.width=1.2"}, 0
	top := apex(prepare(t, fmt.Sprintf(yaml, 1, 8.0, true, 0.53, 0.0, 5.5, 2.0, 0.0)))
	// A limbus as wide as life lets no light reach the iris straight through the coat beside the cornea.
	for _, row := range append(rows, rows...) {
		width++
		r := trace(t, fmt.Sprintf(yaml, 64, top-3.6, true, 0.53, row.azimuth, 5.5, 2.0, 0.0), limbus[(width-1)/len(rows)])
		pic := r.Film.Develop()
		for k, want := range row.want {
			if want == 0 || k == 6 && width > len(rows) { // the wide limbus reaches in from there
				continue
			}
			// The middle pixel of the millimetre, 0.2 mm wide.
			m, se := mean(&pic, 1, func(i int) bool { return i%35 == 2+5*k && i/35 == 2 })
			t.Logf("%g degrees, x = %d mm: %.4f +- %.4f, want %.3f", row.azimuth, k-3, m, se, want)
			assert.LessOrEqual(t, se, 0.003*want/3)
			assert.InEpsilon(t, want, m, 0.003) // a digit of the table is 0.1 %
			if row.azimuth == 0 && k == 3 {
				assert.InEpsilon(t, 1.2534, m, 0.0005)
			}
		}
	}
}
