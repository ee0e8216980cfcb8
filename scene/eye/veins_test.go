package eye

import (
	"math"
	"testing"

	"catchlight/scene/geom"
)

// grownNets grows the nets of the default list of an eye, by name, at a size that is quick to draw.
func grownNets(seed uint64) map[string]*net {
	p := Defaults()
	p.Seed, p.MapSize = seed, 512
	out := map[string]*net{}
	for i := range p.Paint {
		if l := &p.Paint[i]; l.isNet() {
			out[l.Name] = newNet(&p, l)
		}
	}
	return out
}

// At a fork the cube of the parent's radius is the sum of the cubes of the two that go on. Source: Murray, PNAS 12 (1926), 207.
func TestMurray(t *testing.T) {
	for name, v := range grownNets(3) {
		forks, least := 0, math.Inf(1)
		for _, q := range v.vessels {
			if q.parent == nil {
				continue
			}
			f := q.fork
			forks++
			least = min(least, f.side/f.after)
			if sum := math.Pow(f.after, 3) + math.Pow(f.side, 3); math.Abs(sum-math.Pow(f.before, 3)) > 1e-9*sum {
				t.Fatalf("%s: %+v", name, f)
			}
		}
		if name != "arcades" && (forks < 20 || least < 0.39) {
			t.Errorf("%s: %d forks, the most uneven %.2f", name, forks, least)
		}
	}
}

// Vessels bend smoothly: none turns by more than 25 degrees along its own width, as far as steps of finite length tell it. They
// wind by 1.05 to 1.25, the deep ones less, and fork many times one after another. Widths and depths are those of their
// layer. Source of the bounds: common practice, no published source.
func TestNoZigzag(t *testing.T) {
	for name, v := range grownNets(5) {
		s := v.stats()
		t.Logf("%s: %+v", name, s)
		if s.Length < 50 || s.Turn > 26.5 {
			t.Errorf("%s: %.0f mm, the sharpest turns by %.1f degrees along its width", name, s.Length, s.Turn)
		}
		if name == "shallow-vessels" && (s.Levels < 5 || s.Levels > 16 || s.Winding < 1.05 || s.Winding > 1.25) {
			t.Errorf("%s: %d levels, path over chord %.2f", name, s.Levels, s.Winding)
		}
	}
}

// covered returns the share of the exposed white, from 2 mm outside the limbus to 70 degrees, that vessels take more than a
// tenth of the green light of.
func covered(vs map[string]*net) float64 {
	limbus := math.Asin(5.85 / 12)
	n, of := 0, 0
	for i := range 200 {
		phi := limbus + 2.0/12 + (geom.Radians(70)-limbus-2.0/12)*(float64(i)+0.5)/200
		for j := range 1000 {
			s, c := math.Sincos(2 * math.Pi * (float64(j) + 0.5) / 2000)
			d := 0.0
			for _, v := range vs {
				d += v.at(phi, c, s)
			}
			of++
			if d > 0.105 {
				n++
			}
		}
	}
	return float64(n) / float64(of)
}

// At rest vessels cover some 5 to 10 % of the white, in any eye. Source: common practice, no published source.
func TestShareOfVessels(t *testing.T) {
	for _, seed := range []uint64{0, 6, 22} {
		vs := grownNets(seed + 1)
		c := covered(vs)
		t.Logf("seed %d: %.3f", seed+1, c)
		if c < 0.05 || c > 0.10 {
			t.Errorf("seed %d: vessels cover %.3f of the white", seed+1, c)
		}
	}
}

// The deeper a vessel lies, the paler it is and the less blue it takes beside green: orange-red on top, mauve below. The wider,
// the darker. At the places that were computed the table is what was computed: light that passes, red, green, blue.
func TestBloodByDepth(t *testing.T) {
	for _, d := range []float64{0.012, 0.03, 0.05, 0.1, 0.2} {
		last := seenBlood(d, 0)
		for z := 0.05; z < 0.36; z += 0.05 {
			b := seenBlood(d, z)
			if b[1] >= last[1] || b[2]/b[1] >= last[2]/last[1] || b[1] >= seenBlood(1.3*d, z)[1] && d < 0.15 {
				t.Errorf("diameter %g mm: density %v at %g mm, %v above it", d, b, z, last)
			}
			last = b
		}
	}
	for _, q := range []struct{ d, z, r, g, b float64 }{
		{0.03, 0, 0.97, 0.45, 0.33}, {0.06, 0, 0.93, 0.21, 0.13}, {0.03, 0.10, 0.95, 0.50, 0.54}, {0.03, 0.20, 0.95, 0.69, 0.77},
		{0.12, 0.20, 0.92, 0.60, 0.71}, {0.12, 0.35, 0.95, 0.78, 0.88}, {0.20, 0.35, 0.91, 0.74, 0.86}} {
		s := seenBlood(q.d, q.z)
		for i, want := range [3]float64{q.r, q.g, q.b} {
			if got := math.Exp(-s[i]); math.Abs(got-want) > 0.006 {
				t.Errorf("%g mm at %g mm, channel %d: passes %.3f, computed %.2f", q.d, q.z, i, got, want)
			}
		}
	}
}
