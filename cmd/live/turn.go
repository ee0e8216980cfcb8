package live

import (
	"fmt"
	"math"
	"strings"

	prep "catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/edit"
	"catchlight/scene/geom"
)

// The handles that Turn knows.
const (
	HandleOrbit       = "orbit"       // empty space: the camera goes about its target
	HandleGaze        = "gaze"        // on the iris: the eye follows
	HandlePupil       = "pupil"       // the pupil's edge: its diameter
	HandleLimbus      = "limbus"      // the limbus: the width of its blend
	HandleEnvironment = "environment" // the surroundings turn
)

// How far a drag over the whole width of the film turns, in degrees, and what fine drags are of others. Our own choice, by hand.
const (
	orbitTurn       = 120.0
	environmentTurn = 180.0
	fineShare       = 0.1
)

// Turn returns the changes of a scene's keys that a drag of a handle from one point of the film to another makes, from the scene of the last
// picture, within the keys' ranges. fine makes a tenth of it.
func (e *Engine) Turn(handle string, from, to [2]float64, fine bool) ([]edit.Change, error) {
	s := e.shown.Load()
	if s == nil {
		return nil, errNothing
	}
	return e.rings.turn(s, handle, from, to, fine)
}

func (k *ringsOf) turn(s *state, handle string, from, to [2]float64, fine bool) ([]edit.Change, error) {
	for _, v := range []float64{from[0], from[1], to[0], to[1]} {
		if !(math.Abs(v) <= 100) {
			return nil, fmt.Errorf("a drag from %v to %v of the film; it may go from -100 to 100", from, to)
		}
	}
	if fine {
		for c := range to {
			to[c] = from[c] + fineShare*(to[c]-from[c])
		}
	}
	switch handle {
	case HandleOrbit:
		return orbit(s, from, to)
	case HandleEnvironment:
		return environment(s.d, to[0]-from[0]), nil
	case HandleGaze, HandlePupil, HandleLimbus:
	default:
		return nil, fmt.Errorf("there is no handle %q", handle)
	}
	eye := front(s.p, from[0], from[1])
	v := k.look(s.p, eye)
	if v == nil {
		return nil, fmt.Errorf("the scene has no eye")
	}
	b := owner(s.d, v)
	if b == nil {
		return nil, fmt.Errorf("the eye is of no object of the scene")
	}
	switch handle {
	case HandleGaze:
		return gaze(v, b, from, to)
	case HandlePupil:
		return pupilOf(v, b, from, to)
	}
	c := v.share(v.middle())
	mm := v.pixel(v.outer.ToWorld.Point(geom.Vec{Z: v.e.LimbusRadius})) * v.w / v.outer.Scale
	out := 2 * mm * (v.away(to, c) - v.away(from, c))
	return one(b, "limbus.width", round(within(b.Eye.Limbus.Width+out, "objects.limbus.width", b.Eye.Asset == nil), 3)), nil
}

// owner is the object of the description that an eye belongs to.
func owner(d *scene.Description, v *sight) *scene.Object {
	name := strings.TrimSuffix(v.outer.Name, ".outer")
	for i := range d.Objects {
		b := &d.Objects[i]
		if b.Shape == "eye" && (b.Name == name || b.Pair > 0 && (b.Name+".right" == name || b.Name+".left" == name)) {
			return b
		}
	}
	return nil
}

func one(b *scene.Object, key string, value any) []edit.Change {
	return []edit.Change{{Key: "objects." + b.Name + "." + key, Value: value}}
}

// middle is the film position of the pupil's centre.
func (v *sight) middle() (px, py float64) {
	q := v.outer.ToWorld.Point(v.rings.centre)
	px, py, ok := v.through(q)
	if !ok {
		px, py, _ = v.onto(q)
	}
	return px, py
}

// away is how far one point of the film is from another, in shares of its width.
func (v *sight) away(a, b [2]float64) float64 {
	return math.Hypot(a[0]-b[0], (a[1]-b[1])*v.h/v.w)
}

