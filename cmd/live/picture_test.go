package live

import (
	"math"
	"slices"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
)

// until collects frames up to the first that says so.
func until(t testing.TB, e *Engine, end func(f *Frame) bool) (out []Frame) {
	t.Helper()
	for {
		out = append(out, frame(t, e))
		if end(&out[len(out)-1]) {
			return out
		}
	}
}

// last is the end of a run at full size and maps.
func finished(width, samples int) func(f *Frame) bool {
	return func(f *Frame) bool {
		return f.Look == Traced && f.Width == width && f.Samples == samples && f.whole() && !f.Smaller
	}
}

// meanOf is the mean level of a picture.
func meanOf(rgba []byte) float64 {
	sum := 0.0
	for i, v := range rgba {
		if i%4 < 3 {
			sum += float64(v)
		}
	}
	return sum / float64(len(rgba)/4*3)
}

// coarse is a picture with squares of pixels put together, so that pictures of different sizes compare at the coarser one's scale.
func coarse(c *canvas, side int) *canvas {
	out := &canvas{size: [2]int{c.size[0] / side, c.size[1] / side}}
	out.rgba = make([]byte, 4*out.size[0]*out.size[1])
	for i := range out.rgba {
		sum, x, y := 0, i/4%out.size[0]*side, i/4/out.size[0]*side
		for k := range side * side {
			sum += int(c.rgba[4*((y+k/side)*c.size[0]+x+k%side)+i%4])
		}
		out.rgba[i] = byte((2*sum + side*side) / (2 * side * side))
	}
	return out
}

// What a page shows of a run only ever comes nearer to the truth, a picture of many samples: the root of the mean square of the difference at the
// scale of the first picture, after what the page does to show small pictures large; and no smaller picture follows a finer one.
// Smaller maps come first, and those that the scene asks for at the end.
func TestPicturesOnlyGetBetter(t *testing.T) {
	e := New(Options{Maps: 64})
	defer e.Close()
	text := parse(t, marsh, "objects.eye.map_size=128", "picture.samples=24")
	e.Show(1, text, View{Width: 128}, nil)
	list := until(t, e, finished(128, 24))
	var page, end canvas
	end.lay(&list[len(list)-1], "eye")
	truth := coarse(&end, 2)
	whole := Frame{Width: 64, Height: 48, Box: [4]int{0, 0, 64, 48}, RGBA: truth.rgba}
	before, width := math.Inf(1), 0
	rough := false
	for i := range list[:len(list)-1] {
		f := &list[i]
		require.GreaterOrEqual(t, f.Width, width)
		width = f.Width
		page.lay(f, "eye")
		fine := canvas{size: [2]int{128, 96}, rgba: page.scaled(128, 96)}
		now := math.Sqrt(coarse(&fine, 2).apart(&whole))
		require.Less(t, now, 1.05*before, "picture %d of %d px, %d samples", i, f.Width, f.Samples)
		before = now
		rough = rough || f.Smaller
	}
	require.Equal(t, 64, list[0].Width, "drafts first")
	require.True(t, rough && list[0].Smaller, "smaller maps first, and they say so")
}

// With very few samples all pictures are shown too, with marks, and the raster look does not hold the tracer up.
func TestFewSamplesAreShown(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	e.Show(1, parse(t, marsh, "picture.samples=2"), View{Width: 160, Raster: true}, nil)
	list := until(t, e, func(f *Frame) bool { return f.Look == Raster && f.Width == 160 })
	widths, marks, raster := []int{}, 0, []int{}
	for i := range list {
		f := &list[i]
		require.Equal(t, i+1, f.Pass)
		if f.Look == Raster {
			raster = append(raster, f.Width)
			continue
		}
		if !slices.Contains(widths, f.Width) {
			widths = append(widths, f.Width)
		}
		if f.Marks != nil {
			marks++
		}
	}
	require.Equal(t, []int{64, 128, 160}, widths)
	require.Equal(t, []int{128, 160}, raster, "small first")
	require.Equal(t, 1, marks)
	require.Equal(t, Traced, list[2].Look, "traced before raster")
}

