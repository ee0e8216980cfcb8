package film

import (
	"math"
	"testing"
)

var kinds = []FilterKind{Gaussian, Hann, Tent, Box}

// Every filter integrates to 1, and the share of samples left of x is the integral of the density to x (midpoint rule,
// 4000 cells).
func TestFilterFollowsDensity(t *testing.T) {
	for _, kind := range kinds {
		for _, radius := range []float64{0.5, 1.5, 3} {
			f, err := NewFilter(kind, radius)
			if err != nil {
				t.Fatal(err)
			}
			const n = 4000
			h := 2 * radius / n
			integral := 0.0
			for i := 0; i < n; i++ {
				x := -radius + h*float64(i)
				// The sample at u = integral so far must stand at x.
				if integral > 1e-4 && integral < 1-1e-4 {
					dx, _ := f.Sample(integral, 0.3)
					if math.Abs(dx-x) > 2e-4*radius {
						t.Fatalf("kind %d radius %v: sample %v of u %v, want %v", kind, radius, dx, integral, x)
					}
				}
				integral += h * f.Density(x+h/2, 0) / f.density(0) * radius
			}
			if math.Abs(integral-1) > 1e-5 {
				t.Errorf("kind %d radius %v: integral %v", kind, radius, integral)
			}
		}
	}
}

// Offsets stay within the radius at the ends of u, increase with it, are symmetric, and dx and dy use their own number.
func TestFilterRange(t *testing.T) {
	for _, kind := range kinds {
		f, _ := NewFilter(kind, 1.5)
		last := -1.5
		for i := 0; i <= 2000; i++ {
			u := float64(i) / 2000
			dx, dy := f.Sample(u, 1-u)
			if !(dx >= last && dx <= 1.5) || math.Abs(dx+dy) > 1e-7 {
				t.Fatalf("kind %d, u %v: %v %v after %v", kind, u, dx, dy, last)
			}
			last = dx
		}
	}
}

// Variances in units of the radius squared: box 1/3; tent 1/6; Hann 1/3 - 2/pi^2 (own computation: the integral of
// x^2 cos(pi x) over [-1, 1] is -4/pi^2); Gaussian cut at 3 deviations
// (1 - 6 phi(3)/(2 Phi(3) - 1))/9.
func TestFilterVariance(t *testing.T) {
	want := map[FilterKind]float64{
		Box:      1.0 / 3,
		Tent:     1.0 / 6,
		Hann:     1.0/3 - 2/(math.Pi*math.Pi),
		Gaussian: (1 - 6*math.Exp(-4.5)/math.Sqrt(2*math.Pi)/math.Erf(3/math.Sqrt2)) / 9,
	}
	for _, kind := range kinds {
		f, _ := NewFilter(kind, 2)
		const n = 20000
		v := 0.0
		for i := 0; i < n; i++ {
			dx, _ := f.Sample((float64(i)+0.5)/n, 0)
			v += dx * dx / n / 4
		}
		if math.Abs(v-want[kind]) > 1e-5 {
			t.Errorf("kind %d: variance %v, want %v", kind, v, want[kind])
		}
	}
}

var sink float64

func BenchmarkFilter(b *testing.B) {
	for _, kind := range kinds {
		f, _ := NewFilter(kind, 1.5)
		b.Run([]string{"gaussian", "hann", "tent", "box"}[kind], func(b *testing.B) {
			u := 0.0
			for b.Loop() {
				x, y := f.Sample(u, 0.7)
				sink += x + y
				u = math.Mod(u+0.618, 1)
			}
		})
	}
}

// Density returns the filter's value at an offset, 1/pixel^2; it integrates to 1.
func (f Filter) Density(dx, dy float64) float64 {
	return f.density(dx/f.radius) * f.density(dy/f.radius) / (f.radius * f.radius)
}

// density is the one-dimensional filter on [-1, 1].
func (f Filter) density(x float64) float64 {
	if !(math.Abs(x) <= 1) {
		return 0
	}
	switch f.kind {
	case Gaussian:
		return 3 / (math.Sqrt(2*math.Pi) * inside) * math.Exp(-4.5*x*x)
	case Hann:
		_, p := hannAt(x)
		return p
	case Tent:
		return 1 - math.Abs(x)
	}
	return 0.5
}
