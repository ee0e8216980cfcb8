package live

import (
	"context"
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/edit"
	"catchlight/scene/geom"
)

const (
	builtEye = `{name: eye, shape: eye, map_size: 64, iris: {pupil_offset: [0.2, 0.05]}, globe: {facet_error: 0.005}}`
	fileEye  = `{name: eye, shape: eye, map_size: 64, asset: {file: ../../testdata/eye/ict_right_eye_axial24mm.glb, outer: RightEye_Outer_ScleraCornea, inner: RightEye_Inner_IrisBody, subdivide: 3}, limbus: {radius: 5.4, width: 1}}`
)

// single is an eye under one lamp, seen from the side.
func single(eye, lamp string) string {
	return `
picture: {width: 96, height: 72, samples: 16}
camera: {target: [0, 0, 8], orbit: {azimuth: 12, elevation: -6, distance: 400}, focal_length: 500}
view: {background: colour}
lights:
  - ` + lamp + `
objects:
  - ` + eye + "\n"
}

func prepared(t testing.TB, d *scene.Description) *state {
	t.Helper()
	p, err := render.Prepare(context.Background(), d, render.Options{Cache: stages})
	require.NoError(t, err)
	return &state{d: d, p: p}
}

// stages are shared by the tests.
var stages = render.NewCache()

// with applies changes to a description.
func with(t testing.TB, d *scene.Description, changes []edit.Change) *scene.Description {
	t.Helper()
	var sets []string
	for _, c := range changes {
		switch v := c.Value.(type) {
		case nil:
			sets = append(sets, c.Key+"=null")
		case []any:
			sets = append(sets, fmt.Sprintf("%s=[%v, %v, %v]", c.Key, v[0], v[1], v[2]))
		case map[string]any:
			text := ""
			for k, x := range v {
				text += fmt.Sprintf("%s: %v, ", k, x)
			}
			sets = append(sets, c.Key+"={"+text+"}")
		default:
			sets = append(sets, fmt.Sprintf("%s=%v", c.Key, v))
		}
	}
	q, err := d.With(sets...)
	require.NoError(t, err)
	return q
}

// window traces a square of so many mm about a point of the film and returns the luminance, size x size.
func window(t testing.TB, s *state, at [2]float64, mm float64, size, samples int) []float64 {
	t.Helper()
	v := new(ringsOf).look(s.p, 0)
	wide := mm / (v.pixel(v.outer.ToWorld.Point(geom.Vec{Z: 11})) * v.w)
	high := wide * v.w / v.h
	d, err := render.Crop(s.p.Description, render.Window{X0: at[0] - wide/2, Y0: at[1] - high/2, X1: at[0] + wide/2, Y1: at[1] + high/2}, size)
	require.NoError(t, err)
	d.Picture.Samples = samples
	p, err := render.Prepare(context.Background(), d, render.Options{Cache: stages})
	require.NoError(t, err)
	r, err := p.Render(context.Background(), render.Options{})
	require.NoError(t, err)
	require.Equal(t, size*size, r.Width*r.Height)
	out := make([]float64, size*size)
	for i, c := range r.Film.Develop().Mean {
		out[i] = colour.RGB(c).Luminance()
	}
	return out
}

// brightest is the middle and the extent across and up of what is at least half as bright as the brightest pixel, in pixels.
func brightest(pix []float64, size int) (x, y, wide, high float64) {
	top := 0.0
	for _, v := range pix {
		top = max(top, v)
	}
	n, lo, hi := 0.0, [2]float64{1e9, 1e9}, [2]float64{}
	for i, v := range pix {
		if v < top/2 {
			continue
		}
		px, py := float64(i%size)+0.5, float64(i/size)+0.5
		x, y, n = x+px, y+py, n+1
		lo[0], lo[1], hi[0], hi[1] = min(lo[0], px), min(lo[1], py), max(hi[0], px), max(hi[1], py)
	}
	return x / n, y / n, hi[0] - lo[0] + 1, hi[1] - lo[1] + 1
}

