// Package camera turns positions on the film into rays, and points of the world into positions on the film.
//
//	Config --New--> Camera; Camera.Ray (film position, point on the lens) --> ray; Camera.Project is the way back
//
// Config describes one of three kinds: Perspective, a pinhole or a thin lens; Orthographic, parallel rays; and Plate, a
// rectangle in the scene that records irradiance over its face. Camera is what New makes of it, after checking. Orbit gives the
// position of a camera by angles about a point.
//
// Film positions are continuous: x runs from 0 at the left edge to the width in pixels, y from 0 at the top edge down
// to the height; the centre of the first pixel is (0.5, 0.5). The world has Y up, and a camera at azimuth 0 stands on
// +Z and looks along -Z. Lengths are in mm, angles in radians, points on the lens are two numbers in [0, 1).
//
// Source: the thin lens of geometrical optics (Born and Wolf, Principles of Optics, 7th ed., section 4.4; from memory).
package camera

import (
	"errors"
	"fmt"
	"math"

	"catchlight/scene/geom"
)

// Kind is how film positions become rays.
type Kind uint8

const (
	// Perspective is a pinhole or a thin lens. The field of view is that of the focal length at infinity: focusing
	// does not change it. Every film position counts the same: a uniform field has no falloff toward the corners.
	Perspective Kind = iota
	// Orthographic sends parallel rays from the plane through Position.
	Orthographic
	// Plate records irradiance over a rectangle in the scene: rays start on it and leave by the cosine law.
	Plate
)

// Config describes a camera. Fields that the kind does not use are ignored; the zero value is not a camera.
type Config struct {
	Kind          Kind
	Width, Height int      // of the film, pixels, in [1, 65536]
	Position      geom.Vec // of the camera; a plate needs none
	Aim           geom.Vec // point looked at; centre of a plate
	Up            geom.Vec // upward in the picture; not along the axis; need not be of unit length
	Normal        geom.Vec // plate: direction that it faces; need not be of unit length

	FocalLength float64 // perspective: mm, > 0; ignored when FOV is set
	SensorWidth float64 // perspective: mm, > 0
	FOV         float64 // perspective: horizontal field of view in (0, pi); 0 takes FocalLength
	FNumber     float64 // perspective: aperture diameter is the focal length over this; 0 is none
	Aperture    float64 // perspective: aperture diameter, mm; instead of FNumber; 0 is a pinhole
	Focus       float64 // perspective: distance of the sharp plane along the axis, mm; 0 is that of Aim
	FrameWidth  float64 // orthographic and plate: width of the picture in mm, > 0; its height follows from the film

	Shift [2]float64 // moves what is seen by this share of the picture's width to the right, of its height up
}

// Camera is a prepared camera. It does not change after New, so any number of workers may use one.
type Camera struct {
	kind          Kind
	width, height float64
	eye           geom.Vec   // pinhole, or centre of the orthographic plane or plate
	frame         geom.Frame // S right, T up, N toward the viewer
	corner        geom.Vec   // of the top left of the film: at distance 1 on the axis, or on the plane
	dx, dy        geom.Vec   // one pixel to the right and one down
	lens, focus   float64    // aperture radius and distance of the sharp plane
	focal         float64
}

// Film returns the top left corner of an orthographic camera's or a plate's film in the world, and its sides to the right and down.
func (k *Camera) Film() (corner, right, down geom.Vec) {
	return k.corner, k.dx.Mul(k.width), k.dy.Mul(k.height)
}

// Orbit returns the position at a distance from aim: azimuth 0 lies on +Z and grows toward +X, elevation grows toward
// +Y.
func Orbit(aim geom.Vec, azimuth, elevation, distance float64) geom.Vec {
	sa, ca := math.Sincos(azimuth)
	se, ce := math.Sincos(elevation)
	return aim.Mad(distance, geom.Vec{X: sa * ce, Y: se, Z: ca * ce})
}

// New prepares a camera, or says everything that is wrong with its description.
func New(c Config) (Camera, error) {
	if err := c.check(); err != nil {
		return Camera{}, err
	}
	k := Camera{kind: c.Kind, width: float64(c.Width), height: float64(c.Height), eye: c.Position}
	back := c.Position.Sub(c.Aim)
	if c.Kind == Plate {
		back, k.eye = c.Normal, c.Aim
	}
	distance := back.Len()
	back = back.Mul(1 / distance)
	right := c.Up.Cross(back).Unit()
	k.frame = geom.Frame{S: right, T: back.Cross(right), N: back}

	w := c.FrameWidth // of the picture: mm, or mm per mm of distance
	if c.Kind == Perspective {
		k.focal = c.FocalLength
		if c.FOV > 0 {
			k.focal = c.SensorWidth / (2 * math.Tan(c.FOV/2))
		}
		w = c.SensorWidth / k.focal
		k.lens = c.Aperture / 2
		if c.FNumber > 0 {
			k.lens = k.focal / c.FNumber / 2
		}
		k.focus = c.Focus
		if k.focus == 0 {
			k.focus = distance
		}
	}
	pixel := w / k.width
	h := pixel * k.height
	k.dx, k.dy = k.frame.S.Mul(pixel), k.frame.T.Mul(-pixel)
	k.corner = k.frame.S.Mul(-w*(0.5+c.Shift[0])).Mad(h*(0.5-c.Shift[1]), k.frame.T)
	if c.Kind == Perspective {
		k.corner = k.corner.Sub(k.frame.N)
	} else {
		k.corner = k.eye.Add(k.corner)
	}
	return k, nil
}

