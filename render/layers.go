package render

import (
	"fmt"
	"image"

	"catchlight/render/camera"
	"catchlight/render/film"
	prep "catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/colour"
)

// liveReplicates is how many sums a pixel has in a film that keeps lights apart, each of every second replicate: a layer takes 48 bytes
// a pixel then, not 192. Two are enough for the error of a whole picture. The samples are those of any film of the scene.
const liveReplicates = 2

// lightLayers keep what each light adds apart; hot spots of an environment are in its own layer. Lights past the film's limit have none.
func (p *Prepared) lightLayers() (names []string, out []film.Layer) {
	for i, l := range p.Scene.Lights {
		if p.Scene.LightTag[i] != i || len(out) == film.MaxLayers/2 {
			continue
		}
		names = append(names, l.Name)
		out = append(out, film.Layer{Name: fmt.Sprintf("light %d", i), Light: i, Classes: film.AllClasses})
	}
	return names, out
}

// Weighable lists the lights that Weigh can change, of a run that keeps them apart.
func (r *Run) Weighable() []string {
	if !r.o.Apart {
		return nil
	}
	names, _ := r.p.lightLayers()
	return names
}

// Weigh is the picture as it is now with the light of each lamp times a gain, by name, without a ray: transport is linear in each
// channel. Lights that are not named stay as they are. The run must keep lights apart (Options.Apart).
func (r *Run) Weigh(gains map[string]colour.RGB, y0, y1 int) (film.Picture, error) {
	list := make([]colour.RGB, 0, len(gains))
	for range layers(r.p.Description) {
		list = append(list, colour.Grey(1))
	}
	known := 0
	for _, name := range r.Weighable() {
		g, ok := gains[name]
		if !ok {
			g = colour.Grey(1)
		} else {
			known++
		}
		list = append(list, g)
	}
	if known < len(gains) {
		return film.Picture{}, fmt.Errorf("gains of %d lights, and the picture keeps %q apart", len(gains), r.Weighable())
	}
	return r.f.Weigh(y0, y1, list), r.f.Err()
}

// MeanSamples returns how many samples a pixel has in the mean over the picture.
func (r *Run) MeanSamples() float64 {
	sum, pixels := 0, 0
	for t, n := range r.done {
		x0, y0, x1, y1 := r.f.Tile(t)
		sum, pixels = sum+n*(x1-x0)*(y1-y0), pixels+(x1-x0)*(y1-y0)
	}
	return float64(sum) / float64(max(1, pixels))
}

// Sized is the prepared scene with a film of size pixels on its longer side: the same view through the same lens. Nothing is
// prepared anew but the camera.
func (p *Prepared) Sized(size int) (*Prepared, error) {
	d := *p.Description
	if d.Camera.Kind == "plate" {
		k := float64(size) / float64(max(d.Picture.Width, d.Picture.Height))
		d.Picture.Width, d.Picture.Height = max(1, int(float64(d.Picture.Width)*k+0.5)), max(1, int(float64(d.Picture.Height)*k+0.5))
	} else {
		c, err := Crop(&d, Window{0, 0, 1, 1}, size)
		if err != nil {
			return nil, err
		}
		d = *c
	}
	k := prep.Camera(&d)
	if d.Camera.FocusOn != "distance" {
		_, k.Focus = p.Scene.Camera.Lens()
	}
	cam, err := camera.New(k)
	if err != nil {
		return nil, err
	}
	s := *p.Scene
	s.Camera = &cam
	q := *p
	q.Description, q.Scene = &d, &s
	return &q, nil
}

// ShownIn is Shown in another view: exposure, tone mapping and background may differ from the scene's own, but for whether the
// environment is seen.
func (r *Result) ShownIn(v *scene.View) (*image.NRGBA, error) {
	q, d := *r, *r.d
	d.View = *v
	q.d, q.view = &d, nil
	return q.Shown()
}
