package main

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
)

// shellOf is a closed or open surface of revolution about Z, of about 2 n rings triangles, whose places are moved along the radius.
func shellOf(n, rings int, profile func(s float64) (rho, z float64), relief func(p geom.Vec) float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range rings + 1 {
		rho, z := profile(float64(i) / float64(rings))
		for j := range n {
			s, c := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			p := geom.Vec{X: rho * c, Y: rho * s, Z: z}
			if d := relief(p); d != 0 {
				p = p.Add(p.Unit().Mul(d))
			}
			f := 0.02 + 0.46*float64(i)/float64(rings)
			m.P, m.UV = append(m.P, p), append(m.UV, geom.UV{U: 0.5 + f*c, V: 0.5 - f*s})
		}
	}
	at := func(i, j int) uint32 { return uint32(i*n + j%n) }
	for i := range rings {
		for j := range n {
			m.Tri = append(m.Tri, [3]uint32{at(i, j), at(i+1, j), at(i, j+1)}, [3]uint32{at(i, j+1), at(i+1, j), at(i+1, j+1)})
		}
	}
	mesh.Normals(m)
	return m
}

func outerProfile(s float64) (float64, float64) {
	a := 0.002 + (math.Pi-0.01)*s
	rho, z := 12*math.Sin(a), 12*math.Cos(a)
	if z > 0 && rho < 5.85 {
		z = 12.965 - rho*rho/(7.8+math.Sqrt(7.8*7.8-0.74*rho*rho))
	}
	return rho, z
}

func innerProfile(s float64) (float64, float64) {
	if s < 0.4 {
		return 1.8 + 3.8*s/0.4, 9.8
	}
	a := math.Asin(5.6/11.9) + (math.Pi-0.01-math.Asin(5.6/11.9))*(s-0.4)/0.6
	return 11.9 * math.Sin(a), 11.9 * math.Cos(a)
}

// strands is the relief of an iris, in mm, which fades at its edges.
func strands(p geom.Vec) float64 {
	rho := math.Hypot(p.X, p.Y)
	if p.Z < 9 || rho > 5.3 {
		return 0
	}
	a := math.Atan2(p.Y, p.X)
	fade := geom.Smoothstep(1.9, 2.6, rho) * (1 - geom.Smoothstep(4.6, 5.3, rho))
	return 0.02 * fade * (math.Sin(61*a+2*rho) + math.Sin(97*a-rho) + math.Sin(38*a+3*rho) + math.Sin(143*a))
}

// Large meshes are inspected within the time and memory that a studio's pipeline has: a pair of shells of 2 million triangles, and a
// sculpt of 4 million - displaced, with the noise of a scan, holes and several objects - on a low mesh.
func TestInspectLargeLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes some minutes of a busy machine; CATCHLIGHT_LONG=1 runs it and writes testdata/inspect")
	}
	lists, err := filepath.Abs("../../testdata/inspect")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	none := func(geom.Vec) float64 { return 0 }
	r := rand.New(rand.NewPCG(4, 8))
	write := func(file string, parts ...gltfio.Part) { require.NoError(t, gltfio.Write(file, parts)) }
	write("pair.glb", gltfio.Part{Name: "outer", Mesh: shellOf(1000, 500, outerProfile, none)}, gltfio.Part{Name: "inner", Mesh: shellOf(1000, 500, innerProfile, strands)})
	scan := shellOf(1500, 1300, innerProfile, func(p geom.Vec) float64 { return strands(p) + 0.003*r.NormFloat64() })
	scan.Tri = slices.DeleteFunc(scan.Tri, func(c [3]uint32) bool { return scan.P[c[0]].Sub(geom.Vec{X: 8, Y: 5, Z: 7.2}).Len() < 1.2 })
	lid := shellOf(300, 150, func(s float64) (float64, float64) { return 3 + 6*s, 12 - 3*s }, none)
	write("sculpt.glb", gltfio.Part{Name: "scan", Mesh: scan}, gltfio.Part{Name: "eyelid", Mesh: lid})
	write("low.glb", gltfio.Part{Name: "low", Mesh: shellOf(96, 60, innerProfile, none)})
	runtime.GC()
	var table strings.Builder
	fmt.Fprintf(&table, "Measured %s, %s, %d processors, machine shared, by\n`CATCHLIGHT_LONG=1 go test ./cmd/catchlight -run TestInspectLargeLong -timeout 60m`\n\n"+
		"| what | triangles | CPU s | s on 2 cores of its own, at least | GB resident at most | errors, warnings |\n| --- | --- | --- | --- | --- | --- |\n", time.Now().Format("2 January 2006"), runtime.Version(), runtime.NumCPU())
	for _, q := range []struct {
		what, tris string
		args       []string
	}{{"a pair of shells", "2.0 million", []string{"pair.glb"}}, {"a sculpt on a low mesh", "4.0 million, 12 thousand", []string{"sculpt.glb", "low.glb"}}} {
		c := program(t, append([]string{"inspect", "--gate", "never", "--json", "out.json"}, q.args...)...)
		out, err := c.CombinedOutput()
		require.NoError(t, err, string(out))
		use := c.ProcessState.SysUsage().(*syscall.Rusage)
		cpu := (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
		gb := float64(use.Maxrss) * 1024 / 1e9
		var got struct{ Counts map[string]int }
		data, err := os.ReadFile("out.json")
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &got))
		fmt.Fprintf(&table, "| %s | %s | %.0f | %.0f | %.2f | %d, %d |\n", q.what, q.tris, cpu, cpu/2, gb, got.Counts["error"], got.Counts["warning"])
		t.Log(string(out))
		require.Less(t, gb, 2.0, q.what)
	}
	require.NoError(t, os.MkdirAll(lists, 0o777))
	require.NoError(t, os.WriteFile(filepath.Join(lists, "large-"+time.Now().Format("2006-01-02")+".md"), []byte(table.String()), 0o666))
}

