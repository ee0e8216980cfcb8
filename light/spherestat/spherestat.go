// Package spherestat checks a density over directions against its own integral, and against samples that claim to
// follow it. It serves tests alone; no renderer imports it.
package spherestat

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"

	"gonum.org/v1/gonum/stat/distuv"
)

// Case is a density and its sampler.
type Case struct {
	Pdf    func(d geom.Vec) float64                                // per sr, over the whole sphere
	Sample func(u0, u1 float64) (d geom.Vec, pdf float64, ok bool) // ok false: the sample counts as lost
	Axis   geom.Vec                                                // bins are fine about this unit direction
	Power  float64                                                 // how fine: bins are even in t, 1 - cos = 2 t^Power; 1 is even in solid angle
	N      int                                                     // samples to draw
	Seed   uint64
}

// Result says how the two agree.
type Result struct {
	Integral float64 // of Pdf over the sphere, by one point in each of some 600,000 cells
	Share    float64 // of samples with ok
	P        float64 // probability of a chi-square at least as large if samples follow Pdf
	PdfError float64 // largest relative difference between the pdf that comes with a sample and Pdf there
	Outside  int     // samples with ok where Pdf is 0
}

const (
	rows, columns = 24, 16
	fine          = 40   // points along each side of a bin, each anywhere in its cell
	least         = 10.0 // expected samples that a bin needs to stand alone; scarcer ones are pooled
)

// Check integrates the density over bins, draws samples with a fixed seed, and compares.
func Check(c Case) Result {
	f := geom.NewFrame(c.Axis)
	mass := make([]float64, rows*columns)
	var r Result
	rng := rand.New(rand.NewPCG(c.Seed, 1))
	for i := range rows * fine {
		for j := range columns * fine {
			t := (float64(i) + rng.Float64()) / (rows * fine)
			cos := 1 - 2*math.Pow(t, c.Power)
			sin := math.Sqrt(max(0, 1-cos*cos))
			area := 2 * c.Power * math.Pow(t, c.Power-1) * 2 * math.Pi / (rows * columns * fine * fine)
			sp, cp := math.Sincos(2 * math.Pi * (float64(j) + rng.Float64()) / (columns * fine))
			m := c.Pdf(f.World(geom.Vec{X: sin * cp, Y: sin * sp, Z: cos})) * area
			mass[i/fine*columns+j/fine] += m
			r.Integral += m
		}
	}
	count := make([]int, rows*columns)
	hits := 0
	for range c.N {
		d, pdf, ok := c.Sample(rng.Float64(), rng.Float64())
		if !ok {
			continue
		}
		hits++
		q := c.Pdf(d)
		if q == 0 {
			r.Outside++
		} else {
			r.PdfError = max(r.PdfError, math.Abs(pdf/q-1))
		}
		l := f.Local(d)
		t := math.Pow(min(1, max(0, 0.5*(1-l.Z))), 1/c.Power)
		phi := math.Atan2(l.Y, l.X) / (2 * math.Pi)
		if phi < 0 {
			phi++
		}
		count[min(int(t*rows), rows-1)*columns+min(int(phi*columns), columns-1)]++
	}
	r.Share = float64(hits) / float64(c.N)

	// The lost samples are one more bin. Scarce bins are pooled into another.
	chi, dof := 0.0, -1
	add := func(want float64, got int) {
		d := float64(got) - want
		chi += d * d / want
		dof++
	}
	poolWant, poolGot := 0.0, 0
	for b, m := range mass {
		if want := m * float64(c.N); want >= least {
			add(want, count[b])
		} else {
			poolWant += want
			poolGot += count[b]
		}
	}
	if want := (1 - r.Integral) * float64(c.N); want >= least {
		add(want, c.N-hits)
	} else {
		poolWant += max(0, want)
		poolGot += c.N - hits
	}
	if poolWant >= least {
		add(poolWant, poolGot)
	} else if float64(poolGot) > poolWant+4*math.Sqrt(least) {
		return r // samples where next to none belong: P stays 0
	}
	if dof < 1 {
		r.P = 1
		return r
	}
	r.P = distuv.ChiSquared{K: float64(dof)}.Survival(chi)
	return r
}
