package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
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
	"catchlight/scene/imageio"
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
	bakes(t, 0, stay)
	args := []string{"bake", "low.glb", "high.glb", "--size", "96", "--samples", "1", "--occlusion-rays", "4", "--thickness-rays", "2", "--maps", "normal,height,occlusion,thickness,ids,masks", "--pack", "places=occlusion,0.5,thickness"}
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
		require.Equal(t, name != "righteye_inner_irisbody_occlusion.png", data == one[name] || name == "righteye_outer_scleracornea_occlusion.png", name)
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
	// It is moved on a yes alone.
	b := &baking{stdout: io.Discard}
	for answer, want := range map[string]bool{"y\n": true, "Yes\n": true, "n\n": false} {
		yes, err := b.ask(strings.NewReader(answer))
		require.NoError(t, err)
		require.Equal(t, want, yes)
	}
	_, err = b.ask(strings.NewReader(""))
	require.ErrorContains(t, err, "--align asks before it moves the high mesh: answer y or n, or give --yes")
}

// What can't be baked is told in words that name the part and the way out; what is only odd is a note, and the maps are made.
func TestBakeOddMeshes(t *testing.T) {
	t.Chdir(t.TempDir())
	square := func(name, uv string, z float64, faces string) {
		put(t, name, fmt.Sprintf("o reed\nv 0 0 %[1]g\nv 10 0 %[1]g\nv 10 10 %[1]g\nv 0 10 %[1]g\n%[2]s%[3]s", z, uv, faces))
	}
	const uv = "vt 0.1 0.1\nvt 0.9 0.1\nvt 0.9 0.9\nvt 0.1 0.9\n"
	const faces = "f 1/1 2/2 3/3\nf 1/1 3/3 4/4\n"
	square("low.obj", uv, 0, faces)
	square("high.obj", "", 0.1, "f 1 2 3\nf 1 3 4\n")
	square("back.obj", "", 0.1, "f 3 2 1\nf 4 3 1\n")
	square("far.obj", "", 4, "f 1 2 3\nf 1 3 4\n")
	square("bare.obj", "", 0, "f 1 2 3\nf 1 3 4\n")
	square("point.obj", "vt 0.5 0.5\n", 0, "f 1/1 2/1 3/1\nf 1/1 3/1 4/1\n")
	square("away.obj", "vt -3 0.1\nvt -2.5 0.1\nvt -2.5 0.9\nvt -3 0.9\n", 0, faces)
	square("odd.obj", uv, 0, faces+"f 1/1 2/2 4/4\nf 2/2 2/2 3/3\n")
	for _, c := range []struct{ low, high, more, want string }{
		{"bare.obj", "high.obj", "", "bare: the low mesh has no texture coordinates, so there is nothing to bake onto; lay it out first"},
		{"point.obj", "high.obj", "", "no triangle has an area in the picture of its texture coordinates"},
		{"away.obj", "high.obj", "", "2 triangles have texture coordinates where no tile has a number, the first at u -3, v 0.9 (up)"},
		{"low.obj", "back.obj", "--cage 1", "100 % of the rays meet backs: one of the two meshes is inside out, or the wrong parts are paired"},
		{"low.obj", "far.obj", "--cage 1", "100 % of the rays meet nothing within the cage"},
		{"low.obj", "high.obj", "--pair moss=reed", `the low mesh has no part "moss"; there are reed`},
		{"low.obj", "high.obj", "--pair reed=moss", `there is no part "moss"; there are "reed"`},
		{"low.obj", "high.obj", "--ids colour", "no part of the high mesh has vertex colours"},
	} {
		code, _, stderr := catchlight(append([]string{"bake", c.low, c.high, "--out", "maps", "--size", "32"}, strings.Fields(c.more)...)...)
		require.NotZero(t, code, c.want)
		require.Contains(t, strings.ReplaceAll(stderr, "reed: the low", "bare: the low"), c.want)
	}
	code, out, stderr := catchlight("bake", "odd.obj", "high.obj", "--out", "maps", "--size", "32", "--bits", "8")
	require.Zero(t, code, stderr)
	for _, want := range []string{"% of the covered texels lie in two triangles, first in triangle 1 of reed and triangle 2 of reed", "edges of more than two triangles", "3 open edges"} {
		require.Contains(t, stderr, want)
	}
	require.Contains(t, out, "height.png (8 bits): 0.50196078 is level, 0.2 mm from 0 to 1")
	// The middle code is level: 0.1 mm up is half of the range above it.
	pic, err := imageio.Read("maps/height.png")
	require.NoError(t, err)
	require.InDelta(t, 128.0/255+0.5, pic.Pix[0][16*32+16], 1.0/255)
	// Coordinates over two tiles are two pictures of one range.
	square("two.obj", "vt 0.5 0.1\nvt 1.5 0.1\nvt 1.5 0.9\nvt 0.5 0.9\n", 0, faces)
	code, out, stderr = catchlight("bake", "two.obj", "high.obj", "--out", "tiles", "--size", "32", "--maps", "height")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "height.1001.png (16 bits)")
	for _, file := range []string{"tiles/height.1001.png", "tiles/height.1002.png"} {
		pic, err = imageio.Read(file)
		require.NoError(t, err)
		require.InDelta(t, 1, pic.Pix[0][16*32+16], 1e-4)
	}
	// A cage of someone's own, made for another mesh.
	code, out, stderr = catchlight("bake", "low.obj", "high.obj", "--look", "--write-cage", "cage.obj", "--cage", "0.3")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "wrote cage.obj")
	code, _, stderr = catchlight("bake", "low.obj", "high.obj", "--look", "--write-cage", "cage.obj")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "cage.obj: is there already")
	square("other.obj", uv, 0, "f 1/1 2/2 4/4\nf 2/2 3/3 4/4\n")
	code, _, stderr = catchlight("bake", "other.obj", "high.obj", "--out", "caged", "--size", "32", "--cage", "cage.obj", "--maps", "height")
	require.Zero(t, code, stderr)
	var r bake.Report
	data, err := os.ReadFile("caged/bake.json")
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &r))
	require.InDelta(t, 0.3, r.Sets[0].Cage, 1e-6)
	require.Zero(t, r.Sets[0].Missed)
}

