package prepare

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"catchlight/render/accel"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/shells"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const (
	outerNode = "RightEye_Outer_ScleraCornea"
	innerNode = "RightEye_Inner_IrisBody"
	soundEye  = "../../testdata/eye/ict_right_eye_axial24mm.glb"
	brokenEye = "../../testdata/gltf/broken/"
)

// assetEye returns a scene the description of the eye of a file.
func assetEye(file, outer, inner string) *scene.Eye {
	smooth := 1
	p := &scene.Eye{Asset: &scene.Asset{File: scene.Path(file), Outer: outer, Inner: inner, Factor: 1, Axis: geom.Vec{Z: 1}, Subdivide: &smooth, CloseGap: true}, MapSize: 128}
	p.Globe.Radius, p.Limbus.Radius, p.Limbus.Width = 11, 5.4, 1
	p.Sclera.Tint = colour.Grey(1)
	return p
}

func takeShells(t *testing.T, d *scene.Eye) (*eyeball, error) {
	t.Helper()
	return (&preparer{}).shells(d, &making{})
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
		out, _ := shells.Pierced(s.outer, caster(s.outerBVH), s.inner)
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
				d.Iris.Colour = scene.MapSpec{Given: true, File: "../../testdata/none.png"}
			}
			_, err := takeShells(t, d)
			assert.ErrorContains(t, err, c.want)
		})
	}
}

// The factor that a note names brings an eye in other units to its size, and the note goes.
func TestFactorMendsUnits(t *testing.T) {
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
	require.NoError(t, displace(s.outer, texture.Constant(colour.Grey(0.5)), 0.5, 1))
	assert.Equal(t, size, s.outer.Bounds().Size())
	require.NoError(t, displace(s.outer, texture.Constant(colour.Grey(1)), 0.5, 0.2))
	assert.InDelta(t, size.Z+0.2, s.outer.Bounds().Size().Z, 0.005)
	wave := texture.FromImage(texture.NewImage(2, 1, 1, []float32{0, 1}), texture.Clamp)
	require.NoError(t, displace(s.outer, wave, 0.5, 0.2))
	open, odd := mesh.Closed(s.outer)
	assert.Zero(t, open+odd)
}

// A named node, or all nodes, become one mesh.
func TestReadMesh(t *testing.T) {
	p := &preparer{}
	all, _, err := p.readMesh(&scene.Object{Name: "b", File: soundEye}, &making{})
	require.NoError(t, err)
	assert.Len(t, all.Tri, 1536+1596) // stated beside the file
	one, _, err := p.readMesh(&scene.Object{Name: "b", File: soundEye, Node: innerNode}, &making{})
	require.NoError(t, err)
	assert.Len(t, one.Tri, 1596)
	assert.InDelta(t, 1352, one.Volume(), 1)
	_, _, err = p.readMesh(&scene.Object{Name: "b", File: soundEye, Morph: []scene.Morph{{Target: "PupilWide", Weight: 1}}}, &making{})
	assert.ErrorContains(t, err, `no morph target "PupilWide"`)
	_, _, err = p.readMesh(&scene.Object{Name: "b", File: soundEye, Node: "Lid"}, &making{})
	assert.ErrorContains(t, err, `no node "Lid"; it has "`+outerNode)
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

	// A wrong size is told first: the pupil's trouble follows from it.
	d.Iris.Pupil, d.Asset.Factor = 4, 0.1
	_, err = takeShells(t, d)
	assert.ErrorContains(t, err, "asset.factor: the axial length of 2.4 mm is outside 15 to 35 mm: probably a factor of ten too little")
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

// An iris that a file brings flat takes the built-in one's relief: between the 4th and the 96th percentile it stands as high as asked,
// within a quarter (the built-in relief is scaled so over its own places). The shell stays shut; white and pit stay where they are.
func TestBorrowedRelief(t *testing.T) {
	d := assetEye(soundEye, outerNode, innerNode)
	levels := 2
	d.Asset.Borrow, d.Asset.Subdivide, d.Iris.Pattern = true, &levels, "brown"
	plain, err := takeShells(t, d)
	require.NoError(t, err)
	d.Asset.Relief = 0.15
	s, err := takeShells(t, d)
	require.NoError(t, err)
	assert.Contains(t, strings.Join(s.notes, "\n"), "the iris is lifted")
	open, odd := mesh.Closed(s.inner)
	assert.Zero(t, open+odd)
	var up []float64
	for i, v := range plain.inner.P {
		by := s.inner.P[i].Sub(v)
		switch r := math.Hypot(v.X, v.Y); {
		case v.Z > 0 && r > 2.8 && r < 4.4:
			up = append(up, by.Dot(plain.inner.N[i]))
		case v.Z < 5:
			assert.Less(t, by.Len(), 1e-9)
		}
	}
	slices.Sort(up)
	require.Greater(t, len(up), 1000)
	assert.InEpsilon(t, 0.15, up[len(up)*96/100]-up[len(up)*4/100], 0.25)
}

// What is wrong with an eye's file is said within seconds: the unit that is missing, the layer that is not there.
func TestImportedEyesAreJudged(t *testing.T) {
	obj := "../../testdata/eye/ict_right_eye.obj"
	dir := t.TempDir()
	data, err := os.ReadFile(obj)
	require.NoError(t, err)
	bad, alone := filepath.Join(dir, "bad.obj"), filepath.Join(dir, "alone.obj")
	require.NoError(t, os.WriteFile(bad, append(data, "f 1 2 99999999\n"...), 0o666))
	require.NoError(t, os.WriteFile(alone, data, 0o666))
	for _, c := range []struct{ file, unit, err, note string }{
		{obj, "", "unit: cm would make it the size of an eye", ""},
		{bad, "cm", "bad.obj:6466: f refers to vertex 99999999", ""},
		{alone, "cm", "", `"ict_right_eye.mtl" does not exist`},
		{obj, "m", "", "the axial length of 3306 mm is outside 15 to 35 mm"},
		{brokenEye + "one_layer_only.glb", "", "lacks the inner shell", ""},
		{brokenEye + "degenerate_triangles.glb", "", "", "have no area"},
		{brokenEye + "no_uvs.glb", "", "", "no texture coordinates"},
	} {
		t.Run(filepath.Base(c.file)+c.unit, func(t *testing.T) {
			d := assetEye(c.file, outerNode, innerNode)
			d.Asset.Unit = c.unit
			start := time.Now()
			s, err := takeShells(t, d)
			assert.Less(t, time.Since(start), 5*time.Second)
			if c.err != "" {
				assert.ErrorContains(t, err, c.err)
				return
			}
			require.NoError(t, err)
			assert.Contains(t, strings.Join(s.notes, "\n"), c.note)
		})
	}
}
