package lids

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// plainEye is a ball of 12 mm with a cornea of 7.8 mm whose apex stands 12.97 mm from the centre, looking along axis: the
// distance along a direction in closed form.
func plainEye(axis geom.Vec) func(d geom.Vec) float64 {
	const c = 12.97 - 7.8
	return func(d geom.Vec) float64 {
		k := d.Dot(axis)
		if q := 7.8*7.8 - c*c*(1-k*k); q > 0 && k > 0 {
			return max(12, c*k+math.Sqrt(q))
		}
		return 12
	}
}

func ahead(elevation, azimuth float64) geom.Vec {
	se, ce := math.Sincos(geom.Radians(elevation))
	sa, ca := math.Sincos(geom.Radians(azimuth))
	return geom.Vec{X: sa * ce, Y: se, Z: ca * ce}
}

func one(t testing.TB, p Params, axis geom.Vec) *Lids {
	l, err := Build(p, []Socket{{Far: plainEye(axis), Axis: axis}})
	require.NoError(t, err)
	return l
}

// over returns the heights of both rims seen from the front over x.
func over(rim []geom.Vec, x float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for i, a := range rim {
		b := rim[(i+1)%len(rim)]
		if (a.X-x)*(b.X-x) > 0 {
			continue
		}
		y := a.Y + (x-a.X)/(b.X-a.X)*(b.Y-a.Y)
		low, high = min(low, y), max(high, y)
	}
	return
}

// The opening is that of published means, measured on what was built: 27.1 +- 1.5 by 9.7 +- 1.2 mm (Read and others 2006), margin
// reflex distances of 4 to 5 and 5 to 6 mm, upper rim 1 to 2 mm over the iris, lower rim touching it, outer corner 1 to 2 mm above
// the inner, highest point nasal and lowest temporal of the middle, rim 2 mm (Wolff's Anatomy of the Eye and Orbit, 8th ed.,
// chapter 2); all from memory. Age does to it what is published: see the table of ages.
func TestMeasures(t *testing.T) {
	p := Defaults()
	p.Detail = 0.25
	l := one(t, p, geom.Vec{Z: 1})
	rim := l.Rims[0]
	var in, out, top, bottom geom.Vec
	for _, v := range rim {
		if v.X > in.X {
			in = v
		}
		if v.X < out.X {
			out = v
		}
		if v.Y > top.Y {
			top = v
		}
		if v.Y < bottom.Y {
			bottom = v
		}
	}
	low, high := over(rim, 0)
	t.Logf("width %.2f, height %.2f, reflex distances %.2f and %.2f, tilt %.2f, highest at x %.2f, lowest at x %.2f", in.X-out.X, high-low, high, -low, out.Y-in.Y, top.X, bottom.X)
	assert.InDelta(t, 27.1, in.X-out.X, 0.75)
	assert.InDelta(t, 9.7, high-low, 0.15)
	assert.InDelta(t, 4.5, high, 0.5)
	assert.InDelta(t, 5.5, -low, 0.5)
	assert.InDelta(t, 1.5, p.Iris-high, 0.1) // over the iris
	assert.InDelta(t, 0, p.Iris+low, 0.55)   // touching it
	assert.InDelta(t, 1.5, out.Y-in.Y, 0.5)  // tilt
	assert.Greater(t, top.X, 0.2)            // nasal
	assert.Less(t, bottom.X, -0.3)           // temporal
	for _, v := range rim {
		if math.Hypot(v.X, v.Y) < 9 { // where the lids rest on the ball they lie close
			assert.Less(t, v.Len()-plainEye(geom.Vec{Z: 1})(v.Unit()), 0.15, v)
		}
	}
	// Thickness of the rim: how far apart the lid's face and back are, square to the globe, above and below the pupil.
	sock := sockets(t, p, geom.Vec{Z: 1})
	for _, upper := range []bool{true, false} {
		best := 0
		for i := range sock.o.s {
			if q := &sock.o.s[i]; (q.upper > 0.5) == upper && (best == 0 || math.Abs(q.x) < math.Abs(sock.o.s[best].x)) {
				best = i
			}
		}
		q := &sock.o.s[best]
		lo, hi := math.Inf(1), math.Inf(-1)
		for j, r := range sock.sheet.rows {
			if r.part > beneath && r.part < skin {
				h := sock.sheet.at[j*sock.sheet.n+best].p.Sub(q.rim).Dot(q.up)
				lo, hi = min(lo, h), max(hi, h)
			}
		}
		assert.InDelta(t, 2, hi-lo, 0.15)
	}
}