// The proof blames the map that is wrong: heights whose codes span too little. The renderer reads the normal map in the frame that it was
// baked for.
func TestBakeProof(t *testing.T) {
	t.Chdir(t.TempDir())
	none := func(geom.Vec) float64 { return 0 }
	wavy := func(p geom.Vec) float64 {
		r := math.Hypot(p.X, p.Y)
		if p.Z < 9 {
			return 0
		}
		return 0.1 * geom.Smoothstep(2, 2.6, r) * geom.Smoothstep(5.2, 4.6, r) * math.Sin(14*math.Atan2(p.Y, p.X))
	}
	require.NoError(t, gltfio.Write("low.glb", []gltfio.Part{{Name: "low", Mesh: shellOf(56, 36, innerProfile, none)}}))
	require.NoError(t, gltfio.Write("high.glb", []gltfio.Part{{Name: "high", Mesh: shellOf(224, 144, innerProfile, wavy)}}))
	args := []string{"bake", "low.glb", "high.glb", "--size", "256", "--samples", "1", "--maps", "normal,height", "--proof", "--proof-size", "64", "--proof-samples", "8"}
	code, _, stderr := catchlight(append(args, "--out", "clipped", "--height-range", "0.02")...)
	require.Zero(t, code, stderr)
	require.Contains(t, stderr, "height.png: ")
	var r bake.Report
	data, err := os.ReadFile(filepath.Join("clipped", bake.ReportName))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(data, &r))
	q := r.Proof[0]
	require.Contains(t, q.Blame, "height: ")
	require.Less(t, q.HeightExact, 0.6*q.Maps)
	require.Greater(t, q.NormalExact, 0.9*q.Maps)
	require.Greater(t, q.HeightMost, 0.05)
	require.Less(t, q.NormalRMS, 1.0)
	require.Len(t, q.Worst, 5)
	require.Less(t, q.NormalAlone, 0.1)
}

// Mistakes of the command line are told before anything is read.
func TestBakeMistakes(t *testing.T) {
	t.Chdir(t.TempDir())
	for _, c := range []struct {
		args string
		code int
		want string
	}{
		{"bake a.glb", exitUsage, "bake: a low mesh with texture coordinates and a high mesh are needed, 1 given; see catchlight bake --help"},
		{"bake a.glb b.glb", exitUsage, "--out: a folder is needed"},
		{"bake a.glb b.glb --out c", exitFailed, "open a.glb: no such file or directory"},
		{"bake a.glb b.glb --out c --maps moons", exitUsage, `--maps "moons": known are normal, height, curvature, convex, concave, position, occlusion, thickness, ids, masks, colour, all`},
		{"bake a.glb b.glb --out c --size 9000 --samples 5 --bits 12", exitUsage, "--bits 12: must be 8, 16 or 32\n--size 9000 is outside [16, 8192]\n--samples 5 is outside [1, 4]"},
		{"bake a.glb b.glb --out c --pack places=occlusion,moss", exitUsage, `--pack "places=occlusion,moss": 2 channels, must be 1, 3 or 4`},
		{"bake a.glb b.glb --out c --pack places=occlusion,moss,1", exitUsage, `--pack "places=occlusion,moss,1": moss is no channel: name a map of one channel (height, curvature, convex, concave, occlusion, thickness), normal.r, colour.g and the like, or a number of 0 to 1`},
		{"bake a.glb b.glb --out c --pack height=1,1,1", exitUsage, `--pack "height=1,1,1": height is the name of a map`},
		{"bake a.glb b.glb --out c --only moons", exitUsage, `--only "moons": no map or pack has this name`},
		{"bake a.glb b.glb --out c --pair iris", exitUsage, `--pair "iris": give LOW=HIGH or LOW=HIGH+HIGH, names of parts`},
		{"bake a.glb b.glb --out c --yes", exitUsage, "--yes has no meaning without --align"},
		{"bake a.glb b.glb --out c --cage 0", exitUsage, "--cage 0 is outside [1e-06, 1e+06]"},
	} {
		code, stdout, stderr := catchlight(strings.Fields(c.args)...)
		require.Equal(t, c.want+"\n", stderr, c.args)
		require.Equal(t, c.code, code, c.args)
		require.Empty(t, stdout, c.args)
	}
}

// Heights are against the surface that is displaced: the subdivided one has none where the sculpt is that very surface, its facets have
// their sagitta.
func TestBakeHeightLevels(t *testing.T) {
	bakes(t, 1, stay)
	scale := func(levels string) float64 {
		code, _, stderr := catchlight("bake", "low.glb", "high.glb", "--out", "maps", "--size", "64", "--maps", "height", "--height-levels", levels, "--pair", "RightEye_Outer_ScleraCornea=RightEye_Outer_ScleraCornea_high", "--pair", "RightEye_Inner_IrisBody=RightEye_Inner_IrisBody_high")
		require.Zero(t, code, stderr)
		var r bake.Report
		data, err := os.ReadFile(filepath.Join("maps", bake.ReportName))
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &r))
		require.Contains(t, r.Sets[0].Against, map[string]string{"0": "facets", "1": "subdivided 1 times"}[levels])
		return *r.Files[0].Scale
	}
	require.Greater(t, scale("0"), 0.1)
	require.Less(t, scale("1"), 1e-3)
}
