package render

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"catchlight/scene"
	"catchlight/scene/imageio"

	"github.com/stretchr/testify/require"
)

// A turntable's frames leave every stage of Prepare as it is: neither the eye's turn nor the lights' makes one anew; the
// pupil's sweep makes the built eye.
func TestStagesOfTurns(t *testing.T) {
	const text = `
picture: {width: 8, height: 8, samples: 1}
camera: {position: [0, 0, 500]}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: eye, shape: eye, map_size: 64}]
`
	path := filepath.Join(t.TempDir(), "scene.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	cache := NewCache()
	made := func(set ...string) int {
		d, err := scene.Load(path, set...)
		require.NoError(t, err)
		before := cache.Made
		_, err = Prepare(context.Background(), d, Options{Cache: cache})
		require.NoError(t, err)
		return cache.Made - before
	}
	require.Positive(t, made())
	require.Zero(t, made("objects.eye.transform.rotate=[0, 45, 0]"))
	require.Zero(t, made("light_setup.rotation=90", "picture.seed=5"))
	require.Positive(t, made("objects.eye.iris.pupil=5"))
}

// savePicture writes a 16 x 16 picture of one colour with a date of its own, so that a save within the file system's
// clock tick is seen too.
func savePicture(t *testing.T, file string, v uint8, at time.Time) {
	t.Helper()
	pix := make([]uint8, 3*16*16)
	for i := range pix {
		pix[i] = v
	}
	require.NoError(t, imageio.WritePNG(file, 16, 16, 3, pix, nil))
	require.NoError(t, os.Chtimes(file, at, at))
}

// A changed input makes its own stage anew and those that rest on it, and no other; pictures from a cache are those
// without one, bit for bit.
func TestStages(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "iris.png")
	now := time.Now()
	savePicture(t, file, 90, now)
	asset, err := filepath.Abs(soundEye)
	require.NoError(t, err)
	text := strings.Replace(assetScene(asset), "map_size: 128", "map_size: 128, iris: {colour: {file: iris.png}}", 1)
	path := filepath.Join(dir, "scene.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	cache := NewCache()
	look := func(c *Cache, set ...string) (*Result, int) {
		d, err := scene.Load(path, append(set, "picture.samples=1")...)
		require.NoError(t, err)
		before := 0
		if c != nil {
			before = c.Made
		}
		p, err := Prepare(context.Background(), d, Options{Cache: c})
		require.NoError(t, err)
		r, err := p.Render(context.Background(), Options{})
		require.NoError(t, err)
		made := 0
		if c != nil {
			made = c.Made - before
		}
		return r, made
	}
	same := func(a, b *Result) bool {
		x, y := a.Film.Develop(), b.Film.Develop()
		for i := range x.Mean {
			if x.Mean[i] != y.Mean[i] {
				return false
			}
		}
		return true
	}
	first, made := look(cache)
	require.Equal(t, 3, made, "shells, the way to the maps, tissue")
	plain, _ := look(nil)
	require.True(t, same(first, plain))
	_, made = look(cache)
	require.Zero(t, made)
	_, made = look(cache, "lights.sky.ev=1", "camera.width=25")
	require.Zero(t, made, "light and camera touch no stage of the eye")
	_, made = look(cache, "objects.eye.sclera.tint=[0.9, 0.9, 0.9]")
	require.Equal(t, 1, made, "tissue alone")
	_, made = look(cache, "objects.eye.limbus.width=1.5")
	require.Equal(t, 3, made)
	for i := range 20 {
		savePicture(t, file, uint8(40+i), now.Add(time.Duration(i+1)*time.Second))
		r, made := look(cache)
		require.Equal(t, 1, made)
		require.False(t, same(first, r))
	}
	savePicture(t, file, 90, now)
	again, _ := look(cache)
	require.True(t, same(first, again))
}
