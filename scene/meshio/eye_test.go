package meshio

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/mesh"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

const eyeFolder = "../../testdata/eye/"

// The eye of testdata as .obj is the same as the .glb beside it, once the place in the head that the .glb's root node
// holds is taken away: triangles, box, volume, texture coordinates, colours.
func TestEyeAsObjIsTheEyeAsGLB(t *testing.T) {
	obj, err := Read(eyeFolder+"ict_right_eye.obj", "cm")
	require.NoError(t, err)
	glb, err := Read(eyeFolder+"ict_right_eye.glb", "")
	require.NoError(t, err)
	assert.Empty(t, obj.Notes)
	require.Len(t, obj.Nodes, 2)
	place := obj.Nodes[0].Mesh.Bounds().Centre().Sub(glb.Nodes[0].Mesh.Bounds().Centre())
	for i, n := range obj.Nodes {
		g := glb.Nodes[i]
		assert.Equal(t, g.Name, n.Name)
		assert.Len(t, n.Mesh.Tri, len(g.Mesh.Tri))
		assert.Len(t, n.Mesh.P, len(g.Mesh.P))
		assert.InDelta(t, g.Mesh.Volume(), n.Mesh.Volume(), 0.002*n.Mesh.Volume(), "quads may be cut along the other diagonal")
		m := mesh.Weld(n.Mesh, 0)
		open, odd := mesh.Closed(m)
		assert.Zero(t, open+odd)
		// Each vertex has its like in the other file: rounded there to 1e-6 of the unit.
		for k := 0; k < len(n.Mesh.P); k += 7 {
			best := 1e9
			for j, q := range g.Mesh.P {
				d := n.Mesh.P[k].Sub(q).Sub(place).Len()
				uv, gv := n.Mesh.UV[k], g.Mesh.UV[j]
				d += 10*max(abs(uv.U-gv.U), abs(uv.V-gv.V)) + 0.01*n.Mesh.N[k].Sub(g.Mesh.N[j]).Len()
				best = min(best, d)
			}
			assert.Less(t, best, 5e-4, "vertex %d of %s", k, n.Name)
		}
	}
	assert.Equal(t, "outer_sclera_cornea", obj.Nodes[0].Material.Name)
	assert.Equal(t, glb.Nodes[1].Material.BaseColour, obj.Nodes[1].Material.BaseColour)
	assert.Equal(t, colour.RGB{0.85, 0.82, 0.8}, obj.Nodes[0].Material.BaseColour)
}

func abs(x float64) float64 { return max(x, -x) }

// A file without a unit asks for one, and says which would make it an eye.
func TestUnitQuestion(t *testing.T) {
	_, err := Read(eyeFolder+"ict_right_eye.obj", "")
	var u *UnitError
	require.ErrorAs(t, err, &u)
	assert.InDelta(t, 3.306, u.Long, 0.001)
	for _, want := range []string{"give unit beside file", "33.06 mm with unit: cm", "3.306 mm with unit: mm", "; unit: cm would make it the size of an eye", `"# unit: centimetre`} {
		assert.ErrorContains(t, err, want)
	}
	_, err = Read(eyeFolder+"ict_right_eye.obj", "ell")
	assert.ErrorContains(t, err, `unit "ell" is none of mm, cm, m, inch`)
	_, err = Read(eyeFolder+"ict_right_eye.glb", "mm")
	assert.ErrorContains(t, err, "glTF files are in metres")
	mm, err := Read(eyeFolder+"ict_right_eye.obj", "mm")
	require.NoError(t, err)
	inch, err := Read(eyeFolder+"ict_right_eye.obj", "inch")
	require.NoError(t, err)
	assert.InDelta(t, 25.4, inch.Nodes[0].Mesh.Bounds().Size().Z/mm.Nodes[0].Mesh.Bounds().Size().Z, 1e-9)
}

// A face that refers to vertex 99999999 is reported with its line; a library that is not there is a warning by name.
func TestEyeDamaged(t *testing.T) {
	data, err := os.ReadFile(eyeFolder + "ict_right_eye.obj")
	require.NoError(t, err)
	dir := t.TempDir()
	alone := filepath.Join(dir, "alone.obj")
	require.NoError(t, os.WriteFile(alone, data, 0o666))
	a, err := Read(alone, "cm")
	require.NoError(t, err)
	notes := strings.Join(a.Notes, "\n")
	assert.Contains(t, notes, `"ict_right_eye.mtl" does not exist in the folder of the asset`)
	assert.Empty(t, a.Nodes[0].Material.Name, "the default look")

	lines := strings.Split(string(data), "\n")
	for i, l := range lines {
		if strings.HasPrefix(l, "f ") {
			w := strings.Fields(l)
			_, tail, _ := strings.Cut(w[2], "/")
			w[2] = "99999999/" + tail
			lines[i] = strings.Join(w, " ")
			bad := filepath.Join(dir, "bad.obj")
			require.NoError(t, os.WriteFile(bad, []byte(strings.Join(lines, "\n")), 0o666))
			_, err = Read(bad, "cm")
			var p Problems
			require.ErrorAs(t, err, &p)
			require.Len(t, p, 1)
			assert.Equal(t, "f refers to vertex 99999999, the file has 1570", p[0].Message)
			assert.Equal(t, "2348", p[0].Where)
			break
		}
	}
}

// Files of other endings get one line that says what to do.
func TestForeignEndings(t *testing.T) {
	for _, ending := range []string{".fbx", ".usd", ".usda", ".usdc", ".usdz", ".abc", ".goat"} {
		_, err := Read("/nowhere/eye"+strings.ToUpper(ending), "")
		require.Error(t, err)
		assert.Contains(t, err.Error(), "files in "+ending+" are not read; export the eye as glTF 2.0 binary (.glb)")
		assert.NotContains(t, err.Error(), "\n")
	}
	for _, ending := range asset.Endings {
		assert.Empty(t, asset.Advice(ending))
	}
}
