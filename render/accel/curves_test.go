package accel

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/raw"
	"catchlight/scene/strand"
)

// tuft returns n curved, tapered hairs that start within a ball of radius 3 mm.
func tuft(n int, r *rand.Rand) *strand.Set {
	s := &strand.Set{}
	for range n {
		p := geom.UniformSphere(r.Float64(), r.Float64()).Mul(3 * r.Float64())
		d := geom.UniformSphere(r.Float64(), r.Float64())
		bend := geom.UniformSphere(r.Float64(), r.Float64()).Mul(0.5 * r.Float64())
		knots := 2 + r.IntN(8)
		w := 0.02 + 0.05*r.Float64()
		var at []geom.Vec
		var half []float32
		for k := range knots {
			u := float64(k) / float64(knots-1)
			at, half = append(at, p), append(half, float32(w*(1-0.95*u*u)))
			d = d.Add(bend).Unit()
			p = p.Mad(0.9, d)
		}
		s.Add(at, half, 1, 0)
	}
	return s
}

func curvesOf(t *testing.T, s *strand.Set) *Curves {
	t.Helper()
	c, err := NewCurves(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// bruteHair is Closest over all hairs without hulls.
func (c *Curves) bruteHair(o, d geom.Vec, tmin, tmax float64, h *CurveHit) bool {
	l := d.Len()
	hi, found := tmax*l, false
	for i := range c.parts {
		if c.part(&c.parts[i], o, d.Mul(1/l), sideOf(o, d), tmin*l, &hi, h) {
			found = true
		}
	}
	if found {
		h.T = hi / l
	}
	return found
}

// rays returns rays about the hairs: from afar, from within, and some that start on a hair.
func hairRay(r *rand.Rand, c *Curves, i int) (o, d geom.Vec) {
	k := &c.knots[r.IntN(len(c.knots))]
	aim := k.vec().Mad(1.2*float64(k.r), geom.UniformSphere(r.Float64(), r.Float64()))
	o = geom.UniformSphere(r.Float64(), r.Float64())
	switch i % 3 {
	case 0:
		o = o.Mul(1000)
	case 1:
		o = o.Mul(4 * r.Float64())
	default:
		return aim, o.Mul(0.1 + 3*r.Float64())
	}
	return o, aim.Sub(o).Mul(0.2 + r.Float64()*2/aim.Sub(o).Len())
}

// Source: the hull of a family of balls, here of 3000 of them one by one.
func TestCone(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for i := range 300 {
		v := func(s float64) [3]float32 {
			return [3]float32{float32(s * r.NormFloat64()), float32(s * r.NormFloat64()), float32(s * r.NormFloat64())}
		}
		a, b := curveKnot{at: v(0.3), r: 0.02 + 0.2*r.Float32()}, curveKnot{at: v(0.3), r: 0.2 * r.Float32()}
		o := geom.UniformSphere(r.Float64(), r.Float64()).Mul(3)
		aim := geom.Lerp(a.vec(), b.vec(), r.Float64()).Mad(0.15, geom.UniformSphere(r.Float64(), r.Float64()))
		if i%5 == 0 { // along the axis
			o = b.vec().Mad(20, b.vec().Sub(a.vec())).Mad(0.02, geom.UniformSphere(r.Float64(), r.Float64()))
			aim = a.vec()
		}
		d := aim.Sub(o).Unit()
		best := math.Inf(1)
		const n = 3000
		for k := range n + 1 {
			s := float64(k) / n
			w := o.Sub(geom.Lerp(a.vec(), b.vec(), s))
			rad := float64(a.r) + s*float64(b.r-a.r)
			m := w.Dot(d)
			if q := rad*rad - w.Mad(-m, d).Len2(); q >= 0 {
				best = min(best, -m-math.Sqrt(q))
			}
		}
		got, _, mid, ok := cone(&a, &b, o, d)
		if ok != !math.IsInf(best, 1) {
			// Between two balls of the many the hull stands out by a millionth.
			if g, _, _, wider := cone(&curveKnot{at: a.at, r: a.r - 1e-5}, &curveKnot{at: b.at, r: b.r - 1e-5}, o, d); wider {
				t.Fatalf("%d: %v, balls at %g, thinner at %g", i, ok, best, g)
			}
			continue
		}
		if ok && (math.Abs(got-best) > 2e-3 || mid < got-1e-9) {
			t.Errorf("%d: enters at %.6f with the middle at %.6f, balls at %.6f", i, got, mid, best)
		}
	}
}

func TestCurves(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 8))
	base := curvesOf(t, tuft(150, r))
	held, err := base.Held(func(p geom.Vec) float64 { return 0.05 + 0.01*math.Abs(p.X) }, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if held == base || held.Base() != base {
		t.Fatal("nothing is held")
	}
	s := NewScratch()
	for _, c := range []*Curves{base, held} {
		hits, outside := 0, 0
		for i := range 6000 {
			o, d := hairRay(r, c, i)
			tmax := math.Inf(1)
			if i%4 == 0 {
				tmax = 3 * r.Float64()
			}
			var h, want CurveHit
			got, ok := c.Closest(s, o, d, 0, tmax, &h), c.bruteHair(o, d, 0, tmax, &want)
			if got != ok || got && (math.Abs(h.T-want.T) > 1e-9*max(1, want.T) || h.Hair != want.Hair) {
				t.Fatalf("thin %v, ray %d: %v %+v, all cones %v %+v", c.thin, i, got, h, ok, want)
			}
			if c.Occluded(s, o, d, 0, tmax) != ok {
				t.Fatalf("ray %d: occluded is not %v", i, ok)
			}
			if !got {
				continue
			}
			hits++
			if !(h.U >= 0 && h.U <= 1 && math.Abs(h.H) <= 1) {
				t.Fatalf("ray %d: %+v", i, h)
			}
			s.Past(c, h.Hair)
			if again := h; c.Closest(s, o, d, 0, tmax, &again) && again.Hair == h.Hair {
				outside++
			}
			s.Past(nil, 0)
		}
		if hits < 1500 || outside > 0 {
			t.Errorf("thin %v: %d hits, %d of hairs to be passed", c.thin, hits, outside)
		}
	}
	var out bytes.Buffer
	w := raw.NewWriter(&out)
	held.Write(w)
	back := ReadCurves(raw.NewReader(out.Bytes()))
	if back == nil || back.Hairs() != base.Hairs() || back.Bounds() != base.Bounds() {
		t.Fatal("the hairs that come back are others")
	}
	o, d := geom.Vec{Z: 100}, geom.Vec{Z: -1}
	if n := testing.AllocsPerRun(100, func() { var h CurveHit; held.Closest(s, o, d, 0, math.Inf(1), &h) }); n != 0 {
		t.Errorf("a ray allocates %g times", n)
	}
}

// Rays meet the hairs where they meet tubes of many sides along the curves, and the tangent is that of the curve.
func TestCurvesAreTubes(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 9))
	set := tuft(30, r)
	c := curvesOf(t, set)
	m := strand.Tubes(set, 64)
	b, err := Build(m.P, m.Tri, Options{})
	if err != nil {
		t.Fatal(err)
	}
	wide, thin := *c, *c
	wide.knots, thin.knots = slices.Clone(c.knots), slices.Clone(c.knots)
	for i := range c.knots {
		wide.knots[i].r += 0.008
		thin.knots[i].r = max(0, thin.knots[i].r-0.008)
	}
	s := NewScratch()
	apart, both, far := 0, 0, 0
	for i := range 4000 {
		o, d := hairRay(r, c, 3*i)
		d = d.Unit()
		var h CurveHit
		var q Hit
		got, want := c.Closest(s, o, d, 0, math.Inf(1), &h), b.Closest(s, o, d, 0, math.Inf(1), &q)
		if got && (h.U < 0.03 || h.U > 0.97) {
			continue // tubes end flat
		}
		if got != want {
			// Along an outline: a hair a little thinner is not met, and one a little wider is.
			var by CurveHit
			if thin.bruteHair(o, d, 0, math.Inf(1), &by) || !wide.bruteHair(o, d, 0, math.Inf(1), &by) {
				apart++
			}
			continue
		}
		if got && math.Abs(h.T-q.T) > 0.02 {
			far++
			continue
		}
		if got {
			both++
			p := o.Mad(h.T, d)
			k := &c.knots[h.Cone]
			if x := c.Tangent(h.Hair, h.U); x.Dot(c.knots[h.Cone+1].vec().Sub(k.vec()).Unit()) < 0.99 {
				t.Errorf("ray %d at %v: tangent %v", i, p, x)
			}
		}
	}
	if both < 2000 || apart > 0 || far > 20 {
		t.Errorf("%d rays meet both alike, %d only one, %d elsewhere", both, apart, far)
	}
}

