package render

import (
	"context"
	"math"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/relight"
	"catchlight/scene/colour"
)

// A run that keeps its lights apart has the picture of any run but for the order of its sums, and other light without a ray is that of
// render/relight from the file's passes, to the file's single precision, as far as a fresh render of such light goes within its error. Both take
// the same samples; a run stops between tiles of a part and goes on.
func TestWeighIsRelightAndTheRenderWithThatLight(t *testing.T) {
	p := prepare(t, marshEye, "picture={width: 24, height: 20, samples: 12, passes: {lights: true}}")
	plain, err := p.Begin(Options{})
	require.NoError(t, err)
	require.NoError(t, plain.To(context.Background(), 12))
	run, err := p.Begin(Options{Apart: true})
	require.NoError(t, err)
	require.NoError(t, run.In(context.Background(), 5, 0, 0, 16, 16))
	require.Zero(t, run.Samples())
	require.NoError(t, run.In(context.Background(), 12, 0, 0, 24, 20))
	require.True(t, run.Finished())
	require.Equal(t, []string{"sky", "lamp", "sun"}, run.Weighable())
	a := plain.Film().Develop()
	b, err := run.Weigh(nil, 0, 20)
	require.NoError(t, err)
	for i := range a.Mean {
		for c, v := range a.Mean[i] {
			require.InDelta(t, v, b.Mean[i][c], 1e-12*(1+v))
		}
	}

	res, err := plain.Result()
	require.NoError(t, err)
	file := filepath.Join(t.TempDir(), "a.exr")
	require.NoError(t, res.Write(file))
	set, err := relight.Open(file)
	require.NoError(t, err)
	list, err := set.Gains(map[string]relight.Change{"lamp": {EV: 1, Colour: colour.RGB{1, 0.5, 0}}, "sun": {Off: true}, "sky": {EV: -1}})
	require.NoError(t, err)
	want := set.Mix(list)
	gains := map[string]colour.RGB{"lamp": {2, 1, 0}, "sun": {}, "sky": colour.Grey(0.5)}
	got, err := run.Weigh(gains, 0, 20)
	require.NoError(t, err)
	fresh := finish(t, prepare(t, marshEye, "picture={width: 24, height: 20, samples: 64, seed: 3}", "lights.lamp.tint=[2, 1, 0]", "lights.sun.on=false", "lights.sky.ev=-1")).Film.Develop()
	var off, spread colour.RGB
	for i := range want.Mean {
		for c, v := range want.Mean[i] {
			require.InDelta(t, v, got.Mean[i][c], 1e-6*(1+v), "pixel %d, channel %d", i, c)
			off[c] += got.Mean[i][c] - fresh.Mean[i][c]
			spread[c] += got.Error[i][c]*got.Error[i][c] + fresh.Error[i][c]*fresh.Error[i][c]
		}
	}
	for c := range off {
		require.LessOrEqual(t, math.Abs(off[c]), 4*math.Sqrt(spread[c]), "channel %d", c)
	}
	_, err = run.Weigh(map[string]colour.RGB{"reed": {}}, 0, 20)
	require.ErrorContains(t, err, "apart")
}

// A prepared scene at another size has the bits of one that is prepared so.
func TestSizedIsPrepared(t *testing.T) {
	for _, on := range []string{"iris", "distance"} {
		camera := "camera={kind: perspective, f_number: 4, orbit: {distance: 300, azimuth: 20}, focus_on: " + on + "}"
		small, err := prepare(t, marshEye, camera).Sized(20)
		require.NoError(t, err)
		want := prepare(t, marshEye, camera, "picture.width=20", "picture.height=20")
		require.True(t, sameBits(t, finish(t, want).Film, finish(t, small).Film))
	}
}
