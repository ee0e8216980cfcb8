package eye

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
)

// Knot is a point of a strand of one's own: across the cluster, outward from the pupil, up toward the cornea, and half width, mm.
type Knot struct{ X, Y, Z, W float64 }

// Own is what an iris is made of in place of the built upper deck: clusters of strands that are set round the pupil, varied so that
// they do not repeat. The lower deck, the pupillary zone, crypts and collarette stay the built ones.
type Own struct {
	Clusters [][][]Knot // strands of each cluster, from the pupil outward
	Count    int        // clusters round the pupil; 0: as many as fill it
	From, To float64    // where they begin and end, shares of the way from margin to root
	Gap      float64    // how uneven the gaps are, 0 to 1
	Vary     float64    // share of what is new in each copy, 0 to 1
	Bend     float64    // how far they follow the built fabric's lean, 0 to 1
	Mirror   bool       // turn some over
	Seed     uint64

	// Guide is a height map of the iris from root to root, Side by Side values; Lift mm is what a difference of 1 makes once it is
	// blurred over 0.1 mm. Strands keep their own fine height.
	Guide []float32
	Side  int
	Lift  float64
}

// Check says what is wrong.
func (o *Own) Check() error {
	var errs []error
	in := func(name string, v, lo, hi float64) {
		if !(v >= lo && v <= hi) {
			errs = append(errs, fmt.Errorf("%s %g is outside [%g, %g]", name, v, lo, hi))
		}
	}
	in("count", float64(o.Count), 0, 400)
	in("from", o.From, 0, 0.9)
	in("to", o.To, o.From+0.05, 1.05)
	in("gap", o.Gap, 0, 1)
	in("vary", o.Vary, 0, 1)
	in("bend", o.Bend, 0, 1)
	in("lift", o.Lift, -0.3, 0.3)
	strands := 0
	for _, c := range o.Clusters {
		for _, s := range c {
			strands++
			if len(s) < 2 {
				errs = append(errs, errors.New("a strand has fewer than two points"))
			}
		}
	}
	if strands > 20000 {
		errs = append(errs, fmt.Errorf("%d strands: at most 20000", strands))
	}
	if len(o.Guide) != o.Side*o.Side {
		errs = append(errs, errors.New("the guide is not square"))
	}
	return errors.Join(errs...)
}

// extent is the box of a cluster.
func extent(c [][]Knot) (x0, x1, y0, y1 float64) {
	x0, x1, y0, y1 = math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, s := range c {
		for _, k := range s {
			x0, x1, y0, y1 = min(x0, k.X), max(x1, k.X), min(y0, k.Y), max(y1, k.Y)
		}
	}
	return
}

// own sets the clusters. Each has a random stream of its own, so that one more or less moves no other.
func (g *grower) own(o *Own) {
	if len(o.Clusters) == 0 {
		return
	}
	n := o.Count
	if n == 0 {
		wide := 0.0
		for _, c := range o.Clusters {
			x0, x1, y0, y1 := extent(c)
			wide += (x1 - x0) * g.width * (o.To - o.From) / max(1e-6, y1-y0) / float64(len(o.Clusters))
		}
		n = min(200, max(6, int(1.25*2*math.Pi*g.radius(0.6)/max(0.05, wide))))
	}
	rng := rand.New(rand.NewPCG(o.Seed, 0x9e3779b97f4a7c15))
	gaps, sum := make([]float64, n), 0.0
	for i := range gaps {
		gaps[i] = math.Exp(0.9 * o.Gap * rng.NormFloat64())
		sum += gaps[i]
	}
	a, last := 2*math.Pi*rng.Float64(), -1
	for i := range n {
		a += 2 * math.Pi * gaps[i] / sum
		r := rand.New(rand.NewPCG(o.Seed+1, uint64(i)))
		k := r.IntN(len(o.Clusters))
		if k == last && len(o.Clusters) > 1 {
			k = (k + 1) % len(o.Clusters) // no neighbours alike
		}
		last = k
		g.setCluster(o, o.Clusters[k], a, r)
	}
}

