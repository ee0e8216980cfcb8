package surroundings

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// boathouseDoor is a dark timber shed whose tall door stands open on water, with a boat on the slip, oars, nets and a small skylight.
func boathouseDoor(key bool) place {
	lo, hi := v(-2600, -1300, -4200), v(2600, 2300, 4200)
	const x0, y0, x1, y1 = -430, -250, 430, 1750
	lamps := []lamp{{v(0, 750, 4200), v(0, 0, -1), 1.7e6, 1}, {v(-900, 2300, 900), v(0, -1, 0), 4e5, 0.25}}
	s := &stage{behind: func(d geom.Vec) colour.RGB {
		p, n := room(d, lo, hi)
		e := on(lamps, p, n)
		amb := 0.05 * (0.7 + 0.6*soft(-1300, 2300, p.Y))
		if n.Z < 0 { // the wall of the door has the lit slip before it
			amb *= 2.6
		}
		across, along := p.X, p.Y
		switch {
		case n.Z < 0 && within(p.X, p.Y, x0-90, y0, x1+90, y1+90):
			if !within(p.X, p.Y, x0, y0, x1, y1) {
				return colour.RGB{0.13, 0.115, 0.1}
			}
			if !key {
				return colour.RGB{}
			}
			return throughDoor(d)
		case n.Y < 0 && within(p.X, p.Z, -1200, 600, -600, 1200): // skylight
			if grid(p.X, p.Z, -1200, 600, -600, 1200, 2, 1, 40) {
				return colour.Grey(0.02)
			}
			return colour.RGB{0.17, 0.19, 0.22}.Scale(1 + 0.3*noise.Octaves(11, p.X/200, p.Z/200, 0.5, 3))
		case n.Y > 0: // planks of the slip, wet: they mirror the door
			wet := soft(0.6, 0, math.Abs(d.X)/max(0.05, d.Z)) * soft(0, 1, d.Z)
			return colour.RGB{0.3, 0.26, 0.21}.Scale((0.06 + 1.5*e) * planks(12, p.X, p.Z, 230)).Add(colour.RGB{0.07, 0.075, 0.08}.Scale(wet * (0.6 + 0.4*noise.Octaves(13, p.X/90, p.Z/250, 0.5, 3))))
		case n.Y < 0:
			across, along = p.Z, p.X
		case n.X != 0:
			across = p.Z
		}
		return colour.RGB{0.34, 0.27, 0.2}.Scale((amb + e) * planks(14, across, along, 190))
	}}
	dark := matte(lamps, 0.04, colour.RGB{0.12, 0.09, 0.07})
	pale := matte(lamps, 0.07, colour.RGB{0.55, 0.47, 0.36})
	for i := range 7 { // rafters
		s.box(v(0, 2150, -3600+1200*float64(i)), v(5200, 180, 120), dark)
	}
	s.box(v(-760, 750, 4050), v(560, 2000, 60), func(p, n geom.Vec) colour.RGB { // a leaf of the door, its edge lit
		return colour.RGB{0.2, 0.17, 0.13}.Scale((0.12 + on(lamps, p, n)) * planks(15, p.X, p.Y, 140))
	})
	s.box(v(-470, 750, 4010), v(36, 2000, 60), shines(colour.RGB{0.33, 0.32, 0.3}))
	s.ball(v(1500, -800, 1700), v(1300, 900, 3600), func(p, n geom.Vec) colour.RGB { // boat, strake by strake
		t := 1.0
		if f := math.Mod(p.Y+3000, 130); f < 12 {
			t = 0.4
		}
		return colour.RGB{0.16, 0.28, 0.32}.Scale((0.06 + 1.2*on(lamps, p, n)) * t)
	})
	s.ball(v(1500, -350, 1700), v(1340, 90, 3640), pale) // its rail
	for i := range 3 {                                   // oars on the wall
		s.box(v(-2540, 500+220*float64(i), 1500), v(50, 50, 2600), pale)
		s.box(v(-2540, 500+220*float64(i), 2950), v(30, 170, 420), pale)
	}
	s.ball(v(-1700, -850, 2300), v(760, 900, 760), matte(lamps, 0.05, colour.RGB{0.28, 0.17, 0.09})) // barrel
	s.ball(v(-1650, -360, 2250), v(620, 160, 620), matte(lamps, 0.05, colour.RGB{0.35, 0.36, 0.3}))  // coil of rope
	s.box(v(-1100, 1100, 2500), v(20, 1800, 20), dark)                                               // lantern on its rope
	s.ball(v(-1100, 150, 2500), v(130, 190, 130), shines(colour.RGB{0.3, 0.19, 0.08}))
	s.box(v(2500, 600, 2600), v(60, 1400, 900), func(p, _ geom.Vec) colour.RGB { // net
		if math.Mod(p.Y+p.Z+9000, 70) < 9 || math.Mod(p.Y-p.Z+9000, 70) < 9 {
			return colour.RGB{0.06, 0.065, 0.05}
		}
		return colour.RGB{0.012, 0.012, 0.01}
	})
	s.photographer(60, lamps)
	return s.see
}

// throughDoor is the sky, the far shore, and the water with its posts, in the directions of the door.
func throughDoor(d geom.Vec) colour.RGB {
	t, x := d.Y/d.Z, d.X/d.Z
	shore := 0.018 + 0.012*noise.Octaves(16, 40*x, 0.5, 0.5, 4)
	post := func(at, top float64) bool { return math.Abs(x-at) < 0.006 && t < top && t > -0.05 }
	switch {
	case post(-0.045, 0.06), post(0.062, 0.085), math.Abs(t-0.035) < 0.004 && x > -0.045 && x < 0.062:
		return colour.RGB{0.05, 0.045, 0.04}
	case t > shore:
		return colour.Lerp(colour.RGB{0.78, 0.7, 0.6}, colour.RGB{0.95, 1, 1.08}, soft(0, 0.35, t)).Scale(1 + 0.1*noise.Octaves(17, 9*x, 25*t, 0.5, 4))
	case t > -0.004:
		return colour.RGB{0.07, 0.08, 0.055}
	}
	return colour.RGB{0.42, 0.45, 0.48}.Scale(1 + 0.35*noise.Octaves(18, 12*x/(0.02-t), 3/(0.02-t), 0.5, 3))
}
