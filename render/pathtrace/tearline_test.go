package pathtrace

import (
	"math"
	"testing"

	"catchlight/render/frozen"
	"catchlight/scene/geom"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The strip of tears mirrors what Fresnel's formulas say for an index of 1.336, of the camera's paths in shares and of others by
// chance, and the rest goes straight on; from beneath, or with the tear film switched off, everything does.
func TestTearLineMirrorsByFresnel(t *testing.T) {
	strip := ball(frozen.Material{Kind: frozen.TearLine, Index: tearIndex})
	s := newStage(t, everything, nil, strip)
	for _, c := range []struct{ degrees, want float64 }{
		// By the formulas of Born and Wolf, section 1.5.2, computed outside this project. At the angle of Brewster, 53.185
		// degrees, what lies in the plane passes whole: ((n^2-1)/(n^2+1))^2/2.
		{0, 0.020689}, {30, 0.021762}, {53.185036, 0.039717}, {60, 0.060255}, {75, 0.213319}, {85, 0.584306},
	} {
		wo := from(math.Cos(geom.Radians(c.degrees)))
		require.InEpsilon(t, c.want, fresnelByHand(wo.Z, tearIndex), 1e-4, "%g degrees", c.degrees)
		f := fresnelByHand(wo.Z, tearIndex)
		mirror := geom.Vec{X: -wo.X, Y: -wo.Y, Z: wo.Z}

		p, sf := s.at(0, wo)
		p.sharp = true
		require.True(t, s.t.tearLine(&p, &sf, false))
		require.Equal(t, 1, s.t.n)
		q := s.t.stack[0]
		assert.InEpsilon(t, f, q.beta[1], 1e-6, "%g degrees, mirrored", c.degrees)
		assert.InEpsilon(t, 1-f, p.beta[1], 1e-6, "%g degrees, passed", c.degrees)
		assert.InDelta(t, 1, q.ray.D.Dot(mirror), 1e-12)
		assert.InDelta(t, 1, p.ray.D.Dot(wo.Neg()), 1e-12)
		assert.Greater(t, q.ray.O.Z, 0.0)
		assert.Less(t, p.ray.O.Z, 0.0)
		assert.Equal(t, Reflection, q.class)
		assert.NotEqual(t, p.branch, q.branch) // two paths that go on don't share random numbers

		const n = 1 << 14
		mirrored := 0
		for i := range n {
			p, sf := s.at(i, wo)
			require.True(t, s.t.tearLine(&p, &sf, false))
			require.Equal(t, 1.0, p.beta[1])
			if p.ray.D.Z > 0 {
				require.InDelta(t, 1, p.ray.D.Dot(mirror), 1e-12)
				mirrored++
			}
		}
		assert.InDelta(t, f, float64(mirrored)/n, 4*math.Sqrt(f*(1-f)/n), "%g degrees, by chance", c.degrees)
	}

	off := everything
	off.TearFilm = false
	for _, c := range []struct {
		s  *stage
		wo geom.Vec
	}{{s, from(-0.5)}, {newStage(t, off, nil, strip), from(0.1)}} {
		p, sf := c.s.at(0, c.wo)
		p.sharp = true
		require.True(t, c.s.t.tearLine(&p, &sf, false))
		require.Zero(t, c.s.t.n)
		require.Equal(t, 1.0, p.beta[1])
		require.InDelta(t, 1, p.ray.D.Dot(c.wo.Neg()), 1e-12)
	}
}

// Water has one surface: under it neither a second sheet of tears, nor the film of the white, nor the coat of flesh mirrors anything,
// of the camera's paths or of others, and all light goes on. Without tears each of them mirrors its share.
func TestTearsMirrorOnce(t *testing.T) {
	strip := newStage(t, everything, nil, ball(frozen.Material{Kind: frozen.TearLine, Index: tearIndex}))
	shell, inner := ball(frozen.Material{Kind: frozen.Outer}), ball(frozen.Material{Kind: frozen.Inner})
	shell.Eye, inner.Eye = 0, 0
	eye := newStage(t, everything, []frozen.Eye{tearEye(0)}, shell, inner)
	eye.t.scene.Eyes[0].Inner = 1
	coat := newStage(t, everything, nil, ball(whiteFlesh(0, true)))
	up := geom.Vec{Z: 1}
	for name, k := range map[string]struct {
		s   *stage
		hit func(p *path, sf *frozen.Surface, wet bool) bool
	}{
		"tears": {strip, func(p *path, sf *frozen.Surface, wet bool) bool { return strip.t.tearLine(p, sf, wet) }},
		"white": {eye, func(p *path, sf *frozen.Surface, wet bool) bool {
			return eye.t.outerFromOutside(p, sf, 0, &eye.t.scene.Eyes[0], up, up, 0, wet, &eye.out)
		}},
		"flesh": {coat, func(p *path, sf *frozen.Surface, wet bool) bool { return coat.t.flesh(p, sf, wet, &coat.out) }},
	} {
		for i, wet := range []bool{true, false} {
			p, sf := k.s.at(0, from(0.3))
			p.sharp = true
			require.True(t, k.hit(&p, &sf, wet), name)
			require.Equal(t, i, k.s.t.n, "%s: mirrored paths", name)
			f := fresnelByHand(0.3, tearIndex)
			if wet {
				f = 0
			}
			if name != "flesh" { // whose coat has a part in what leaves it
				require.InDelta(t, 1-f, p.beta[1], 1e-6, name)
			}
			mirrored := 0
			for j := range 2000 {
				p, sf := k.s.at(j, from(0.3))
				if require.True(t, k.hit(&p, &sf, wet), name); p.ray.D.Sub(geom.Reflect(from(0.3), up)).Len() < 1e-9 {
					mirrored++
				}
			}
			require.Equal(t, !wet, mirrored > 0, "%s: by chance", name)
		}
	}
	p, sf := strip.at(0, from(0.3))
	strip.t.tearLine(&p, &sf, false)
	require.True(t, p.wet)
}
