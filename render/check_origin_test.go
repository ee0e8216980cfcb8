package render

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// A ray that leaves a shell neither meets it again where it left nor slips through it: of a ray mirrored at the smooth,
// convex globe nothing is met any more, and a ray bent into it meets the far side once, from inside, and then nothing. At
// any size, and a metre from the origin. (The offset is the one of Surface.Leave; the test is that of Waechter and Binder,
// A Fast and Robust Method for Avoiding Self-Intersection, Ray Tracing Gems, 2019, chapter 6.)
func TestRaysLeaveTheShell(t *testing.T) {
	const eye = `
camera: {target: [0, 0, 8], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, transform: {scale: %g, translate: %s}, map_size: 64, cornea: {wobble: 0}, sclera: {wobble: 0}, limbus: {radius: 5.6}}]
`
	for _, c := range []struct {
		scale float64
		at    string
	}{{0.01, "[0, 0, 0]"}, {1, "[0, 0, 0]"}, {1000, "[0, 0, 0]"}, {1, "[1000, -300, 50]"}} {
		p := prepare(t, fmt.Sprintf(eye, c.scale, c.at))
		s := p.Scene
		e := &s.Eyes[0]
		b := &s.Objects[e.Outer]
		sc := accel.NewScratch()
		rng := rand.New(rand.NewPCG(7, 1))
		again, slipped, kept, n := 0, 0, 0, 0
		for range 60000 {
			// From outside toward the back of the globe, where it is a sphere.
			o := b.ToWorld.Point(geom.UniformSphere(rng.Float64(), rng.Float64()).Mul(60))
			to := b.ToWorld.Point(geom.Vec{X: 14 * (rng.Float64() - 0.5), Y: 14 * (rng.Float64() - 0.5), Z: -8 * rng.Float64()})
			r := geom.Ray{O: o, D: to.Sub(o).Unit()}
			var h frozen.Hit
			if !b.Closest(sc, r, 0, math.Inf(1), &h) {
				continue
			}
			h.Object = e.Outer
			sf := s.Surface(r, &h)
			if b.ToLocal.Point(sf.P).Z > -1 {
				continue
			}
			n++
			m := geom.Reflect(r.D.Neg(), sf.Ng).Unit()
			if b.Closest(sc, geom.Ray{O: sf.Leave(m), D: m}, 0, math.Inf(1), &h) {
				again++
			}
			d, ok := geom.Refract(r.D.Neg(), sf.Ng, 1.336)
			if !ok {
				continue
			}
			d = d.Unit()
			in := geom.Ray{O: sf.Leave(d), D: d}
			if !b.Closest(sc, in, 0, math.Inf(1), &h) {
				slipped++
				continue
			}
			h.Object = e.Outer
			far := s.Surface(in, &h)
			if far.Ng.Dot(d) <= 0 {
				slipped++
				continue
			}
			if b.Closest(sc, geom.Ray{O: far.Leave(d), D: d}, 0, math.Inf(1), &h) {
				kept++
			}
		}
		t.Logf("scale %g at %s: %d rays, %d met the shell again, %d slipped in, %d were met after they left", c.scale, c.at, n, again, slipped, kept)
		assert.Greater(t, n, 20000)
		assert.Zero(t, again)
		assert.Zero(t, slipped)
		assert.Zero(t, kept)
	}
}
