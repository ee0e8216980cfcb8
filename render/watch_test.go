package render

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// watched sets up a folder with a scene whose iris and white share one picture, and watches it. The picture's even
// values tell which save a draft shows.
type watched struct {
	dir, scene, file string
	drafts           chan Draft
	done             chan error
	stop             context.CancelFunc
}

func startWatch(t *testing.T, first []byte, patience time.Duration) *watched {
	t.Helper()
	dir := t.TempDir()
	w := &watched{dir: dir, scene: filepath.Join(dir, "scene.yaml"), file: filepath.Join(dir, "eye.png"), drafts: make(chan Draft, 1024), done: make(chan error, 1)}
	require.NoError(t, os.WriteFile(w.file, first, 0o666))
	asset, err := filepath.Abs(soundEye)
	require.NoError(t, err)
	text := strings.Replace(assetScene(asset), "map_size: 128", "map_size: 128, iris: {scattering: false, colour: {file: eye.png}}, sclera: {scattering: false, colour: {file: eye.png}}", 1)
	require.NoError(t, os.WriteFile(w.scene, []byte(text), 0o666))
	ctx, cancel := context.WithCancel(context.Background())
	w.stop = cancel
	watcher := &Watcher{File: w.scene, Passes: []int{1}, Size: 24, Poll: 5 * time.Millisecond, Settle: 20 * time.Millisecond, Patience: patience,
		Load: func() (*scene.Description, error) { return scene.Load(w.scene, "effects.tear_film=false") },
		Show: func(d Draft) error { w.drafts <- d; return nil }}
	go func() { w.done <- watcher.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-w.done)
	})
	return w
}

func (w *watched) next(t *testing.T) Draft {
	t.Helper()
	select {
	case d := <-w.drafts:
		return d
	case <-time.After(60 * time.Second):
		t.Fatal("no draft within a minute")
	}
	panic("not reached")
}

// flat returns a PNG of one grey, n x n.
func flat(t *testing.T, n int, v uint8) []byte {
	t.Helper()
	file := filepath.Join(t.TempDir(), "flat.png")
	require.NoError(t, imageio.WritePNG(file, n, n, 1, bytes.Repeat([]byte{v}, n*n), nil))
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	return data
}

// tone returns the sclera's brightness beside the iris: proportional to the map's linear value.
func tone(t *testing.T, r *Result) float64 {
	t.Helper()
	pic := r.Film.Develop()
	sum, n := 0.0, 0.0
	for y := 10; y < 14; y++ {
		for x := 1; x < 4; x++ {
			sum += pic.Mean[y*24+x].Luminance()
			n++
		}
	}
	return sum / n
}

func TestWatch(t *testing.T) {
	light, dark := flat(t, 64, 200), flat(t, 64, 100)
	w := startWatch(t, light, 300*time.Millisecond)
	first := w.next(t)
	require.NoError(t, first.Problem)
	require.True(t, first.Last)
	bright := tone(t, first.Result)

	// A save is seen, and only then is there a new draft.
	require.NoError(t, os.WriteFile(w.file, dark, 0o666))
	second := w.next(t)
	require.Equal(t, []string{w.file}, second.Changed)
	want := colour.DecodeSRGB(100.0/255) / colour.DecodeSRGB(200.0/255)
	require.InEpsilon(t, want, tone(t, second.Result)/bright, 0.05)

	// A file caught half saved is waited for: no draft and no problem of it.
	require.NoError(t, os.WriteFile(w.file, light[:len(light)/2], 0o666))
	time.Sleep(100 * time.Millisecond)
	require.NoError(t, os.WriteFile(w.file, light, 0o666))
	third := w.next(t)
	require.NoError(t, third.Problem)
	require.InEpsilon(t, bright, tone(t, third.Result), 0.05)

	// One that stays broken is a problem that names it; so is one that is gone. Mended, the watch goes on.
	require.NoError(t, os.WriteFile(w.file, light[:len(light)/2], 0o666))
	require.ErrorContains(t, w.next(t).Problem, "eye.png")
	require.NoError(t, os.Remove(w.file))
	require.ErrorContains(t, w.next(t).Problem, "eye.png")
	require.NoError(t, os.WriteFile(w.file, dark, 0o666))
	require.NoError(t, w.next(t).Problem)

	// The scene file is watched like the maps.
	text, err := os.ReadFile(w.scene)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(w.scene, append(text, "smell: nice\n"...), 0o666))
	require.ErrorContains(t, w.next(t).Problem, "smell")
	require.NoError(t, os.WriteFile(w.scene, text, 0o666))
	require.NoError(t, w.next(t).Problem)
	require.Empty(t, w.drafts)
}

