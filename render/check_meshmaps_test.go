package render

import (
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// sheetScene is a level sheet of two triangles, 40 mm square, with texture coordinates, seen from above.
func sheetScene(light string) string {
	if light == "" {
		light = "{name: sky, kind: constant, radiance: [1, 1, 1]}"
	}
	return `format: 2
picture: {width: 12, height: 12, samples: 64, filter: box, filter_width: 1, sharing: none}
camera: {kind: orthographic, width: 10, target: [0, 0, 0], position: [0, 0, 200]}
view: {tone_mapping: none, background: environment}
lights:
  - ` + light + `
objects:
`
}

// sheetIn writes the sheet, and a picture of one texel, into a folder.
func sheetIn(t *testing.T, r, g, b uint8) string {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "sheet.obj"), []byte("v -20 -20 0\nv 20 -20 0\nv 20 20 0\nv -20 20 0\nvt 0 0\nvt 1 0\nvt 1 1\nvt 0 1\nvn 0 0 1\nf 1/1/1 2/2/1 3/3/1\nf 1/1/1 3/3/1 4/4/1\n"), 0o666))
	require.NoError(t, imageio.WritePNG(filepath.Join(dir, "map.png"), 1, 1, 3, []uint8{r, g, b}, nil))
	return dir
}

// sheetPicture is the mean of a picture of objects under an even sky, or under a sun at an azimuth.
func sheetPicture(t *testing.T, dir, objects string, raster bool, azimuth ...float64) float64 {
	light := ""
	if len(azimuth) > 0 {
		light = fmt.Sprintf("{name: sun, kind: distant, angle: 0.5, orbit: {azimuth: %g}, target: [0, 0, 0], irradiance: [1, 1, 1]}", azimuth[0])
	}
	d, err := scene.Parse(filepath.Join(dir, "scene.yaml"), []byte(sheetScene(light)+objects))
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{Workers: 2})
	require.NoError(t, err)
	draw := p.Render
	if raster {
		draw = p.Raster
	}
	r, err := draw(context.Background(), Options{Workers: 2})
	require.NoError(t, err)
	sum := 0.0
	m := r.Linear()
	for y := range r.Height {
		for x := range r.Width {
			red, _, _, _ := m.HDRAt(x, y).HDRRGBA()
			sum += red
		}
	}
	return sum / float64(r.Width*r.Height)
}

// A black sheet that stops 0.3 of the light before an even sky leaves 0.7 of it, in both looks; and a white floor under a sheet that
// the camera does not see gets 0.7 of a sun's light: the mask weakens rays from the camera and toward lights alike.
func TestBlendedMaskLetsItsShareThrough(t *testing.T) {
	const a = 77.0 / 255
	dir := sheetIn(t, 77, 77, 77)
	card := `  - {name: card, shape: mesh, file: sheet.obj, unit: mm, opacity_mask: {file: map.png, blend: true}, material: {kind: diffuse, colour: [0, 0, 0]}%s}
`
	require.InDelta(t, 1-a, sheetPicture(t, dir, fmt.Sprintf(card, ""), false), 0.02)
	require.InDelta(t, 1-a, sheetPicture(t, dir, fmt.Sprintf(card, ""), true), 0.02)
	floor := `  - {name: floor, shape: rectangle, size: [40, 40, 1], transform: {translate: [0, 0, -5]}, material: {kind: diffuse, colour: [1, 1, 1]}}
`
	open := sheetPicture(t, dir, floor, false)
	require.InDelta(t, 1, open, 0.01)
	shaded := sheetPicture(t, dir, floor+fmt.Sprintf(card, ", visibility: {camera: false}"), false)
	// The sheet covers all but the rim of the floor's sky: what passes is 1 - a of the share that it covers, c. From the middle of
	// a square of half edge 20 seen from 5 below, c = (4 / pi) (k / sqrt(1 + k^2)) atan(k / sqrt(1 + k^2)), k = 4: 0.9569. Source:
	// the form factor of a rectangle over a point, Howell's catalogue, B-3; from memory. The picture shows the middle 10 mm.
	require.InDelta(t, 1-a*0.9569, shaded, 0.02)
}

// A normal map that leans by 45 degrees on every texel turns the sheet's answer to a sun 45 degrees aside: straight on from one side,
// grazing from the other, in both looks. A height map of one texel moves the sheet by its scale.
func TestNormalAndHeightOfAMesh(t *testing.T) {
	dir := sheetIn(t, 218, 128, 218) // x = z = 0.7071, y = 0
	sheet := func(keys, sets string) string {
		return fmt.Sprintf("  - {name: sheet, shape: mesh, file: sheet.obj, unit: mm, %s material: {kind: diffuse, colour: [1, 1, 1]%s}}\n", sets, keys)
	}
	for _, q := range []struct{ azimuth, want float64 }{{45, 1}, {-45, 0}} {
		for _, raster := range []bool{false, true} {
			got := sheetPicture(t, dir, sheet(", normal: {file: map.png}", ""), raster, q.azimuth)
			require.InDelta(t, q.want/math.Pi, got, 0.015)
		}
	}
	require.InDelta(t, math.Sqrt(0.5)/math.Pi, sheetPicture(t, dir, sheet("", ""), false, 45), 0.005)
	d, err := scene.Parse(filepath.Join(dir, "scene.yaml"), []byte(sheetScene("")+sheet(", height: {file: map.png, channel: R, zero_level: 0, scale: 2}", "subdivide: 2, transform: {scale: 0.5},")))
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{Workers: 2})
	require.NoError(t, err)
	b := &p.Scene.Objects[0]
	require.Len(t, b.Mesh.Tri, 2*16)
	for _, v := range b.Mesh.P {
		require.InDelta(t, 2*218.0/255, b.ToWorld.Point(v).Z, 1e-6, "mm of the world")
	}
	for _, bad := range []struct{ keys, says string }{
		{", normal: {file: nowhere.png}", "nowhere.png"}, {", height: {file: map.png}", "scale"}, {", normal: {file: map.png, uv_set: 1}", "uv_set"},
	} {
		_, err := scene.Parse(filepath.Join(dir, "scene.yaml"), []byte(sheetScene("")+sheet(bad.keys, "")))
		require.ErrorContains(t, err, bad.says)
	}
	_, err = scene.Parse(filepath.Join(dir, "scene.yaml"), []byte(sheetScene("")+"  - {name: ball, shape: sphere, material: {kind: diffuse, normal: {file: map.png}}}\n"))
	require.ErrorContains(t, err, "for meshes alone")
}
