package main

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/cmd/live"
	"catchlight/render"
	"catchlight/render/desk"
)

// resident is what this process has in memory, in MB.
func resident(t *testing.T) float64 {
	t.Helper()
	debug.FreeOSMemory()
	data, err := os.ReadFile("/proc/self/status")
	require.NoError(t, err)
	_, rest, _ := strings.Cut(string(data), "VmRSS:")
	kb, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	require.NoError(t, err)
	return kb / 1024
}

// 500 changes of an eye with small maps with the true engine leave the memory of the process where it was after the first hundred. Long check: some
// minutes; writes testdata/live/memory-DATE.md.
func TestMemoryOfChangesLong(t *testing.T) {
	if os.Getenv("CATCHLIGHT_LONG") == "" {
		t.Skip("a long check; CATCHLIGHT_LONG=1 runs it")
	}
	file := filepath.Join(t.TempDir(), "marsh_eye.yaml")
	require.NoError(t, os.WriteFile(file, []byte(marshEye), 0o666))
	k, err := desk.Open(file, desk.Options{Journals: t.TempDir()})
	require.NoError(t, err)
	cache := render.NewCache()
	p := serveTo(t, k, file, func() engine { return live.New(live.Options{Cache: cache}) })
	p.post("/view", `{"width": 64, "height": 64, "drag": true}`)
	frames := p.frames("a")
	shown := func(run float64) {
		frames.until(func(h map[string]any, pix []byte) bool {
			require.NotEqual(t, "problem", h["word"], h)
			r, _ := h["run"].(float64)
			return len(pix) > 0 && r >= run
		})
	}
	var table strings.Builder
	fmt.Fprintf(&table, "# Memory over 500 changes on the live page\n\nA built eye with maps of 256 texels (`marshEye`), 64 px, one tab; of each twenty changes fifteen turn the camera or a light, two are exposures, one is the\nscatter radius, one a colour and one the pupil. `CATCHLIGHT_LONG=1 go test ./cmd/catchlight -run TestMemoryOfChangesLong`, %s.\n\n| changes | resident, MB |\n| --- | --- |\n", time.Now().Format("2 January 2006"))
	var after []float64
	for i := range 501 {
		if i%100 == 0 {
			after = append(after, resident(t))
			fmt.Fprintf(&table, "| %d | %.0f |\n", i, after[len(after)-1])
			t.Logf("%d changes: %.0f MB", i, after[len(after)-1])
		}
		x := float64(i%37) / 37
		key, value := "camera.orbit.azimuth", 20+20*x
		switch i % 20 {
		case 1, 4, 7, 11, 14, 17:
			key, value = "lights.window.orbit.azimuth", -40+20*x
		case 2, 12:
			key, value = "view.exposure", -1.5+x
		case 3:
			key, value = "objects.eye.iris.pupil", 2.5+2*x
		case 5:
			key, value = "objects.eye.sclera.scatter_radius", 0.2+0.2*x
		case 6:
			key, value = "objects.eye.iris.margin.brightness", 0.5*x
		}
		out := p.post("/set", fmt.Sprintf(`{"gesture": "g%d", "changes": [{"key": %q, "value": %g}]}`, i, key, value))
		shown(out["run"].(float64))
	}
	require.Less(t, after[5], 1.15*after[1]+50, table.String())
	require.NoError(t, os.MkdirAll("../../testdata/live", 0o777))
	require.NoError(t, os.WriteFile("../../testdata/live/memory-"+time.Now().Format("2006-01-02")+".md", []byte(table.String()), 0o666))
}
