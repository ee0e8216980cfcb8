package raster

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/light"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/require"
)

// A hot spot of an environment becomes a disc with its irradiance, its direction and its width: a sun of 2 degrees radius painted into a dark
// sky, texel by texel.
func TestSpot(t *testing.T) {
	const w, h = 1024, 512
	sun := geom.Vec{X: 0.5, Y: 0.6, Z: 0.62}.Unit()
	a := geom.Radians(2)
	pix := make([]float32, 3*w*h)
	want := 0.0 // irradiance of the painted texels
	for i := range w * h {
		u, v := (float64(i%w)+0.5)/w, (float64(i/w)+0.5)/h
		s, c := math.Sincos(2 * math.Pi * u)
		st, ct := math.Sincos(math.Pi * v)
		d := geom.Vec{X: st * s, Y: ct, Z: -st * c} // the layout of package envmap
		l := float32(0.1)
		if d.Dot(sun) > math.Cos(a) {
			l = 1000
			want += 1000 * st * 2 * math.Pi * math.Pi / (w * h)
		}
		pix[3*i], pix[3*i+1], pix[3*i+2] = l, l, l
	}
	e, err := light.NewEnvironment("sky", texture.NewImage(w, h, 3, pix), 0, colour.Grey(1), light.WithHotSpots())
	require.NoError(t, err)
	require.Len(t, e.Spots(), 1)
	f, ok := spot(e.Spots()[0])
	require.True(t, ok)
	require.InEpsilon(t, want, f.Radiance[1]*f.Solid(), 0.02)
	require.Greater(t, f.Frame.N.Dot(sun), math.Cos(geom.Radians(0.2)))
	require.InDelta(t, a, f.Radius, 0.15*a)
	l := newLamp(f, 0)
	n := geom.NewFrame(sun).World(geom.Vec{X: math.Sin(0.7), Z: math.Cos(0.7)})
	require.InEpsilon(t, want*math.Cos(0.7), math.Pi*l.cosine(geom.Vec{}, n)*f.Radiance[1], 0.06)
}

// Irradiance of each kind of lamp against the sum over its own light samples, above the horizon and across it.
func TestLampCosine(t *testing.T) {
	fr := geom.NewFrame(geom.Vec{X: 0.2, Y: -0.3, Z: -0.9}.Unit())
	one := colour.Grey(1)
	rect, err := light.NewRectangle("window", fr, geom.Vec{X: -10, Y: 20, Z: 60}, 50, 70, one, false, light.WithPanes(2, 3, 4))
	require.NoError(t, err)
	disc, err := light.NewDisc("disc", fr, geom.Vec{X: -10, Y: 20, Z: 60}, 30, one, false)
	require.NoError(t, err)
	ball, err := light.NewSphere("ball", geom.Vec{X: -10, Y: 20, Z: 60}, 25, one)
	require.NoError(t, err)
	sun, err := light.NewDistant("sun", geom.Vec{X: -10, Y: 20, Z: 60}, 0.3, one)
	require.NoError(t, err)
	for _, c := range []struct {
		l         *light.Light
		tolerance float64
	}{{rect, 0.03}, {disc, 0.02}, {ball, 0.03}, {sun, 0.02}} {
		f, ok := c.l.Form()
		require.True(t, ok)
		l := newLamp(f, 0)
		for _, n := range []geom.Vec{{Z: 1}, geom.Vec{X: 0.7, Z: 0.7}.Unit(), {X: 1}, geom.Vec{Y: -1, Z: 0.2}.Unit()} {
			want := 0.0
			const side = 300
			for i := range side * side {
				s, ok := c.l.Sample(geom.Vec{}, (float64(i%side)+0.5)/side, (float64(i/side)+0.5)/side)
				if ok {
					want += s.L[0] * max(0, s.Wi.Dot(n)) / s.Pdf / (side * side)
				}
			}
			require.InDelta(t, want, math.Pi*l.cosine(geom.Vec{}, n), c.tolerance*max(want, 0.1), "%v, normal %v", c.l.Kind, n)
		}
	}
}

// A mirrored ray finds what stands near by the surround's distances: a wall at x = 20 seen from its centre, whose left and right halves
// shine differently; rays from beside the centre must meet it where they do, not where their direction alone points.
func TestSurroundParallax(t *testing.T) {
	const n = 512
	p := &surround{n: n, dist: make([]float32, n*n), bounce: make([]int32, n*n), l: make([]colour.RGB, n*n), least: math.Inf(1)}
	for i := range n * n {
		d := shading.Direction(n, i%n, i/n).Unit()
		p.dist[i], p.bounce[i] = float32(math.Inf(1)), int32(i)
		if d.X > 0 {
			if q := d.Mul(20 / d.X); math.Abs(q.Y) < 15 && math.Abs(q.Z) < 15 {
				p.dist[i] = float32(q.Len())
				p.l[i] = colour.RGB{q.Y + 20, q.Z + 20, 1}
				p.most, p.least = max(p.most, q.Len()), min(p.least, q.Len())
			}
		}
	}
	p.blocks = newBlocks(p.dist, n, 8)
	for _, c := range []struct{ o, d geom.Vec }{
		{geom.Vec{X: 10, Y: 4, Z: -3}, geom.Vec{X: 1}},
		{geom.Vec{X: 8, Y: -6}, geom.Vec{X: 0.8, Y: 0.5, Z: 0.33}},
		{geom.Vec{Y: 11}, geom.Vec{X: 0.9, Y: -0.4, Z: 0.1}},
		{geom.Vec{X: 3, Y: 3, Z: 3}, geom.Vec{X: 0.7, Y: 0.7}},
	} {
		d := c.d.Unit()
		q := c.o.Mad((20-c.o.X)/d.X, d)
		l, share := p.meets(c.o, d)
		if math.Abs(q.Y) > 15 || math.Abs(q.Z) > 15 {
			require.Zero(t, share)
			continue
		}
		require.InDelta(t, 1, share, 1e-6)
		require.InDelta(t, q.Y+20, l[0], 0.5)
		require.InDelta(t, q.Z+20, l[1], 0.5)
	}
	_, share := p.meets(geom.Vec{}, geom.Vec{X: -1})
	require.Zero(t, share)
}

// The ball that shadow maps are fitted to holds the one that the picture shows, is little larger, and is one and the same for most that
// are a little aside.
func TestRoundedBalls(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	same := 0
	for range 1000 {
		c, radius := geom.Vec{X: 100 * r.NormFloat64(), Y: 100 * r.NormFloat64(), Z: 100 * r.NormFloat64()}, math.Exp(3*r.NormFloat64())
		at, big := rounded(c, radius)
		require.LessOrEqual(t, at.Sub(c).Len()+radius, big)
		require.Less(t, big, 1.35*radius)
		at2, big2 := rounded(c.Mad(0.01*radius, geom.Vec{X: 1}), 1.005*radius)
		if at2 == at && big2 == big {
			same++
		}
	}
	require.Greater(t, same, 800)
}