func sockets(t testing.TB, p Params, axis geom.Vec) *socket {
	g := newGround(&p, 31.5, newGlobe(plainEye(axis)))
	s := &socket{p: &p, g: g, seed: p.Seed, box: border(31.5)}
	s.around(openings([]*Params{&p}, []*ground{g}, []float64{g.globe.at(axis) * axis.Y}, s.box)[0])
	return s
}

// No part of the skin lies inside the globe, whatever the parameters and the gaze: vertices and middles of facets keep
// nearly half of the gap.
func TestClearOfGlobe(t *testing.T) {
	type make struct {
		set  func(p *Params)
		axis geom.Vec
	}
	var list []make
	for _, e := range []float64{-60, 0, 60} {
		for _, a := range []float64{-35, -5, 20} {
			list = append(list, make{func(*Params) {}, ahead(e, a)})
		}
	}
	f := geom.Vec{Z: 1}
	for _, set := range []func(p *Params){
		func(p *Params) { p.Outer, p.Inner, p.Height = 8, 13, 2 }, func(p *Params) { p.Outer, p.Inner, p.Height, p.Cover = 11.6, 20, 14, -2 },
		func(p *Params) { p.Blink = 0.5 }, func(p *Params) { p.Blink = 1 }, func(p *Params) { p.Cover = -3 }, func(p *Params) { p.Cover, p.Height = 6, 8 }, func(p *Params) { p.Tilt = -4 }, func(p *Params) { p.Tilt = 6 },
		func(p *Params) { p.Rim, p.Gap = 1, 0.02 }, func(p *Params) { p.Rim, p.Gap = 3.5, 0.5 },
		func(p *Params) { p.Crease, p.Fold = 10, 3 }, func(p *Params) { p.Crease = 0 }, func(p *Params) { p.Age = 1 }, func(p *Params) { p.Age = 0 },
		func(p *Params) { p.Iris, p.Height = 4, 7 }, func(p *Params) { p.Iris, p.Cover = 8, 1 }, func(p *Params) { p.Height, p.Cover, p.Iris = 6.5, -1, 8 },
	} {
		list = append(list, make{set, f})
	}
	for i, k := range list {
		p := Defaults()
		p.Detail, p.UpperLash, p.LowerLash, p.BrowDensity, p.DownDensity = 0.45, 0, 0, 0, 0
		k.set(&p)
		l := one(t, p, k.axis)
		eye := plainEye(k.axis)
		least := math.Inf(1)
		var where geom.Vec
		clear := func(v geom.Vec) {
			if c := v.Len() - eye(v.Unit()); c < least {
				least, where = c, v
			}
		}
		for _, v := range l.Skin.P {
			require.True(t, v.Finite())
			clear(v)
		}
		for _, q := range l.Skin.Tri {
			clear(geom.Mix(l.Skin.P[q[0]], l.Skin.P[q[1]], l.Skin.P[q[2]], 1.0/3, 1.0/3))
		}
		assert.GreaterOrEqual(t, least, 0.45*p.Gap, "case %d at %v", i, where)
	}
}

// Skin and inner corner are closed: every edge is met once each way.
func TestClosed(t *testing.T) {
	p := Defaults()
	p.Detail = 0.4
	for name, m := range map[string]*mesh.Mesh{"skin": one(t, p, geom.Vec{Z: 1}).Skin, "corner": one(t, p, geom.Vec{Z: 1}).Corner,
		"pair": pair(t, p, geom.Vec{Z: 1}, geom.Vec{Z: 1}).Skin} {
		edges := map[[6]float64]int{}
		for _, q := range m.Tri {
			for k := range 3 {
				a, b := m.P[q[k]], m.P[q[(k+1)%3]]
				if a == b {
					continue
				}
				edges[[6]float64{a.X, a.Y, a.Z, b.X, b.Y, b.Z}]++
				edges[[6]float64{b.X, b.Y, b.Z, a.X, a.Y, a.Z}]--
			}
		}
		open := 0
		for _, n := range edges {
			if n != 0 {
				open++
			}
		}
		assert.Zero(t, open, name)
		assert.Greater(t, volume(m), 0.0, name)
	}
}

