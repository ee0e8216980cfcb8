package main

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/bake"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// sculpt writes a file's parts subdivided and with relief, as a sculpt made from them would be, moved by at.
func sculpt(t testing.TB, from, to string, levels int, relief func(part string, p geom.Vec) float64, at func(p geom.Vec) geom.Vec) {
	t.Helper()
	a, err := meshio.Read(from, "")
	require.NoError(t, err)
	var parts []gltfio.Part
	for i := range a.Nodes {
		n := &a.Nodes[i]
		m, err := mesh.Subdivide(mesh.Weld(n.Mesh, 1e-9), levels)
		require.NoError(t, err)
		mesh.Displace(m, func(v int) float64 { return relief(n.Name, m.P[v]) })
		for v, p := range m.P {
			m.P[v] = at(p)
		}
		mesh.Normals(m)
		parts = append(parts, gltfio.Part{Name: n.Name + "_high", Mesh: m, Look: gltfio.Look{BaseColour: [3]float64{0.5, 0.4, 0.3}, Roughness: 1}})
	}
	require.NoError(t, gltfio.Write(to, parts))
}

// fibres is the relief of a made-up iris: spokes and rings within the limbus, nothing on the outer shell.
func fibres(part string, p geom.Vec) float64 {
	r := math.Hypot(p.X, p.Y)
	if part == "RightEye_Outer_ScleraCornea" || p.Z < 5 || r > 5.2 {
		return 0
	}
	a := math.Atan2(p.Y, p.X)
	return geom.Smoothstep(1.2, 1.8, r) * geom.Smoothstep(5.2, 4.6, r) * (0.05*math.Sin(23*a+1.3*math.Sin(3*r)) + 0.03*math.Sin(57*a+4*r) + 0.04*math.Sin(5*r))
}

func stay(p geom.Vec) geom.Vec { return p }

const licensedEye = "../../testdata/eye/ict_right_eye_axial24mm.glb"

// bakes makes a folder with a low mesh and a sculpt of it, and goes there.
func bakes(t *testing.T, levels int, at func(p geom.Vec) geom.Vec) {
	t.Helper()
	low, err := filepath.Abs(licensedEye)
	require.NoError(t, err)
	dir := t.TempDir()
	data, err := os.ReadFile(low)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "low.glb"), data, 0o666))
	sculpt(t, low, filepath.Join(dir, "high.glb"), levels, fibres, at)
	t.Chdir(dir)
}

func files(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	list, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range list {
		if !e.IsDir() && e.Name() != "manifest.json" && e.Name() != bake.ReportName {
			data, err := os.ReadFile(filepath.Join(dir, e.Name()))
			require.NoError(t, err)
			out[e.Name()] = string(data)
		}
	}
	return out
}

// The licensed eye: a map set a shell, each from its own shell of the sculpt; the same bits from one worker and from three, after a stop,
// and from raw values that are there; one map made anew leaves the others alone.
func TestBake(t *testing.T) {
	bakes(t, 1, stay)
	args := []string{"bake", "low.glb", "high.glb", "--size", "160", "--samples", "1", "--occlusion-rays", "4", "--thickness-rays", "2", "--maps", "normal,height,occlusion,thickness,ids,masks", "--pack", "places=occlusion,0.5,thickness"}
	code, out, stderr := catchlight(append(args, "--out", "one", "--workers", "1")...)
	require.Zero(t, code, stderr)
	for _, want := range []string{"low:  low.glb, 2 parts, 3132 triangles", "RightEye_Inner_IrisBody <- RightEye_Inner_IrisBody_high (by name); darkened by RightEye_Inner_IrisBody_high",
		"righteye_inner_irisbody_height.png (16 bits): 0.50000763 is level", "righteye_outer_scleracornea_places.png", "wrote 14 of 14 maps into one; one/bake.json says what they hold"} {
		require.Contains(t, out, want)
	}
	require.Contains(t, stderr, "of the covered texels lie in two triangles")
	one := files(t, "one")
	require.Len(t, one, 15)
	// Stopped at the first block, and gone on with.
	ctx, cancel := context.WithCancel(context.Background())
	var text, notes bytes.Buffer
	stop := writerFunc(func(p []byte) (int, error) {
		if strings.Contains(string(p), "casting rays") {
			cancel()
		}
		return notes.Write(p)
	})
	require.Equal(t, exitInterrupted, run(ctx, append(args, "--out", "two", "--workers", "3"), &text, stop))
	require.Contains(t, notes.String(), "interrupted; go on with: catchlight bake low.glb high.glb")
	code, _, stderr = catchlight(append(args, "--out", "two", "--workers", "3")...)
	require.Zero(t, code, stderr)
	require.Equal(t, one, files(t, "two"))
	// All there: nothing is written again.
	code, out, stderr = catchlight(append(args, "--out", "two")...)
	require.Zero(t, code, stderr)
	require.Contains(t, out, "wrote 0 of 14 maps")
	require.Contains(t, stderr, "casting rays: 0 blocks")
	// One map anew, with another setting.
	code, out, stderr = catchlight(append(args, "--out", "two", "--only", "occlusion", "--reach", "0.1")...)
	require.Zero(t, code, stderr)
	require.Contains(t, out, "wrote 2 of 14 maps")
	for name, data := range files(t, "two") {
		require.Equal(t, !strings.Contains(name, "occlusion"), data == one[name], name)
	}
	// A folder of someone else's is refused.
	require.NoError(t, os.Mkdir("reeds", 0o777))
	require.NoError(t, os.WriteFile("reeds/list.txt", nil, 0o666))
	code, _, stderr = catchlight(append(args, "--out", "reeds")...)
	require.Equal(t, exitUsage, code)
	require.Contains(t, stderr, "reeds: holds list.txt, which this command did not make")
}

