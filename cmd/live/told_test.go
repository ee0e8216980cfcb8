package live

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// A frame tells an error only where it is that of the picture which is wanted: of a draft, which is enlarged, and of single samples it is not
// known. What is told does not rise as samples come, but for its own uncertainty: it rests on two sums a pixel, and light that few samples meet.
func TestRoughFramesTellNoError(t *testing.T) {
	for _, crop := range [][4]float64{{}, {0.4, 0.4, 0.6, 0.6}} {
		e := New(Options{})
		d := parse(t, marsh, "picture.samples=8")
		e.Show(1, d, View{Width: 80, Height: 60, Crop: crop}, nil)
		told, last, samples := 0, 0.0, 0
		for {
			f := frame(t, e)
			if f.Width < 80 || f.Samples == 1 && f.whole() && crop == [4]float64{} {
				require.True(t, f.Rough)
				require.False(t, f.Enough)
			}
			if f.Rough {
				require.Zero(t, f.Error)
			} else {
				require.Positive(t, f.Error)
				if f.Samples > samples && told > 0 && f.whole() {
					require.Less(t, f.Error, 1.25*last, "%d samples after %d", f.Samples, samples)
				}
				told, last, samples = told+1, f.Error, f.Samples
			}
			if f.Samples == 8 && f.whole() {
				break
			}
		}
		require.Positive(t, told)
		e.Close()
	}
}

// Where nothing of the scene changed the raster look is not drawn again, and that is said.
func TestRasterHoldsStill(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	d := parse(t, marsh)
	e.Show(1, d, View{Width: 64, Height: 48, Raster: true}, nil)
	for f := frame(t, e); f.Look != Raster || f.Smaller; f = frame(t, e) {
		require.Equal(t, uint64(1), f.Run)
	}
	e.Show(2, d, View{Width: 64, Height: 48, Raster: true, Crop: [4]float64{0, 0, 0.5, 0.5}}, nil)
	for f := frame(t, e); f.Look != Still; f = frame(t, e) {
		require.NotEqual(t, Raster, f.Look)
	}
}

// A problem is over with the next request that has none.
func TestProblemIsOver(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	next := func() Frame { return <-e.Frames() }
	bad := filepath.Join(t.TempDir(), "reed.png")
	require.NoError(t, os.WriteFile(bad, []byte("silt"), 0o666))
	e.Show(1, parse(t, marsh, "objects.eye.iris.colour={file: "+bad+"}"), View{Width: 64, Height: 48}, nil)
	require.Contains(t, next().Problem, "reed.png")
	e.Show(2, parse(t, marsh), View{Width: 64, Height: 48}, nil)
	f := next()
	require.Equal(t, Well, f.Look)
	require.Equal(t, uint64(2), f.Run)
}
