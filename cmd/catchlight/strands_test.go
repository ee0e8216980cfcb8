package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
)

// A mesh's strands are its pieces, each with the middle line and the half width that it was modelled with; lines of an .obj are curves.
func TestReadClusters(t *testing.T) {
	t.Chdir(t.TempDir())
	m := &mesh.Mesh{}
	for s := range 2 { // two ribbons 0.2 mm wide that lean
		at := uint32(len(m.P))
		for k := range 25 {
			y := float64(k) / 8
			for _, x := range []float64{-0.1, 0.1} {
				m.P, m.N = append(m.P, geom.Vec{X: x + float64(s) + 0.2*y, Y: y, Z: 0.05 * y}), append(m.N, geom.Vec{Z: 1})
			}
			if k > 0 {
				i := at + uint32(2*k)
				m.Tri = append(m.Tri, [3]uint32{i - 2, i - 1, i + 1}, [3]uint32{i - 2, i + 1, i})
			}
		}
	}
	require.NoError(t, gltfio.Write("c.glb", []gltfio.Part{{Name: "tuft", Mesh: m, Look: gltfio.Look{Roughness: 1}}}))
	list, err := readClusters("c.glb")
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Len(t, list[0], 2)
	for _, k := range list[0][0] {
		shift := list[0][0][0].X - 0.2*list[0][0][0].Y
		require.InDelta(t, shift+0.2*k.Y, k.X, 1e-4)
		require.InDelta(t, 0.1, k.W, 0.035) // and what a slice leans
		require.InDelta(t, 0.05*k.Y, k.Z, 1e-4)
	}
	put(t, "c.obj", "o a\nv 0 0 0\nv 0.1 1 0\nv 0 2 0.1\nl 1 2 3\no b\nv 1 0 0\nv 1 1 0\nl -2 -1\n")
	list, err = readClusters("c.obj")
	require.NoError(t, err)
	require.Len(t, list, 2)
	require.InDelta(t, 0.1, list[0][0][1].X, 1e-12)
}

// Strands are baked into the maps and say whether they repeat; what is wrong with them is named.
func TestGrowStrands(t *testing.T) {
	file := writeHeron(t)
	var b strings.Builder
	for i := range 5 {
		for k := range 6 {
			b.WriteString("v 0." + string(rune('0'+i)) + " " + string(rune('0'+k)) + " 0\n")
		}
		b.WriteString("l -6 -5 -4 -3 -2 -1\n")
	}
	put(t, "c.obj", b.String())
	grow := "grow " + file + " --size 64 --maps height --meshes none --wobble 0 "
	code, out, stderr := catchlight(strings.Fields(grow + "--out a --strands c.obj")...)
	require.Zero(t, code, stderr)
	require.Contains(t, out, "strands: relief ")
	text, err := os.ReadFile(filepath.Join("a", "grown.json"))
	require.NoError(t, err)
	require.Contains(t, string(text), `"best_by_chance"`)
	put(t, "flat.obj", "v 0 0 0\nv 1 0 0\nl 1 2\n")
	put(t, "none.obj", "v 0 0 0\nl 1 4\n")
	for args, want := range map[string]string{
		"--strands flat.obj":                  "flat.obj:3: a strand needs two points along +Y",
		"--strands none.obj":                  `none.obj:2: "4" names no point; 1 are there`,
		"--strands c.obj --strands-vary 3":    "vary 3 is outside [0, 1]",
		"--strands c.obj --strands-range 0.5": "--strands-range: give two shares, for instance 0.3,1",
		"--strands nest.glb":                  "nest.glb: no such file or directory",
		"--guide nest.png":                    "nest.png: no such file or directory",
		"--guide a/height.png --guide-amount": "flag needs an argument: --guide-amount",
	} {
		code, _, stderr := catchlight(strings.Fields(grow + "--out b " + args)...)
		require.Equal(t, exitUsage, code, args)
		require.Contains(t, stderr, want, args)
	}
}
