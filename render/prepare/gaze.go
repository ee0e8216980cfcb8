package prepare

import (
	"math"

	"catchlight/scene"
	"catchlight/scene/geom"
)

// looking is one of an object's eyes: where its globe's centre is in the object's place, and how it is turned there.
type looking struct {
	object scene.Object
	at     float64 // x
	turn   geom.Affine
}

// ownSeed sets the left eye of a pair apart: its veins and iris are its own.
const ownSeed = 7919

// gazes returns an object's eyes with their turns; to takes the object's place into the world.
func gazes(b *scene.Object, to geom.Affine) []looking {
	if b.Pair == 0 {
		return []looking{{*b, 0, gaze(b.Gaze, b.Eye.Side == "left", geom.Vec{}, to)}}
	}
	g := b.Gaze
	if g == nil {
		g = &scene.Gaze{Kappa: kappa}
	}
	out := make([]looking, 2)
	for i, side := range []string{"right", "left"} {
		q := &out[i]
		q.object = *b
		q.at = (float64(i) - 0.5) * b.Pair
		e := *b.Eye
		e.Side = side
		if i == 1 {
			e.Seed = int((int64(e.Seed) + ownSeed) & math.MaxInt32)
		}
		q.object.Eye, q.object.Name = &e, b.Name+"."+side
		q.turn = gaze(g, i == 1, geom.Vec{X: q.at}, to)
	}
	return out
}

// kappa is the angle in degrees between the optical axis and the line of sight, which lies nasal of it.
// Source: Le Grand and El Hage, Physiological Optics (1980), give 5 degrees for the angle alpha; from memory.
const kappa = 5

// gaze returns the turn that lets an eye at a place of its object look as g says. The line of sight lies kappa toward the nose
// of the optical axis; from straight ahead it goes to its direction by the smallest rotation.
//
// Source: Listing's law (Helmholtz, Handbuch der physiologischen Optik, section 27).
func gaze(g *scene.Gaze, left bool, at geom.Vec, to geom.Affine) geom.Affine {
	if g == nil {
		return geom.Identity()
	}
	o := scene.Orbit{Azimuth: g.Azimuth, Elevation: g.Elevation}
	d := o.Direction()
	if g.Distance > 0 {
		d = d.Mul(g.Distance / to.Vector(geom.Vec{Z: 1}).Len()).Sub(at).Unit()
	}
	if g.Target != nil {
		d = to.Inverse().Point(*g.Target).Sub(at).Unit()
	}
	k := geom.Radians(g.Kappa)
	if left {
		k = -k
	}
	return geom.RotateY(-k).Then(geom.Turn(geom.Vec{Z: 1}, d))
}

// LooksAlong returns the azimuth and elevation in degrees, in an eye's place, of the point that the object looks at.
func LooksAlong(b *scene.Object) (azimuth, elevation float64) {
	d := place(&b.Transform).Inverse().Point(*b.Gaze.Target).Unit()
	return geom.Degrees(math.Atan2(d.X, d.Z)), geom.Degrees(math.Asin(d.Y))
}
