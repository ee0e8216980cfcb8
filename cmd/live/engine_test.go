package live

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
)

// marsh is an eye under a sky, a lamp and a sun.
const marsh = `
picture: {width: 120, height: 90, samples: 4}
camera: {kind: orthographic, width: 26, target: [0, 0, 8], orbit: {azimuth: 0}}
lights:
  - {name: sky, kind: constant, radiance: [0.3, 0.35, 0.4]}
  - {name: lamp, kind: rectangle, orbit: {azimuth: 30, elevation: 30, distance: 600}, radiance: [8, 7, 6]}
  - {name: sun, kind: distant, angle: 2, orbit: {azimuth: -50, elevation: 20}, irradiance: [2, 2, 2]}
objects:
  - {name: eye, shape: eye, map_size: 64, sclera: {scattering: false}, iris: {scattering: false}, globe: {facet_error: 0.018}}
`

func parse(t testing.TB, text string, sets ...string) *scene.Description {
	t.Helper()
	d, err := scene.Parse("marsh.yaml", []byte(text), sets...)
	require.NoError(t, err)
	return d
}

// frame waits for the next frame.
func frame(t testing.TB, e *Engine) Frame {
	t.Helper()
	select {
	case f, ok := <-e.Frames():
		require.True(t, ok)
		require.Empty(t, f.Problem)
		return f
	case <-time.After(5 * time.Minute):
		require.FailNow(t, "no frame")
	}
	return Frame{}
}

// Pictures of a scene come from rough to fine, up to the samples that it asks for.
func TestPicturesComeFromRoughToFine(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	e.Show(7, parse(t, marsh), View{Width: 144, Height: 108}, nil)
	var last Frame
	for !last.Enough {
		f := frame(t, e)
		require.Equal(t, uint64(7), f.Run)
		require.Len(t, f.RGBA, 4*f.Width*f.Height)
		require.GreaterOrEqual(t, f.Width, last.Width)
		if f.Width == last.Width {
			require.GreaterOrEqual(t, f.Samples, last.Samples)
		}
		require.Greater(t, f.Pass, last.Pass)
		last = f
	}
	require.Equal(t, 144, last.Width)
	require.Equal(t, 108, last.Height)
	require.Equal(t, 4, last.Samples)
}

// The newest change wins: after its first picture none of an older one comes, and what was asked between is never shown.
func TestNewestWins(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	e.Show(1, parse(t, marsh), View{Width: 96}, nil)
	frame(t, e)
	for n := uint64(2); n <= 9; n++ {
		e.Show(n, parse(t, marsh, "camera.orbit.azimuth=-30"), View{Width: 64}, nil)
	}
	var last Frame
	for !(last.Run == 9 && last.Enough) {
		f := frame(t, e)
		require.GreaterOrEqual(t, f.Run, last.Run)
		last = f
	}
}

// Close ends the work and the frames, with work under way.
func TestCloseEndsWork(t *testing.T) {
	e := New(Options{})
	e.Show(1, parse(t, marsh, "picture.samples=100000"), View{Width: 96}, nil)
	frame(t, e)
	e.Close()
	for range e.Frames() {
	}
	select {
	case <-e.over:
	case <-time.After(time.Minute):
		require.FailNow(t, "work goes on")
	}
	e.Close()
}
