package live

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render"
)

// Memory stays where it is over 500 changes of all kinds: what is in use after a collection, past the first 150 changes, by which time a
// cache of 200 MB is full. It writes a dated table.
func TestMemoryIsFlatLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("takes minutes; CATCHLIGHT_LONG=1 runs it")
	}
	cache := render.NewCache()
	cache.Limit = 200e6 // soon full: what grows past it is kept elsewhere
	e := New(Options{Maps: 64, Cache: cache})
	defer e.Close()
	kinds := []string{"camera.orbit.azimuth=%g", "lights.lamp.ev=%g", "objects.eye.gaze={azimuth: %g}", "objects.eye.iris.pupil=%g", "objects.eye.sclera.veins=%g",
		"view.exposure=%g", "objects.eye.cornea.roughness=%g", "lights.lamp.orbit.azimuth=%g"}
	scale := []float64{0.1, 0.005, 0.05, 0.005, 0.002, 0.002, 0.0005, 0.1}
	base := []float64{0, 0, 0, 3, 1, 0, 0.01, 0}
	table := "changes\tMB in use\n"
	var first, most float64
	for n := 1; n <= 500; n++ {
		k := n % len(kinds)
		e.Show(uint64(n), parse(t, marsh, fmt.Sprintf(kinds[k], base[k]+scale[k]*float64(n))), View{Width: 64, Drag: n%3 > 0, Raster: n%25 == 0}, nil)
		for f := frame(t, e); f.Run < uint64(n); f = frame(t, e) {
		}
		if n%50 > 0 {
			continue
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		mb := float64(m.HeapAlloc) / 1e6
		table += fmt.Sprintf("%d\t%.1f\n", n, mb)
		if n == 150 {
			first = mb
		}
		if n >= 150 {
			most = max(most, mb)
		}
	}
	t.Log(table)
	require.Less(t, most, 1.1*first)
	require.NoError(t, os.MkdirAll(filepath.Join("..", "..", "testdata", "live"), 0o777))
	require.NoError(t, os.WriteFile(filepath.Join("..", "..", "testdata", "live", "memory-2026-11-29.tsv"), []byte(table), 0o666))
}