// 200 quick saves of an 8192 map: every draft shows one save, whole, and the memory in use at the end is not above
// what two maps take.
func TestWatchManySaves(t *testing.T) {
	const n = 8192
	tones := [2][]byte{flat(t, n, 200), flat(t, n, 100)}
	w := startWatch(t, tones[0], 10*time.Second)
	first := w.next(t)
	bright := tone(t, first.Result)
	dark := bright * colour.DecodeSRGB(100.0/255) / colour.DecodeSRGB(200.0/255)
	var early, late runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&early)
	drafts := 0
	check := func(d Draft) {
		drafts++
		require.NoError(t, d.Problem)
		got := tone(t, d.Result)
		require.True(t, got > 0.95*bright && got < 1.05*bright || got > 0.95*dark && got < 1.05*dark, "%g is neither %g nor %g", got, bright, dark)
	}
	for i := range 200 {
		require.NoError(t, os.WriteFile(w.file, tones[i%2], 0o666))
		time.Sleep(5 * time.Millisecond)
		if i%40 == 39 { // let one be drawn now and then
			check(w.next(t))
		}
	}
	require.NoError(t, os.WriteFile(w.file, tones[0], 0o666))
	for {
		d := w.next(t)
		check(d)
		if got := tone(t, d.Result); got > 0.95*bright && len(w.drafts) == 0 {
			break
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&late)
	t.Logf("%d drafts of 201 saves; %d MB in use after the first, %d MB after the last", drafts, early.HeapAlloc>>20, late.HeapAlloc>>20)
	require.Less(t, late.HeapAlloc, 2*early.HeapAlloc+64<<20)
}

// How long after a save of a 2048 colour map the first pixels and a readable 256 px iris are there.
func BenchmarkWatchSave(b *testing.B) {
	dir := b.TempDir()
	file := filepath.Join(dir, "eye.png")
	pix := make([]uint8, 3*2048*2048)
	save := func(i int) {
		for k := range pix {
			pix[k] = uint8(k*7+k/6144*3) ^ uint8(i)
		}
		require.NoError(b, imageio.WritePNG(file, 2048, 2048, 3, pix, nil))
	}
	save(0)
	asset, err := filepath.Abs(soundEye)
	require.NoError(b, err)
	text := strings.Replace(assetScene(asset), "map_size: 128", "map_size: 1024, iris: {colour: {file: eye.png}}, sclera: {colour: {file: eye.png}}", 1)
	path := filepath.Join(dir, "scene.yaml")
	require.NoError(b, os.WriteFile(path, []byte(text), 0o666))
	drafts := make(chan Draft, 64)
	w := &Watcher{File: path, Passes: []int{1, 4, 12}, Size: 256, Window: (*Prepared).IrisWindow,
		Load: func() (*scene.Description, error) { return scene.Load(path) },
		Show: func(d Draft) error { drafts <- d; return nil }}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error)
	go func() { done <- w.Run(ctx) }()
	for !(<-drafts).Last {
	}
	var first, readable time.Duration
	for i := 0; b.Loop(); i++ {
		b.StopTimer()
		save(i + 1)
		b.StartTimer()
		start := time.Now()
		d := <-drafts
		first += time.Since(start)
		for !d.Last {
			d = <-drafts
		}
		readable += time.Since(start)
	}
	cancel()
	<-done
	b.ReportMetric(first.Seconds()/float64(b.N), "s/first")
	b.ReportMetric(readable.Seconds()/float64(b.N), "s/readable")
}
