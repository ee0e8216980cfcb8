package lids

import (
	"math"
	"sync"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/strand"
)

// hairedEye is one eye's socket with its front and its hairs of both lids. Detail is coarse: hairs do not depend on it but for where
// the skin lies.
type hairedEye struct {
	s   *socket
	f   *front
	all []*lash
}

var grownEye = sync.OnceValue(func() hairedEye {
	p := Defaults()
	p.Detail = 0.3
	s := sockets(nil, p, geom.Vec{Z: 1})
	skin, _, _ := s.skin(false, new(pixels))
	f := s.newFront(skin, border(31.5))
	return hairedEye{s, f, s.lashList(f)}
})

// haired returns that eye, grown once for all tests, which change nothing of it.
func haired() (*socket, *front, []*lash) {
	e := grownEye()
	return e.s, e.f, e.all
}

// A hair turns as a cycloid does. Source: the curve's own parametric form, x = r (a - sin a), y = r (1 - cos a), followed here
// by small chords; and the radii of three turns, solved by hand.
func TestTurnsLikeACycloid(t *testing.T) {
	for _, c := range [][2]float64{{40, 0.69}, {60, 0.34}, {80, 0.22}} {
		k := bend(geom.Radians(c[0]))
		assert.InDelta(t, c[1], k, 0.01)
		at := func(a float64) (x, y float64) { return k * (a - math.Sin(a)), k * (1 - math.Cos(a)) }
		var s, first float64
		x0, y0 := 0.0, 0.0
		for i := 1; s < 1.06; i++ {
			x, y := at(float64(i) * 2e-4)
			step := math.Hypot(x-x0, y-y0)
			turn := geom.Degrees(math.Pi/2 - math.Atan2(y-y0, x-x0))
			if s < 0.06 && s+step >= 0.06 {
				first = turn
			}
			if u := s + step/2 - 0.06; u > 0 && u < 1 {
				require.InDelta(t, turn-first, geom.Degrees(turnedAt(k, u)), 0.1)
			}
			s, x0, y0 = s+step, x, y
		}
	}
}

// Lashes stand as in published counts: 90 to 160 above and 50 to 80 below on an opening of 27 mm, 3.3 to 5.9 and 2 to 3.2 a mm
// (Na et al. 2006; Aumond and Bitton 2018; from memory), none nearer the nose than the punctum, longest two thirds outward,
// none in globe or skin, and few that cross.
func TestLashes(t *testing.T) {
	s, f, all := haired()
	for _, upper := range []bool{true, false} {
		l := s.lidLine(upper)
		from, to := l.zone()
		n, least, most := 0, math.Inf(1), &lash{}
		for i, h := range all {
			if h.upper != upper {
				continue
			}
			n++
			assert.GreaterOrEqual(t, h.a, map[bool]float64{true: upperPunctum, false: lowerPunctum}[upper])
			for _, q := range all[:i] {
				least = min(least, h.stand.p.Sub(q.stand.p).Len())
			}
			if h.length > most.length {
				most = h
			}
		}
		rate := float64(n) / (to - from)
		t.Logf("upper %v: %d hairs, %.2f a mm, nearest roots %.3f mm, longest %.1f mm at %.2f", upper, n, rate, least, most.length, most.t)
		if upper {
			assert.True(t, n >= 90 && n <= 160, n)
			assert.True(t, rate >= 3.3 && rate <= 5.9, rate)
		} else {
			assert.True(t, n >= 50 && n <= 80, n)
			assert.True(t, rate >= 2 && rate <= 3.2, rate)
		}
		assert.GreaterOrEqual(t, least, 0.15) // 0.16 on the band laid flat
		assert.InDelta(t, 0.67, most.t, 0.3)
	}
	pairs, cross := 0, 0
	for i, h := range all {
		for _, q := range all[:i] {
			if h.stand.p.Sub(q.stand.p).Len() > 2 {
				continue
			}
			pairs++
			if h.crosses(q) {
				cross++
			}
		}
		for k := 2; k < len(h.p); k++ {
			if h.at[k]*h.length > bare {
				assert.GreaterOrEqual(t, s.hold(h.p[k], f), 0.9*clearance)
			}
			assert.Greater(t, h.p[k].Len()-plainEye(geom.Vec{Z: 1})(h.p[k].Unit()), 0.1)
		}
	}
	t.Logf("%d of %d neighbours cross at more than %d degrees", cross, pairs, steep)
	assert.Less(t, float64(cross)/float64(pairs), 0.04)
}

