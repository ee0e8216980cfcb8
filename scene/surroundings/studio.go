package surroundings

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// studioStrips is a dark studio with two tall soft boxes: the key before the eye, a little above, and a rim behind on the other side;
// a white board, stands, a pale roll of paper and a grid of pipes above.
func studioStrips(key bool) place {
	lo, hi := v(-3200, -1300, -3200), v(3200, 2500, 3600)
	lamps := []lamp{{v(0, 900, 1700), v(0, -0.45, -0.9), 3.6e5, 1}, {v(1500, 400, -2000), v(-0.6, 0, 0.8), 3.6e5, 0.7}}
	s := &stage{behind: func(d geom.Vec) colour.RGB {
		p, n := room(d, lo, hi)
		e := on(lamps, p, n)
		t := 1 + 0.1*noise.Octaves(41, p.X/500, p.Y/500, p.Z/500, 4)
		switch {
		case n.Y > 0:
			return colour.RGB{0.42, 0.39, 0.36}.Scale((0.05 + 1.6*e) * t)
		case n.Y < 0:
			if math.Mod(p.X+9000, 800) < 60 || math.Mod(p.Z+9000, 800) < 60 {
				return colour.Grey(0.006)
			}
			return colour.RGB{0.3, 0.3, 0.32}.Scale((0.05 + e) * t)
		}
		amb := 0.045 * (0.7 + 0.6*soft(-1300, 2500, p.Y))
		if n.Z < 0 { // a paper of paler grey
			amb *= 3
		}
		return colour.RGB{0.22, 0.22, 0.24}.Scale((amb + e) * t)
	}}
	strip := func(mid geom.Vec, w, h float64, tint colour.RGB) paintOf {
		return func(p, _ geom.Vec) colour.RGB {
			x, y := 2*math.Hypot(p.X-mid.X, p.Z-mid.Z)/w, 2*math.Abs(p.Y-mid.Y)/h
			return tint.Scale((0.75 + 0.55*soft(1, 0, math.Hypot(x, y)/1.2)) * soft(1.02, 0.9, x) * soft(1.02, 0.95, y))
		}
	}
	black := shines(colour.Grey(0.008))
	if key {
		at := v(0, 900, 1680)
		s.box(at, v(300, 1200, 8), strip(at, 300, 1200, colour.RGB{1.02, 1, 0.97}))
		back := v(1500, 400, -2000)
		s.box(back, v(260, 1400, 200), strip(back, 320, 1400, colour.RGB{0.75, 0.8, 0.88}))
	}
	s.box(v(0, 900, 1720), v(360, 1260, 20), black) // its rim, and its stand
	s.box(v(0, -500, 1740), v(36, 1600, 36), matte(lamps, 0.08, colour.Grey(0.5)))
	s.box(v(-1900, 100, 900), v(60, 1900, 1200), matte(lamps, 0.16, colour.Grey(0.8))) // white board
	s.box(v(-1860, 100, 260), v(90, 1960, 40), black)
	s.box(v(1750, 200, 2300), v(1100, 2300, 60), matte(lamps, 0.11, colour.RGB{0.62, 0.58, 0.52})) // roll of paper
	s.box(v(1750, 1400, 2250), v(1300, 110, 110), matte(lamps, 0.1, colour.RGB{0.4, 0.33, 0.25}))
	s.box(v(1150, 0, 2200), v(40, 2600, 40), black)
	s.box(v(-900, -700, 2500), v(600, 900, 500), matte(lamps, 0.06, colour.RGB{0.3, 0.18, 0.1})) // a crate and a lamp on it
	s.ball(v(-900, -130, 2450), v(190, 240, 190), shines(colour.RGB{0.14, 0.1, 0.06}))
	s.box(v(-1250, 500, 3560), v(800, 1500, 30), matte(lamps, 0.05, colour.RGB{0.2, 0.24, 0.3})) // a door with a lit pane
	s.box(v(-1250, 850, 3530), v(420, 500, 20), shines(colour.RGB{0.14, 0.15, 0.18}))
	s.photographer(58, lamps)
	return s.see
}
