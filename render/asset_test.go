package render

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/render/accel"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	outerNode = "RightEye_Outer_ScleraCornea"
	innerNode = "RightEye_Inner_IrisBody"
	soundEye  = "../testdata/eye/ict_right_eye_axial24mm.glb"
	brokenEye = "../testdata/gltf/broken/"
)

// assetEye returns a scene the description of the eye of a file.
func assetEye(file, outer, inner string) *scene.Eye {
	smooth := 1
	p := &scene.Eye{Asset: &scene.Asset{File: scene.Path(file), Outer: outer, Inner: inner, Factor: 1, Axis: geom.Vec{Z: 1}, Subdivide: &smooth, CloseGap: true}, MapSize: 128}
	p.Globe.Radius, p.Limbus.Radius, p.Limbus.Width = 11, 5.4, 1
	p.Sclera.Tint = colour.Grey(1)
	return p
}

func takeShells(t *testing.T, d *scene.Eye) (*shells, error) {
	t.Helper()
	return (&preparer{}).shells(d, &making{})
}

func assetScene(file string) string {
	return fmt.Sprintf(`
picture: {width: 48, height: 48, samples: 8, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 20, target: [0, 0, 8], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 128, limbus: {radius: 5.4, width: 1}, asset: {file: %s, outer: %s, inner: %s}}]
`, file, outerNode, innerNode)
}

// The pupil is a hole into a hollow shell whose walls absorb: under an even sky, with the mirror image of the sky taken
// away, it sends back less than 3 % of what the sclera does. With an open cavity of white tissue it sends far more.
func TestImportedPupilIsDark(t *testing.T) {
	read := func(set ...string) (pupil, white float64, r *Result) {
		r = trace(t, assetScene(soundEye), append(set, "effects.tear_film=false")...)
		pic := r.Film.Develop()
		at := func(x, y float64, rad float64) float64 {
			m, _ := mean(&pic, 1, func(i int) bool {
				px, py := (float64(i%48)+0.5)/48*20-10, 10-(float64(i/48)+0.5)/48*20
				return math.Hypot(px-x, py-y) < rad
			})
			return m
		}
		return at(0, 0, 0.45), at(-7.5, 0, 1), r
	}
	pupil, white, r := read()
	t.Logf("pupil %.4f, white %.4f, %d leaks of %d walks", pupil, white, r.Stats.WalkLeaks, r.Stats.Walks)
	assert.Less(t, pupil, 0.03*white)
	assert.Greater(t, white, 0.4)
	assert.LessOrEqual(t, r.Stats.WalkLeaks, r.Stats.Walks/10000)
	open, _, _ := read("objects.eye.iris.pupil_closed=true")
	assert.Greater(t, open, 5*pupil+0.01, "what absorbs is what makes it dark")
}

// An axial length of 24 mm is what the file was made for (stated beside it); subdivision keeps it. Everything of the
// inner shell that can be seen from outside is tissue, and all shells stay shut.
func TestAssetShells(t *testing.T) {
	for _, smooth := range []int{0, 2} {
		d := assetEye(soundEye, outerNode, innerNode)
		d.Asset.Subdivide = &smooth
		s, err := takeShells(t, d)
		require.NoError(t, err)
		box := s.outer.Bounds()
		assert.InDelta(t, 24, box.Size().Z, 0.01)
		assert.InDelta(t, -(box.Size().X+box.Size().Y)/4, box.Lo.Z, 1e-9)
		for _, m := range []*mesh.Mesh{s.outer, s.inner} {
			open, odd := mesh.Closed(m)
			assert.Zero(t, open+odd)
			assert.Positive(t, m.Volume())
		}
		out, _ := pierced(s.outer, s.outerBVH, s.inner)
		assert.Zero(t, out)
		sc := accel.NewScratch()
		var n, tissue int
		for y := -9.0; y <= 9; y += 0.5 {
			for x := -9.0; x <= 9; x += 0.75 {
				var h accel.Hit
				if r := math.Hypot(x, y); r > 1.5 && r < 9 && s.innerBVH.Closest(sc, geom.Vec{X: x, Y: y, Z: 50}, geom.Vec{Z: -1}, 0, 100, &h) {
					n++
					if s.inner.Part[h.Prim] == mesh.Tissue {
						tissue++
					}
				}
			}
		}
		assert.Equal(t, n, tissue, "level %d", smooth)
		var h accel.Hit
		require.True(t, s.innerBVH.Closest(sc, geom.Vec{Z: 50}, geom.Vec{Z: -1}, 0, 100, &h))
		assert.Equal(t, mesh.Backing, s.inner.Part[h.Prim], "the wall behind the pupil")
	}
}