// Brows: 250 to 450 hairs (from memory), about 50 across 20 mm of their axis (Price et al. 2009; from memory), 10 to 25
// degrees off the skin, 4 to 12 mm but for those that grow, nothing in the skin beyond the root.
func TestBrows(t *testing.T) {
	s, f, _ := haired()
	set := s.brows(f)
	require.NoError(t, set.Check())
	n := set.Hairs()
	assert.True(t, n >= 250 && n <= 450, n)
	across, lean, body := 0, 0.0, 0.0
	for i := range n {
		p := set.P[set.Start[i]:set.Start[i+1]]
		met := false
		for k := 1; k < len(p)-1; k++ {
			u0, v0 := s.browPlace(p[k].X, p[k].Y)
			u1, v1 := s.browPlace(p[k+1].X, p[k+1].Y)
			x := (p[k].X + p[k+1].X) / 2
			met = met || v0*v1 < 0 && u0 > 0 && u1 < 1 && math.Abs(x+4) < 10
			z, ok := f.at(p[k+1].X, p[k+1].Y)
			require.True(t, ok)
			require.Greater(t, p[k+1].Z, z, "hair %d, knot %d", i, k)
		}
		if met {
			across++
		}
		a, b := p[1], p[len(p)-1]
		norm, _ := f.normal(a.X, a.Y, 1)
		w := b.Sub(a)
		lean += geom.Degrees(math.Asin(w.Dot(norm) / w.Len()))
		body++
	}
	lean /= body
	t.Logf("%d hairs, %d across 20 mm, %.1f degrees off the skin", n, across, lean)
	assert.True(t, across >= 35 && across <= 65, across)
	assert.True(t, lean >= 10 && lean <= 25, lean)
}

// Fine hair: 100 to 250 a cm^2 on the lid, 1 to 1.5 mm, below 0.03 mm, without pigment to speak of (Blume et al. 1991; from
// memory).
func TestDown(t *testing.T) {
	s, f, _ := haired()
	set := s.down(f)
	require.NoError(t, set.Check())
	in := 0
	for i := range set.Hairs() {
		a, b := set.Start[i], set.Start[i+1]
		assert.Less(t, set.R[a], float32(0.015))
		assert.Less(t, set.Eu[i], float32(0.1))
		length := set.P[a+1].Sub(set.P[b-1]).Len()
		assert.True(t, length > 0.6 && length < 2, length)
		if p := set.P[a+1]; math.Abs(p.X) < 8 && math.Abs(p.Y+13) < 2.5 {
			in++
		}
	}
	assert.InDelta(t, 175, float64(in)/0.8, 75) // of 0.8 cm^2 below the eye
}

// Numbers are drawn by name: the same seed gives the same hairs, a key of the brows changes no lash, and fewer lashes are
// some of the more.
func TestHairsKeepTheirOwn(t *testing.T) {
	eye, f, _ := haired()
	sets := func(set func(p *Params)) map[string]*strand.Set {
		s, p := *eye, *eye.p
		set(&p)
		s.p = &p
		return map[string]*strand.Set{"lashes": s.lashes(f), "brows": s.brows(f), "down": s.down(f)}
	}
	plain := sets(func(*Params) {})
	brows := sets(func(p *Params) { p.BrowDensity, p.BrowArch, p.BrowLength = 0.7, 6, 6 })
	assert.Equal(t, plain["lashes"], brows["lashes"])
	assert.Equal(t, plain["down"], brows["down"])
	assert.NotEqual(t, plain["brows"], brows["brows"])
	lashes := sets(func(p *Params) { p.LashDensity, p.LashCurl = 0.5, 40 })
	assert.Equal(t, plain["brows"], lashes["brows"])
	roots := map[geom.Vec]bool{}
	for i := range plain["lashes"].Hairs() {
		roots[plain["lashes"].P[plain["lashes"].Start[i]+1]] = true
	}
	few := lashes["lashes"]
	for i := range few.Hairs() {
		assert.True(t, roots[few.P[few.Start[i]+1]])
	}
	assert.Equal(t, plain, sets(func(*Params) {}))
	for name, set := range sets(func(p *Params) { p.LashDensity, p.BrowDensity, p.DownDensity = 0, 0, 0 }) {
		assert.Zero(t, set.Hairs(), name)
	}
}

