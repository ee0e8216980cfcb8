package truescale

import (
	"fmt"
	"math"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Place is where on an eye one looks. Lengths are mm of the world.
type Place struct {
	Radius float64 // of the globe
	Polar  float64 // of the place on the white, from the optical axis, radians
	Iris   float64 // the same of the place on the iris
}

// First returns the name of the first eye that is on.
func First(d *scene.Description) (string, error) {
	for i := range d.Objects {
		if b := &d.Objects[i]; b.Shape == "eye" && b.On {
			return b.Name, nil
		}
	}
	return "", fmt.Errorf("%s: the scene has no eye", d.File)
}

// Alone leaves nothing in a scene but its first eye, bare and upright at the origin, at the size that it has, and puts a
// camera there that is replaced later.
func Alone(d *scene.Description) (*scene.Description, error) {
	name, err := First(d)
	if err != nil {
		return nil, err
	}
	sets := []string{"lids=off", "lights=[{name: key, kind: distant, angle: 3, orbit: {azimuth: -60, elevation: 28}, irradiance: 3}]",
		"light_setup=null", "camera={kind: orthographic, width: 30, target: [0, 0, 0], orbit: {distance: 1000}}",
		"view={exposure: 0, background: colour, background_colour: [0.02, 0.02, 0.022]}"}
	for i := range d.Objects {
		b := &d.Objects[i]
		at := "objects." + b.Name + "."
		if b.Name != name {
			sets = append(sets, at+"on=false")
			continue
		}
		sets = append(sets, at+"transform.translate=[0, 0, 0]", at+"transform.rotate=[0, 0, 0]", at+"gaze=null", at+"pair=0")
	}
	return d.With(sets...)
}

// vec writes a vector as a scene does.
func vec(v geom.Vec) string { return fmt.Sprintf("[%.9g, %.9g, %.9g]", v.X, v.Y, v.Z) }

// Site is the place on the white, on the side away from the nose of a right eye, and Along the direction over the surface from
// there toward the iris; both are unit vectors.
func (p Place) Site() (at, along geom.Vec) {
	sin, cos := math.Sincos(p.Polar)
	return geom.Vec{X: -sin, Z: cos}, geom.Vec{X: cos, Z: sin}
}

// Spots are directions of places on the white, and on the iris, all round the axis: eight each.
func (p Place) Spots(polar float64) (out []geom.Vec) {
	for i := range 8 {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / 8)
		s, c := math.Sincos(polar)
		out = append(out, geom.Vec{X: s * cos, Y: s * sin, Z: c})
	}
	return out
}

// Frame is a camera without perspective, so that a length is as many pixels everywhere.
type Frame struct {
	Width  float64 // mm that the picture is wide
	Target geom.Vec
	From   geom.Vec // unit vector toward the camera
	Up     geom.Vec
}

// Sets are the overrides that put the camera there.
func (f Frame) Sets(far float64) []string {
	return []string{fmt.Sprintf("camera={kind: orthographic, width: %.9g, target: %s, position: %s, up: %s}", f.Width, vec(f.Target), vec(f.Target.Mad(far, f.From)), vec(f.Up))}
}

// Pixel returns where a point of the world is in a square picture of n pixels, from its top left corner.
func (f Frame) Pixel(p geom.Vec, n int) (x, y float64) {
	right := f.Up.Cross(f.From).Unit()
	up := f.From.Cross(right)
	v := p.Sub(f.Target)
	k := float64(n) / f.Width
	return float64(n)/2 + v.Dot(right)*k, float64(n)/2 - v.Dot(up)*k
}

// Whole frames the eye from a little to the side of the light.
func (p Place) Whole() Frame {
	az, el := geom.Radians(-24), geom.Radians(6)
	return Frame{Width: 2.5 * p.Radius, From: geom.Vec{X: math.Sin(az) * math.Cos(el), Y: math.Sin(el), Z: math.Cos(az) * math.Cos(el)}, Up: geom.Vec{Y: 1}}
}

// closeShare is the width of a close-up as a share of the globe's radius: 4.8 mm of a grown person's eye.
const closeShare = 0.4

// Close frames the place on the white from straight above it.
func (p Place) Close() Frame {
	at, along := p.Site()
	return Frame{Width: closeShare * p.Radius, Target: at.Mul(p.Radius), From: at, Up: along}
}

// scatterSets are the overrides that make light spread times as far in the eye, and say whether a radius had to be held in the
// range of its key.
func scatterSets(b *scene.Object, times float64) (sets []string, held bool) {
	at := "objects." + b.Name + "."
	hold := func(v float64) float64 {
		q := max(0.001, min(100, v))
		held = held || q != v
		return q
	}
	put := func(part string, r colour.RGB, a, s *colour.RGB) {
		if s != nil {
			for k, q := range map[string]*colour.RGB{"sigma_a": a, "sigma_s": s} {
				sets = append(sets, fmt.Sprintf("%s%s.%s=[%.9g, %.9g, %.9g]", at, part, k, q[0]/times, q[1]/times, q[2]/times))
			}
			return
		}
		sets = append(sets, fmt.Sprintf("%s%s.scatter_radius=[%.9g, %.9g, %.9g]", at, part, hold(r[0]*times), hold(r[1]*times), hold(r[2]*times)))
	}
	e := b.Eye
	put("sclera", e.Sclera.ScatterRadius, e.Sclera.SigmaA, e.Sclera.SigmaS)
	put("iris", e.Iris.ScatterRadius, e.Iris.SigmaA, e.Iris.SigmaS)
	return sets, held
}
