package limbus

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render/camera"
	"catchlight/scene/geom"
)

// Points of a known ellipse give it back; with scatter of half a pixel it comes back within a share of that.
func TestFit(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, want := range []Ellipse{{320, 200, 150, 120, 0.3}, {-5, 1e4, 40, 39, -1.2}, {100, 100, 60, 20, math.Pi / 2}, {0.5, 0.25, 1e-3, 5e-4, 1}} {
		var exact, rough []Point
		for i := range 40 {
			p := want.At(2 * math.Pi * float64(i) / 40)
			require.InDelta(t, 0, want.Distance(p), 1e-9*want.A)
			exact = append(exact, p)
			rough = append(rough, Point{p.X + 0.003*want.A*r.NormFloat64(), p.Y + 0.003*want.A*r.NormFloat64()})
		}
		got, err := Fit(exact)
		require.NoError(t, err)
		for i, p := range exact {
			require.InDelta(t, 0, got.Distance(p), 1e-7*want.A, i)
		}
		require.InDelta(t, want.A, got.A, 1e-7*want.A)
		require.InDelta(t, want.B, got.B, 1e-7*want.A)
		require.InDelta(t, 0, math.Sin(want.Angle-got.Angle), 1e-5)
		got, err = Fit(rough)
		require.NoError(t, err)
		require.InDelta(t, want.X, got.X, 0.003*want.A)
		require.InDelta(t, want.B, got.B, 0.004*want.A)
	}
	// An arc of a third is enough without scatter, as where lids cover the rest.
	e := Ellipse{320, 200, 150, 120, 0.3}
	var arc []Point
	for i := range 12 {
		arc = append(arc, e.At(0.17*float64(i)))
	}
	got, err := Fit(arc)
	require.NoError(t, err)
	require.InDelta(t, e.B, got.B, 1e-4)

	for _, bad := range [][]Point{nil, arc[:4], {{1, 1}, {2, 2}, {3, 3}, {4, 4}, {5, 5}}, {{1, 1}, {1, 1}, {1, 1}, {1, 1}, {1, 1}}, {{1, math.NaN()}, {2, 2}, {3, 3}, {4, 4}, {5, 6}}, {{1, math.Inf(1)}, {2, 2}, {3, 3}, {4, 4}, {5, 6}}} {
		_, err := Fit(bad)
		require.Error(t, err)
	}
}

// ring is a limbus of 5.85 mm, 9.5 mm before the middle of an eye that is turned and moved.
func ring(n int) (points []geom.Vec, axis geom.Vec) {
	axis = geom.Vec{X: 0.1, Y: -0.05, Z: 1}.Unit()
	side := geom.Vec{Y: 1}.Cross(axis).Unit()
	up := axis.Cross(side)
	at := geom.Vec{X: 3, Y: -2, Z: 1}.Mad(9.5, axis)
	for i := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		points = append(points, at.Mad(5.85*cos, side).Mad(5.85*sin, up))
	}
	return points, axis
}

func config(position, aim geom.Vec) camera.Config {
	return camera.Config{Kind: camera.Perspective, Width: 640, Height: 480, Position: position, Aim: aim, Up: geom.Vec{Y: 1}, FocalLength: 85, SensorWidth: 36}
}

