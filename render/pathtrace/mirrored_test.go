package pathtrace

import (
	"fmt"
	"math"
	"testing"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// seen returns mean and standard deviation of the light that a path brings of a disc of radiance 50 that lies where a mirror at the
// origin shows it, under an even sky of radiance 0.5.
func (s *stage) seen(t *testing.T, n int, wo geom.Vec, sampled bool, step func(p *path, sf *frozen.Surface) bool) (mean, deviation float64) {
	d := geom.Reflect(wo, geom.Vec{Z: 1})
	lamp, err := light.NewDisc("lamp", geom.NewFrame(d.Neg()), d.Mul(100), 8, colour.Grey(50), false)
	require.NoError(t, err)
	sky, err := light.NewConstant("sky", colour.Grey(0.5))
	require.NoError(t, err)
	sc := s.t.scene
	sc.Lights, sc.LightTag, sc.LightSeen = []*light.Light{lamp, sky}, []int{0, 1}, []bool{true, true}
	sc.LightSides = []int{-1, -1}
	sc.LightSampled, sc.LightPick = []bool{true, false}, []float64{1, 0}
	set := everything
	set.LightSamples = sampled
	s.t = New(sc, 1)
	s.t.set = set
	var sum, square float64
	for i := range n {
		s.t.Ledger = [Classes]float64{}
		p, sf := s.at(i, wo)
		p.class = BodyDirect
		if step(&p, &sf) {
			p.vertex++
			s.t.follow(&p, &s.out)
		}
		v := s.t.Ledger[BodyDirect] + s.t.Ledger[BodyIndirect]
		sum += v
		square += v * v
	}
	mean = sum / float64(n)
	return mean, math.Sqrt(max(0, square/float64(n)-mean*mean))
}

// Coats and films that are met by chance show a lamp as often as it is there: as much of it as plain paths, that meet it by
// themselves, with at most a third of their deviation. A smooth one shows f times the lamp, the sky behind it left out.
func TestMirroredLightIsBooked(t *testing.T) {
	const n = 1 << 14
	for _, c := range []float64{0.95, 0.4} {
		for _, alpha := range []float64{0, 0.02, 0.2} {
			eyes := newStage(t, everything, []frozen.Eye{tearEye(alpha)})
			m := whiteFlesh(alpha, true)
			m.Colour = texture.Constant(colour.RGB{})
			black := ball(m)
			black.Mask = 0 // no ray meets it: the path starts on it
			flesh := newStage(t, everything, nil, black)
			for name, s := range map[string]*stage{"film": eyes, "coat": flesh} {
				step := func(p *path, sf *frozen.Surface) bool { return s.t.flesh(p, sf, false, &s.out) }
				if name == "film" {
					step = func(p *path, sf *frozen.Surface) bool {
						e := &s.t.scene.Eyes[0]
						f := s.t.mirrored(e, 1, c)
						alive := s.t.mirrorTearFilm(p, sf, 0, e, sf.Ns, 1, f, false, &s.out)
						return alive && s.t.smp.D1(1, sampler.Lobe, 0) < f
					}
				}
				at := fmt.Sprintf("%s, alpha %g, cosine %g", name, alpha, c)
				plain, wide := s.seen(t, n, from(c), false, step)
				booked, narrow := s.seen(t, n, from(c), true, step)
				assert.InDelta(t, plain, booked, 4*math.Hypot(wide, narrow)/math.Sqrt(n), at)
				assert.Less(t, narrow, wide/3, at)
				if alpha == 0 {
					f := fresnelByHand(c, tearIndex)
					assert.InEpsilon(t, f*50.5, booked, 0.01, at)
				}
			}
		}
	}
}
