package live

import (
	"errors"
	"fmt"
	"math"

	"catchlight/light"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/edit"
	"catchlight/scene/geom"
)

// errNothing says that there is no prepared scene yet.
var errNothing = errors.New("there is no picture of the scene yet")

// Aim returns the changes of a scene's keys that put a light where its catchlight sits at a point of the cornea, as the camera of the
// last picture sees it, and has a size there. By the mirror law the light lies along the view mirrored at the point's normal; it
// keeps its distance. Lights at a place or direction move; an environment turns about the vertical axis until its
// strongest spot comes nearest.
//
// Source: Poulin and Fournier, Lights from highlights and shadows, Symposium on Interactive 3D Graphics 1992, 31: a light is
// placed by where its highlight is to be; the formulas are the mirror law and our own.
func (e *Engine) Aim(light string, to Target) ([]edit.Change, error) {
	s := e.shown.Load()
	if s == nil {
		return nil, errNothing
	}
	return e.rings.aim(s, light, to)
}

func (k *ringsOf) aim(s *state, name string, to Target) ([]edit.Change, error) {
	a := aiming{name: name}
	for i := range s.d.Lights {
		if s.d.Lights[i].Name == name {
			a.l = &s.d.Lights[i]
		}
	}
	if a.l == nil {
		return nil, fmt.Errorf("there is no light %q", name)
	}
	if a.l.Kind == "constant" || a.l.Kind == "flag" {
		return nil, fmt.Errorf("light %s: a light of kind %s has no catchlight", name, a.l.Kind)
	}
	x, y := to.X, to.Y
	if to.Clock != 0 {
		x, y = 0.5, 0.5
	}
	if a.v = k.look(s.p, front(s.p, x, y)); a.v == nil {
		return nil, errors.New("the scene has no eye")
	}
	sf, err := a.spot(to)
	if err != nil {
		return nil, err
	}
	px, py, ok := a.v.onto(sf.P)
	if !ok {
		return nil, errors.New("that point is behind the camera")
	}
	d := a.v.ray(px, py).D
	n := a.v.normal(&sf, d)
	if !(n.Dot(d) < 0) {
		return nil, errors.New("the camera does not see that point of the cornea")
	}
	a.turn = geom.RotateY(geom.Radians(s.d.LightSetup.Rotation))
	out, err := a.place(sf.P, geom.Reflect(d.Neg(), n))
	if err != nil || to.Size == 0 {
		return out, err
	}
	size, err := a.size(to.Size, px, py)
	return append(out, size...), err
}

// aiming is a light on its way to its catchlight's place.
type aiming struct {
	name string
	l    *scene.Light
	v    *sight
	turn geom.Affine // of the light set-up

	centre geom.Vec // where it comes to stand in the world, or its direction
}

// spot is the point of the cornea that is meant.
func (a *aiming) spot(to Target) (sf frozen.Surface, err error) {
	ok := false
	if to.Clock != 0 {
		if !(to.Clock > 0 && to.Clock <= 12) || !(to.Off >= 0) {
			return sf, fmt.Errorf("a clock position of %g h and %g mm; hours are in (0, 12] and mm at least 0", to.Clock, to.Off)
		}
		sf, ok = a.v.at(to.Clock, to.Off)
	} else {
		sf, ok = a.v.meet(a.v.ray(to.X*a.v.w, to.Y*a.v.h))
	}
	if !ok || !a.v.cornea(sf.P) {
		return sf, errors.New("there is no cornea")
	}
	if low, high := 0.0, 2*a.v.e.LimbusRadius*a.v.outer.Scale; !(to.Size >= low && to.Size <= high) {
		return sf, fmt.Errorf("a catchlight of %g mm; it may be 0 to %.3g", to.Size, high)
	}
	return sf, nil
}

// key is the path of one of the light's keys.
func (a *aiming) key(k string) string { return "lights." + a.name + "." + k }

// orbit are the changes that put it in a direction, from its target, of its light set-up's own frame.
func (a *aiming) orbit(d geom.Vec) []edit.Change {
	az, el := angles(d)
	return []edit.Change{{Key: a.key("orbit.azimuth"), Value: round(az, 3)}, {Key: a.key("orbit.elevation"), Value: round(within(el, "lights.orbit.elevation", false), 3)}}
}

