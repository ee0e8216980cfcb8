package truescale

import (
	"fmt"
	"slices"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// Picture is one picture of the pages: its scene and what its camera frames.
type Picture struct {
	Name  string
	D     *scene.Description
	Frame Frame
	Size  int // pixels across and down
}

// Pictures plans all pictures of a report, of n pixels across; alone is what Alone made.
func (r *Report) Pictures(alone *scene.Description, n int) ([]Picture, error) {
	var out []Picture
	add := func(name string, size int, f Frame, times float64, more ...string) error {
		sets := append(f.Sets(20*r.Globe), fmt.Sprintf("picture.width=%d", size), fmt.Sprintf("picture.height=%d", size))
		if times != 1 {
			radii, _ := scatterSets(r.object, times)
			sets = append(sets, radii...)
		}
		d, err := alone.With(append(sets, more...)...)
		out = append(out, Picture{name, d, f, size})
		return err
	}
	if err := add("eye", 2*n, r.Place.Whole(), 1); err != nil {
		return nil, err
	}
	if err := add("white", n, r.white(), 1); err != nil {
		return nil, err
	}
	if r.HasIris {
		// Bent light would show the iris larger than the ruler.
		if err := add("iris", n, r.iris(), 1, "effects.refraction=false"); err != nil {
			return nil, err
		}
	}
	for _, f := range Mistakes {
		if err := add(label("eye", f), n, r.Place.Whole(), 1/f); err != nil {
			return nil, err
		}
		if err := add(label("edge", f), n, r.white(), 1/f, r.lamp()); err != nil {
			return nil, err
		}
		r.card(out[len(out)-1].D)
	}
	for _, f := range Sweeps {
		if f == 1 {
			continue // the edge of the eye as it is
		}
		if err := add(label("sweep", f), n, r.white(), f, r.lamp()); err != nil {
			return nil, err
		}
		r.card(out[len(out)-1].D)
	}
	return out, nil
}

func label(what string, f float64) string { return fmt.Sprintf("%s-x%.4g", what, f) }

// sweepName is the picture of one step of the second page.
func sweepName(f float64) string {
	if f == 1 {
		return label("edge", 1)
	}
	return label("sweep", f)
}

// white frames the place on the white, from straight above.
func (r *Report) white() Frame {
	f := r.Place.Close()
	f.Target = r.WhiteAt
	return f
}

// iris frames the place on the iris, along the optical axis.
func (r *Report) iris() Frame {
	return Frame{Width: closeShare * r.Globe, Target: r.IrisAt, From: geom.Vec{Z: 1}, Up: geom.Vec{Y: 1}}
}

// lamp puts a small lamp above the place on the white. It leans toward the iris, so that the film's mirror image of it lies
// outside the close-up.
func (r *Report) lamp() string {
	return fmt.Sprintf("lights=[{name: lamp, kind: distant, angle: 0.1, orbit: {azimuth: %.9g, elevation: 0}, irradiance: 4.2}]", -geom.Degrees(r.Place.Polar)+50)
}

// card adds a black card whose shadow ends at the place on the white. It lies in the plane that touches the globe there, a
// quarter of the radius further out.
func (r *Report) card(d *scene.Description) {
	at, _ := r.Place.Site()
	R := r.Globe
	c := scene.DefaultObject("card", "rectangle")
	c.Size = geom.Vec{X: 2.4 * R, Y: 4 * R, Z: 1}
	c.Transform.Translate = at.Mul(1.25 * R).Add(geom.Vec{Y: -2 * R})
	c.Transform.Rotate = geom.Vec{Y: -geom.Degrees(r.Place.Polar)}
	c.Material.Colour.Value, c.Material.Colour.Given = colour.RGB{}, true
	c.Visibility.Camera = false
	d.Objects = append(slices.Clip(d.Objects), c)
}
