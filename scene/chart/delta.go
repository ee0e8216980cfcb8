package chart

import "math"

func labRoot(t float64) float64 {
	if t > 216.0/24389 {
		return math.Cbrt(t)
	}
	return (24389.0/27*t + 16) / 116
}

// basis returns the directions to the right and upward of a camera that looks at the origin from an azimuth and an
// elevation in degrees.
func basis(azimuth, elevation float64) (right, up [3]float64) {
	sa, ca := math.Sincos(azimuth * math.Pi / 180)
	se, ce := math.Sincos(elevation * math.Pi / 180)
	return [3]float64{ca, 0, -sa}, [3]float64{-sa * se, ce, -ca * se}
}

// Difference is the CIEDE2000 colour difference of two L*a*b* colours.
//
// Source: ISO/CIE 11664-6; Sharma, Wu and Dalal, The CIEDE2000 Color-Difference Formula, Color Res. Appl. 30, 2005.
func Difference(a, b [3]float64) float64 {
	const deg = math.Pi / 180
	pow7 := func(x float64) float64 { return math.Pow(x, 7) }
	c := (math.Hypot(a[1], a[2]) + math.Hypot(b[1], b[2])) / 2
	g := 0.5 * (1 - math.Sqrt(pow7(c)/(pow7(c)+pow7(25))))
	a1, a2 := (1+g)*a[1], (1+g)*b[1]
	c1, c2 := math.Hypot(a1, a[2]), math.Hypot(a2, b[2])
	hue := func(x, y float64) float64 {
		if x == 0 && y == 0 {
			return 0
		}
		h := math.Atan2(y, x) / deg
		if h < 0 {
			h += 360
		}
		return h
	}
	h1, h2 := hue(a1, a[2]), hue(a2, b[2])
	// Hues that lie opposite each other but for rounding count as opposite: there the formula has a step.
	const half = 180 + 1e-9
	dl, dc, dh := b[0]-a[0], c2-c1, 0.0
	mean := h1 + h2
	if c1*c2 != 0 {
		dh = h2 - h1
		switch {
		case dh > half:
			dh -= 360
		case dh < -half:
			dh += 360
		}
		mean /= 2
		if math.Abs(h1-h2) > half {
			if h1+h2 < 360 {
				mean += 180
			} else {
				mean -= 180
			}
		}
	}
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(dh/2*deg)
	l, cm := (a[0]+b[0])/2, (c1+c2)/2
	t := 1 - 0.17*math.Cos((mean-30)*deg) + 0.24*math.Cos(2*mean*deg) + 0.32*math.Cos((3*mean+6)*deg) - 0.20*math.Cos((4*mean-63)*deg)
	sl := 1 + 0.015*(l-50)*(l-50)/math.Sqrt(20+(l-50)*(l-50))
	sc, sh := 1+0.045*cm, 1+0.015*cm*t
	turn := 30 * math.Exp(-(mean-275)/25*(mean-275)/25)
	rc := 2 * math.Sqrt(pow7(cm)/(pow7(cm)+pow7(25)))
	rt := -math.Sin(2*turn*deg) * rc
	return math.Sqrt(dl/sl*dl/sl + dc/sc*dc/sc + dH/sh*dH/sh + rt*dc/sc*dH/sh)
}