// place moves the light into a direction r from the point p of the cornea.
func (a *aiming) place(p, r geom.Vec) ([]edit.Change, error) {
	back := a.turn.Inverse()
	switch {
	case a.l.Kind == "environment":
		return a.rotate(r)
	case a.l.Kind == "distant":
		a.centre = r
		return a.orbit(back.Vector(r)), nil
	case a.l.Position != nil:
		a.centre = p.Mad(a.turn.Point(*a.l.Position).Sub(p).Len(), r)
		q := back.Point(a.centre)
		return []edit.Change{{Key: a.key("position"), Value: []any{round(q.X, 2), round(q.Y, 2), round(q.Z, 2)}}}, nil
	}
	// Where the ray leaves the ball about the target.
	t := p.Sub(a.turn.Point(a.l.Target))
	b, far := t.Dot(r), a.l.Orbit.Distance
	root := b*b - t.Len2() + far*far
	if !(root >= 0) || !(math.Sqrt(root) > b) {
		return nil, fmt.Errorf("light %s: its distance of %g mm from its target is too short", a.name, far)
	}
	a.centre = p.Mad(math.Sqrt(root)-b, r)
	return a.orbit(back.Point(a.centre).Sub(a.l.Target)), nil
}

// rotate turns an environment so that its strongest spot has the azimuth of r.
func (a *aiming) rotate(r geom.Vec) ([]edit.Change, error) {
	for i, l := range a.v.s.Lights {
		if l.Name != a.name || l.Kind != light.Environment || a.v.s.LightTag[i] == i {
			continue
		}
		rim, ok := l.Rim(geom.Vec{})
		if !ok {
			continue
		}
		is, _ := angles(rim.Points[0])
		wanted, _ := angles(r)
		// Both turn from +Z to +X as the hand about +Y does.
		turn := math.Remainder(a.l.Rotation+wanted-is, 360)
		return []edit.Change{{Key: a.key("rotation"), Value: round(turn, 3)}}, nil
	}
	return nil, fmt.Errorf("light %s: it has no bright spot that would be a catchlight", a.name)
}

// size finds how large the light has to be where it stands now.
func (a *aiming) size(want, px, py float64) ([]edit.Change, error) {
	var f light.Form
	for i, l := range a.v.s.Lights {
		if q, ok := l.Form(); ok && l.Name == a.name && a.v.s.LightTag[i] == i {
			f = q
		}
	}
	if a.l.Kind == "environment" || f.Radius == 0 && f.W == 0 {
		return nil, fmt.Errorf("light %s: its size is not its own", a.name)
	}
	f.Centre = a.centre
	if f.Kind == light.Distant {
		f.Frame.N = a.centre
	} else {
		f.Frame = geom.Facing(a.turn.Point(a.l.Target).Sub(a.centre), geom.Radians(a.l.Roll))
	}
	w, h, radius := f.W, f.H, f.Radius
	scale := 1.0
	for range 12 {
		f.W, f.H, f.Radius = w*scale, h*scale, radius*scale
		g := glintOfForm(&f)
		is := a.v.extent(&g, px, py)
		if !(is > 0) {
			// The outline has no mirror image: much too large.
			scale /= 2
			continue
		}
		if math.Abs(is/want-1) < 1e-3 {
			return a.sized(scale)
		}
		scale *= want / is
	}
	return nil, fmt.Errorf("light %s: no size of it makes a catchlight of %g mm there", a.name, want)
}

// sized are the changes that make the light so many times as large.
func (a *aiming) sized(scale float64) ([]edit.Change, error) {
	value := map[string]float64{}
	switch a.l.Kind {
	case "rectangle":
		value["width"], value["height"] = a.l.Width*scale, a.l.Height*scale
	case "disc", "sphere":
		value["radius"] = a.l.Radius * scale
	case "distant":
		value["angle"] = geom.Degrees(geom.Radians(a.l.Angle) * scale)
	}
	var out []edit.Change
	for _, k := range []string{"width", "height", "radius", "angle"} {
		v, ok := value[k]
		if !ok {
			continue
		}
		if low, high := limits("lights."+k, false); v < low || v > high {
			return nil, fmt.Errorf("%s: %.4g is outside %.4g to %.4g", a.key(k), v, low, high)
		}
		out = append(out, edit.Change{Key: a.key(k), Value: figures(v, 4)})
	}
	return out, nil
}
