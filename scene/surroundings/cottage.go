package surroundings

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// cottageRoom is a low room with a small high window of six panes, a table below it, a second window on the left, a door that stands
// ajar, shelves on the right and a hearth behind.
func cottageRoom(key bool) place {
	lo, hi := v(-1900, -1150, -2600), v(1900, 1500, 2200)
	const x0, y0, x1, y1 = -310, 750, 310, 1400
	lamps := []lamp{{v(0, 1080, 2200), v(0, 0, -1), 4e5, 1}, {v(-1900, 450, 500), v(1, 0, 0), 5.6e5, 0.12}, {v(0, -700, -2500), v(0, 0, 1), 3e5, 0.05}}
	s := &stage{behind: func(d geom.Vec) colour.RGB {
		p, n := room(d, lo, hi)
		e := on(lamps, p, n)
		amb := 0.075 * (0.65 + 0.35*soft(-1150, 1500, p.Y)*2)
		if n.Z < 0 { // the window's own wall has the white of the room before it
			amb *= 2.4
		}
		patch := 1 + 0.12*noise.Octaves(3, p.X/300, p.Y/300, p.Z/300, 4)
		switch {
		case n.Y > 0: // floor
			return colour.RGB{0.5, 0.36, 0.24}.Scale((0.8*amb + 1.2*e) * planks(4, p.X, p.Z, 160))
		case n.Y < 0: // ceiling with beams
			return colour.RGB{0.72, 0.68, 0.6}.Scale((amb + e) * patch)
		case n.Z < 0 && within(p.X, p.Y, x0-75, y0-75, x1+75, y1+75):
			if !within(p.X, p.Y, x0, y0, x1, y1) {
				return colour.RGB{0.16, 0.15, 0.135}.Scale(patch)
			}
			if !key {
				return colour.RGB{}
			}
			if grid(p.X, p.Y, x0, y0, x1, y1, 2, 3, 42) {
				return colour.Grey(0.06)
			}
			return outside(5, v(d.X, d.Y-0.36*math.Hypot(d.X, d.Z), d.Z), 0.25)
		case n.X > 0 && within(p.Z, p.Y, 150, 80, 850, 880):
			if grid(p.Z, p.Y, 150, 80, 850, 880, 2, 2, 45) {
				return colour.Grey(0.02)
			}
			return outside(6, d, 0.6).Mul(colour.RGB{0.13, 0.16, 0.2})
		case n.X > 0 && within(p.Z, p.Y, 80, 10, 920, 950):
			return colour.RGB{0.035, 0.032, 0.03}
		case p.Y < -350: // panelling
			across := p.X
			if n.X != 0 {
				across = p.Z
			}
			return colour.RGB{0.36, 0.25, 0.16}.Scale((amb + e) * planks(7, across, p.Y, 210))
		}
		return colour.RGB{0.66, 0.6, 0.5}.Scale((amb + e) * patch)
	}}
	cottageThings(s, lamps)
	return s.see
}

// cottageThings furnishes the room.
func cottageThings(s *stage, lamps []lamp) {
	wood := matte(lamps, 0.05, colour.RGB{0.22, 0.13, 0.07})
	dark := matte(lamps, 0.05, colour.RGB{0.09, 0.06, 0.045})
	clay := matte(lamps, 0.08, colour.RGB{0.5, 0.25, 0.14})
	white := matte(lamps, 0.09, colour.RGB{0.75, 0.73, 0.68})
	linen := func(p, n geom.Vec) colour.RGB {
		return colour.RGB{0.3, 0.28, 0.24}.Scale(1 + 0.35*math.Sin(p.X/9+2*noise.Line(8, p.Y/400)))
	}
	for i := range 6 { // beams
		s.box(v(-1500+600*float64(i), 1430, -200), v(130, 140, 4800), dark)
	}
	s.box(v(0, 655, 2110), v(900, 36, 180), shines(colour.RGB{0.31, 0.29, 0.26})) // sill
	s.box(v(-400, 1100, 2150), v(110, 830, 40), linen)
	s.box(v(400, 1100, 2150), v(110, 830, 40), linen)
	s.ball(v(-180, 735, 2090), v(95, 150, 95), clay)
	s.ball(v(140, 705, 2090), v(70, 66, 70), matte(lamps, 0.1, colour.RGB{0.6, 0.12, 0.06}))
	s.box(v(-100, -400, 1750), v(1300, 45, 700), wood) // table
	for _, x := range []float64{-700, 500} {
		s.box(v(x, -790, 1500), v(70, 740, 70), wood)
		s.box(v(x, -790, 2000), v(70, 740, 70), wood)
	}
	s.ball(v(-380, -310, 1750), v(260, 150, 260), white)
	s.ball(v(-80, -270, 1850), v(85, 250, 85), matte(lamps, 0.04, colour.RGB{0.1, 0.2, 0.12}))
	s.ball(v(260, -320, 1700), v(300, 130, 170), matte(lamps, 0.07, colour.RGB{0.5, 0.33, 0.16}))
	s.box(v(-650, -350, 1650), v(200, 50, 150), matte(lamps, 0.06, colour.RGB{0.35, 0.07, 0.05}))
	s.box(v(1400, -150, 2170), v(720, 2000, 50), func(p, n geom.Vec) colour.RGB { // door, ajar
		return colour.RGB{0.36, 0.42, 0.4}.Scale((0.13 + on(lamps, p, n)) * planks(9, p.X, p.Y, 150))
	})
	s.box(v(1785, -150, 2180), v(34, 2000, 30), shines(colour.RGB{0.5, 0.51, 0.52}))
	for i, y := range []float64{-100, 350, 800} { // shelves with plates and jars
		s.box(v(1760, y, 700), v(260, 30, 1500), wood)
		for k := range 6 {
			z := 120 + 220*float64(k)
			switch (k + i) % 3 {
			case 0:
				s.ball(v(1840, y+135, z), v(36, 220, 220), white)
			case 1:
				s.ball(v(1770, y+100, z), v(120, 170, 120), clay)
			case 2:
				s.box(v(1770, y+95, z), v(140, 160, 60), matte(lamps, 0.07, colour.RGB{0.12, 0.2, 0.3}))
			}
		}
	}
	s.box(v(-1300, 520, 2185), v(420, 540, 25), dark) // a picture with a pale mount
	s.box(v(-1300, 520, 2170), v(340, 460, 25), white)
	s.box(v(-1300, 520, 2155), v(230, 320, 25), matte(lamps, 0.07, colour.RGB{0.2, 0.26, 0.22}))
	s.box(v(-1350, -650, 1200), v(420, 60, 420), wood) // chair
	s.box(v(-1540, -330, 1200), v(50, 620, 420), wood)
	s.box(v(0, -500, -2550), v(1300, 1300, 60), dark) // hearth
	s.box(v(0, -700, -2500), v(600, 500, 30), shines(colour.RGB{0.12, 0.045, 0.012}))
	s.photographer(62, lamps)
}