// After the changes that Aim asks for, the brightest spot of the traced picture is where the catchlight was to be, within 0.1 mm, on built and
// imported corneas, for lights at a place, on an orbit and at infinity, and in a light set-up that is turned.
func TestAimPutsTheCatchlightThere(t *testing.T) {
	for _, c := range []struct {
		name, eye, lamp, set string
		to                   Target
	}{
		{"built, orbit, clock", builtEye, `{name: lamp, kind: rectangle, orbit: {azimuth: 40, elevation: 30, distance: 600}, width: 20, height: 20, radiance: [800, 800, 800]}`, "", Target{Clock: 10, Off: 2}},
		{"built, place, film", builtEye, `{name: lamp, kind: sphere, position: [100, 300, 500], radius: 10, radiance: [800, 800, 800]}`, "light_setup.rotation=30", Target{X: 0.46, Y: 0.41}},
		{"imported, orbit, clock", fileEye, `{name: lamp, kind: disc, orbit: {azimuth: -20, elevation: 10, distance: 500}, radius: 8, radiance: [800, 800, 800]}`, "light_setup.rotation=-20", Target{Clock: 1.5, Off: 2.4}},
		{"imported, infinity, clock", fileEye, `{name: lamp, kind: distant, orbit: {azimuth: -20}, angle: 1.5, irradiance: [30, 30, 30]}`, "", Target{Clock: 7, Off: 1}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := parse(t, single(c.eye, c.lamp))
			if c.set != "" {
				d = parse(t, single(c.eye, c.lamp), c.set)
			}
			k := new(ringsOf)
			s := prepared(t, d)
			changes, err := k.aim(s, "lamp", c.to)
			require.NoError(t, err)
			at := [2]float64{c.to.X, c.to.Y}
			if c.to.Clock != 0 {
				v := k.look(s.p, 0)
				sf, ok := v.at(c.to.Clock, c.to.Off)
				require.True(t, ok)
				hours, mm := v.clock(sf.P)
				require.InDelta(t, c.to.Clock, hours, 1e-3)
				require.InDelta(t, c.to.Off, mm, 1e-3)
				px, py, _ := v.onto(sf.P)
				at = v.share(px, py)
			}
			s = prepared(t, with(t, d, changes))
			const size, mm = 40, 2.0
			pix := window(t, s, at, mm, size, 8)
			x, y, wide, high := brightest(pix, size)
			off := math.Hypot(x-size/2, y-size/2) * mm / size
			t.Logf("%.3f mm off; %g x %g pixels of %g, corner %g", off, wide, high, slices.Max(pix), pix[0])
			require.Less(t, max(wide, high), size/2.0, "a spot")
			require.Greater(t, slices.Max(pix), 1.0)
			require.Less(t, off, 0.1)

			// The marks of the new scene say the same.
			m := k.marks(s.p)
			require.Len(t, m.Catchlights, 1)
			q := m.Catchlights[0]
			require.True(t, q.Seen)
			require.InDelta(t, at[0], q.Place[0], 2e-4)
			require.InDelta(t, at[1], q.Place[1], 2e-4)
		})
	}
}

