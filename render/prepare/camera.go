package prepare

import (
	"fmt"
	"math"
	"slices"

	"catchlight/render/accel"
	"catchlight/render/camera"
	"catchlight/render/frozen"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
)

// Camera is the camera of a description.
func Camera(d *scene.Description) camera.Config {
	c := &d.Camera
	k := camera.Config{
		Width: d.Picture.Width, Height: d.Picture.Height, Aim: c.Target, Up: c.Up,
		FocalLength: c.FocalLength, SensorWidth: c.SensorWidth, FOV: geom.Radians(c.FOV), FNumber: c.FNumber, Focus: c.FocusDistance,
		FrameWidth: c.Width, Shift: c.Shift,
	}
	switch {
	case c.Position != nil:
		k.Position = *c.Position
	case c.Orbit != nil:
		k.Position = camera.Orbit(c.Target, geom.Radians(c.Orbit.Azimuth), geom.Radians(c.Orbit.Elevation), c.Orbit.Distance)
	default:
		k.Position = c.Target.Add(geom.Vec{Z: 1000})
	}
	switch c.Kind {
	case "perspective":
		k.Kind = camera.Perspective
	case "orthographic":
		k.Kind = camera.Orthographic
	case "plate":
		k.Kind = camera.Plate
		k.Normal = geom.Vec{Z: 1}
		if c.Normal != nil {
			k.Normal = *c.Normal
		}
		k.Position = c.Target
	}
	return k
}

func (p *preparer) camera() {
	if !p.d.Camera.Placed() {
		p.frame()
	}
	k := Camera(p.d)
	if p.out.Plate = k.Kind == camera.Plate; p.out.Plate {
		p.out.PlateNormal = k.Normal.Unit()
	}
	if on := p.d.Camera.FocusOn; on == "iris" || on == "cornea" {
		if at, ok := p.sharp(on == "iris"); ok {
			k.Focus = at.Sub(k.Position).Dot(k.Aim.Sub(k.Position).Unit())
		}
		if !(k.Focus > 0) {
			p.fail("camera.focus_on", fmt.Errorf("there is no eye before the camera whose %s could be sharp", on))
			return
		}
	}
	cam, err := camera.New(k)
	if err != nil {
		p.fail("camera", err)
		return
	}
	p.out.Camera = &cam
	// Which objects the camera stands in: a ray upward meets each such object's surface from inside first.
	sc := accel.NewScratch()
	dir := geom.Vec{X: 0.37, Y: 0.81, Z: 0.45}.Unit()
	var enclosing []int32
	for i := range p.out.Objects {
		b := &p.out.Objects[i]
		if !b.Closed || b.Material.Kind == frozen.Inner {
			continue
		}
		var h frozen.Hit
		r := geom.Ray{O: k.Position, D: dir}
		if b.Closest(sc, r, 0, math.Inf(1), &h) {
			h.Object = int32(i)
			if sf := p.out.Surface(r, &h); sf.Ng.Dot(dir) > 0 {
				enclosing = append(enclosing, int32(i))
			}
		}
	}
	p.out.CameraIn = enclosing
}

// View makes the view of a description; it reads the table where there is one.
func View(v *scene.View) (*view.View, error) {
	tr, err := view.Parse(v.ToneMapping)
	if err != nil {
		return nil, err
	}
	out := &view.View{Transform: tr, Exposure: v.Exposure, White: v.White}
	s := v.Table
	if s == nil {
		return out, nil
	}
	data, err := imageio.ReadFile(string(s.File))
	if err != nil {
		return nil, err
	}
	cube, err := view.ParseCube(string(s.File), data)
	if err != nil {
		return nil, err
	}
	out.Table = &view.Table{Cube: cube, Linear: s.Output == "linear", Feed: view.Feed(slices.Index(view.Feeds[:], s.Input))}
	if out.Table.Feed == view.FeedLog2 {
		out.Table.Low, out.Table.High = *s.Low, *s.High
	}
	return out, nil
}

// sharp returns the point of the first eye that is to be sharp, in the world: the middle of the ring of iris about the pupil, or
// the front of the cornea.
func (p *preparer) sharp(iris bool) (geom.Vec, bool) {
	if len(p.out.Eyes) == 0 {
		return geom.Vec{}, false
	}
	e := &p.out.Eyes[0]
	outer, inner := &p.out.Objects[e.Outer], &p.out.Objects[e.Inner]
	if !iris {
		return outer.ToWorld.Point(geom.Vec{Z: outer.BVH.Bounds().Hi.Z}), true
	}
	sum, n := 0.0, 0.0
	for _, v := range inner.Mesh.P {
		if r := math.Hypot(v.X, v.Y); v.Z > 0 && r > 0.35*e.LimbusRadius && r < 0.8*e.LimbusRadius {
			sum, n = sum+v.Z, n+1
		}
	}
	if n == 0 {
		return geom.Vec{}, false
	}
	return inner.ToWorld.Point(geom.Vec{Z: sum / n}), true
}
