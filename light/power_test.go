package light

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// 1 W out of 1 m^2 (1e6 mm^2), one face, is 1/pi W/(m^2 sr); the power of a light is what it was made from.
func TestPower(t *testing.T) {
	near(t, "1 W, 1 m^2", PowerToRadiance(colour.Grey(1), 1e6)[0], 1/math.Pi, 1e-12)
	m := must(t)
	for _, l := range []*Light{
		m(NewRectangle("r", world, geom.Vec{}, 300, 200, colour.Grey(1), false)),
		m(NewRectangle("r2", world, geom.Vec{}, 300, 200, colour.Grey(1), true)),
		m(NewDisc("d", world, geom.Vec{}, 50, colour.Grey(1), true)),
		m(NewSphere("s", geom.Vec{}, 50, colour.Grey(1))),
	} {
		l.radiance = PowerToRadiance(colour.RGB{5, 10, 20}, l.EmittingArea())
		p := l.Power()
		near(t, l.Name, p[0], 5, 1e-12)
		near(t, l.Name, p[2], 20, 1e-12)
		// By the other way round: irradiance far away, over a sphere. Mean intensity is power over 4 pi.
		const far = 1e6
		rng := rand.New(rand.NewPCG(4, 1))
		sum := 0.0
		const n = 20000
		for range n {
			d := random(rng)
			s, ok := l.Sample(d.Mul(far), 0.5, 0.5)
			if ok {
				sum += s.L[0] / s.Pdf
			}
		}
		// Irradiance in W/m^2 times the sphere's area in m^2.
		near(t, l.Name+", caught far away", sum/n*4*math.Pi*far*far*1e-6, 5, 0.15)
	}
}