// A catchlight has the size that Aim was asked for, in the traced picture, within a tenth.
func TestAimGivesTheCatchlightItsSize(t *testing.T) {
	d := parse(t, single(builtEye, `{name: lamp, kind: disc, orbit: {azimuth: 40, elevation: 30, distance: 600}, radius: 20, radiance: [800, 800, 800]}`))
	k := new(ringsOf)
	s := prepared(t, d)
	changes, err := k.aim(s, "lamp", Target{Clock: 11, Off: 1.5, Size: 1})
	require.NoError(t, err)
	s = prepared(t, with(t, d, changes))
	m := k.marks(s.p)
	require.InDelta(t, 1, m.Catchlights[0].Size, 0.02)
	require.InDelta(t, 11, m.Catchlights[0].Clock, 0.01)
	require.InDelta(t, 1.5, m.Catchlights[0].Off, 0.01)
	const size, mm = 40, 2.0
	_, _, wide, high := brightest(window(t, s, m.Catchlights[0].Place, mm, size, 8), size)
	require.InDelta(t, 1, max(wide, high)*mm/size, 0.1)

	for _, bad := range []struct {
		light, want string
		to          Target
	}{
		{"reed", "no light", Target{Clock: 3, Off: 1}}, {"lamp", "hours are in", Target{Clock: 13, Off: 1}}, {"lamp", "no cornea", Target{X: 0.01, Y: 0.01}},
		{"lamp", "it may be 0 to", Target{Clock: 3, Off: 1, Size: 80}}, {"lamp", "no cornea", Target{Clock: 3, Off: 9}},
	} {
		_, err := k.aim(s, bad.light, bad.to)
		require.ErrorContains(t, err, bad.want)
	}
}

// area and centroid of a closed outline on the film, in pixels.
func polygon(list [][2]float64, w, h float64) (area, x, y float64) {
	for i, p := range list {
		q := list[(i+1)%len(list)]
		c := (p[0]*q[1] - q[0]*p[1]) * w * h
		area += c / 2
		x += (p[0] + q[0]) * w * c / 6
		y += (p[1] + q[1]) * h * c / 6
	}
	return math.Abs(area), x / area, y / area
}

// The pupil's outline is that of the dark hole in the traced picture, through the cornea and from the side: its area within 4 %, its middle
// within 0.05 mm. In the refraction lies the difference: without it the outline is too small by a fifth.
func TestPupilOutlineIsThatOfThePicture(t *testing.T) {
	for _, eye := range []string{builtEye, fileEye} {
		d := parse(t, single(eye, `{name: sky, kind: constant, radiance: [1, 1, 1]}`), "camera.orbit.azimuth=28", "effects.tear_film=false", "camera.focal_length=1400",
			"objects.eye.iris.scattering=false", "objects.eye.iris.colour=[0.8, 0.8, 0.8]")
		k := new(ringsOf)
		s := prepared(t, d)
		m := k.marks(s.p)
		require.Len(t, m.Pupil, 96)
		p, err := s.p.Sized(112)
		require.NoError(t, err)
		r, err := p.Render(context.Background(), render.Options{})
		require.NoError(t, err)
		w, h := float64(r.Width), float64(r.Height)
		area, x, y := polygon(m.Pupil, w, h)
		require.InDelta(t, x/w, m.Centre[0], 0.01)
		pic := r.Film.Develop()
		reach := 1.6 * math.Sqrt(area/math.Pi)
		dark, dx, dy := 0.0, 0.0, 0.0
		bright := 0.0
		for _, c := range pic.Mean {
			bright = max(bright, colour.RGB(c).Luminance())
		}
		for i, c := range pic.Mean {
			px, py := float64(i%r.Width)+0.5, float64(i/r.Width)+0.5
			if math.Hypot(px-x, py-y) < reach && colour.RGB(c).Luminance() < 0.25*bright {
				dark, dx, dy = dark+1, dx+px, dy+py
			}
		}
		t.Logf("outline %.0f pixels, hole %.0f, middle %.2f, %.2f against %.2f, %.2f", area, dark, x, y, dx/dark, dy/dark)
		require.InEpsilon(t, area, dark, 0.04)
		mm := m.MillimetresPerWidth / w
		require.Less(t, math.Hypot(dx/dark-x, dy/dark-y)*mm, 0.05)

		s.p.Scene.Settings.Refraction = false
		plain, _, _ := polygon(k.marks(s.p).Pupil, w, h)
		require.Less(t, plain, 0.88*area)
	}
}

