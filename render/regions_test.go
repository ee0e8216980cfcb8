package render

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/imgcmp"
	"catchlight/scene/geom"
)

const twoEyes = `
picture: {width: 320, height: 160}
camera: {kind: orthographic, width: 60, target: [0, 0, 0], orbit: {azimuth: 0, distance: 500}}
lights:
  - {name: sun, kind: distant, angle: 6, orbit: {azimuth: -50, elevation: 20}, radiance: 200}
  - {name: sky, kind: constant, radiance: 0.2}
objects:
  - name: left
    shape: eye
    transform: {translate: [-14, 0, 0]}
    map_size: 64
    globe: {facet_error: 0.01}
    cornea: {wobble: 0, asphericity: 0}
    iris: {relief: 0, pupil: 3.6, pupil_offset: [0, 0]}
    sclera: {wobble: 0, bumps: 0}
  - name: right
    shape: eye
    transform: {translate: [14, 0, 0]}
    map_size: 64
    globe: {facet_error: 0.01}
    cornea: {wobble: 0, asphericity: 0}
    iris: {relief: 0, pupil: 3.6, pupil_offset: [0, 0]}
    sclera: {wobble: 0, bumps: 0}
  - {name: post, shape: box, size: [2, 8, 2], transform: {translate: [0, 0, 0]}}
`

func area(m imgcmp.Mask) (n int, x, y float64) {
	for i, in := range m {
		if in {
			n++
			x, y = x+float64(i%320)+0.5, y+float64(i/320)+0.5
		}
	}
	return n, x / float64(n), y / float64(n)
}

// Two eyes face an orthographic camera of 0.1875 mm a pixel. Of each the pupil is 1.131 times as wide as it is (paraxial
// magnification with index 1.336, radius 7.8 mm and depth 3.6 mm), the zones end at 5.85 -+ 0.45 mm, farther in by 0.3 of limbus.reach at the sides, and the sun's mirror
// image stands where the normal halves the angle: at the first Purkinje image of a sphere of 7.8 mm.
func TestRegions(t *testing.T) {
	p := prepareText(t, twoEyes)
	r := p.Regions(Options{})
	require.Equal(t, []string{"left", "right"}, r.Eyes)
	const mm = 60.0 / 320
	for e, x0 := range []float64{160 - 14/mm, 160 + 14/mm} {
		within := func(zones ...Zone) float64 {
			n := 0
			for _, z := range zones {
				k, _, _ := area(r.Mask(z, e))
				n += k
			}
			return 2 * math.Sqrt(float64(n)*mm*mm/math.Pi) // diameter of a disc of that area
		}
		n, x, y := area(r.Mask(Pupil, e))
		require.InDelta(t, x0, x, 0.5)
		require.InDelta(t, 80, y, 0.5)
		require.InDelta(t, 1.131*3.6, 2*math.Sqrt(float64(n)*mm*mm/math.Pi), 0.12)
		require.InDelta(t, 24, within(Pupil, Iris, Limbus, Sclera, Catchlight), 0.1, "the globe")
		sun := geom.Vec{X: -math.Sin(geom.Radians(50)) * math.Cos(geom.Radians(20)), Y: math.Sin(geom.Radians(20)), Z: math.Cos(geom.Radians(50)) * math.Cos(geom.Radians(20))}
		half := sun.Add(geom.Vec{Z: 1}).Unit()
		n, x, y = area(r.Mask(Catchlight, e))
		require.InDelta(t, x0+7.8*half.X/mm, x, 0.6, "%d pixels", n)
		require.InDelta(t, 80-7.8*half.Y/mm, y, 0.6)
	}
	// On the row through the middles, left of the left pupil, zones follow each other from the sclera inward, and the limbus
	// is where it should be.
	require.Equal(t, Backdrop, r.Zone[80*320+1])
	require.Equal(t, Around, r.Zone[80*320+160])
	row := r.Zone[80*320 : 81*320]
	from := []int{}
	for x := 1; x < 85; x++ {
		if row[x] != row[x-1] {
			from = append(from, x)
		}
	}
	require.Len(t, from, 4)
	mid := 160 - 14/mm
	require.InDelta(t, mid-(6.3-0.3*0.55)/mm, float64(from[1]), 1, "sclera to limbus")
	require.Equal(t, []Zone{Sclera, Limbus, Iris, Pupil}, []Zone{row[from[0]], row[from[1]], row[from[2]], row[from[3]]})
	require.InDelta(t, mid-1.131*1.8/mm, float64(from[3]), 1)
}

// An even surround outshines nothing: there is no catchlight.
func TestRegionsWithoutCatchlight(t *testing.T) {
	p := prepareText(t, twoEyes, "lights.sun.on=false", "picture.width=64", "picture.height=32")
	n, _, _ := area(p.Regions(Options{}).Mask(Catchlight, -1))
	require.Zero(t, n)
}

// An imported eye's pupil is a hole in its inner shell: what one sees through it, the back of the cavity, is the pupil too.
func TestRegionsOfImport(t *testing.T) {
	file, err := filepath.Abs("../testdata/eye/ict_right_eye_axial24mm.glb")
	require.NoError(t, err)
	p := prepareText(t, `
picture: {width: 96, height: 96}
camera: {kind: orthographic, width: 28, target: [0, 0, 0], orbit: {azimuth: 0, distance: 500}}
lights: [{name: sky, kind: constant, radiance: 0.2}]
objects: [{name: eye, shape: eye, asset: {file: `+file+`, outer: RightEye_Outer_ScleraCornea, inner: RightEye_Inner_IrisBody, subdivide: 0}, limbus: {radius: 5.4, width: 1}}]
`)
	r := p.Regions(Options{})
	n := map[Zone]int{}
	for i, z := range r.Zone {
		n[z]++
		x, y := float64(i%96)+0.5-48, float64(i/96)+0.5-48
		if d := math.Hypot(x, y) * 28 / 96; d > 0.4 && d < 3 && z != Pupil && z != Iris || d < 0.4 && z != Pupil {
			t.Fatalf("%.1f mm from the axis there is %v", d, z)
		}
	}
	require.Greater(t, n[Pupil], 20)
	require.Greater(t, n[Iris], 5*n[Pupil])
	require.Greater(t, n[Sclera], n[Iris])
}
