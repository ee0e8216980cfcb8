package pathtrace

import (
	"fmt"
	"math"
	"testing"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// guide is one for an albedo of about 0.9; any guide leaves all means as they are.
var guide = frozen.NewGuide(colour.RGB{1.9, 2.2, 2.6})

// unscattered is the share of light that enters a ball of radius r evenly and crosses it without meeting anything, with x = 2 r
// times the extinction: chords are 2 r mu long, so it is the integral of 2 mu exp(-x mu) (own derivation).
func unscattered(x float64) float64 { return 2 * (1 - (1+x)*math.Exp(-x)) / (x * x) }

// meanOf is the mean weight of n steps and its standard error, by channel.
func meanOf(n int, step func(i int) colour.RGB) (mean, err colour.RGB) {
	var sq colour.RGB
	for i := range n {
		b := step(i)
		mean, sq = mean.Add(b.Scale(1/float64(n))), sq.Add(b.Mul(b).Scale(1/float64(n)))
	}
	for c := range err {
		err[c] = math.Sqrt(max(0, sq[c]-mean[c]*mean[c]) / float64(n))
	}
	return mean, err
}

// Walks in a ball of flesh: black flesh lets through what a closed form says, white flesh gives back all that it takes, and
// guided walks have the mean of plain ones.
func TestWalksThroughBall(t *testing.T) {
	sigma := colour.RGB{5, 8, 12} // so deep that guided walks are worth their time
	var plain colour.RGB
	for _, albedo := range []float64{0, 0.7, 1} {
		for _, guided := range []bool{false, true} {
			set := everything
			set.Guided, set.TearFilm = guided, false
			m := whiteFlesh(0, false)
			m.Flesh.Sigma, m.Flesh.Alpha, m.Flesh.Guide = sigma, colour.Grey(albedo), guide
			s := newStage(t, set, nil, ball(m))
			mean, err := meanOf(1<<14, func(i int) colour.RGB {
				p, sf := s.at(i, geom.Vec{Z: 1})
				sf.P, p.sharp = geom.Vec{Z: 1}, true
				if !s.t.flesh(&p, &sf, false, &s.out) {
					return colour.RGB{}
				}
				require.InDelta(t, 1, p.x.Len(), 1e-4)
				return p.beta
			})
			for c := range mean {
				want, tolerance := unscattered(2*sigma[c]), 4*err[c]+1e-4
				switch {
				case albedo == 1:
					want = 1
				case albedo > 0 && !guided:
					plain = mean
					require.Greater(t, mean[c], want)
					continue
				case albedo > 0:
					want, tolerance = plain[c], 6*err[c]
				}
				assert.InDelta(t, want, mean[c], tolerance, "albedo %g, guided %v, channel %d", albedo, guided, c)
			}
		}
	}
}

// globe is an eye's inner shell alone: a ball of 1 mm of many facets, its iris zone about z, one colour of vessels on top, and
// the tracer over it.
func globe(t testing.TB, set frozen.Settings, iris, sclera colour.RGB, albedo, vessels float64) *stage {
	const n = 96
	m := &mesh.Mesh{}
	for i := range n + 1 {
		for j := range 2 * n {
			st, ct := math.Sincos(math.Pi * float64(i) / n)
			sp, cp := math.Sincos(math.Pi * float64(j) / n)
			m.P = append(m.P, geom.Vec{X: st * cp, Y: st * sp, Z: ct})
			if i == n {
				continue
			}
			a, b := uint32(i*2*n+j), uint32(i*2*n+(j+1)%(2*n))
			c, d := a+2*n, b+2*n
			m.Tri = append(m.Tri, [3]uint32{a, c, b}, [3]uint32{b, c, d})
		}
	}
	bvh, err := accel.Build(m.P, m.Tri, accel.Options{})
	require.NoError(t, err)
	o := ball(frozen.Material{Kind: frozen.Inner})
	o.Shape, o.Mesh, o.BVH, o.Eye = frozen.Mesh, m, bvh, 0
	o.Depth = frozen.NewDepth(m, bvh, 1)
	flat := func(v float64) *frozen.VolumeMap {
		return frozen.NewVolumeMap(4, func(int, geom.Vec) colour.RGB { return colour.Grey(v) }, 1)
	}
	e := tearEye(0)
	e.LimbusRadius, e.LimbusWidth, e.Far = 0.5, 0.3, 1
	e.Tissue = frozen.Tissue{
		ScatterIris: true, ScatterSclera: true, SigmaIris: iris, SigmaSclera: sclera, GuideIris: guide, GuideSclera: guide,
		Alpha: flat(albedo), Colour: flat(0.6), Vessels: flat(vessels),
	}
	return newStage(t, set, []frozen.Eye{e}, o)
}

// comes is a path that meets the globe from outside along -n at the direction n from its centre.
func (s *stage) comes(t testing.TB, i int, n geom.Vec) (p path, sf frozen.Surface) {
	p, _ = s.at(i, n.Mul(2))
	p.ray.D = n.Neg()
	var h frozen.Hit
	require.True(t, s.t.scene.Intersect(s.t.sc, p.ray, 0, math.Inf(1), frozen.ShadowRays, false, &h))
	return p, s.t.scene.Surface(p.ray, &h)
}

// Light that an eye's tissue takes in comes out again: black tissue lets through what is not met along the way, white tissue
// all of it, in zones and where they blend, and vessels on top take their share twice. What leaves does so by Lambert's law.
func TestTissueExit(t *testing.T) {
	const vessels = 0.8
	dark := colour.RGB{0.5, 1, 2}
	side, front := geom.Vec{X: 0.9, Y: 0.1, Z: -0.42}.Unit(), geom.Vec{X: 0.5, Y: 0.05, Z: 0.86}.Unit()
	for _, exact := range []bool{false, true} {
		for _, c := range []struct {
			name         string
			iris, sclera colour.RGB
			albedo       float64
			way          geom.Vec
		}{
			{"black, one zone", dark, dark, 0, side}, {"white, one zone", dark, dark, 1, side},
			{"black, two zones", colour.RGB{3, 2, 1}, dark, 0, front}, {"white, two zones", colour.RGB{3, 2, 1}, dark, 1, front},
		} {
			set := everything
			set.ExactExit = exact
			s := globe(t, set, c.iris, c.sclera, c.albedo, vessels)
			cosine, left := 0.0, 0.0
			mean, err := meanOf(1<<13, func(i int) colour.RGB {
				p, sf := s.comes(t, i, c.way)
				if !s.t.inner(&p, &sf, &s.out) {
					return colour.RGB{}
				}
				if !exact {
					k := p.ray.D.Dot(p.x.Unit())
					require.InDelta(t, k/math.Pi, p.pdf, 0.02)
					cosine, left = cosine+k, left+1
				}
				return p.beta
			})
			if !exact {
				assert.InDelta(t, 2.0/3, cosine/left, 3/math.Sqrt(18*left), c.name) // the variance of the cosine is 1/18
			}
			var want colour.RGB
			switch {
			case c.albedo == 1:
				want = colour.Grey(1)
			case exact: // straight through the middle
				want = s.along(c.way, c.way.Neg())
			default:
				// Over the cosine, half way out in equal areas of the disc below it.
				const n = 60
				f := geom.NewFrame(c.way.Neg())
				for k := range n * n {
					r, a := math.Sqrt((float64(k%n)+0.5)/n), (float64(k/n)+0.5)/n*2*math.Pi
					d := f.World(geom.Vec{X: r * math.Cos(a), Y: r * math.Sin(a), Z: math.Sqrt(1 - r*r)})
					want = want.Add(s.along(c.way, d).Scale(1.0 / (n * n)))
				}
				if c.iris == c.sclera {
					require.InEpsilon(t, unscattered(2*dark[1]), want[1], 1e-3)
				}
			}
			for k := range mean {
				assert.InDelta(t, want[k]*vessels*vessels, mean[k], 4*err[k]+2e-3, "%s, exact exit %v, channel %d", c.name, exact, k)
			}
		}
	}

	// Scattering switched off: the tissue's own colour.
	set := everything
	set.Scattering = false
	s := globe(t, set, dark, dark, 1, vessels)
	p, sf := s.comes(t, 0, side)
	require.True(t, s.t.inner(&p, &sf, &s.out))
	require.InDelta(t, 0.6*vessels*vessels, p.beta[1], 1e-6)
}

// along is the share of light that passes the globe's tissue from the point p of its surface along d, by small steps.
func (s *stage) along(p, d geom.Vec) colour.RGB {
	const n = 200
	far := -2 * p.Dot(d) // the chord of a ball of radius 1
	var depth colour.RGB
	for k := range n {
		depth = depth.Add(s.t.scene.Eyes[0].Blended(p.Mad((float64(k)+0.5)/n*far, d)).Scale(far / n))
	}
	return colour.RGB{math.Exp(-depth[0]), math.Exp(-depth[1]), math.Exp(-depth[2])}
}

// What a collision in the tissue sends out along a line is what nothing meets on the way, through both zones.
func TestOutOfTissue(t *testing.T) {
	s := globe(t, everything, colour.RGB{3, 2, 1}, colour.RGB{0.5, 1, 2}, 1, 0.9)
	b := &s.t.scene.Objects[0]
	for k, d := range []geom.Vec{{Z: 1}, geom.Vec{X: 1, Z: 0.9}.Unit(), geom.Vec{Y: 1, Z: 0.4}.Unit(), {X: -1}} {
		mean, err := meanOf(1<<12, func(i int) colour.RGB {
			s.at(i, d)
			rng := s.t.smp.Stream(1, sampler.Connection, uint32(k))
			var exit frozen.Surface
			tr, ok := s.t.outOfTissue(b, &s.t.scene.Eyes[0], d.Mul(-0.2), d, &rng, &exit)
			require.True(t, ok)
			return tr
		})
		// From 0.2 mm before the middle: 1.2 mm of the way that a ray through the middle takes.
		const n = 400
		var depth colour.RGB
		for i := range n {
			depth = depth.Add(s.t.scene.Eyes[0].Blended(d.Mul(-0.2 + (float64(i)+0.5)/n*1.2)).Scale(1.2 / n))
		}
		for c := range mean {
			assert.InDelta(t, 0.9*math.Exp(-depth[c]), mean[c], 4*err[c]+1e-3, fmt.Sprint(d, c))
		}
	}
}
