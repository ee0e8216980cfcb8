package film

import (
	"fmt"
	"math"
)

// FilterKind is a pixel reconstruction filter. All are products of one function of x and of y, and nowhere negative:
// a bright catchlight must not ring.
type FilterKind uint8

const (
	// Gaussian has a standard deviation of a third of its radius, and is cut at the radius.
	Gaussian FilterKind = iota
	// BlackmanHarris is the four-term minimum window of Harris (On the use of windows for harmonic analysis with the
	// discrete Fourier transform, Proc. IEEE 66(1), 1978).
	BlackmanHarris
	// Box is constant; with a radius of 0.5 it is the pixel itself.
	Box
)

// ParseFilter returns the kind of a name: gaussian, blackman-harris or box.
func ParseFilter(name string) (FilterKind, error) {
	switch name {
	case "gaussian":
		return Gaussian, nil
	case "blackman-harris":
		return BlackmanHarris, nil
	case "box":
		return Box, nil
	}
	return 0, fmt.Errorf("film: filter %q is none of gaussian, blackman-harris, box", name)
}

// Filter draws positions from its own density, so that every sample has the weight 1 and belongs to one pixel.
//
// Source: Ernst, Stamminger and Greiner, Filter Importance Sampling, IEEE Symposium on Interactive Ray Tracing 2006.
type Filter struct {
	kind   FilterKind
	radius float64
}

// NewFilter returns a filter of a radius in pixels, in (0, 16].
func NewFilter(kind FilterKind, radius float64) (Filter, error) {
	if kind > Box {
		return Filter{}, fmt.Errorf("film: filter kind %d is unknown", kind)
	}
	if !(radius > 0 && radius <= 16) {
		return Filter{}, fmt.Errorf("film: filter radius %v pixels is outside (0, 16]", radius)
	}
	return Filter{kind, radius}, nil
}

// Sample maps u0, u1 in [0, 1] to an offset from the pixel's centre, in pixels, within the radius in x and in y.
func (f Filter) Sample(u0, u1 float64) (dx, dy float64) {
	switch f.kind {
	case Gaussian:
		return f.radius * gaussian(u0), f.radius * gaussian(u1)
	case BlackmanHarris:
		return f.radius * harris(u0), f.radius * harris(u1)
	}
	return f.radius * (2*u0 - 1), f.radius * (2*u1 - 1)
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
	case BlackmanHarris:
		_, p := harrisAt(x)
		return p
	}
	return 0.5
}

// inside is the share of a normal density within three standard deviations.
var inside = math.Erf(3 / math.Sqrt2)

// gaussian inverts the distribution of a normal density with deviation 1/3 cut to [-1, 1].
func gaussian(u float64) float64 {
	x := math.Erfinv((2*u-1)*inside) * (math.Sqrt2 / 3)
	return min(max(x, -1), 1)
}

// harrisAt returns the distribution and the density of the Blackman-Harris window over [-1, 1].
func harrisAt(x float64) (cdf, pdf float64) {
	const a0, a1, a2, a3 = 0.35875, 0.48829, 0.14128, 0.01168
	s, c := math.Sincos(math.Pi * x)
	s2, c2 := 2*s*c, 2*c*c-1
	s3, c3 := s2*c+c2*s, c2*c-s2*s
	pdf = (a0 + a1*c + a2*c2 + a3*c3) / (2 * a0)
	cdf = 0.5 + (a0*x+(a1*s+a2/2*s2+a3/3*s3)/math.Pi)/(2*a0)
	return cdf, pdf
}

// harris inverts the distribution: a start from a table of 64 intervals, then Newton steps held in the interval.
func harris(u float64) float64 {
	i := min(int(u*64), 63)
	lo, hi := harrisTable[i], harrisTable[i+1]
	x := lo + (hi-lo)*(u*64-float64(i))
	for n := 0; n < 8; n++ {
		cdf, pdf := harrisAt(x)
		if cdf < u {
			lo = x
		} else {
			hi = x
		}
		y := x + (u-cdf)/pdf
		if !(y >= lo && y <= hi) {
			y = (lo + hi) / 2
		}
		if math.Abs(y-x) < 1e-9 {
			return y
		}
		x = y
	}
	return x
}

var harrisTable = func() (t [65]float64) {
	t[0], t[64] = -1, 1
	for i := 1; i < 64; i++ {
		lo, hi := -1.0, 1.0
		for n := 0; n < 60; n++ {
			m := (lo + hi) / 2
			if cdf, _ := harrisAt(m); cdf < float64(i)/64 {
				lo = m
			} else {
				hi = m
			}
		}
		t[i] = lo
	}
	return t
}()