// volume is positive where triangles wind counter-clockwise from outside.
func volume(m *mesh.Mesh) (v float64) {
	for _, q := range m.Tri {
		v += m.P[q[0]].Dot(m.P[q[1]].Cross(m.P[q[2]])) / 6
	}
	return v
}

func pair(t testing.TB, p Params, right, left geom.Vec) *Lids {
	p.Spacing = 63
	l, err := Build(p, []Socket{{Far: plainEye(right), Axis: right}, {Left: true, Far: plainEye(left), Axis: left}})
	require.NoError(t, err)
	return l
}

// A pair's rims are mirror images 63 mm apart but for what is said to differ; its lashes are not.
func TestPair(t *testing.T) {
	p := Defaults()
	p.Detail = 0.4
	unlike := pair(t, p, ahead(0, -5), ahead(0, 5))
	most := 0.0
	for i, a := range unlike.Rims[0] {
		b := unlike.Rims[1][i]
		most = max(most, math.Abs(a.Y-b.Y))
	}
	assert.True(t, most > unlikeHeight/4 && most < unlikeHeight+unlikeTilt, most)
	p.Asymmetry = 0
	l := pair(t, p, ahead(0, -5), ahead(0, 5))
	require.Len(t, l.Rims, 2)
	require.Equal(t, len(l.Rims[0]), len(l.Rims[1]))
	for i, a := range l.Rims[0] {
		b := l.Rims[1][i]
		require.InDelta(t, 0, geom.Vec{X: a.X + b.X, Y: a.Y - b.Y, Z: a.Z - b.Z}.Len(), 1e-6)
	}
	roots := map[float64]bool{}
	same := 0
	for _, h := range l.Hair {
		for i := range h.Set.Hairs() {
			x := math.Round(1e4*h.Set.P[h.Set.Start[i]+1].X) / 1e4
			if roots[-x] {
				same++
			}
			roots[x] = true
		}
	}
	assert.Less(t, same, len(roots)/100)
}

// The upper rim goes with the gaze, the lower one less, and nothing moves by chance.
func TestFollowsGaze(t *testing.T) {
	p := Defaults()
	p.Detail = 0.4
	_, up0 := over(one(t, p, geom.Vec{Z: 1}).Rims[0], 0)
	low0, _ := over(one(t, p, geom.Vec{Z: 1}).Rims[0], 0)
	for _, e := range []float64{-20, 10} {
		rise := 12.97 * math.Sin(geom.Radians(e))
		low, up := over(one(t, p, ahead(e, 0)).Rims[0], 0)
		assert.InDelta(t, upperFollows*rise, up-up0, 0.1)
		assert.InDelta(t, lowerFollows*rise, low-low0, 0.1)
	}
	assert.Equal(t, one(t, p, geom.Vec{Z: 1}), one(t, p, geom.Vec{Z: 1}))
}

func TestCheck(t *testing.T) {
	p := Defaults()
	p.Outer, p.Gap, p.Colour[1], p.Height = 3, math.NaN(), 2, 14
	err := p.Check()
	require.Error(t, err)
	for _, s := range []string{"Outer: 3 is outside [5, 16] mm", "Gap: NaN is outside [0.02, 0.5] mm", "Colour[1]: 2 is outside [0.01, 0.9]",
		"a height of 14 and a cover of 1.5 mm put the margins at +4.35 and -9.65 mm"} {
		assert.Contains(t, err.Error(), s)
	}
	_, err = Build(Defaults(), nil)
	assert.Error(t, err)
}

func BenchmarkBuild(b *testing.B) {
	for b.Loop() {
		one(b, Defaults(), geom.Vec{Z: 1})
	}
}