// The limbus on the film has the scene's radius by the marks' own scale, seen from the front; and lights stand where the scene puts them.
func TestMarksAreToScale(t *testing.T) {
	d := parse(t, single(builtEye, `{name: lamp, kind: disc, orbit: {azimuth: 40, elevation: 30, distance: 6000}, radius: 20, radiance: [800, 800, 800]}`),
		"camera.orbit.azimuth=0", "camera.orbit.elevation=0", "light_setup.rotation=25")
	m := new(ringsOf).marks(prepared(t, d).p)
	lo, hi := 1.0, 0.0
	for _, q := range m.Limbus {
		lo, hi = min(lo, q[0]), max(hi, q[0])
	}
	require.InEpsilon(t, 2*5.85, (hi-lo)*m.MillimetresPerWidth, 0.01)
	require.Len(t, m.Lights, 1)
	require.InDelta(t, 40, m.Lights[0].Azimuth, 0.3)
	require.InDelta(t, 30, m.Lights[0].Elevation, 0.3)
}

// find returns the value of a changed key.
func find(t testing.TB, list []edit.Change, key string) any {
	t.Helper()
	for _, c := range list {
		if c.Key == key {
			return c.Value
		}
	}
	require.FailNow(t, "no change of "+key, "%v", list)
	return nil
}

// Drags turn into keys: what was under the pointer stays under it as far as the key allows, values stay within their ranges, and fine drags make
// a tenth.
func TestTurn(t *testing.T) {
	lamp := `{name: lamp, kind: disc, orbit: {azimuth: 40, elevation: 30, distance: 600}, radius: 20, radiance: [800, 800, 800]}`
	for _, eye := range []string{builtEye, fileEye} {
		d := parse(t, single(eye, lamp), "camera.orbit.azimuth=0", "camera.orbit.elevation=0")
		k := new(ringsOf)
		s := prepared(t, d)
		m := k.marks(s.p)
		c := m.Centre

		// The pupil's edge follows to a third further out; never past what the eye can have.
		edge := m.Pupil[0]
		to := [2]float64{c[0] + 1.3*(edge[0]-c[0]), c[1] + 1.3*(edge[1]-c[1])}
		list, err := k.turn(s, HandlePupil, edge, to, false)
		require.NoError(t, err)
		is, widest := s.p.Pupil(0)
		require.InEpsilon(t, 1.3*is, find(t, list, "objects.eye.iris.pupil"), 0.03)
		wide := k.marks(prepared(t, with(t, d, list)).p)
		near := 1.0
		for _, q := range wide.Pupil {
			near = min(near, math.Hypot(q[0]-to[0], (q[1]-to[1])*0.75))
		}
		require.Less(t, near*m.MillimetresPerWidth, 0.12, "mm from the pointer")
		list, err = k.turn(s, HandlePupil, edge, [2]float64{90, 90}, false)
		require.NoError(t, err)
		require.LessOrEqual(t, find(t, list, "objects.eye.iris.pupil"), max(8, widest))

		// The eye follows the pointer: the pupil's centre is where it was dragged to.
		to = [2]float64{c[0] + 0.08, c[1] - 0.05}
		list, err = k.turn(s, HandleGaze, c, to, false)
		require.NoError(t, err)
		turned := k.marks(prepared(t, with(t, d, list)).p).Centre
		require.Less(t, math.Hypot(turned[0]-to[0], turned[1]-to[1])*m.MillimetresPerWidth, 0.5)
		list, err = k.turn(s, HandleGaze, c, [2]float64{99, c[1]}, false)
		require.NoError(t, err)
		require.LessOrEqual(t, find(t, list, "objects.eye.gaze").(map[string]any)["azimuth"], 60.0)
	}

	d := parse(t, single(builtEye, lamp))
	k := new(ringsOf)
	s := prepared(t, d)
	a := [2]float64{0.1, 0.1}
	for _, c := range []struct {
		handle, key string
		to          [2]float64
		fine        bool
		want        float64
	}{
		{HandleOrbit, "camera.orbit.azimuth", [2]float64{0.2, 0.1}, false, 0}, {HandleOrbit, "camera.orbit.azimuth", [2]float64{0.2, 0.1}, true, 10.8},
		{HandleOrbit, "camera.orbit.elevation", [2]float64{0.1, 90}, false, 89.9}, {HandleEnvironment, "light_setup.rotation", [2]float64{0.6, 0.1}, false, 90},
		{HandleLimbus, "objects.eye.limbus.width", [2]float64{-3, 0.1}, false, 2.5},
	} {
		list, err := k.turn(s, c.handle, a, c.to, c.fine)
		require.NoError(t, err)
		require.InDelta(t, c.want, find(t, list, c.key), 1e-6, "%s to %v", c.handle, c.to)
	}
	_, err := k.turn(s, "reed", a, a, false)
	require.ErrorContains(t, err, "no handle")
	_, err = k.turn(s, HandleOrbit, a, [2]float64{math.NaN(), 0}, false)
	require.ErrorContains(t, err, "from -100 to 100")

	// A camera that the program places, or one at a position, comes onto an orbit where it was.
	for _, camera := range []string{"{}", "{position: [60, -40, 400], target: [0, 0, 8]}"} {
		d := parse(t, single(builtEye, lamp), "camera="+camera)
		s := prepared(t, d)
		before := k.marks(s.p)
		list, err := k.turn(s, HandleOrbit, a, a, false)
		require.NoError(t, err)
		after := k.marks(prepared(t, with(t, d, list)).p)
		require.InDelta(t, before.Centre[0], after.Centre[0], 2e-4, camera)
		require.InDelta(t, before.Centre[1], after.Centre[1], 2e-4, camera)
	}
}

