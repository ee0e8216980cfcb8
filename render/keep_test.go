package render

import (
	"context"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// hears keeps the notes of a render.
type hears struct {
	mu    sync.Mutex
	notes []string
	first func()
}

func (h *hears) Phase(string)         {}
func (h *hears) Advance(int64, int64) {}
func (h *hears) Note(text string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(h.notes) == 0 {
		h.first()
	}
	h.notes = append(h.notes, text)
}

// A save that fails ends nothing: it is told, tried again, and what is saved in the end is the whole film. Where even the
// last one fails, the picture is finished all the same, and the error says what is not there to go on from.
func TestFailingSaves(t *testing.T) {
	p := prepare(t, marshEye, "picture.samples=12")
	want := finish(t, p)
	path := filepath.Join(t.TempDir(), "later", "a.film")
	k := keepOf(t, p, path)
	h := &hears{first: func() { require.NoError(t, os.Mkdir(filepath.Dir(path), 0o777)) }}
	r, err := p.Render(context.Background(), Options{Keep: k, Progress: h})
	require.NoError(t, err)
	require.True(t, r.Finished)
	require.Len(t, h.notes, 1)
	require.Contains(t, h.notes[0], path)
	require.Contains(t, h.notes[0], "the render goes on, and tries again in 1ns")
	sameFilm(t, want.Film, r.Film, "after a failed save")
	f, err := ReadFilm(path)
	require.NoError(t, err)
	sameFilm(t, want.Film, f, "saved in the end")

	h = &hears{first: func() {}}
	k.Path = filepath.Join(t.TempDir(), "never", "a.film")
	r, err = p.Render(context.Background(), Options{Keep: k, Progress: h})
	var unsaved *SaveError
	require.ErrorAs(t, err, &unsaved)
	require.ErrorContains(t, err, k.Path)
	require.True(t, r.Finished)
	sameFilm(t, want.Film, r.Film, "never saved")
}

// How light is shown makes no other picture: a kept one goes on under another exposure and curve, to the bits of one run.
// Whether the surroundings are seen does: they are in the film.
func TestViewIsNoOtherScene(t *testing.T) {
	p := prepare(t, marshEye, "picture.samples=4", "view.background=environment")
	path := filepath.Join(t.TempDir(), "a.film")
	_, err := p.Render(context.Background(), Options{Keep: keepOf(t, p, path)})
	require.NoError(t, err)
	q := prepare(t, marshEye, "picture.samples=9", "view.exposure=1.5", "view.tone_mapping=filmic")
	r, err := q.Render(context.Background(), Options{Keep: keepOf(t, q, path)})
	require.NoError(t, err)
	sameFilm(t, finish(t, q).Film, r.Film, "under another exposure")
	o := prepare(t, marshEye, "picture.samples=9", "view.background=colour")
	_, err = o.Render(context.Background(), Options{Keep: keepOf(t, o, path)})
	require.ErrorContains(t, err, `view.background is "not environment", was "environment"`)
}

// A film of another scene is refused with the keys that differ and both their values.
func TestRefusalsSayWhatDiffers(t *testing.T) {
	p := prepare(t, marshEye)
	a, err := RecordOf(p.Description)
	require.NoError(t, err)
	q := prepare(t, marshEye, "picture.seed=5", "lights.lamp.ev=1.5", "picture.samples=99", "view.exposure=3")
	b, err := RecordOf(q.Description)
	require.NoError(t, err)
	err = b.Differs(ParseRecord(a.String()))
	require.ErrorContains(t, err, "it is of another scene")
	require.ErrorContains(t, err, "picture.seed is 5, was ")
	require.ErrorContains(t, err, "lights.lamp.ev is 1.5, was 0")
	require.NotContains(t, err.Error(), "view.")
	require.NotContains(t, err.Error(), "spp")
	c := b
	c.Build, c.Scene = "another", a.Scene
	require.ErrorContains(t, c.Differs(a), "build of the program")
	require.NoError(t, a.Differs(a))
}
