package render

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The same eye as .obj in centimetres and as .glb in metres gives the same picture: the mean of the whole
// within 0.5 %, of the iris within 2 %. Pixels are not compared one by one.
func TestObjEyeLooksAsGLB(t *testing.T) {
	read := func(file, unit string) *Result {
		text := strings.Replace(assetScene(file), "asset: {file", "asset: {"+unit+"factor: 0.72452, file", 1)
		return trace(t, text, "picture.width=24", "picture.height=24")
	}
	a, b := read("../testdata/eye/ict_right_eye.obj", "unit: cm, "), read("../testdata/eye/ict_right_eye.glb", "")
	pa, pb := a.Film.Develop(), b.Film.Develop()
	ma, n := mean(&pa, 1, func(int) bool { return true })
	mb, _ := mean(&pb, 1, func(int) bool { return true })
	t.Logf("mean %.5f and %.5f of %v pixels", ma, mb, n)
	assert.InEpsilon(t, mb, ma, 0.005)
	disc := func(i int) bool { return math.Hypot(float64(i%24)-11.5, float64(i/24)-11.5) < 5 }
	ma, _ = mean(&pa, 1, disc)
	mb, _ = mean(&pb, 1, disc)
	assert.InEpsilon(t, mb, ma, 0.02)
}

// What is wrong with an eye's file is said within seconds: the unit that is missing, the layer that is not there.
func TestImportedEyesAreJudged(t *testing.T) {
	obj := "../testdata/eye/ict_right_eye.obj"
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

// An inner shell without its back is capped: the volume is closed, the cap absorbs, and a note says so.
func TestOpenInnerShellIsCapped(t *testing.T) {
	m := &mesh.Mesh{}
	const n = 24
	for i := 0; i <= n; i++ { // a bowl: three quarters of a sphere
		for j := range n {
			a, b := 0.75*math.Pi*(float64(i)+0.2)/n, 2*math.Pi*float64(j)/n
			m.P = append(m.P, geom.Vec{X: 10 * math.Sin(a) * math.Cos(b), Y: 10 * math.Sin(a) * math.Sin(b), Z: 10 * math.Cos(a)})
			if i < n {
				p, q := uint32(i*n+j), uint32(i*n+(j+1)%n)
				m.Tri = append(m.Tri, [3]uint32{p, p + n, q + n}, [3]uint32{p, q + n, q})
			}
		}
	}
	mesh.Normals(m)
	s := &shells{}
	zero := 0
	out, err := s.shell("inner", m, &scene.Asset{Inner: "bowl", Factor: 1, FacetError: 0.01, Subdivide: &zero}, geom.Identity())
	require.NoError(t, err)
	open, odd := mesh.Closed(out)
	assert.Zero(t, open+odd)
	assert.Positive(t, out.Volume())
	assert.Contains(t, strings.Join(s.notes, "\n"), "open at 2 rims; caps that absorb close them")
}
