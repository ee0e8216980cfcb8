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
	// Hann is a raised cosine that is 0 at the radius (Blackman and Tukey, The Measurement of Power Spectra, 1958, B.5).
	Hann
	// Tent falls in a straight line to 0 at the radius; with a radius of 1 it interpolates linearly between pixels.
	Tent
	// Box is constant; with a radius of 0.5 it is the pixel itself.
	Box
)

// ParseFilter returns the kind of a name: gaussian, hann, tent or box.
func ParseFilter(name string) (FilterKind, error) {
	switch name {
	case "gaussian":
		return Gaussian, nil
	case "hann":
		return Hann, nil
	case "tent":
		return Tent, nil
	case "box":
		return Box, nil
	}
	return 0, fmt.Errorf("film: filter %q is none of gaussian, hann, tent, box", name)
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
	case Hann:
		return f.radius * hann(u0), f.radius * hann(u1)
	case Tent:
		return f.radius * tent(u0), f.radius * tent(u1)
	}
	return f.radius * (2*u0 - 1), f.radius * (2*u1 - 1)
}

// inside is the share of a normal density within three standard deviations.
var inside = math.Erf(3 / math.Sqrt2)

// gaussian inverts the distribution of a normal density with deviation 1/3 cut to [-1, 1].
func gaussian(u float64) float64 {
	x := math.Erfinv((2*u-1)*inside) * (math.Sqrt2 / 3)
	return min(max(x, -1), 1)
}

// hannAt returns the distribution and the density of the raised cosine over [-1, 1].
func hannAt(x float64) (cdf, pdf float64) {
	s, c := math.Sincos(math.Pi * x)
	return 0.5 * (1 + x + s/math.Pi), 0.5 * (1 + c)
}

// hann inverts the distribution by Newton steps. Near an end, where the density vanishes, they start from the cubic that
// the distribution is there, pi^2 (1+x)^3/12.
func hann(u float64) float64 {
	if u > 0.5 {
		return -hann(1 - u)
	}
	if u <= 0 {
		return -1
	}
	x := math.Cbrt(12*u/(math.Pi*math.Pi)) - 1
	for n := 0; n < 16; n++ {
		cdf, pdf := hannAt(x)
		step := (u - cdf) / pdf
		x = min(max(x+step, -1), 0)
		if !(math.Abs(step) > 1e-12*(1+x)) {
			break
		}
	}
	return max(x, -1)
}

// tent inverts the distribution of a triangle over [-1, 1].
func tent(u float64) float64 {
	if u < 0.5 {
		return math.Sqrt(2*u) - 1
	}
	return 1 - math.Sqrt(2*(1-u))
}
