package main

import (
	"fmt"
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
)

// Large bakes take the time and memory that they may: half a million and five million triangles with the full set of maps, a scan with
// noise, holes and a lid, and 8192 texels in 4 GB.
func TestBakeLargeLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes a quarter of an hour of a busy machine; CATCHLIGHT_LONG=1 runs it and writes testdata/bake")
	}
	lists, err := filepath.Abs("../../testdata/bake")
	require.NoError(t, err)
	t.Chdir(t.TempDir())
	none := func(geom.Vec) float64 { return 0 }
	r := rand.New(rand.NewPCG(4, 8))
	write := func(file string, parts ...gltfio.Part) { require.NoError(t, gltfio.Write(file, parts)) }
	write("low.glb", gltfio.Part{Name: "low", Mesh: shellOf(96, 60, innerProfile, none)})
	sculpts := map[string]func(){
		"500k": func() { write("500k.glb", gltfio.Part{Name: "high", Mesh: shellOf(500, 500, innerProfile, strands)}) },
		"5m":   func() { write("5m.glb", gltfio.Part{Name: "high", Mesh: shellOf(2500, 1000, innerProfile, strands)}) },
		"scan": func() {
			scan := shellOf(1500, 1300, innerProfile, func(p geom.Vec) float64 { return strands(p) + 0.003*r.NormFloat64() })
			scan.Tri = slices.DeleteFunc(scan.Tri, func(c [3]uint32) bool { return scan.P[c[0]].Sub(geom.Vec{X: 8, Y: 5, Z: 7.2}).Len() < 1.2 })
			lid := shellOf(300, 150, func(s float64) (float64, float64) { return 3 + 6*s, 12 - 3*s }, none)
			write("scan.glb", gltfio.Part{Name: "scan", Mesh: scan}, gltfio.Part{Name: "eyelid", Mesh: lid})
		},
	}
	for _, q := range []struct {
		name, file, what string
		cpu, gb          float64 // at most
		args             []string
	}{
		{"half", "500k", "500 thousand triangles, 2048 texels, all maps, 4 transfers, 64 rays of occlusion, 16 of thickness", 150, 2, nil},
		{"five", "5m", "5 million triangles, the same", 360, 4, nil},
		{"scan", "scan", "a scan of 3.9 million triangles with noise, a hole and a lid, 1024 texels", 360, 4, []string{"--size", "1024", "--maps", "normal,height,occlusion,ids", "--pair", "low=scan"}},
		{"wide", "500k", "8192 texels, all maps, 1 transfer, 1 ray of occlusion and of thickness", 2000, 4, []string{"--size", "8192", "--samples", "1", "--occlusion-rays", "1", "--thickness-rays", "1"}},
	} {
		t.Run(q.name, func(t *testing.T) {
			sculpts[q.file]()
			runtime.GC()
			start := time.Now()
			c := program(t, append([]string{"bake", "low.glb", q.file + ".glb", "--out", "maps"}, q.args...)...)
			out, err := c.CombinedOutput()
			require.NoError(t, err, string(out))
			t.Log(string(out))
			use := c.ProcessState.SysUsage().(*syscall.Rusage)
			cpu := (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
			gb := float64(use.Maxrss) * 1024 / 1e9
			require.NoError(t, os.RemoveAll("maps"))
			line := fmt.Sprintf("| %s | %s | %.0f | %.0f | %.0f | %.2f |\n", q.name, q.what, cpu, cpu/2, time.Since(start).Seconds(), gb)
			bakeRow(t, filepath.Join(lists, "large-"+time.Now().Format("2006-01-02")+".md"), q.name, line)
			require.Less(t, gb, q.gb)
			require.Less(t, cpu, q.cpu)
		})
	}
}

// bakeRow puts a row into the day's table, in the place of an older one of its name.
func bakeRow(t *testing.T, file, name, line string) {
	head := fmt.Sprintf("Measured %s, %s, %d processors, machine shared, by\n`CATCHLIGHT_LONG=1 go test ./cmd/catchlight -run TestBakeLargeLong -timeout 60m` (a part by its name: `/half`)\n\n"+
		"| name | what | CPU s | s on 2 cores of its own, at least | s by the clock | GB resident at most |\n| --- | --- | --- | --- | --- | --- |\n", time.Now().Format("2 January 2006"), runtime.Version(), runtime.NumCPU())
	var rows []string
	if data, err := os.ReadFile(file); err == nil {
		for _, l := range strings.SplitAfter(string(data), "\n") {
			if strings.HasPrefix(l, "| ") && !strings.HasPrefix(l, "| name") && !strings.HasPrefix(l, "| ---") && !strings.HasPrefix(l, "| "+name+" |") {
				rows = append(rows, l)
			}
		}
	}
	require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o777))
	require.NoError(t, os.WriteFile(file, []byte(head+strings.Join(append(rows, line), "")), 0o666))
}