// The mean cover of a hair stays when it is traced wider: of a strip of rays about it, as many meet it as its own width says.
func TestHeldCover(t *testing.T) {
	set := &strand.Set{}
	set.Add([]geom.Vec{{X: -5}, {X: 0}, {X: 5}}, []float32{0.01, 0.01, 0.01}, 1, 0)
	c, err := curvesOf(t, set).Held(func(geom.Vec) float64 { return 0.1 }, Options{})
	if err != nil {
		t.Fatal(err)
	}
	s := NewScratch()
	r := rand.New(rand.NewPCG(1, 2))
	const n = 40000
	hits, sum, mean := 0, 0.0, 0.0
	for range n {
		var h CurveHit
		y := 0.2 * (r.Float64() - 0.5)
		if c.Closest(s, geom.Vec{X: 8 * (r.Float64() - 0.5), Y: y, Z: 50}, geom.Vec{Z: -1}, 0, math.Inf(1), &h) {
			hits++
			sum += h.H * h.H
			mean += h.T
		}
	}
	if got, want := float64(hits)/n, 0.02/0.2; math.Abs(got-want) > 4*math.Sqrt(want/n) {
		t.Errorf("cover %.4f, want %.4f", got, want)
	}
	// Places across the hair are even, and it is as deep as the true one: pi/4 of its half width before the axis.
	if got := sum / float64(hits); math.Abs(got-1.0/3) > 0.02 {
		t.Errorf("mean square of h: %.3f, want 1/3", got)
	}
	if got := 50 - mean/float64(hits); math.Abs(got-0.01*math.Pi/4) > 2e-4 {
		t.Errorf("met %.5f mm before the axis, want %.5f", got, 0.01*math.Pi/4)
	}
}