// orbit turns the camera: what is dragged follows.
func orbit(s *state, from, to [2]float64) ([]edit.Change, error) {
	c := &s.p.Description.Camera // in place, where the scene leaves it to the program
	if c.Kind == "plate" {
		return nil, fmt.Errorf("an irradiance plate does not turn")
	}
	o := scene.Orbit{Distance: 1000}
	switch {
	case c.Orbit != nil:
		o = *c.Orbit
	case c.Position != nil:
		d := c.Position.Sub(c.Target)
		o.Azimuth, o.Elevation = angles(d)
		o.Distance = d.Len()
	}
	h := float64(s.p.Description.Picture.Height) / float64(s.p.Description.Picture.Width)
	az := round(math.Remainder(o.Azimuth-orbitTurn*(to[0]-from[0]), 360), 3)
	el := round(within(o.Elevation+orbitTurn*(to[1]-from[1])*h, "camera.orbit.elevation", false), 3)
	if s.d.Camera.Orbit != nil {
		return []edit.Change{{Key: "camera.orbit.azimuth", Value: az}, {Key: "camera.orbit.elevation", Value: el}}, nil
	}
	all := []edit.Change{{Key: "camera.orbit", Value: map[string]any{"azimuth": az, "elevation": el, "distance": figures(o.Distance, 6)}}}
	if s.d.Camera.Position != nil {
		return append([]edit.Change{{Key: "camera.position"}}, all...), nil
	}
	// The program put the camera where it is; what else it chose goes into the file too.
	t := c.Target
	all = append(all, edit.Change{Key: "camera.target", Value: []any{round(t.X, 3), round(t.Y, 3), round(t.Z, 3)}})
	if c.Kind == "perspective" && c.FOV == 0 {
		all = append(all, edit.Change{Key: "camera.focal_length", Value: figures(c.FocalLength, 6)})
	}
	return all, nil
}

// environment turns all surroundings, or where there are none the light set-up.
func environment(d *scene.Description, dx float64) (out []edit.Change) {
	turned := func(v float64) float64 { return round(math.Remainder(v+environmentTurn*dx, 360), 3) }
	for i := range d.Lights {
		if l := &d.Lights[i]; l.Kind == "environment" && l.On {
			out = append(out, edit.Change{Key: "lights." + l.Name + ".rotation", Value: turned(l.Rotation)})
		}
	}
	if out == nil {
		out = []edit.Change{{Key: "light_setup.rotation", Value: turned(d.LightSetup.Rotation)}}
	}
	return out
}

// gaze turns an eye so that what was under the one point comes under the other, as on a ball of the iris's distance from the centre.
func gaze(v *sight, b *scene.Object, from, to [2]float64) ([]edit.Change, error) {
	centre := v.outer.ToWorld.Point(geom.Vec{})
	radius := v.rings.reach() * v.outer.Scale
	turn := geom.RotateX(geom.Radians(b.Transform.Rotate.X)).Then(geom.RotateY(geom.Radians(b.Transform.Rotate.Y))).Then(geom.RotateZ(geom.Radians(b.Transform.Rotate.Z))).Inverse()
	at := func(p [2]float64) (az, el float64) {
		r := v.ray(p[0]*v.w, p[1]*v.h)
		near := r.O.Mad(centre.Sub(r.O).Dot(r.D), r.D).Sub(centre)
		if off := near.Len(); off < radius {
			near = near.Mad(-math.Sqrt(radius*radius-off*off), r.D)
		}
		return angles(turn.Vector(near))
	}
	a0, e0 := at(from)
	a1, e1 := at(to)
	g := scene.Gaze{}
	if b.Gaze != nil {
		g = *b.Gaze
	}
	if g.Target != nil {
		g.Azimuth, g.Elevation = prep.LooksAlong(b)
	}
	az := round(within(g.Azimuth+math.Remainder(a1-a0, 360), "objects.gaze.azimuth", false), 3)
	el := round(within(g.Elevation+e1-e0, "objects.gaze.elevation", false), 3)
	switch {
	case b.Gaze == nil && b.Pair == 0: // its optical axis stood along +Z
		return one(b, "gaze", map[string]any{"azimuth": az, "elevation": el, "kappa": 0.0}), nil
	case g.Target != nil:
		return append(one(b, "gaze.target", nil), append(one(b, "gaze.azimuth", az), one(b, "gaze.elevation", el)...)...), nil
	}
	return append(one(b, "gaze.azimuth", az), one(b, "gaze.elevation", el)...), nil
}

// reach is the distance of the pupil's centre from the globe's, in the eye's own frame.
func (r *rings) reach() float64 {
	if l := r.centre.Len(); l > 0 {
		return l
	}
	return r.limbus[0].Len()
}

// pupilOf makes the pupil wider or narrower so that its edge follows.
func pupilOf(v *sight, b *scene.Object, from, to [2]float64) ([]edit.Change, error) {
	is, widest := v.p.Pupil(v.eye)
	if !(is > 0) {
		return nil, fmt.Errorf("the iris of %s has no pupil", b.Name)
	}
	if set := b.Eye.Iris.Pupil; set > 0 {
		is = set
	}
	c := v.share(v.middle())
	least := 1e-3
	mm := is * max(v.away(to, c), least) / max(v.away(from, c), least)
	if b.Eye.Asset != nil {
		mm = min(max(mm, 0.1*is), widest)
	}
	return one(b, "iris.pupil", round(within(mm, "objects.iris.pupil", b.Eye.Asset == nil), 3)), nil
}
