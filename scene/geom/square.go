package geom

import "math"

// ConcentricDisc maps the unit square to the unit disc, area-preserving and with low distortion.
//
// Source: Shirley and Chiu, A Low Distortion Map Between Disk and Square, JGT 2(3), 1997.
func ConcentricDisc(u0, u1 float64) (x, y float64) {
	a, b := 2*u0-1, 2*u1-1
	if a == 0 && b == 0 {
		return 0, 0
	}
	var r, phi float64
	if math.Abs(a) > math.Abs(b) {
		r, phi = a, math.Pi/4*(b/a)
	} else {
		r, phi = b, math.Pi/2-math.Pi/4*(a/b)
	}
	s, c := math.Sincos(phi)
	return r * c, r * s
}

// CosineHemisphere maps the unit square to directions about +Z with density cos/pi per steradian.
func CosineHemisphere(u0, u1 float64) Vec {
	x, y := ConcentricDisc(u0, u1)
	return Vec{x, y, math.Sqrt(max(0, 1-x*x-y*y))}
}

// UniformSphere maps the unit square to directions with density 1/(4 pi) per steradian.
func UniformSphere(u0, u1 float64) Vec {
	z := 1 - 2*u0
	r := math.Sqrt(max(0, 1-z*z))
	s, c := math.Sincos(2 * math.Pi * u1)
	return Vec{r * c, r * s, z}
}