// An eye that looks along any axis of its file is the same eye.
func TestAssetAxis(t *testing.T) {
	for _, axis := range []geom.Vec{{X: 1}, {X: -2}, {Y: 1}, {Y: -1}, {Z: 3}, {Z: -1}, {X: 1, Y: 2, Z: -3}} {
		f, err := axisFrame(axis)
		require.NoError(t, err)
		assert.InDelta(t, 0, f.Vector(axis.Unit()).Sub(geom.Vec{Z: 1}).Len(), 1e-12)
		assert.InDelta(t, 1, f.Det(), 1e-12, "a turn, not a mirror")
	}
	for _, axis := range []geom.Vec{{}, {X: math.NaN()}, {Z: math.Inf(1)}} {
		_, err := axisFrame(axis)
		assert.ErrorContains(t, err, "asset.axis")
	}
}

func TestAssetErrors(t *testing.T) {
	for _, c := range []struct{ name, file, outer, inner, want string }{
		{"unknown inner", soundEye, outerNode, "Iris", `lacks the inner shell "Iris"; it has "` + outerNode + `", "` + innerNode + `"`},
		{"unknown both", soundEye, "A", "B", `lacks the outer shell "A" and the inner shell "B"`},
		{"same twice", soundEye, outerNode, outerNode, "an eye needs two shells"},
		{"one layer", brokenEye + "one_layer_only.glb", outerNode, innerNode, `lacks the inner shell "` + innerNode + `"; it has "` + outerNode + `"`},
		{"no picture coordinates", brokenEye + "no_uvs.glb", outerNode, innerNode, "iris.colour"},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := assetEye(c.file, c.outer, c.inner)
			if strings.HasSuffix(c.file, "no_uvs.glb") {
				d.Iris.Colour = scene.MapSpec{Given: true, File: "../testdata/none.png"}
			}
			_, err := takeShells(t, d)
			assert.ErrorContains(t, err, c.want)
		})
	}
	open := &mesh.Mesh{P: []geom.Vec{{}, {X: 1}, {Y: 1, Z: 1}}, N: []geom.Vec{{Z: 1}, {Z: 1}, {Z: 1}}, Tri: [][3]uint32{{0, 1, 2}}}
	_, err := (&shells{}).shell("inner", open, &scene.Asset{Inner: "leaf", Factor: 1, FacetError: 0.01}, geom.Identity())
	assert.ErrorContains(t, err, "the inner shell encloses no volume, with caps over its 1 holes")
}

// Odd shells are reported and rendered all the same.
func TestOddAssetsGoOn(t *testing.T) {
	for _, c := range []struct{ file, want string }{
		{"iris_through_cornea.glb", "pokes through the outer shell"},
		{"winding_flipped.glb", "clockwise"},
		{"eye_24_metres.glb", "probably millimetres stored as metres; asset.factor 0.001"},
	} {
		t.Run(c.file, func(t *testing.T) {
			p := prepare(t, assetScene(brokenEye+c.file), "picture.width=8", "picture.height=8", "picture.samples=1")
			assert.Contains(t, strings.Join(p.Warnings, "\n"), c.want)
			r, err := p.Render(context.Background(), Options{})
			require.NoError(t, err)
			assert.Equal(t, 1, r.SPP)
		})
	}
	d := assetEye(brokenEye+"eye_24_metres.glb", outerNode, innerNode)
	d.Asset.Factor = 1e-3
	s, err := takeShells(t, d)
	require.NoError(t, err)
	assert.InDelta(t, 24, s.outer.Bounds().Size().Z, 0.01)
	assert.NotContains(t, strings.Join(s.notes, "\n"), "axial length of")
}

// A height of 0.5 moves nothing, a full step more swells the globe by half the scale, and seams stay shut.
func TestDisplace(t *testing.T) {
	s, err := takeShells(t, assetEye(soundEye, outerNode, innerNode))
	require.NoError(t, err)
	size := s.outer.Bounds().Size()
	require.NoError(t, displace(s.outer, texture.ConstantScalar(0.5), 0.5, 1))
	assert.Equal(t, size, s.outer.Bounds().Size())
	require.NoError(t, displace(s.outer, texture.ConstantScalar(1), 0.5, 0.2))
	assert.InDelta(t, size.Z+0.2, s.outer.Bounds().Size().Z, 0.005)
	wave := texture.FromImage(texture.NewImage(2, 1, 1, []float32{0, 1}), texture.Clamp)
	require.NoError(t, displace(s.outer, wave, 0.5, 0.2))
	open, odd := mesh.Closed(s.outer)
	assert.Zero(t, open+odd)
}

