package render

import (
	"fmt"
	"math"

	"catchlight/render/limbus"
	prep "catchlight/render/prepare"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Outline is a camera found from the outline of an eye's limbus in a picture.
type Outline struct {
	limbus.Pose
	Sets  []string    // overrides of the scene that put the camera there
	Other limbus.Pose // the second camera that a circle allows, on the other side of the eye's axis
}

// CameraFrom finds the camera that sees the limbus of an eye through the given points of the film. Field of view, upward
// direction and the side of the eye's axis are those of the scene's own camera, which must be a perspective one.
func (p *Prepared) CameraFrom(eye int, points []limbus.Point) (*Outline, error) {
	if eye < 0 || eye >= len(p.Scene.Eyes) {
		return nil, fmt.Errorf("eye %d of %d", eye+1, len(p.Scene.Eyes))
	}
	axis := p.Scene.Objects[p.Scene.Eyes[eye].Outer].ToWorld.Vector(geom.Vec{Z: 1})
	best, other, err := limbus.Solve(prep.Camera(p.Description), p.limbus(eye, 64), axis, points)
	if err != nil {
		return nil, err
	}
	o := &Outline{Pose: best, Other: other}
	v := func(p geom.Vec) string { return fmt.Sprintf("[%.12g, %.12g, %.12g]", p.X, p.Y, p.Z) }
	o.Sets = []string{"camera.orbit=null", "camera.position=" + v(best.Config.Position), "camera.target=" + v(best.Config.Aim), "camera.shift=[0, 0]", "camera.focus_distance=0"}
	return o, nil
}

// String says in words where the camera stands.
func (o *Outline) String() string {
	deg := func(r float64) float64 { return geom.Degrees(r) }
	s := fmt.Sprintf("camera %.4g mm from the limbus", o.Distance)
	if e := o.DistanceError; !math.IsNaN(e) {
		s += fmt.Sprintf(" (± %.2g)", e)
	}
	s += fmt.Sprintf(", %.1f° off the eye's axis", deg(o.Tilt))
	if e := o.TiltError; !math.IsNaN(e) {
		s += fmt.Sprintf(" (± %.1f)", deg(e))
	}
	return s + fmt.Sprintf("; outline of %.1f x %.1f px about %.1f,%.1f, points %.2f px off it (root of the mean square)", 2*o.Ellipse.A, 2*o.Ellipse.B, o.Ellipse.X, o.Ellipse.Y, o.RMS)
}

// Card returns the radiance that a white card, diffuse with reflectance 1, has in the place of an eye when it faces the camera,
// by channel: what its lights alone bring, with no object in their way and none before another.
func (p *Prepared) Card(eye int) (l colour.RGB, err error) {
	if eye < 0 || eye >= len(p.Scene.Eyes) {
		return l, fmt.Errorf("eye %d of %d", eye+1, len(p.Scene.Eyes))
	}
	b := &p.Scene.Objects[p.Scene.Eyes[eye].Outer]
	at := b.ToWorld.Point(geom.Vec{Z: p.Scene.Eyes[eye].Far}) // before the cornea
	n := p.Scene.Camera.Frame().N
	const samples = 4096
	for _, q := range p.Scene.Lights {
		for i := range samples {
			// Source of the point set: Roberts, The Unreasonable Effectiveness of Quasirandom Sequences, web note, 2018.
			u, v := math.Mod(0.5+float64(i)*0.7548776662466927, 1), math.Mod(0.5+float64(i)*0.5698402909980532, 1)
			s, ok := q.Sample(at, u, v)
			if cos := s.Wi.Dot(n); ok && s.Pdf > 0 && cos > 0 {
				l = l.Add(s.L.Scale(cos / (s.Pdf * samples * math.Pi)))
			}
		}
	}
	return l, nil
}