// The nose's root stands 8 to 15 mm before the inner corner (from memory) and is narrow there, and between the brows it has
// gone over into a forehead.
func TestNose(t *testing.T) {
	s, f, _ := haired()
	mid := s.g.far - 0.3
	root, ok := f.at(mid, -1)
	require.True(t, ok)
	proud := root - s.o.corner(1).rim.Z
	side, _ := f.at(s.g.far-9, -1)
	brow, _ := f.at(mid, 20)
	beside, _ := f.at(s.g.far-9, 20)
	t.Logf("%.1f mm before the inner corner, falls by %.1f mm over 9 mm, between the brows by %.1f", proud, root-side, brow-beside)
	assert.True(t, proud >= 8 && proud <= 15, proud)
	assert.Greater(t, root-side, 4.0)
	assert.Less(t, brow-beside, 2.0)
}

// At a lash's root the skin is pressed in and darker than the same skin without lashes, and nowhere does it stand out.
func TestFunnels(t *testing.T) {
	p := Defaults()
	p.Detail, p.BrowDensity, p.DownDensity = 0.2, 0, 0
	with := one(t, p, geom.Vec{Z: 1})
	p.LashDensity = 0
	without := one(t, p, geom.Vec{Z: 1})
	require.Equal(t, len(without.Skin.P), len(with.Skin.P))
	deepest, darkest := 0.0, 1.0
	for i, v := range with.Skin.P {
		in := without.Skin.P[i].Sub(v).Dot(without.Skin.N[i])
		assert.GreaterOrEqual(t, in, 0.0)
		deepest = max(deepest, in)
	}
	w, h, _ := with.Tone.Size()
	for y := range h {
		for x := range w {
			darkest = min(darkest, with.Tone.At(x, y, 0)/without.Tone.At(x, y, 0))
		}
	}
	t.Logf("deepest %.3f mm, darkest %.2f of the skin", deepest, darkest)
	assert.True(t, deepest > 0.02 && deepest <= funnelDepth, deepest)
	assert.True(t, darkest > 0.5 && darkest < 0.75, darkest)
}

// A wide frame shows no cut edge: the skin is all but black on the border and untouched out to what the shipped frames show of
// a pair (56 mm to each side and 28 up and down of the middle of the nose) but for their corners.
func TestEdgeIsDark(t *testing.T) {
	s := &socket{at: -31.5, g: &ground{far: 31.5}}
	tone := func(x, y float64) float64 {
		pix := []float32{1, 1, 1}
		s.faded([]geom.Vec{{X: x, Y: y}, {}}, pix, 2, true)
		return float64(pix[0])
	}
	for _, v := range [][2]float64{{-31.5 + temple, 3}, {31.5 - temple, 3}, {0, chin}, {-20, hairline}, {-80, -45}} {
		assert.LessOrEqual(t, tone(v[0], v[1]), 0.03)
	}
	for _, v := range [][2]float64{{0, 0}, {-31.5, 0}, {31.5, 20}, {-56, 10}, {56, -10}, {0, 28}, {0, -28}} {
		assert.Equal(t, 1.0, tone(v[0], v[1]))
	}
	assert.Greater(t, tone(-56, -29), 0.9)
}
