package main

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mend"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// As a gate: an eye of 24 m closes it, its mended copy opens it; warnings close it when asked; a studio's limits are taken.
func TestInspectGate(t *testing.T) {
	licensed, err := filepath.Abs("../../testdata/eye/ict_right_eye_axial24mm.glb")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	_, err = mend.File(licensed, "large.glb", mend.Changes{Factor: 1000})
	require.NoError(t, err)
	code, stdout, stderr := catchlight("inspect", "large.glb", "--only", "scale", "--json", "a.json", "--mend", "good.glb")
	require.Equal(t, exitFaults, code, stderr)
	require.Contains(t, stdout, "error    scale.unit: wrong unit: millimetres stored as metres")
	require.Contains(t, stdout, "wrote good.glb: all lengths are 0.001 times what they were")
	var got struct{ Worst string }
	data, err := os.ReadFile("a.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &got))
	require.Equal(t, "error", got.Worst)
	code, _, stderr = catchlight("inspect", "large.glb", "--only", "scale", "--gate", "never")
	require.Zero(t, code, stderr)
	code, _, stderr = catchlight("inspect", "large.glb", "--only", "scale", "--mend", "good.glb")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "nothing is written over without --overwrite")
	code, stdout, stderr = catchlight("inspect", "good.glb", "--only", "scale", "--mend", "again.glb")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "nothing was found that is safe to mend")
	require.NoFileExists(t, "again.glb")
	code, _, _ = catchlight("inspect", "good.glb", "--only", "scale", "--gate", "warning")
	require.Equal(t, exitWarned, code)
	put(t, "studio.yaml", "scale: {chamber_share_least: 0.02}\n")
	code, _, stderr = catchlight("inspect", "good.glb", "--only", "scale", "--gate", "warning", "--limits", "studio.yaml")
	require.Zero(t, code, stderr)
	put(t, "studio.yaml", "scale:\n  chamber_share_least: 2\n")
	code, _, stderr = catchlight("inspect", "good.glb", "--limits", "studio.yaml")
	require.Equal(t, exitUsage, code)
	require.Contains(t, stderr, "studio.yaml:2:24: scale.chamber_share_least: 2 is outside [0, 1]")
	code, stdout, _ = catchlight("inspect", "--print-codes")
	require.Zero(t, code)
	require.Contains(t, stdout, "layers.crossing")
}

// A scene's own lid is looked at in the eye's place, wherever the eye stands; the remedy names the eye's key; the page has drafts.
func TestInspectScene(t *testing.T) {
	licensed, err := os.ReadFile("../../testdata/eye/ict_right_eye_axial24mm.glb")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	require.NoError(t, os.WriteFile("eye.glb", licensed, 0o666))
	lid := &mesh.Mesh{}
	const n = 24
	for i := range n + 1 {
		for j := range n + 1 {
			a, b := 0.9*math.Pi*(float64(i)/n-0.5), 0.5+0.6*float64(j)/n
			s, c := math.Sincos(a)
			lid.P = append(lid.P, geom.Vec{X: 10.2 * s * math.Cos(b), Y: 10.2 * math.Sin(b), Z: 10.2 * c * math.Cos(b)})
			if i < n && j < n {
				k := uint32(i*(n+1) + j)
				lid.Tri = append(lid.Tri, [3]uint32{k, k + n + 1, k + 1}, [3]uint32{k + 1, k + n + 1, k + n + 2})
			}
		}
	}
	mesh.Normals(lid)
	require.NoError(t, meshio.WriteOBJ("lid.obj", []meshio.Part{{Name: "lid", Mesh: lid}}))
	put(t, "heron.yaml", `picture: {width: 64, height: 64, samples: 1}
camera: {kind: orthographic, width: 30, target: [40, 0, 0], orbit: {distance: 200}}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects:
  - {name: left, shape: eye, map_size: 64, transform: {translate: [40, 0, 0]}, asset: {file: eye.glb, outer: RightEye_Outer_ScleraCornea, inner: RightEye_Inner_IrisBody, subdivide: 0, borrow: true}}
  - {name: upper_lid, shape: mesh, file: lid.obj, unit: mm, transform: {translate: [40, 0, 0]}}
`)
	code, stdout, stderr := catchlight("inspect", "heron.yaml", "--only", "scale,layers,mesh", "--gate", "never", "--page", "page.html", "--size", "64", "--samples", "1")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "layers.lid: a lid reaches into the globe (upper_lid)")
	require.Contains(t, stdout, "set objects.left.asset.subdivide=3", "facets are rendered as filed")
	page, err := os.ReadFile("page.html")
	require.NoError(t, err)
	require.Contains(t, string(page), "under a small grazing lamp")
	// Moved out to where lids lie, it is fine.
	code, stdout, stderr = catchlight("inspect", "heron.yaml", "--only", "layers", "--all", "--gate", "never", "--set", "objects.upper_lid.transform.scale=1.2")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "fine     layers.lid")
}
