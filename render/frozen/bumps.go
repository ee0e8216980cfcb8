package frozen

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/noise"
)

// Bumps are those of the wet skin over the white: loose tissue, 5 to 20 um high and 0.1 to 0.4 mm wide, finer than any mesh. They
// tilt what the tear film mirrors of light from outside, and so break glints into core, halo and pinpoints; what passes the
// film keeps the shell's own normal, since bumps of index near the film's hardly bend it. The cornea has none.
//
// They are a sum of two octaves of noise in mm of the eye's frame, the same from every side and at every picture size.
//
// Widths and heights: common practice, no published source; the thickness of the skin that carries them, 0.24 mm: Zhang et al.,
// Cornea 32 (2013), from memory.
type Bumps struct {
	Slope float64 // root of the mean square of the slope in the tangent plane; 0 is none
	Seed  uint64
}

// bumpOctaves are the sizes of the noise's cells in mm, each about the width of a bump, and the shares of the mean square slope.
var bumpOctaves = [2]struct{ size, share float64 }{{0.30, 0.65}, {0.15, 0.35}}

// spaceSlope is the root of the mean square of the part of the gradient of noise.Space that lies in a plane, by own computation
// over 40,000 places; TestBumpsHaveTheSlopeAskedFor holds it.
const spaceSlope = 0.998

// Tilt returns the normal n (unit, eye's frame) at the point p with the bumps on it, where the weight of the iris zone is w.
// Bumps narrower than footprint (mm) are left out and given back as the mean square slope that is lost; 0 leaves none out.
func (b *Bumps) Tilt(n, p geom.Vec, w, footprint float64) (out geom.Vec, lost float64) {
	if b.Slope == 0 || w >= 1 {
		return n, 0
	}
	// Loose tissue is uneven: from half to half as much again, over some mm.
	k := b.Slope * (1 - w) * (1 + 0.5*noise.Space(b.Seed^0x51, 0.35*p.X, 0.35*p.Y, 0.35*p.Z))
	var g geom.Vec
	for i := range bumpOctaves {
		o := &bumpOctaves[i]
		keep := 1.0
		if footprint > 0 {
			keep = geom.Smoothstep(0.8, 0.15, footprint/o.size)
		}
		a := k * math.Sqrt(o.share) / spaceSlope
		lost += (1 - keep*keep) * a * a * spaceSlope * spaceSlope
		if keep > 0 {
			s := 1 / o.size
			_, x, y, z := noise.Slope(b.Seed+uint64(i), s*p.X, s*p.Y, s*p.Z)
			g = g.Mad(keep*a, geom.Vec{X: x, Y: y, Z: z})
		}
	}
	return n.Mad(g.Dot(n), n).Sub(g).Unit(), lost
}

// FilmNormal returns the normal by which the tear film mirrors light from outside: the shading normal n (world) with bumps.
func (e *Eye) FilmNormal(b *Object, n, p geom.Vec, w float64) geom.Vec {
	if e.Bumps.Slope == 0 || w >= 1 {
		return n
	}
	q, _ := e.Bumps.Tilt(b.ToLocal.Vector(n).Unit(), p, w, 0)
	return b.ToWorld.Vector(q).Unit()
}