// A click tells both shells, and where the maps of the scene are read, by files or made here.
func TestPick(t *testing.T) {
	k := new(ringsOf)
	lamp := `{name: lamp, kind: disc, orbit: {azimuth: 40, elevation: 30, distance: 600}, radius: 20, radiance: [800, 800, 800]}`
	s := prepared(t, parse(t, single(fileEye, lamp), "objects.eye.iris.colour.file=../../scenes/assets/heron_amber.png", "camera.orbit.azimuth=0", "camera.orbit.elevation=0"))
	m := k.marks(s.p)
	edge := m.Limbus[0]
	at := [2]float64{(m.Centre[0] + edge[0]) / 2, (m.Centre[1] + edge[1]) / 2}
	p, err := k.pick(s, at[0], at[1])
	require.NoError(t, err)
	require.Len(t, p.Places, 2)
	require.Equal(t, "outer", p.Places[0].Shell)
	require.Equal(t, "inner", p.Places[1].Shell)
	require.Equal(t, "iris", p.Places[1].Zone)
	require.Len(t, p.Places[1].Maps, 1)
	q := p.Places[1].Maps[0]
	require.Equal(t, "objects.eye.iris.colour", q.Slot)
	require.Equal(t, [2]int{1024, 1024}, q.Size)
	require.InDelta(t, 2.7, p.Places[1].Off, 0.8)
	require.InDelta(t, 3, p.Places[1].Clock, 0.3)

	s = prepared(t, parse(t, single(builtEye, lamp), "camera.orbit.azimuth=0", "camera.orbit.elevation=0"))
	p, err = k.pick(s, at[0], at[1])
	require.NoError(t, err)
	require.Equal(t, "objects.eye.iris.colour", p.Places[1].Maps[0].Slot)
	require.Equal(t, [2]int{64, 64}, p.Places[1].Maps[0].Size)
	require.Len(t, p.Places[1].Maps[0].Value, 3)
	p, err = k.pick(s, 0.5, 0.5)
	require.NoError(t, err)
	require.Equal(t, "pupil", p.Places[len(p.Places)-1].Zone)
	_, err = k.pick(s, 1.5, 0)
	require.ErrorContains(t, err, "outside the film")
	require.NotNil(t, scene.Schema())
}
