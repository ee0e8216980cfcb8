package render

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/render/film"
)

func keepOf(t *testing.T, p *Prepared, path string) *Keep {
	id, err := RecordOf(p.Description)
	require.NoError(t, err)
	return &Keep{Path: path, Every: time.Nanosecond, Final: true, Record: id.String()}
}

// cancelAfter ends a render after some tiles.
type cancelAfter struct {
	n      int
	cancel func()
}

func (c *cancelAfter) Phase(string) {}
func (c *cancelAfter) Advance(done, total int64) {
	if c.n--; c.n == 0 {
		c.cancel()
	}
}

// sameBits reports whether two films hold the same sums and say the same of themselves: their files have the same bytes.
func sameBits(t *testing.T, a, b *film.Film) bool {
	t.Helper()
	var p, q bytes.Buffer
	require.NoError(t, a.Save(&p))
	require.NoError(t, b.Save(&q))
	return bytes.Equal(p.Bytes(), q.Bytes())
}

func sameFilm(t *testing.T, a, b *film.Film, what string) {
	t.Helper()
	p, q := a.Develop(), b.Develop()
	require.Equal(t, p.Mean, q.Mean, what)
	require.Equal(t, p.Samples, q.Samples, what)
	require.Equal(t, p.Alpha, q.Alpha, what)
}

// A render that is stopped at any tile, again and again, with saves between, ends with the bits of one that ran through;
// so does one that takes more samples after it was finished. Uniform samples and samples by error.
func TestGoesOnToTheSameBits(t *testing.T) {
	for _, sets := range [][]string{{"picture.samples=20"}, {"picture.samples=20", "picture.sharing=splatting"}, {"picture.samples=64", "picture.error=0.05", "picture.sharing=splatting"}} {
		p := prepare(t, marshEye, sets...)
		want := finish(t, p)
		path := filepath.Join(t.TempDir(), "a.film")
		k := keepOf(t, p, path)
		stops := 0
		for {
			ctx, cancel := context.WithCancel(context.Background())
			r, err := p.Render(ctx, Options{Workers: 1 + stops%3, Keep: k, Progress: &cancelAfter{5, cancel}})
			cancel()
			require.NotNil(t, r)
			if err == nil {
				sameFilm(t, want.Film, r.Film, "stopped and gone on")
				break
			}
			require.ErrorIs(t, err, context.Canceled)
			if stops++; stops > 100 {
				t.Fatal("it never ends")
			}
		}
		require.Greater(t, stops, 1)
		q := prepare(t, marshEye, append(sets, "picture.samples=96")...)
		more, err := q.Render(context.Background(), Options{Keep: k})
		require.NoError(t, err)
		sameFilm(t, finish(t, q).Film, more.Film, "more samples")
	}
	// The film of another scene is refused by name of what differs.
	p := prepare(t, marshEye)
	path := filepath.Join(t.TempDir(), "a.film")
	_, err := p.Render(context.Background(), Options{Keep: keepOf(t, p, path)})
	require.NoError(t, err)
	other := prepare(t, marshEye, "lights.lamp.ev=1")
	_, err = other.Render(context.Background(), Options{Keep: keepOf(t, other, path)})
	require.ErrorContains(t, err, "it is of another scene")
	require.NoError(t, os.WriteFile(path, []byte("no film"), 0o666))
	_, err = p.Render(context.Background(), Options{Keep: keepOf(t, p, path)})
	require.ErrorContains(t, err, path)
}

// Parts of the samples add up to the bits of one run, whatever their number; by error they are refused.
func TestShardsAddUp(t *testing.T) {
	for _, sharing := range []string{"picture.sharing=none", "picture.sharing=splatting"} {
		p := prepare(t, marshEye, "picture.samples=13", sharing)
		want := finish(t, p)
		for _, n := range []int{2, 3, 8, 11} {
			var whole *film.Film
			for i := n; i >= 1; i-- {
				r, err := p.Render(context.Background(), Options{Shard: Shard{i, n}})
				require.NoError(t, err)
				if whole == nil {
					whole = r.Film
					continue
				}
				require.NoError(t, whole.Merge(r.Film))
			}
			require.True(t, sameBits(t, want.Film, whole), "%s: %d parts", sharing, n)
		}
	}
	q := prepare(t, marshEye, "picture.error=0.1")
	_, err := q.Render(context.Background(), Options{Shard: Shard{1, 2}})
	require.ErrorContains(t, err, "picture.error")
}

// Tiles stop where their error is small enough and go on where it is not; every tile that stopped below the most is at
// its target, and the decision does not depend on workers.
func TestStopsByError(t *testing.T) {
	for _, sharing := range []string{"none", "splatting"} {
		stopsByError(t, sharing)
	}
	_, err := ParseTarget("fine")
	require.ErrorContains(t, err, "draft, final, print")
	for _, c := range Targets {
		e, err := ParseTarget(c.Name)
		require.NoError(t, err)
		require.Equal(t, c.Error, e)
	}
}

func stopsByError(t *testing.T, sharing string) {
	const target = 0.02
	p := prepare(t, marshEye, "picture.samples=256", "picture.error=0.02", "picture.sharing="+sharing)
	r := finish(t, p)
	a := r.Achieved
	require.Greater(t, len(a.Steps), 1, "tiles differ: %v", a)
	require.Less(t, a.SPPMean, float64(a.SPPMost))
	for tile := range r.Film.Tiles() {
		x0, y0, _, _ := r.Film.Tile(tile)
		n := r.Film.Started(y0*32 + x0)
		e := ownError(r.Film, p.View, tile)
		require.True(t, n == 256 || e <= target, "tile %d stopped at %d with error %v", tile, n, e)
		require.True(t, n == 256 || barrier(n), "tile %d stopped at %d", tile, n)
	}
	one, err := p.Render(context.Background(), Options{Workers: 5})
	require.NoError(t, err)
	require.True(t, sameBits(t, r.Film, one.Film))
}