// The error that a frame states is the one it has against a picture of many samples, or up to twice that: the two sums of a pixel are parts of
// one net, whose errors cancel in part, here without scattering more than anywhere.
func TestFramesKnowTheirError(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	e.Show(1, parse(t, marsh, "picture.samples=128", "lights.sun.angle=20"), View{Width: 48}, nil)
	list := until(t, e, finished(48, 128))
	end := list[len(list)-1]
	n := 0
	for i := range list {
		f := &list[i]
		if f.Width != end.Width || f.Samples < 2 || f.Samples > 32 || f.Error < 1 { // below a level dither hides it
			continue
		}
		var page canvas
		page.lay(f, "eye")
		// The end holds the frame's samples, so of its own error the share n/N is common to both. Dither in both pictures is no error of the light:
		// its variance with rounding is a quarter of a level squared (Lipshitz, Wannamaker and Vanderkooy 1992).
		error2 := (page.apart(&end) - 2*0.25) / (1 - float64(f.Samples)/float64(end.Samples))
		require.Greater(t, f.Error, 0.75*math.Sqrt(error2), "%d samples", f.Samples)
		require.Less(t, f.Error, 2*math.Sqrt(error2), "%d samples", f.Samples)
		n++
	}
	require.Positive(t, n)
}

// A part of the picture that is looked at is refined first, on whole tiles, and then all of it; with glare from all over the picture too, whose
// light comes from the draft meanwhile, so that the part does not jump when the rest is there.
func TestCropComesFirst(t *testing.T) {
	for _, glare := range []string{"view.glare=null", "view.glare={share: 0.4, radius: 50}"} {
		e := New(Options{})
		e.Show(1, parse(t, marsh, "picture.samples=8", glare), View{Width: 144, Crop: [4]float64{0.4, 0.4, 0.6, 0.6}}, nil)
		list := until(t, e, finished(144, 8))
		e.Close()
		parts, whole := 0, 0
		var part *Frame
		for i := range list {
			f := &list[i]
			require.Len(t, f.RGBA, 4*(f.Box[2]-f.Box[0])*(f.Box[3]-f.Box[1]))
			if f.whole() {
				if f.Width == 144 {
					whole++
				}
				continue
			}
			parts++
			part = f
			require.Zero(t, whole, "parts after the whole")
			require.Equal(t, [4]int{48, 32, 96, 80}, f.Box)
		}
		require.Positive(t, parts)
		require.Positive(t, whole)
		var end canvas
		end.lay(&list[len(list)-1], "eye")
		within := []byte{}
		for y := part.Box[1]; y < part.Box[3]; y++ {
			within = append(within, end.rgba[4*(y*144+part.Box[0]):4*(y*144+part.Box[2])]...)
		}
		require.InEpsilon(t, meanOf(within), meanOf(part.RGBA), 0.01, glare)
	}
}

// The denoiser does not make the picture jump in brightness by more than half a percent where it joins, nor does the raster look, which
// is a picture of its own, touch it; and the denoised picture stays: nothing with more grain covers it.
func TestNothingJumpsInBrightness(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	var mu sync.Mutex
	var list []Frame
	e.heard = func(f Frame) {
		mu.Lock()
		defer mu.Unlock()
		list = append(list, f)
	}
	e.Show(1, parse(t, marsh, "picture.denoise=true", "picture.samples=64", "raster={texture_size: 64, prefilter_size: 16, caustic: gradient, iris: straight, occlusion: none, shadow: none}"),
		View{Width: 40, Raster: true}, nil)
	drawn, ready := false, false
	until(t, e, func(f *Frame) bool {
		drawn, ready = drawn || f.Look == Raster, ready || f.Clean && f.Samples == 64
		return drawn && ready
	})
	mu.Lock()
	defer mu.Unlock()
	var raw *Frame
	cleaned := 0
	for i := range list {
		f := &list[i]
		switch {
		case f.Look == Raster:
			require.NotNil(t, raw, "traced before raster")
		case !f.Clean:
			require.Zero(t, cleaned, "grain comes back")
			raw = f
		default:
			if cleaned++; cleaned == 1 {
				require.InEpsilon(t, meanOf(raw.RGBA), meanOf(f.RGBA), 0.005, "%d samples", f.Samples)
				require.Less(t, grainOf(f), grainOf(raw))
			}
		}
	}
	require.Positive(t, cleaned)
}

// An eye that turns in its lids is shown at once with these as they were, and says so; the right ones follow with a draft, not only once their
// picture has less grain.
func TestLidsFollow(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	lids := "objects.eye.lids={facet_size: 1, lashes: {density: 0}, brow: {density: 0}, skin: {scattering: false}}"
	e.Show(1, parse(t, marsh, lids), View{Width: 80}, nil)
	until(t, e, finished(80, 4))
	e.Show(2, parse(t, marsh, lids, "objects.eye.gaze={azimuth: 10, elevation: 12}"), View{Width: 80}, nil)
	list := until(t, e, func(f *Frame) bool { return f.Run == 2 && !f.Smaller })
	require.True(t, list[0].Smaller)
	require.Equal(t, 64, list[len(list)-1].Width)
}