// setCluster sets one copy about the angle a.
func (g *grower) setCluster(o *Own, c [][]Knot, a float64, r *rand.Rand) {
	x0, x1, y0, y1 := extent(c)
	v := o.Vary
	scale := g.width * (o.To - o.From) / max(1e-6, y1-y0)
	side := 1.0
	if o.Mirror && r.Float64() < 0.5 {
		side = -1
	}
	wide := side * math.Exp(0.3*v*r.NormFloat64())
	slide := 0.12 * v * r.NormFloat64()
	level := 0.02 * v * r.NormFloat64()
	fan, fanAt := 0.5*v*r.NormFloat64(), r.Uint64()
	for _, s := range c {
		skip, seed := r.Float64(), r.Uint64()
		aside, thick, shade, dye := r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
		if skip < 0.35*v {
			continue
		}
		low, high := s[0].Y, s[len(s)-1].Y
		rho := func(y float64) float64 { return o.From + (o.To-o.From)*(y-y0)/max(1e-6, y1-y0) + slide*v }
		from, to := rho(low), rho(high)
		at := func(rho float64) Knot { return along(s, low+(high-low)*min(1, max(0, (rho-from)/max(1e-6, to-from)))) }
		var th [knots + 1]float64
		for k := range th {
			q := float64(k) / knots
			mm := q * g.width
			x := wide*scale*(at(q).X-(x0+x1)/2)*(1+fan*(q-o.From)) + v*(0.16*aside+g.wave*(0.12*noise1(seed, mm/0.9)+0.05*noise1(seed+1, mm/0.35)+0.10*noise1(fanAt, mm/1.4)))
			th[k] = a + (o.Bend*g.drift(a, q)+x)/g.radius(q)
		}
		g.part(&th, 1)
		from, to = max(0.01, from), min(1.03, to)
		if to < from+0.05 {
			continue
		}
		g.strand(&th, from, to, func(q float64) (w, z, st, m float64) {
			k, mm := at(q), q*g.width
			end := geom.Smoothstep(to-0.12, to, q) + geom.Smoothstep(from+0.06, from, q)
			w = min(0.12, max(0.006, k.W*scale)) * math.Exp(0.25*v*thick) * (1 + 0.2*v*noise1(seed+4, mm/0.5)) * (1 - 0.5*min(1, end))
			z = 0.085 + level + min(0.1, max(-0.1, scale*k.Z)) + 0.02*v*noise1(seed+2, mm/0.7) - 0.09*end
			return w, z, math.Exp(0.22*v*shade) * (1 + 0.2*v*noise1(seed+5, mm/0.6)), math.Exp(0.3 * v * dye)
		})
	}
}

// along is the point of a strand at a distance outward.
func along(s []Knot, y float64) Knot {
	for i := 1; i < len(s); i++ {
		if y <= s[i].Y || i == len(s)-1 {
			a, b := s[i-1], s[i]
			t := min(1, max(0, (y-a.Y)/max(1e-9, b.Y-a.Y)))
			return Knot{a.X + t*(b.X-a.X), y, a.Z + t*(b.Z-a.Z), a.W + t*(b.W-a.W)}
		}
	}
	return s[0]
}

// guide lifts the raster by the guide's broad form.
func (pa *painter) guide(o *Own) {
	t := pa.t
	if o == nil || o.Side < 2 || o.Lift == 0 {
		return
	}
	v := make([]float32, t.n*t.n)
	mean, in := 0.0, 0
	for j := range t.n {
		for i := range t.n {
			x, y := t.place(i, j)
			u, w := (0.5+0.5*x/pa.ir.root)*float64(o.Side)-0.5, (0.5-0.5*y/pa.ir.root)*float64(o.Side)-0.5
			u, w = min(float64(o.Side-1), max(0, u)), min(float64(o.Side-1), max(0, w))
			a, b := min(int(u), o.Side-2), min(int(w), o.Side-2)
			fx, fy := float32(u-float64(a)), float32(w-float64(b))
			p := o.Guide[b*o.Side+a:]
			q := o.Guide[(b+1)*o.Side+a:]
			h := (p[0]*(1-fx)+p[1]*fx)*(1-fy) + (q[0]*(1-fx)+q[1]*fx)*fy
			v[j*t.n+i] = h
			if r := math.Hypot(x, y); r > pa.ir.pupil && r < pa.ir.root {
				mean, in = mean+float64(h), in+1
			}
		}
	}
	mean /= float64(max(1, in))
	v = t.blur(v, 0.1*t.ppm)
	for i := range v {
		t.h[i] += float32(o.Lift) * (v[i] - float32(mean))
	}
}