// Good eyes - grown people's and animals', in lids, aged, a pair, stylised, imported, and the files that eyes are grown into - have no
// finding of severity error.
func TestGoodEyesLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes half an hour of a busy machine; CATCHLIGHT_LONG=1 runs it and writes testdata/inspect")
	}
	lists, err := filepath.Abs("../../testdata/inspect")
	require.NoError(t, err)
	scenes, err := filepath.Abs("../../scenes")
	require.NoError(t, err)
	licensed, err := filepath.Abs("../../testdata/eye")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	yaml := func(name string) string { return filepath.Join(scenes, name+".yaml") }
	var rows [][]string
	for _, s := range []string{"dyke_warden", "dyke_warden_lidded", "ferry_keeper", "ferry_keeper_lidded", "heron", "heron_import", "heron_lidded", "marsh_goat", "marsh_goat_lidded",
		"reed_cutter", "reed_cutter_lidded", "salt_widow", "salt_widow_lidded", "salt_widow_pair"} {
		rows = append(rows, []string{yaml(s)})
	}
	for _, set := range []string{"objects.eye.iris.pupil=7.5", "objects.eye.iris.pupil=1.6", "objects.eye.globe.radius=10.8", "objects.eye.transform.scale=1.3", "objects.eye.cornea.radius=7.3", "objects.eye.transform.scale=0.75"} {
		rows = append(rows, []string{yaml("ferry_keeper"), "--set", set})
	}
	for _, s := range []string{"dyke_warden", "ferry_keeper", "heron", "marsh_goat", "reed_cutter", "salt_widow"} {
		code, _, stderr := catchlight("grow", yaml(s), "--out", s, "--size", "1024", "--maps", "colour,normal", "--meshes", "glb", "--wobble", "0")
		require.Zero(t, code, stderr)
		rows = append(rows, []string{s + "/eye.glb", s}, []string{s + "/eye.glb"})
	}
	for _, f := range []string{"ict_right_eye_axial24mm.glb", "ict_right_eye.glb", "ict_right_eye.obj"} {
		rows = append(rows, []string{filepath.Join(licensed, f)})
	}
	var table strings.Builder
	fmt.Fprintf(&table, "Measured %s, %s, by\n`CATCHLIGHT_LONG=1 go test ./cmd/catchlight -run TestGoodEyesLong -timeout 120m`\n\n%d good eyes; a finding of severity error is a false alarm.\n\n"+
		"| eye | errors | warnings | notes | fine | which are no notes |\n| --- | --- | --- | --- | --- | --- |\n", time.Now().Format("2 January 2006"), runtime.Version(), len(rows))
	wrong := 0
	for _, args := range rows {
		code, stdout, stderr := catchlight(append([]string{"inspect", "--gate", "never", "--json", "out.json"}, args...)...)
		require.Zero(t, code, "%s: %s", args, stderr)
		var got struct {
			Counts   map[string]int
			Findings []struct{ Code, Severity string }
		}
		data, err := os.ReadFile("out.json")
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &got))
		var codes []string
		for _, f := range got.Findings {
			if f.Severity == "error" || f.Severity == "warning" {
				codes = append(codes, f.Severity+" "+f.Code)
			}
		}
		name := filepath.Base(args[0])
		if name == "eye.glb" {
			name = args[0]
		}
		fmt.Fprintf(&table, "| %s | %d | %d | %d | %d | %s |\n", strings.Join(append([]string{name}, args[1:]...), " "), got.Counts["error"], got.Counts["warning"], got.Counts["note"], got.Counts["fine"], strings.Join(codes, ", "))
		if got.Counts["error"] > 0 {
			wrong++
			t.Logf("%s: %s", args, stdout)
		}
		require.NoError(t, os.Remove("out.json"))
	}
	require.NoError(t, os.MkdirAll(lists, 0o777))
	require.NoError(t, os.WriteFile(filepath.Join(lists, "good-eyes-"+time.Now().Format("2006-01-02")+".md"), []byte(table.String()), 0o666))
	require.Zero(t, wrong, "false alarms")
}
