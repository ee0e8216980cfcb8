package pathtrace

import (
	"fmt"
	"math"
	"testing"

	"catchlight/material/microfacet"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// rough is one way in which a rough surface sends paths on, and how it answers light.
type rough struct {
	name string
	s    *stage
	v    vertex
	a    response
	step func(p *path, sf *frozen.Surface) bool // of a path; false too for directions that lights are not connected in
}

// roughs are the rough lobes by themselves, seen at cosine c.
func roughs(t testing.TB, c float64) (all []rough) {
	up := geom.Vec{Z: 1}
	frame := geom.NewFrame(up)
	wo := frame.Local(from(c))
	v := vertex{p: geom.Vec{Z: 1e-6}, ng: up, ns: up, eye: -1}
	for _, alpha := range []float64{0.15, 0.5} {
		film := newStage(t, everything, []frozen.Eye{tearEye(alpha)})
		all = append(all, rough{
			name: fmt.Sprintf("tear film, alpha %g, cosine %g", alpha, c), s: film, v: v,
			a: response{lobe: tearLobe, frame: frame, wo: wo, alpha: alpha, gain: film.t.scene.Eyes[0].BendIn.Gain(c), shell: 0},
			step: func(p *path, sf *frozen.Surface) bool {
				return film.t.mirrorTearFilm(p, sf, 0, &film.t.scene.Eyes[0], up, 1, 1, true, &film.out)
			},
		})
		flesh := newStage(t, everything, nil, ball(whiteFlesh(alpha, true)))
		all = append(all, rough{
			name: fmt.Sprintf("coat of flesh, alpha %g, cosine %g", alpha, c), s: flesh, v: v,
			a: response{lobe: roughCoatLobe, frame: frame, wo: wo, face: frozen.Face{Lobes: microfacet.Pair{A: alpha, B: alpha, Part: 1}, Oil: 1}, shell: -1},
			step: func(p *path, sf *frozen.Surface) bool {
				w := flesh.t.scene.Objects[0].Material.Flesh.FaceAt(alpha, geom.UV{})
				return flesh.t.mirrorCoat(p, sf, up, &w, 1, 1, &flesh.out)
			},
		})
		for _, slope := range []float64{0, alpha} {
			skin := newStage(t, everything, nil, ball(glossyFlesh(alpha, slope, 0.7)))
			n := bend(from(c), up, skin.t.scene.Relief(&frozen.Surface{Ns: up}))
			q := v
			q.ns = n
			bent := geom.NewFrame(n)
			w := skin.t.scene.Objects[0].Material.Flesh.FaceAt(alpha, geom.UV{})
			all = append(all, rough{
				name: fmt.Sprintf("two lobes of skin, alpha %g, slope %g, cosine %g", alpha, slope, c), s: skin, v: q,
				a: response{lobe: roughCoatLobe, frame: bent, wo: bent.Local(from(c)), face: w, shell: -1},
				step: func(p *path, sf *frozen.Surface) bool {
					return skin.t.mirrorCoat(p, sf, n, &w, 1, 1, &skin.out)
				},
			})
		}
		metal := newStage(t, everything, nil, ball(frozen.Material{Kind: frozen.Conductor, Alpha: alpha, Eta: colour.Grey(0.2), K: colour.Grey(3)}))
		all = append(all, rough{
			name: fmt.Sprintf("metal, alpha %g, cosine %g", alpha, c), s: metal, v: v,
			a: response{lobe: metalLobe, frame: frame, wo: wo, alpha: alpha, shell: -1},
			step: func(p *path, sf *frozen.Surface) bool {
				return metal.t.conductor(p, sf, &metal.out)
			},
		})
		pane := newStage(t, everything, nil, ball(glass(1.5, alpha)))
		all = append(all, rough{
			name: fmt.Sprintf("glass, alpha %g, cosine %g", alpha, c), s: pane, v: v,
			a: response{lobe: glassLobe, frame: frame, wo: wo, alpha: alpha, eta: 1.5, shell: -1, gain: pane.t.scene.Objects[0].Material.RoughGain(1.5, wo.Z)},
			step: func(p *path, sf *frozen.Surface) bool {
				return pane.t.dielectric(p, sf, &pane.out) && p.ray.D.Z > 0 // lights are connected on this side alone
			},
		})
		eye := tearEye(alpha)
		eye.ForceCoat = false
		eye.PrepareRough(true)
		inside := newStage(t, everything, []frozen.Eye{eye}, ball(frozen.Material{Kind: frozen.Outer}))
		below := geom.NewFrame(up.Neg())
		lo := below.Local(from(c))
		lo.Z = c
		all = append(all, rough{
			name: fmt.Sprintf("cornea from inside, alpha %g, cosine %g", alpha, c), s: inside,
			v: vertex{p: geom.Vec{Z: 1e-6}, ng: up, ns: up, eye: -1},
			a: response{lobe: glassLobe, frame: below, wo: below.Local(below.World(lo)), alpha: alpha, eta: 1 / tearIndex, shell: 0, gain: inside.t.scene.Eyes[0].BendOut.Gain(c)},
			step: func(p *path, sf *frozen.Surface) bool {
				p.ray.D = below.World(lo).Neg()
				return inside.t.refractRough(p, sf, 0, &inside.t.scene.Eyes[0], up, alpha, 0, true, &inside.out) && p.ray.D.Z > 0
			},
		})
	}
	return all
}

// A path leaves a rough surface with the density that lights are weighted by, with the weight that makes up for it, and its
// directions follow that density: the share in each cell of the sphere is the integral of the density over it.
func TestRoughLobesFollowTheirDensity(t *testing.T) {
	for _, c := range []float64{0.95, 0.5, 0.15} {
		for _, r := range roughs(t, c) {
			const side, n = 8, 1 << 14
			var want, got [side][2 * side]float64
			at := func(m *[side][2 * side]float64, d geom.Vec) *float64 {
				phi := math.Atan2(d.Y, d.X)/(2*math.Pi) + 1
				return &m[min(side-1, int((1-d.Z)/2*side))][int(phi*2*side)%(2*side)]
			}
			answered := 0.0
			grid(20*side, func(d geom.Vec, solid float64) {
				f, pdf := r.s.t.evaluate(&r.a, &r.v, d)
				*at(&want, d) += pdf * solid
				answered += f[1] * solid
			})
			carried := 0.0
			for i := range n {
				p, sf := r.s.at(i, from(c))
				if !r.step(&p, &sf) {
					continue
				}
				*at(&got, p.ray.D) += 1.0 / n
				carried += p.beta[1] / n
				f, pdf := r.s.t.evaluate(&r.a, &r.v, p.ray.D)
				require.InEpsilon(t, pdf, p.pdf, 1e-6, r.name)
				require.InEpsilon(t, f[1], p.beta[1]*p.pdf, 1e-6, r.name)
			}
			for i := range want {
				for j, w := range want[i] {
					require.InDelta(t, w, got[i][j], 5*math.Sqrt(w/n)+0.02*w+2e-4, "%s: cell %d, %d", r.name, i, j)
				}
			}
			require.InEpsilon(t, answered, carried, 0.02, r.name)
		}
	}
}

// What a rough face mirrors goes both ways alike: f(a, b) = f(b, a) (reciprocity, Helmholtz). What it passes does so in the
// units of basic radiance: the squares of the indices change sides (Veach, Robust Monte Carlo Methods, 1997, section 5.2).
func TestRoughLobesAreReciprocal(t *testing.T) {
	for _, r := range roughs(t, 0.7) {
		if r.a.lobe == metalLobe || r.v.ns != r.v.ng {
			continue // what is folded up goes one way alone; metal's light between facets depends on one side alone; see microfacet.EnergyTable
		}
		r.a.gain = 1
		for _, b := range []geom.Vec{from(0.9), {X: -0.6, Z: 0.8}, {X: -0.7, Y: 0.6, Z: math.Sqrt(0.15)}, {Y: 0.28, Z: 0.96}} {
			wi := r.a.frame.Local(b)
			f, _ := r.s.t.evaluate(&r.a, &r.v, b)
			if r.a.shell < 0 || r.a.lobe != glassLobe {
				back := r.a
				back.wo = wi
				g, _ := r.s.t.evaluate(&back, &r.v, r.a.frame.World(r.a.wo))
				require.Positive(t, f[1])
				require.InEpsilon(t, f[1]/wi.Z, g[1]/r.a.wo.Z, 1e-9, r.name)
				continue
			}
			if f[1] == 0 {
				continue // past the critical angle
			}
			// From outside, with the frame turned over: what the cornea lets in.
			m := microfacet.Refract{AX: r.a.alpha, AY: r.a.alpha, Eta: tearIndex}
			h, ok := microfacet.HalfRefract(wi.Neg(), r.a.wo.Neg(), tearIndex)
			require.True(t, ok, r.name)
			in := m.Eval(wi.Neg(), r.a.wo.Neg()) * (1 - fresnelByHand(wi.Neg().Dot(h), tearIndex))
			require.InEpsilon(t, in, f[1]/-wi.Z*tearIndex*tearIndex, 1e-4, r.name)
		}
	}
}

// total returns the mean weight that a step leaves to a path, with all that it pushes.
func (s *stage) total(n int, wo geom.Vec, step func(p *path, sf *frozen.Surface) bool) float64 {
	sum := 0.0
	for i := range n {
		p, sf := s.at(i, wo)
		if step(&p, &sf) {
			sum += p.beta[1]
		}
		for k := range s.t.n {
			sum += s.t.stack[k].beta[1]
		}
	}
	return sum / float64(n)
}

// Nothing that is white takes light away or adds any, from any side: each step of a path leaves it the weight 1 in the mean
// (conservation of energy).
func TestWhiteSurfacesKeepEnergy(t *testing.T) {
	up := geom.Vec{Z: 1}
	for _, c := range []float64{0.98, 0.6, 0.25} {
		wo := from(c)
		check := func(name string, tolerance float64, s *stage, step func(p *path, sf *frozen.Surface) bool) {
			t.Helper()
			assert.InDelta(t, 1, s.total(1<<13, wo, step), tolerance, "%s, cosine %g", name, c)
		}
		for _, alpha := range []float64{0, 0.3} {
			s := newStage(t, everything, nil, ball(whiteFlesh(alpha, true)))
			for _, sharp := range []bool{false, true} {
				check(fmt.Sprintf("flesh, alpha %g, seen %v", alpha, sharp), 0.01, s, func(p *path, sf *frozen.Surface) bool {
					p.sharp = sharp
					return s.t.flesh(p, sf, false, &s.out)
				})
			}
			if alpha > 0 {
				for _, slope := range []float64{0, 0.3} {
					skin := newStage(t, everything, nil, ball(glossyFlesh(alpha, slope, 0.7)))
					check(fmt.Sprintf("skin, slope %g", slope), 0.01, skin, func(p *path, sf *frozen.Surface) bool { return skin.t.flesh(p, sf, false, &skin.out) })
				}
				pane := newStage(t, everything, nil, ball(glass(1.5, alpha)))
				check("rough glass", 0.01, pane, func(p *path, sf *frozen.Surface) bool { return pane.t.dielectric(p, sf, &pane.out) })
				check("rough glass from inside", 0.01, pane, func(p *path, sf *frozen.Surface) bool {
					p.enter(0)
					sf.Ng, sf.Ns = up.Neg(), up.Neg()
					return pane.t.dielectric(p, sf, &pane.out)
				})
			}
			metal := newStage(t, everything, nil, ball(frozen.Material{Kind: frozen.Conductor, Alpha: alpha, Mirror: true}))
			check("mirror", 0.01, metal, func(p *path, sf *frozen.Surface) bool { return metal.t.conductor(p, sf, &metal.out) })

			eye := tearEye(alpha)
			eye.ForceCoat = false
			cornea := newStage(t, everything, []frozen.Eye{eye}, ball(frozen.Material{Kind: frozen.Outer}))
			e := &cornea.t.scene.Eyes[0]
			for _, sharp := range []bool{false, true} {
				check(fmt.Sprintf("cornea, alpha %g, seen %v", alpha, sharp), 0.01, cornea, func(p *path, sf *frozen.Surface) bool {
					p.sharp = sharp
					return cornea.t.outerFromOutside(p, sf, 0, e, up, up, 1, false, &cornea.out)
				})
			}
			check("cornea from inside", 0.01, cornea, func(p *path, sf *frozen.Surface) bool {
				p.enter(0)
				sf.Ng, sf.Ns = up.Neg(), up.Neg()
				return cornea.t.outerFromInside(p, sf, 0, e, up.Neg(), 1, &cornea.out)
			})
		}
	}
}

// Paint over flesh takes its share half on the way in and half on the way out: white flesh under it shows its colour, whether
// light walks below it or not.
func TestPaintOverFlesh(t *testing.T) {
	set := everything
	set.TearFilm = false
	for _, solid := range []bool{false, true} {
		m := whiteFlesh(0, solid)
		m.Colour = texture.Constant(colour.RGB{0.09, 0.25, 0.64})
		m.Flesh.Guide = guide
		s := newStage(t, set, nil, ball(m))
		mean, _ := meanOf(1<<11, func(i int) colour.RGB {
			p, sf := s.at(i, geom.Vec{Z: 1})
			sf.P, p.sharp = geom.Vec{Z: 1}, true
			if !s.t.flesh(&p, &sf, false, &s.out) {
				return colour.RGB{}
			}
			require.InDelta(t, math.Max(0, p.ray.D.Dot(p.x.Unit()))/math.Pi, p.pdf, 1e-4)
			return p.beta
		})
		for c, want := range []float64{0.09, 0.25, 0.64} {
			assert.InEpsilon(t, want, mean[c], 0.03, "solid %v, channel %d", solid, c)
		}
	}
}

// What the rough tear film mirrors by its table is what its lobe integrates to; a smooth one mirrors what Fresnel's formulas say,
// and the rest goes straight on.
func TestShareOfTheTearFilm(t *testing.T) {
	up := geom.Vec{Z: 1}
	v := vertex{ng: up, ns: up, eye: -1}
	for _, alpha := range []float64{0.2, 0.5} {
		s := newStage(t, everything, []frozen.Eye{tearEye(alpha)})
		for _, c := range []float64{0.95, 0.5, 0.2} {
			a := response{lobe: tearLobe, frame: geom.NewFrame(up), alpha: alpha, gain: 1, shell: 0}
			a.wo = a.frame.Local(from(c))
			sum := 0.0
			grid(160, func(d geom.Vec, solid float64) {
				f, _ := s.t.evaluate(&a, &v, d)
				sum += f[1] * solid
			})
			assert.InEpsilon(t, sum, s.t.scene.Eyes[0].Mirrored(0.5, c), 0.01, "alpha %g, cosine %g", alpha, c)
		}
	}
	smooth := newStage(t, everything, []frozen.Eye{tearEye(0)}, ball(frozen.Material{Kind: frozen.Outer}))
	for _, c := range []float64{1, 0.7, 0.3, 0.1} {
		p, sf := smooth.at(0, from(c))
		p.sharp = true
		require.True(t, smooth.t.outerFromOutside(&p, &sf, 0, &smooth.t.scene.Eyes[0], sf.Ns, sf.Ns, 0, false, &smooth.out))
		require.Equal(t, 1, smooth.t.n)
		assert.InEpsilon(t, fresnelByHand(c, tearIndex), smooth.t.stack[0].beta[1], 1e-9)
		assert.InEpsilon(t, 1-fresnelByHand(c, tearIndex), p.beta[1], 1e-9)
		assert.True(t, p.past)
		assert.InDelta(t, 1, p.ray.D.Dot(from(c).Neg()), 1e-12)
	}
}
