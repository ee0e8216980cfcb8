package inspect

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// The licensed eye's oddities with the numbers of testdata/eye/README.md - smallest gap 0.047 mm, no crossing, both layers closed,
// wound outward, coordinates not mirrored, coarse facets - and, measured by other programs of the same file, 2336 and 2510 edges, 42981
// of 2048 x 2048 texels shared by two triangles of the inner layer and none of the outer, and 10 texels a mm of the outer at
// 4096 where it has fewest.
func TestLicensedEyeOddities(t *testing.T) {
	r := looked(t, read(t, Source{Asset: licensed}))
	gap := r.Of("layers.gap")
	require.InDelta(t, 0.047, gap[3].Number.V, 0.001)
	cross := r.Of("layers.crossing")[0]
	require.Zero(t, cross.Number.V)
	require.Contains(t, cross.Number.What, "0 of 2510 of the inner one's, 0 of 2336 of the outer one's")
	for _, code := range []string{"mesh.open", "mesh.nonmanifold", "mesh.degenerate", "coordinates.mirrored"} {
		for _, f := range r.Of(code) {
			require.Equal(t, Fine, f.Severity, code)
			require.Zero(t, f.Number.V, code)
		}
	}
	require.Empty(t, r.Of("layers.inside_out"))
	require.Empty(t, r.Of("mesh.winding"))
	over := map[string]float64{}
	for _, f := range r.Of("coordinates.overlap") {
		over[f.Part] = f.Number.V
	}
	require.Zero(t, over["RightEye_Outer_ScleraCornea"])
	require.InDelta(t, 42981, over["RightEye_Inner_IrisBody"], 5)
	for _, f := range r.Of("coordinates.density") {
		if f.Fields == nil || f.Part != "RightEye_Outer_ScleraCornea" {
			continue
		}
		lo := 1e9
		for _, v := range f.Fields[0].Value {
			lo = min(lo, v)
		}
		require.InDelta(t, 10, lo, 1)
	}
	// 3 mm facets at the equator of a ball of 11 lie 3^2/(8 x 11) = 0.1 mm beneath it.
	for _, f := range r.Of("mesh.outline") {
		if f.Part == "RightEye_Outer_ScleraCornea" {
			require.InDelta(t, 0.09, f.Number.V, 0.02)
			require.Equal(t, Warning, f.Severity)
		}
	}
	// Nothing but what a picture without close_gap shows is worse than a note about it.
	require.Equal(t, Warning, r.Worst)
}

// An object file of quads in groups, without a unit: the same eye by the same numbers, 33.13 mm long, and its unit is told as a guess.
func TestQuadsInGroups(t *testing.T) {
	s := read(t, Source{Asset: "../../testdata/eye/ict_right_eye.obj"})
	require.Equal(t, "cm", s.Guess)
	r, err := Look(t.Context(), s, Options{Workers: 2, Groups: []Group{Scale, Layers}})
	require.NoError(t, err)
	require.InDelta(t, 33.13, number(t, r, "scale.length", 0), 0.03)
	require.InDelta(t, 2*1.34, number(t, r, "scale.pupil", 0), 0.06)
	require.InDelta(t, 0.065, r.Of("layers.gap")[3].Number.V, 0.001)
	require.Equal(t, Note, r.Of("scale.unit_told")[0].Severity)
	told := read(t, Source{Asset: s.File, Unit: "cm", Outer: s.Part(Outer).Name, Inner: s.Part(Inner).Name})
	require.Empty(t, told.Guess)
	require.InDelta(t, s.Eye.Length.V, told.Eye.Length.V, 1e-9)
	// A thousandfold mistake on top of the unit is mended by the factor alone, which is what stands after the unit in a scene.
	big := read(t, Source{Asset: s.File, Unit: "cm", Factor: 1000, Outer: s.Part(Outer).Name, Inner: s.Part(Inner).Name})
	big.Key = "objects.eye"
	r, err = Look(t.Context(), big, Options{Groups: []Group{Scale}})
	require.NoError(t, err)
	require.Equal(t, "objects.eye.asset.factor=1", r.Of("scale.unit")[0].Remedy.Key)
	_, err = Read(Source{Asset: s.File, Unit: "cm", Outer: "nose", Names: nil})
	require.ErrorContains(t, err, `there is no node "nose"`)
}

// A sculpt with vertex colours in a polygon file: its shape is inspected, the colours are noted as not read.
func TestColouredPolygons(t *testing.T) {
	m := goodOuter(48)
	var b strings.Builder
	fmt.Fprintf(&b, "ply\nformat ascii 1.0\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nelement face %d\nproperty list uchar int vertex_indices\nend_header\n", len(m.P), len(m.Tri))
	for i, p := range m.P {
		fmt.Fprintf(&b, "%g %g %g %d %d 90\n", p.X, p.Y, p.Z, i%256, 255-i%256)
	}
	for _, c := range m.Tri {
		fmt.Fprintf(&b, "3 %d %d %d\n", c[0], c[1], c[2])
	}
	file := filepath.Join(t.TempDir(), "reed.ply")
	require.NoError(t, os.WriteFile(file, []byte(b.String()), 0o666))
	s := read(t, Source{Asset: file, Unit: "mm"})
	require.Contains(t, strings.Join(s.Notes, "\n"), "colour")
	r, err := Look(t.Context(), s, Options{Workers: 2, Groups: []Group{Scale, Layers, Mesh}})
	require.NoError(t, err)
	require.Equal(t, Error, r.Of("layers.missing")[0].Severity)
	require.InDelta(t, 7.8, number(t, r, "scale.cornea", 0), 0.05)
}

// Broken files end with the reader's error, which names the file.
func TestBrokenFiles(t *testing.T) {
	data, err := os.ReadFile(licensed)
	require.NoError(t, err)
	for name, cut := range map[string][]byte{"empty.glb": nil, "cut.glb": data[:len(data)/2], "other.glb": []byte("GIF89a"), "cut.obj": []byte("v 1 2\nf 1 2 99\n"), "nan.obj": []byte("v nan 0 0\nv 0 1 0\nv 0 0 1\nf 1 2 3\n")} {
		file := filepath.Join(t.TempDir(), name)
		require.NoError(t, os.WriteFile(file, cut, 0o666))
		_, err := Read(Source{Asset: file})
		require.ErrorContains(t, err, name)
		_, _, err = ReadMesh(file, "")
		require.ErrorContains(t, err, name)
	}
}
