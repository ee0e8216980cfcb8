package mend

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/meshio"
)

const (
	licensed = "../../testdata/eye/ict_right_eye_axial24mm.glb"
	quads    = "../../testdata/eye/ict_right_eye.obj"
)

// A mended copy in another unit and with other axes reads as the file does, moved; everything else of it is as it was.
func TestUnitAndAxis(t *testing.T) {
	for _, src := range []string{licensed, quads} {
		dst := filepath.Join(t.TempDir(), "mended"+filepath.Ext(src))
		turn := geom.RotateX(geom.Radians(-90))
		did, err := File(src, dst, Changes{Factor: 0.1, Turn: turn})
		require.NoError(t, err)
		require.Len(t, did, 2)
		unit := map[string]string{".obj": "mm"}[filepath.Ext(src)]
		a, err := meshio.Read(src, unit)
		require.NoError(t, err)
		b, err := meshio.Read(dst, unit)
		require.NoError(t, err)
		require.Equal(t, len(a.Nodes), len(b.Nodes))
		for k := range a.Nodes {
			m, q := a.Nodes[k].Mesh, b.Nodes[k].Mesh
			require.Equal(t, a.Nodes[k].Name, b.Nodes[k].Name)
			require.Equal(t, m.Tri, q.Tri)
			require.Equal(t, m.UV, q.UV)
			for i := range m.P {
				require.InDelta(t, 0, turn.Vector(m.P[i]).Mul(0.1).Sub(q.P[i]).Len(), 2e-6)
				require.InDelta(t, 0, turn.Vector(m.N[i]).Sub(q.N[i]).Len(), 2e-6)
			}
		}
	}
}

// Turned over and back the file is as it was; turned over once a reader says so, and only of the node that was named.
func TestTurnOver(t *testing.T) {
	for _, src := range []string{licensed, quads} {
		dir, end := t.TempDir(), filepath.Ext(src)
		once, twice := filepath.Join(dir, "once"+end), filepath.Join(dir, "twice"+end)
		unit := map[string]string{".obj": "mm"}[end]
		a, err := meshio.Read(src, unit)
		require.NoError(t, err)
		name := a.Nodes[0].Name
		did, err := File(src, once, Changes{Over: []string{name}})
		require.NoError(t, err)
		require.Len(t, did, 1)
		b, err := meshio.Read(once, unit)
		require.NoError(t, err)
		require.Contains(t, strings.Join(b.Notes, "\n"), name+": the triangles wind clockwise")
		require.NotContains(t, strings.Join(b.Notes, "\n"), a.Nodes[1].Name+": the triangles wind clockwise")
		_, err = File(once, twice, Changes{Over: []string{name}})
		require.NoError(t, err)
		c, err := meshio.Read(twice, unit)
		require.NoError(t, err)
		require.Equal(t, a.Nodes[0].Mesh.P, c.Nodes[0].Mesh.P)
		require.InDelta(t, a.Nodes[0].Mesh.Volume(), c.Nodes[0].Mesh.Volume(), 1e-6)
		require.NotContains(t, strings.Join(c.Notes, "\n"), "wind")
	}
}

// Negated normals are negated in the copy.
func TestNegate(t *testing.T) {
	dst := filepath.Join(t.TempDir(), "mended.glb")
	a, err := meshio.Read(licensed, "")
	require.NoError(t, err)
	_, err = File(licensed, dst, Changes{Negate: []string{a.Nodes[1].Name}})
	require.NoError(t, err)
	b, err := meshio.Read(dst, "")
	require.NoError(t, err)
	require.Contains(t, strings.Join(b.Notes, "\n"), a.Nodes[1].Name+": its normals are negated")
	require.Equal(t, a.Nodes[0].Mesh.N, b.Nodes[0].Mesh.N)
}