// Ray returns the ray of a film position: origin, unit direction and the factor on the radiance that comes back along
// it. u0 and u1 in [0, 1) choose a point of the aperture, or on a plate the direction. The weight is 1, so a pixel is
// the mean radiance over it; on a plate it is pi, so a pixel is irradiance, in W/m^2 where radiance is in
// W/(m^2 sr).
func (k *Camera) Ray(px, py, u0, u1 float64) (o, d geom.Vec, weight float64) {
	p := k.corner.Mad(px, k.dx).Mad(py, k.dy)
	switch k.kind {
	case Orthographic:
		return p, k.frame.N.Neg(), 1
	case Plate:
		return p, k.frame.World(geom.CosineHemisphere(u0, u1)), math.Pi
	}
	if k.lens == 0 {
		return k.eye, p.Unit(), 1
	}
	x, y := geom.ConcentricDisc(u0, u1)
	lens := k.frame.S.Mul(k.lens*x).Mad(k.lens*y, k.frame.T)
	return k.eye.Add(lens), p.Mul(k.focus).Sub(lens).Unit(), 1
}

// PixelSpread returns the width of a pixel at distance t along the axis as width + t spread: mm, and mm per mm. An
// orthographic picture and a plate have no spread, a perspective no width.
func (k *Camera) PixelSpread() (width, spread float64) {
	if k.kind == Perspective {
		return 0, k.dx.Len()
	}
	return k.dx.Len(), 0
}

// Project returns the film position that sees p through the middle of the aperture, and its distance along the axis
// (above a plate: its height). ok is false for points behind the camera or the plate; positions outside the film are
// returned as they are.
func (k *Camera) Project(p geom.Vec) (px, py, depth float64, ok bool) {
	v := p.Sub(k.eye)
	q := k.frame.Local(v)
	c := k.frame.Local(k.corner)
	if k.kind == Plate {
		depth = q.Z
	} else {
		depth = -q.Z
	}
	if !(depth > 0) {
		return 0, 0, depth, false
	}
	if k.kind == Perspective {
		q = q.Mul(1 / depth)
	} else {
		c = k.frame.Local(k.corner.Sub(k.eye))
	}
	pixel := k.dx.Len()
	return (q.X - c.X) / pixel, (c.Y - q.Y) / pixel, depth, true
}

// Frame returns the camera's axes: S to the right in the picture, T up, N toward the viewer (where a plate faces).
func (k *Camera) Frame() geom.Frame { return k.frame }

// Position returns the middle of the aperture, of the orthographic plane or of the plate.
func (k *Camera) Position() geom.Vec { return k.eye }

// Lens returns the radius of the aperture and the distance of the sharp plane, in mm; the radius is 0 for a pinhole
// and for the other kinds.
func (k *Camera) Lens() (radius, focus float64) { return k.lens, k.focus }

func (c *Config) check() error {
	var errs []error
	bad := func(format string, a ...any) { errs = append(errs, fmt.Errorf("camera: "+format, a...)) }
	within := func(name string, v, lo, hi float64) { // the open end is lo
		if !(v > lo && v <= hi) {
			bad("%s: %v is outside (%v, %v]", name, v, lo, hi)
		}
	}
	finite := func(name string, v geom.Vec) bool {
		if !v.Finite() || v.MaxAbs() > 1e9 {
			bad("%s: %v is not a place within 1e9 mm", name, v)
			return false
		}
		return true
	}
	if c.Width < 1 || c.Width > 1<<16 || c.Height < 1 || c.Height > 1<<16 {
		bad("picture: %d x %d pixels is outside [1, 65536]", c.Width, c.Height)
	}
	for i, name := range []string{"shift, right", "shift, up"} {
		if s := c.Shift[i]; !(s >= -10 && s <= 10) {
			bad("%s: %v is outside [-10, 10]", name, s)
		}
	}
	axis := c.Position.Sub(c.Aim)
	sound := finite("aim", c.Aim) && finite("up", c.Up)
	switch c.Kind {
	case Perspective, Orthographic:
		sound = finite("position", c.Position) && sound
		if sound && axis.Len() < 1e-9 {
			bad("position: %v is the aim itself, so there is no direction to look in", c.Position)
			sound = false
		}
	case Plate:
		axis = c.Normal
		sound = finite("normal", c.Normal) && sound
		if sound && axis.Len() < 1e-12 {
			bad("normal: %v has no length", c.Normal)
			sound = false
		}
	default:
		bad("kind: %d is unknown", c.Kind)
		return errors.Join(errs...)
	}
	// Below a thousandth of a radian the picture's turn about its axis would depend on rounding.
	if sound && !(c.Up.Cross(axis).Len() > 1e-3*c.Up.Len()*axis.Len()) {
		bad("up: %v lies along the viewing axis %v (or has no length)", c.Up, axis)
	}
	if c.Kind != Perspective {
		within("width of the picture", c.FrameWidth, 0, 1e9)
		return errors.Join(errs...)
	}
	within("sensor width", c.SensorWidth, 0, 1e5)
	if c.FOV == 0 {
		within("focal length", c.FocalLength, 0, 1e6)
	} else if !(c.FOV > 0 && c.FOV < math.Pi) {
		bad("field of view: %v degrees is outside (0, 180)", geom.Degrees(c.FOV))
	}
	for _, f := range []struct {
		name string
		v    float64
	}{{"f-number", c.FNumber}, {"aperture", c.Aperture}, {"focus", c.Focus}} {
		if !(f.v >= 0 && f.v <= 1e9) {
			bad("%s: %v is outside [0, 1e9]", f.name, f.v)
		}
	}
	if c.FNumber > 0 && c.Aperture > 0 {
		bad("aperture: both the f-number %v and the diameter %v mm are given", c.FNumber, c.Aperture)
	}
	return errors.Join(errs...)
}