type writerFunc func(p []byte) (int, error)

func (f writerFunc) Write(p []byte) (int, error) { return f(p) }

// A planted turn of 1 degree across the axis and about it, a shift of 0.1 mm and a scale of 1 % are found within a tenth of themselves: the
// turn about the axis by the relief of the iris. After the motion the sculpt lies as it did before.
func TestBakeAligns(t *testing.T) {
	turn := geom.RotateX(geom.Radians(1)).Then(geom.RotateZ(geom.Radians(-1)))
	bakes(t, 1, stay)
	require.NoError(t, os.Rename("high.glb", "base.glb"))
	// About the middle of the surface, where a motion's shift is told.
	parts, _, err := bake.Read("base.glb", "")
	require.NoError(t, err)
	var c geom.Vec
	area := 0.0
	for i := range parts {
		m := parts[i].Mesh
		for _, k := range m.Tri {
			a := m.P[k[1]].Sub(m.P[k[0]]).Cross(m.P[k[2]].Sub(m.P[k[0]])).Len()
			c, area = c.Add(m.P[k[0]].Add(m.P[k[1]]).Add(m.P[k[2]]).Mul(a/3)), area+a
		}
	}
	c = c.Mul(1 / area)
	sculpt(t, "low.glb", "high.glb", 1, fibres, func(p geom.Vec) geom.Vec {
		return turn.Point(p.Sub(c)).Mul(1.01).Add(c).Add(geom.Vec{X: 0.1, Y: -0.1, Z: 0.1})
	})
	code, out, stderr := catchlight("bake", "base.glb", "high.glb", "--look", "--align", "--yes")
	require.Zero(t, code, stderr)
	value := func(name string) float64 {
		_, rest, ok := strings.Cut(out, name+": ")
		require.True(t, ok, out)
		v, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
		require.NoError(t, err, "%s: %s", name, rest)
		return v
	}
	across := " across the optical axis" // the two axes there lie anyhow
	require.InDelta(t, 1, math.Hypot(value("tilt about the first axis"+across), value("tilt about the second axis"+across)), 0.1)
	require.InDelta(t, 1, math.Abs(value("turn about the optical axis, from the outline")), 0.1) // relief and all: it is the same shape
	require.InDelta(t, 0.1*math.Sqrt2, math.Hypot(value("shift along the first axis"+across), value("shift along the second axis"+across)), 0.014)
	require.InDelta(t, 0.1, math.Abs(value("shift along the optical axis")), 0.01)
	require.InDelta(t, 100/1.01-100, value("scale"), 0.1)
	_, after, _ := strings.Cut(out, "how they lie on each other after the motion:")
	_, rms, _ := strings.Cut(after, "RightEye_Outer_ScleraCornea_high")
	_, rms, _ = strings.Cut(rms, "low to high: rms ")
	left, err := strconv.ParseFloat(strings.Fields(rms)[0], 64)
	require.NoError(t, err)
	require.Less(t, left, 0.03)
	code, _, stderr = catchlight("bake", "base.glb", "high.glb", "--look", "--align")
	require.Equal(t, exitUsage, code)
	require.Contains(t, stderr, "--align asks before it moves the high mesh: answer y or n, or give --yes")
}
