package surroundings

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// marshDusk is the open marsh after the sun has gone behind a bank of cloud toward +Z: a bright break low in the sky, blue behind.
func marshDusk(key bool) place {
	sky := func(d geom.Vec) colour.RGB {
		up := max(0, d.Y)
		to := math.Acos(max(-1, min(1, d.Dot(v(0, 0.36, 0.933))))) // from the break
		c := colour.Lerp(colour.RGB{0.34, 0.36, 0.42}, colour.RGB{0.1, 0.13, 0.2}, soft(0, 0.9, up))
		c = c.Add(colour.RGB{0.34, 0.2, 0.09}.Scale(soft(1.5, 0.1, to) * soft(0.7, 0, up)))
		cloud := 0.5 + 0.5*noise.Octaves(21, 2.2*d.X/(up+0.25), 0.5, 2.2*d.Z/(up+0.25), 5)
		c = colour.Lerp(c, c.Scale(0.45).Add(colour.RGB{0.05, 0.035, 0.03}.Scale(soft(1, 0.2, to))), soft(0.45, 0.75, cloud))
		if key {
			flat := math.Hypot(math.Atan2(d.X, d.Z)/0.2, (math.Asin(d.Y)-0.37)/0.1)
			c = c.Add(colour.RGB{1.25, 0.95, 0.62}.Scale(soft(1.15, 0.35, flat+0.25*noise.Octaves(22, 6*d.X, 14*d.Y, 0.5, 4))))
		}
		return c
	}
	return marsh(sky, colour.RGB{0.75, 0.66, 0.5}, 0.13, 0.36)
}

// marshOvercast is the marsh under a closed sky, three times as bright above as at the horizon.
//
// Source: CIE S 011/E:2003, the standard overcast sky: (1 + 2 sin of the elevation)/3 of the zenith.
func marshOvercast(key bool) place {
	sky := func(d geom.Vec) colour.RGB {
		up := max(0, d.Y)
		l := (1 + 2*up) / 3
		l *= 1 + 0.22*noise.Octaves(23, 1.4*d.X/(up+0.2), 0.5, 1.4*d.Z/(up+0.2), 5)
		if key { // where the sun stands behind the cloud
			l *= 1 + 0.9*soft(0.5, 0, math.Acos(max(-1, min(1, d.Dot(v(0, 0.55, 0.835))))))
		}
		return colour.RGB{0.95, 1, 1.04}.Scale(0.8 * l)
	}
	return marsh(sky, colour.RGB{0.9, 1, 0.72}, 0.2, 0.3)
}

// marsh is reeds and water under a sky: a channel toward +Z that mirrors it, posts, a hut with a lit window, willows, a ferry and a
// windpump against the horizon. ground tints the reeds, level is their radiance, lit that of the water over the sky's.
func marsh(sky place, ground colour.RGB, level, lit float64) place {
	s := &stage{}
	s.behind = func(d geom.Vec) colour.RGB {
		az := math.Atan2(d.X, d.Z)
		t := d.Y / math.Hypot(d.X, d.Z)
		bank := 0.012 + 0.02*(0.5+0.5*noise.Octaves(31, 5*az, 0.5, 0.5, 3)) + 0.012*noise.Line(32, 140*az)
		if t > bank {
			return sky(d)
		}
		if t > -0.01 {
			return ground.Scale(level * (0.3 + 0.12*noise.Space(33, 90*az, 30*t, 0.5)))
		}
		x, z := -d.X/d.Y, -d.Z/d.Y // in heights of the eye
		half := 0.7 + 0.1*z + 0.25*noise.Line(34, 0.8*z)
		if z > -0.6 && math.Abs(x-0.5*noise.Line(35, 0.25*z)) < half*min(1, math.Sqrt(z+0.6)) { // water
			c := sky(v(d.X+0.05*noise.Space(36, 5*x, 2*z, 0.5), -d.Y+0.02*noise.Space(37, 6*x, 3*z, 0.5), d.Z).Unit())
			return c.Scale(lit + 0.5*soft(0.4, 0, -d.Y))
		}
		g := 1 + 0.4*noise.Octaves(38, 3*x, 3*z, 0.5, 4) + 0.25*noise.Space(39, 40*x, 4*z, 0.5)
		return ground.Scale(level * max(0.25, g))
	}
	dark := shines(ground.Scale(0.6 * level))
	deg := func(az, el, far float64) geom.Vec {
		sa, ca := math.Sincos(az * math.Pi / 180)
		se, ce := math.Sincos(el * math.Pi / 180)
		return v(far*sa*ce, far*se, far*ca*ce)
	}
	for i := range 7 { // posts of the landing, nearer and nearer
		far := 9000 - 1000*float64(i)
		s.box(v(-1100+0.03*far, -700, far), v(110, 1900-90*float64(i), 110), dark)
	}
	s.box(v(-950, -350, 6000), v(60, 90, 6000), dark)
	s.box(deg(24, 2.6, 9000), v(1500, 900, 900), dark) // hut, roof, chimney, lit window
	s.box(deg(24, 6.2, 9100), v(1900, 300, 1200), dark)
	s.box(deg(27, 8, 9100), v(180, 500, 180), dark)
	s.box(deg(23, 2.8, 8400), v(300, 360, 30), shines(colour.RGB{0.6, 0.36, 0.12}))
	for i := range 9 { // willows
		at := deg(-38+2.4*float64(i%3)-14*float64(i/3), 5+1.6*float64(i%2), 9000)
		s.ball(at, v(1100, 1250+300*float64(i%3), 1100), dark)
	}
	s.box(deg(-36, 1.5, 9000), v(160, 1100, 160), dark)
	s.box(deg(62, 8, 9500), v(260, 2600, 260), dark) // windpump
	for i := range 4 {
		a := 0.4 + float64(i)*math.Pi/2
		for k := 1; k < 7; k++ {
			r := 270 * float64(k)
			s.ball(deg(62, 16, 9300).Add(v(0.6*r*math.Cos(a), r*math.Sin(a), -0.8*r*math.Cos(a))), v(330, 330, 330), dark)
		}
	}
	s.ball(v(500, -640, 3800), v(1700, 420, 700), dark) // ferry
	s.box(v(500, -300, 3800), v(60, 1200, 60), dark)
	s.photographer(60, nil)
	return s.see
}