// Other light, as gains or as keys of the scene, shows what a run of that scene shows, within its grain and with no jump of brightness; light
// that is off is gone, and comes back. It takes no samples: what is traced goes on.
func TestLightsWithoutRays(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	size := "picture.samples=32"
	e.Show(1, parse(t, marsh, size), View{Width: 64}, nil)
	until(t, e, finished(64, 32))
	e.Show(2, parse(t, marsh, size, "lights.sun.on=false"), View{Width: 64}, []Light{{"lamp", [3]float64{2, 1, 0.5}}})
	got := frame(t, e)
	require.Equal(t, 32, got.Samples, "all samples at once: nothing was traced")
	fresh := New(Options{})
	defer fresh.Close()
	fresh.Show(1, parse(t, marsh, size, "lights.sun.on=false", "lights.lamp.tint=[2, 1, 0.5]", "picture.seed=5"), View{Width: 64}, nil)
	list := until(t, fresh, finished(64, 32))
	want := list[len(list)-1]
	var page canvas
	page.lay(&got, "eye")
	require.InEpsilon(t, want.Error*want.Error+got.Error*got.Error+0.5, page.apart(&want), 0.35)
	require.InDelta(t, meanOf(want.RGBA), meanOf(got.RGBA), 0.3)

	e.Show(3, parse(t, marsh, size), View{Width: 64}, nil)
	back := frame(t, e)
	require.Equal(t, 32, back.Samples)
	require.Greater(t, meanOf(back.RGBA), meanOf(got.RGBA)+2)
	e.Show(4, parse(t, marsh, size, "view.exposure=1"), View{Width: 64}, nil)
	bright := frame(t, e)
	require.Equal(t, 32, bright.Samples)
	require.Greater(t, meanOf(bright.RGBA), meanOf(back.RGBA)+2)
}

// What a description changes decides what is made anew.
func TestCompare(t *testing.T) {
	old := parse(t, marsh)
	for _, c := range []struct {
		set  string
		want change
	}{
		{"about=reeds", same}, {"view.exposure=2", same}, {"view.tone_mapping=filmic", same}, {"lights.sun.ev=1", lit}, {"light_setup.ev=-1", lit},
		{"lights.sky.on=false", lit}, {"camera.orbit.azimuth=5", moved}, {"lights.lamp.width=50", moved}, {"view.background=transparent", moved},
		{"objects.eye.gaze={azimuth: 3}", moved}, {"objects.eye.iris.pupil=3", grown}, {"objects.eye.sclera.veins=2", grown},
		{"light_setup={balance: key, ev: 1}", moved},
	} {
		got, gains := compare(old, parse(t, marsh, c.set))
		require.Equal(t, c.want, got, c.set)
		require.Equal(t, c.want == lit, len(gains) > 0, c.set)
	}
	off := parse(t, marsh, "lights.sun.on=false")
	got, _ := compare(off, old)
	require.Equal(t, moved, got, "what was dark has no samples")
	_, gains := compare(old, parse(t, marsh, "lights.sun.ev=3"))
	require.True(t, noisy(gains))
	_, gains = compare(old, off)
	require.False(t, noisy(gains))
}

// Maps shown alone have a look of their own, and the picture goes on where it was.
func TestMapsAlone(t *testing.T) {
	e := New(Options{})
	defer e.Close()
	d := parse(t, marsh)
	e.Show(1, d, View{Width: 64, Alone: "albedo"}, nil)
	f := frame(t, e)
	require.Equal(t, Alone, f.Look)
	require.Equal(t, 64, f.Width)
	require.Contains(t, f.Words, "reflectance")
	mid := f.RGBA[4*(f.Height/2*f.Width+f.Width/2-12):]
	require.Equal(t, byte(255), mid[3])
	e.Show(2, d, View{Width: 64}, nil)
	require.Equal(t, Traced, frame(t, e).Look)
	e.Show(3, d, View{Width: 64, Alone: "reeds"}, nil)
	for {
		f := <-e.Frames()
		if f.Run == 3 {
			require.Contains(t, f.Problem, "albedo")
			break
		}
	}
}