// A named node, or all nodes, become one mesh.
func TestReadMesh(t *testing.T) {
	p := &preparer{}
	all, err := p.readMesh(&scene.Object{Name: "b", File: soundEye})
	require.NoError(t, err)
	assert.Len(t, all.Tri, 1536+1596) // stated beside the file
	one, err := p.readMesh(&scene.Object{Name: "b", File: soundEye, Node: innerNode})
	require.NoError(t, err)
	assert.Len(t, one.Tri, 1596)
	assert.InDelta(t, 1352, one.Volume(), 1)
	_, err = p.readMesh(&scene.Object{Name: "b", File: soundEye, Morph: []scene.Morph{{Target: "PupilWide", Weight: 1}}})
	assert.ErrorContains(t, err, `no morph target "PupilWide"`)
	_, err = p.readMesh(&scene.Object{Name: "b", File: soundEye, Node: "Lid"})
	assert.ErrorContains(t, err, `no node "Lid"; it has "`+outerNode)
}

// A height map swells the built eye as it does an asset's: a picture that is 1 all over by half the scale on each side
// where 0.5 is no displacement, by nothing where 1 is. The scale's sign turns it.
func TestBuiltEyeHeight(t *testing.T) {
	file := filepath.Join(t.TempDir(), "one.png")
	require.NoError(t, imageio.WritePNG(file, 2, 2, 1, []byte{255, 255, 255, 255}, nil))
	const yaml = `
camera: {kind: orthographic, orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 64, cornea: {height: {file: %s, scale: %g, zero_level: %g}}}]
`
	width := func(scale, mid float64) float64 {
		p := prepare(t, fmt.Sprintf(yaml, file, scale, mid))
		return p.Scene.Objects[p.Scene.Eyes[0].Outer].Mesh.Bounds().Size().X
	}
	flat := width(0, 0.5)
	assert.InDelta(t, flat+0.1, width(0.1, 0.5), 0.005)
	assert.InDelta(t, flat-0.1, width(-0.1, 0.5), 0.005)
	assert.InDelta(t, flat, width(0.1, 1), 1e-12)
}

// The pupil of the licensed eye, 1.94 mm across as its maker's data say, is warped to what is asked for: shells stay
// shut, texture coordinates stay with their vertices, and the globe behind does not move.
func TestAssetPupil(t *testing.T) {
	plain, err := takeShells(t, assetEye(soundEye, outerNode, innerNode))
	require.NoError(t, err)
	d := assetEye(soundEye, outerNode, innerNode)
	file := plain.pupil(d)
	assert.InDelta(t, 1.94, 2*file.Radius, 0.05)
	for _, want := range []float64{1.5, 4, 6} {
		d.Iris.Pupil = want
		s, err := takeShells(t, d)
		require.NoError(t, err)
		q := s.pupil(d)
		assert.InEpsilon(t, want, 2*q.Radius, 0.03)
		open, odd := mesh.Closed(s.inner)
		assert.Zero(t, open+odd)
		assert.Equal(t, plain.inner.UV, s.inner.UV)
		for i, v := range plain.inner.P {
			if v.Z < 3 {
				assert.InDelta(t, 0, v.Sub(s.inner.P[i]).Len(), 0.02)
			}
		}
	}
	d.Iris.Pupil = 10.5
	_, err = takeShells(t, d)
	assert.ErrorContains(t, err, "iris.pupil: a pupil of 10.5 mm would fold the iris")
}

// A file with one shell gets the other from the built-in eye, at its own size and beneath or above it; colours come where
// there is no picture, pupil on pupil and limbus on limbus.
func TestBorrow(t *testing.T) {
	d := assetEye(brokenEye+"one_layer_only.glb", outerNode, "")
	d.Asset.Borrow, d.Iris.Pattern, d.Sclera.Tint = true, "brown", colour.Grey(1)
	s, err := takeShells(t, d)
	require.NoError(t, err)
	assert.Contains(t, strings.Join(s.notes, "\n"), "the inner shell is borrowed")
	open, odd := mesh.Closed(s.inner)
	assert.Zero(t, open+odd)
	c, err := (&preparer{}).tissue("x", s, d)
	require.NoError(t, err)
	iris := c.colour.At(geom.Vec{X: 3.5, Z: 9})
	white := c.colour.At(geom.Vec{X: 9, Z: 2})
	assert.Less(t, iris.Luminance(), 0.4*white.Luminance(), "brown within the limbus, white outside it")

	d = assetEye(soundEye, "", innerNode)
	d.Asset.Borrow, d.Iris.Pattern = true, "brown"
	s, err = takeShells(t, d)
	require.NoError(t, err)
	assert.Contains(t, strings.Join(s.notes, "\n"), "the outer shell is borrowed")
	in, out := s.inner.Bounds().Size(), s.outer.Bounds().Size()
	assert.Greater(t, out.X, in.X)
}