// Cameras all about, aimed beside the eye, are found from the limbus that they see: position within .01 mm, and every point
// of the scene falls on the film where it should. From points that scatter by half a pixel they are found within what the
// errors say.
func TestSolve(t *testing.T) {
	points, axis := ring(64)
	centre := geom.Vec{X: 3, Y: -2, Z: 1}.Mad(9.5, axis)
	r := rand.New(rand.NewPCG(5, 6))
	off := 0
	for _, c := range []struct{ azimuth, elevation, distance float64 }{{30, 10, 150}, {-50, -20, 90}, {20, 35, 400}, {-8, 5, 120}, {65, 2, 200}} {
		position := camera.Orbit(centre, geom.Radians(c.azimuth), geom.Radians(c.elevation), c.distance)
		truth := config(position, centre.Add(geom.Vec{X: 4, Y: -3, Z: 2}))
		k, err := camera.New(truth)
		require.NoError(t, err)
		var film, rough []Point
		for _, p := range points {
			x, y, _, ok := k.Project(p)
			require.True(t, ok)
			film = append(film, Point{x, y})
			rough = append(rough, Point{x + 0.5*r.NormFloat64(), y + 0.5*r.NormFloat64()})
		}
		// A rough idea of the side that the camera is on.
		base := config(camera.Orbit(centre, geom.Radians(c.azimuth+12), geom.Radians(c.elevation-9), 1000), centre)
		got, other, err := Solve(base, points, axis, film)
		require.NoError(t, err)
		require.Less(t, got.RMS, 1e-5)
		require.InDelta(t, 0, got.Config.Position.Sub(position).Len(), 0.02, "%+v", c)
		again, err := camera.New(got.Config)
		require.NoError(t, err)
		for _, p := range []geom.Vec{{}, {X: 12}, {Y: 20, Z: -5}} {
			x, y, _, _ := k.Project(p)
			u, v, _, _ := again.Project(p)
			require.InDelta(t, x, u, 0.05)
			require.InDelta(t, y, v, 0.05)
		}
		require.Greater(t, other.Config.Position.Sub(position).Len(), 5.0, "the other is another")
		noisy, _, err := Solve(base, points, axis, rough)
		require.NoError(t, err)
		require.InDelta(t, 0.5*math.Sqrt(59.0/64), noisy.RMS, 0.15, "scatter across the outline, less what five unknowns take up")
		require.Less(t, noisy.DistanceError, 0.02*c.distance)
		if math.Abs(noisy.Distance-c.distance) > 3*noisy.DistanceError {
			off++
		}
		if math.Abs(noisy.Tilt-got.Tilt) > 3*noisy.TiltError {
			off++
		}
	}
	require.LessOrEqual(t, off, 1, "errors that are too small")

	base := config(geom.Vec{Z: 500}, geom.Vec{})
	base.Kind = camera.Orthographic
	_, _, err := Solve(base, points, axis, make([]Point, 9))
	require.ErrorContains(t, err, "perspective")
	_, _, err = Solve(config(geom.Vec{Z: 500}, geom.Vec{}), points, axis, make([]Point, 9))
	require.ErrorContains(t, err, "one place")
}

// eyeball draws a soft-edged eye: dark pupil, brown iris, bright white, skin around, a catchlight across the limbus, a lid
// over the upper part.
func eyeball(w, h int, e Ellipse, lid float64, r *rand.Rand) []float64 {
	out := make([]float64, w*h)
	step := func(d, soft float64) float64 { return 1 / (1 + math.Exp(-d/soft)) }
	for i := range out {
		p := Point{float64(i%w) + 0.5, float64(i/w) + 0.5}
		d := e.Distance(p)
		pupil := Ellipse{e.X, e.Y, 0.35 * e.A, 0.35 * e.B, e.Angle}
		v := 0.03 + 0.22*step(pupil.Distance(p), 1) + 0.45*step(d, 0.05*e.A)
		if globe := math.Hypot(p.X-e.X, p.Y-e.Y) - 2.05*e.A; globe > 0 {
			v = 0.2
		}
		if math.Abs(p.X-e.X+0.4*e.A) < 0.12*e.A && math.Abs(p.Y-e.Y+0.3*e.A) < 0.2*e.A {
			v = 1
		}
		if p.Y < e.Y-lid*e.B {
			v = 0.45
		}
		out[i] = v + 0.02*r.NormFloat64()
	}
	return out
}

// The outline of drawn eyes is found to a pixel, under a lid too; a picture without an eye is refused.
func TestFind(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for _, c := range []struct {
		e   Ellipse
		lid float64 // where it ends, in half axes above the middle
	}{
		{Ellipse{160, 120, 55, 50, 0.1}, 3},
		{Ellipse{130, 130, 48, 40, 1.4}, 3},
		{Ellipse{170, 110, 50, 47, 0}, 0.7},
		{Ellipse{160, 120, 30, 29, 0}, 3},
	} {
		points, err := Find(eyeball(320, 240, c.e, c.lid, r), 320)
		require.NoError(t, err)
		got, err := Fit(points)
		require.NoError(t, err)
		require.InDelta(t, c.e.X, got.X, 1, "%+v", c)
		require.InDelta(t, c.e.Y, got.Y, 1, "%+v", c)
		require.InDelta(t, c.e.A, got.A, 1, "%+v", c)
		require.InDelta(t, c.e.B, got.B, 1, "%+v", c)
	}
	even := make([]float64, 320*240)
	for i := range even {
		even[i] = 0.5
	}
	_, err := Find(even, 320)
	require.ErrorContains(t, err, "no dark disc")
	_, err = Find(even[:100], 10)
	require.ErrorContains(t, err, "too few")
	_, err = Find(even[:7], 2)
	require.Error(t, err)
}
