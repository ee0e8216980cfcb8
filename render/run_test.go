package render

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A run that is stopped after every few tiles, from the first one on, traces nothing twice and ends with the bits of one that ran through; its
// picture can be looked at between.
func TestRunStepsByTiles(t *testing.T) {
	for _, sets := range [][]string{{"picture.samples=20"}, {"picture.samples=64", "picture.error=0.05"}} {
		p := prepare(t, marshEye, sets...)
		want := finish(t, p)
		tiles := &cancelAfter{}
		r, err := p.Begin(Options{Workers: 2, Progress: tiles})
		require.NoError(t, err)
		cut := 0
		for n := 0; !r.Finished(); n++ {
			ctx, cancel := context.WithCancel(context.Background())
			tiles.n, tiles.cancel = 1+n%5, cancel
			if n == 0 {
				cancel() // nothing at all
			}
			if err := r.Step(ctx); err != nil {
				require.ErrorIs(t, err, context.Canceled)
				cut++
			}
			cancel()
			if n == 0 {
				require.Zero(t, r.Samples())
			}
			now, err := r.Result()
			require.NoError(t, err)
			require.Equal(t, r.Samples(), now.SPP)
			require.Equal(t, r.Finished(), now.Finished)
			require.Less(t, n, 200)
		}
		require.Greater(t, cut, 2)
		end, err := r.Result()
		require.NoError(t, err)
		require.True(t, sameBits(t, want.Film, end.Film))
		require.Equal(t, want.Stats.Stats, end.Stats.Stats, "as many rays as in one go")
	}
}

// A run goes to any number of samples on the way, and its kept film goes on in another run.
func TestRunGoesTo(t *testing.T) {
	p := prepare(t, marshEye, "picture.samples=13")
	k := keepOf(t, p, filepath.Join(t.TempDir(), "a.film"))
	r, err := p.Begin(Options{Keep: k})
	require.NoError(t, err)
	for _, n := range []int{1, 3, 3, 7} {
		require.NoError(t, r.To(context.Background(), n))
		require.Equal(t, n, r.Samples())
		require.False(t, r.Finished())
	}
	now, err := r.Result()
	require.NoError(t, err)
	sameFilm(t, finish(t, prepare(t, marshEye, "picture.samples=7")).Film, now.Film, "after 7")
	require.NoError(t, k.save(r.Film()))
	require.NoError(t, r.Film().Close())
	more, err := p.Render(context.Background(), Options{Keep: k})
	require.NoError(t, err)
	require.Equal(t, int64(6*32*32), more.Stats.Samples)
	sameFilm(t, finish(t, p).Film, more.Film, "in another run")
}

// A film that has room for a part of the picture only makes the same one, and no fewer files know its bits: linear, as seen, kept.
func TestSmallMemoryMakesTheSamePicture(t *testing.T) {
	p := prepare(t, `
picture: {width: 270, height: 272, samples: 3}
camera: {kind: orthographic, width: 26, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 0.5, 0.2]}, {name: lamp, kind: disc, radius: 40, orbit: {azimuth: 30, distance: 300}, radiance: 90000}]
objects: [{name: float, shape: sphere, radius: 9}]
view: {background: gradient}
`)
	dir := t.TempDir()
	a, err := p.Render(context.Background(), Options{})
	require.NoError(t, err)
	b, err := p.Render(context.Background(), Options{FilmBytes: 1, Scratch: dir})
	require.NoError(t, err)
	require.NotZero(t, b.Film.Spilled(), "all had room")
	for _, name := range []string{"x.exr", "x.png", "x.tif", "x.pfm", "x.hdr"} {
		require.NoError(t, a.Write(filepath.Join(dir, "a-"+name)))
		require.NoError(t, b.Write(filepath.Join(dir, "b-"+name)))
		one, err := os.ReadFile(filepath.Join(dir, "a-"+name))
		require.NoError(t, err)
		other, err := os.ReadFile(filepath.Join(dir, "b-"+name))
		require.NoError(t, err)
		require.True(t, bytes.Equal(one, other), name)
	}
	require.Equal(t, a.Achieved, b.Achieved)
	require.Equal(t, a.Stats.Outliers, b.Stats.Outliers)
	require.True(t, sameBits(t, a.Film, b.Film))
	require.NoError(t, b.Film.Close())
}
