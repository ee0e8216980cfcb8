package prepare

import (
	"context"
	"fmt"
	"math"

	"catchlight/render/camera"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/geom"
)

// A camera that the scene places nowhere: where it stands and how much of the picture it fills. Our own choice.
const (
	frontAzimuth   = 14.0 // degrees
	frontElevation = 2.0
	frontDistance  = 1000.0 // mm, at least
	frontFar       = 4.0    // times the size of what it shows, at least
	frontShare     = 0.75   // of the picture's smaller side
)

// Framed returns the description with its camera in place: as it is where the scene places it, else with what Prepare works out, and
// the note that says so.
func Framed(ctx context.Context, d *scene.Description, o Options) (*scene.Description, []string, error) {
	if d.Camera.Placed() {
		return d, nil, nil
	}
	p, err := Scene(ctx, d, o)
	if err != nil {
		return nil, nil, err
	}
	c := p.Description.Camera
	sets := []string{fmt.Sprintf("camera.target=[%.7g, %.7g, %.7g]", c.Target.X, c.Target.Y, c.Target.Z),
		fmt.Sprintf("camera.orbit={azimuth: %g, elevation: %g, distance: %.7g}", c.Orbit.Azimuth, c.Orbit.Elevation, c.Orbit.Distance)}
	if c.Kind == "perspective" {
		sets = append(sets, fmt.Sprintf("camera.focal_length=%.7g", c.FocalLength))
	} else {
		sets = append(sets, fmt.Sprintf("camera.width=%.7g", c.Width))
	}
	d, err = d.With(sets...)
	return d, []string{framingNote(&c)}, err
}

func framingNote(c *scene.Camera) string {
	how := fmt.Sprintf("a focal length of %.4g mm", c.FocalLength)
	if c.Kind != "perspective" {
		how = fmt.Sprintf("a width of %.4g mm", c.Width)
	}
	return fmt.Sprintf("the scene places no camera: it stands at an azimuth of %g and an elevation of %g degrees, %.4g mm from (%.4g, %.4g, %.4g), with %s",
		c.Orbit.Azimuth, c.Orbit.Elevation, c.Orbit.Distance, c.Target.X, c.Target.Y, c.Target.Z, how)
}

// frame places the camera in front of what there is, so that it fills most of the picture.
func (p *preparer) frame() {
	q := *p.d
	c := &q.Camera
	c.Orbit = &scene.Orbit{Azimuth: frontAzimuth, Elevation: frontElevation}
	back := camera.Orbit(geom.Vec{}, geom.Radians(frontAzimuth), geom.Radians(frontElevation), 1)
	right := c.Up.Cross(back).Unit()
	f := geom.Frame{S: right, T: back.Cross(right), N: back}
	box := geom.EmptyBox()
	points := p.subject(f)
	for i, v := range points {
		points[i] = f.Local(v)
		box = box.Grow(points[i])
	}
	mid, size := geom.Vec{}, 1.0
	if !box.Empty() {
		mid, size = box.Centre(), max(box.Size().MaxAbs(), 1e-3)
		c.Target = f.World(mid)
	}
	c.Orbit.Distance = min(max(frontDistance, frontFar*size), 1e6)
	half, tan := size/2, size/2/c.Orbit.Distance
	if len(points) > 0 {
		half, tan = 1e-6, 1e-9
	}
	for _, v := range points {
		v = v.Sub(mid)
		h := max(math.Abs(v.X), math.Abs(v.Y))
		half, tan = max(half, h), max(tan, h/(c.Orbit.Distance-v.Z))
	}
	wide := float64(q.Picture.Width) / float64(min(q.Picture.Width, q.Picture.Height)) / frontShare // of the picture, in sizes of what fills it
	if c.Kind == "perspective" {
		c.FocalLength = min(c.SensorWidth/(2*tan*wide), 10000)
	} else {
		c.Width = min(2*half*wide, 1e6)
	}
	p.d = &q
	p.warn = append(p.warn, framingNote(c))
}

// subject returns points in the world that span what a picture is about: the rims of lids, and eyes without lids; without eyes all
// objects that the camera sees. f is the camera's frame.
func (p *preparer) subject(f geom.Frame) []geom.Vec {
	out := p.rims
	for i := range p.out.Eyes {
		if b := &p.out.Objects[p.out.Eyes[i].Outer]; !p.lidded[i] && b.Mask&frozen.CameraRays != 0 {
			for _, v := range b.Mesh.P {
				out = append(out, b.ToWorld.Point(v))
			}
		}
	}
	if len(out) > 0 {
		return out
	}
	for i := range p.out.Objects {
		b := &p.out.Objects[i]
		if b.Shape == frozen.Slab || b.Mask&frozen.CameraRays == 0 {
			continue
		}
		switch b.Shape {
		case frozen.Mesh:
			for _, v := range b.Mesh.P {
				out = append(out, b.ToWorld.Point(v))
			}
		case frozen.Sphere:
			r := b.Size.X * b.Scale
			for _, v := range []geom.Vec{f.S, f.T, f.N} {
				out = append(out, b.ToWorld.T.Mad(r, v), b.ToWorld.T.Mad(-r, v))
			}
		default:
			x, y, z := b.Size.X, b.Size.Y, b.Size.Z
			if b.Shape == frozen.Disc {
				y, z = x, 0
			}
			for k := range 8 {
				side := func(bit int) float64 { return float64((k>>bit&1)*2) - 1 }
				out = append(out, b.ToWorld.Point(geom.Vec{X: side(0) * x, Y: side(1) * y, Z: side(2) * z}))
			}
		}
	}
	return out
}
