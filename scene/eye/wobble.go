package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
)

// wave is one plane wave of a displacement field: amp cos(k.p + phase).
type wave struct {
	k          geom.Vec
	phase, amp float64
}

// wobble is the displacement of the outer shell along its normal, in mm, as a function of position: a sum of plane
// waves per zone, octave by octave, slope falling with wavelength so that curvature stays about level.
type wobble struct {
	cornea, sclera []wave
	chart          *chart
}

func newWobble(p *Params, c *chart, prof *profile) *wobble {
	w := &wobble{chart: c}
	w.cornea = octaves(stream(p.Seed, "wobble cornea"), p.WobbleSize, p.MeshDetail, 3, 14)
	// The sclera's begins an octave finer: its loose skin breaks a reflection, but long waves would dent the ball's outline.
	w.sclera = octaves(stream(p.Seed, "wobble sclera"), p.WobbleSize/2, p.MeshDetail, 3, 14)
	// Scale to the slope asked for, measured on the undisplaced surface of each zone.
	w.scale(w.cornea, p.WobbleSlopeCornea, prof, 0, prof.b)
	w.scale(w.sclera, p.WobbleSlopeSclera, prof, prof.a, 0.98*p.GlobeRadius)
	return w
}

// octaves returns n waves an octave, the first of the given wavelength, each octave with half the slope of the last.
// Directions are spread evenly over the sphere, so no direction is favoured. Octaves that a mesh of the given edge
// length cannot carry are left out, but for the first.
func octaves(rng *rand.Rand, size, edge float64, count, n int) []wave {
	var ws []wave
	for o := range count {
		if o > 0 && size*math.Exp2(-float64(o)) < 4.5*edge {
			break
		}
		shift := rng.Float64()
		for i := range n {
			l := size * math.Exp2(-float64(o)-0.45*rng.Float64())
			k := 2 * math.Pi / l
			u := math.Mod(float64(i)*0.6180339887498949+shift, 1)
			d := geom.UniformSphere((float64(i)+rng.Float64())/float64(n), u)
			ws = append(ws, wave{k: d.Mul(k), phase: 2 * math.Pi * rng.Float64(), amp: l * l})
		}
	}
	return ws
}

// scale multiplies the amplitudes so that the root-mean-square slope over the ring of half chords r0 to r1 is slope.
func (w *wobble) scale(ws []wave, slope float64, prof *profile, r0, r1 float64) {
	const n = 4096
	sum := 0.0
	for i := range n {
		// Evenly spread over the ring by the golden angle.
		r := math.Sqrt(r0*r0 + (r1*r1-r0*r0)*(float64(i)+0.5)/n)
		st := prof.front(r)
		s, c := math.Sincos(float64(i) * math.Pi * (3 - math.Sqrt(5)))
		p, nv := geom.Vec{X: r * c, Y: r * s, Z: st.z}, geom.Vec{X: st.nr * c, Y: st.nr * s, Z: st.nz}
		_, g := field(ws, p)
		sum += g.Mad(-g.Dot(nv), nv).Len2()
	}
	k := 0.0
	if sum > 0 {
		k = slope / math.Sqrt(sum/n)
	}
	for i := range ws {
		ws[i].amp *= k
	}
}

// field returns the sum of waves at p and its gradient.
func field(ws []wave, p geom.Vec) (h float64, g geom.Vec) {
	for i := range ws {
		w := &ws[i]
		s, c := math.Sincos(w.k.Dot(p) + w.phase)
		h += w.amp * c
		g = g.Mad(-w.amp*s, w.k)
	}
	return h, g
}

// at returns the displacement in mm at the point p of the undisplaced surface, and its gradient.
func (w *wobble) at(p geom.Vec) (h float64, g geom.Vec) {
	z, dz := w.chart.zone(p)
	if z > 0 {
		hc, gc := field(w.cornea, p)
		h, g = z*hc, gc.Mul(z).Mad(hc, dz)
	}
	if z < 1 {
		hs, gs := field(w.sclera, p)
		h += (1 - z) * hs
		g = g.Mad(1-z, gs).Mad(-hs, dz)
	}
	return h, g
}

// stream returns the random numbers of one purpose: purposes never share numbers, so a change to one leaves the
// others as they are.
func stream(seed uint64, purpose string) *rand.Rand {
	h := uint64(14695981039346656037) // FNV-1a: Fowler, Noll and Vo, RFC 9923
	for i := range len(purpose) {
		h = (h ^ uint64(purpose[i])) * 1099511628211
	}
	return rand.New(rand.NewPCG(seed, h))
}