// What can't be done safely is an error with a reason, and nothing is written.
func TestRefused(t *testing.T) {
	dir := t.TempDir()
	put := func(name, text string) string {
		file := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(file, []byte(text), 0o666))
		return file
	}
	ply := put("a.ply", "ply\n")
	text := put("a.gltf", `{"asset":{"version":"2.0"},"scenes":[{"nodes":[0]}],"nodes":[{"name":"x"}]}`)
	short := put("short.glb", "glTF")
	claims := put("claims.glb", "glTF\x02\x00\x00\x00\x18\x00\x00\x00\xff\xff\xff\x7fJSON{}  ")
	bad := put("bad.obj", "v 1 2 x\n")
	few := put("few.obj", "v 1 2\n")
	for _, c := range []struct {
		src, dst string
		c        Changes
		want     string
	}{
		{ply, "b.ply", Changes{Factor: 2}, "can't be mended; export it as .glb or .obj"},
		{licensed, "b.obj", Changes{Factor: 2}, "a mended copy of ict_right_eye_axial24mm.glb has its ending, .glb"},
		{text, "a.gltf", Changes{Factor: 2}, "is the file itself"},
		{text, "sub/a.gltf", Changes{Factor: 2}, "its copy must lie beside it"},
		{text, "b.gltf", Changes{Over: []string{"x"}}, "export it as .glb"},
		{short, "b.glb", Changes{Factor: 2}, "is no .glb"},
		{claims, "b.glb", Changes{Factor: 2}, "claims"},
		{bad, "b.obj", Changes{Factor: 2}, `line 1: "x" is no number`},
		{few, "b.obj", Changes{Factor: 2}, "line 1: v with 2 numbers, must be 3"},
		{licensed, "b.glb", Changes{Over: []string{"lid"}}, "no node of the names"},
		{filepath.Join(dir, "none.glb"), "b.glb", Changes{Factor: 2}, "no such file"},
	} {
		dst := filepath.Join(dir, c.dst)
		_, err := File(c.src, dst, c.c)
		require.ErrorContains(t, err, c.want)
		if dst != c.src {
			require.NoFileExists(t, dst)
		}
	}
	// The text file gets a node above.
	did, err := File(text, filepath.Join(dir, "b.gltf"), Changes{Factor: 2})
	require.NoError(t, err)
	require.Equal(t, []string{"all lengths are 2 times what they were"}, did)
}

// Faces turn over with all that stands at their corners; vertex colours and other lines stay.
func TestObjKeeps(t *testing.T) {
	src := filepath.Join(t.TempDir(), "a.obj")
	text := "# reed cutter\nmtllib a.mtl\no iris\nv 1 2 3 0.5 0.25 0.125\nv 1 0 0\nv 0 1 0\nv 0 0 1\nvt 0 0\nvn 0 0 1\nusemtl x\ns 1\nf 1/1/1 2/1/1 3/1/1 4/1/1\no lid\nf 1 2 3\n"
	require.NoError(t, os.WriteFile(src, []byte(text), 0o666))
	dst := filepath.Join(filepath.Dir(src), "b.obj")
	_, err := File(src, dst, Changes{Factor: 10, Over: []string{"iris"}})
	require.NoError(t, err)
	got, err := os.ReadFile(dst)
	require.NoError(t, err)
	want := "# reed cutter\nmtllib a.mtl\no iris\nv 10 20 30 0.5 0.25 0.125\nv 10 0 0\nv 0 10 0\nv 0 0 10\nvt 0 0\nvn 0 0 1\nusemtl x\ns 1\nf 1/1/1 4/1/1 3/1/1 2/1/1\no lid\nf 1 2 3\n"
	require.Equal(t, want, string(got))
}

// The green of a map of 8 and of 16 bits is turned over, code by code; red, blue and alpha stay. Twice is the map itself.
func TestGreen(t *testing.T) {
	dir := t.TempDir()
	a, b, c := filepath.Join(dir, "a.png"), filepath.Join(dir, "b.png"), filepath.Join(dir, "c.png")
	for _, deep := range []bool{false, true} {
		if deep {
			require.NoError(t, imageio.WritePNG16(a, 2, 1, 4, []uint16{1, 2, 65535, 9, 30000, 65534, 7, 65535}, nil))
		} else {
			require.NoError(t, imageio.WritePNG(a, 2, 1, 4, []uint8{1, 2, 255, 9, 128, 254, 7, 255}, nil))
		}
		_, err := Green(a, b)
		require.NoError(t, err)
		_, err = Green(b, c)
		require.NoError(t, err)
		was, err := imageio.Read(a)
		require.NoError(t, err)
		now, err := imageio.Read(b)
		require.NoError(t, err)
		again, err := imageio.Read(c)
		require.NoError(t, err)
		require.Equal(t, was.Depth, now.Depth)
		require.Equal(t, was.Pix, again.Pix)
		for i, v := range was.Channel("G") {
			require.InDelta(t, 1-float64(v), now.Channel("G")[i], 1e-7)
		}
		for _, k := range []string{"R", "B", "A"} {
			require.Equal(t, was.Channel(k), now.Channel(k))
		}
	}
	_, err := Green(licensed, b)
	require.ErrorContains(t, err, "a .png alone")
}
