package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"catchlight/render"
	"catchlight/render/diagram"
	"catchlight/render/prepare"
	"catchlight/scene"
)

// plate is one picture that a set may hold.
type plate struct {
	name, title string
	group       string // that several are asked for by; "" for none
	proposed    bool
	look        string // raster, a kind of diagram, or traced
	make        func(b *sitting) (*scene.Description, error)
}

// sitting is the eye that is presented: alone, bare and in the lights of the set, framed by its own size.
type sitting struct {
	ctx      context.Context
	own      *scene.Description // the scene as it is, with its size and samples from the flags
	bare     *scene.Description // the first eye alone
	eye      string
	lids     bool // the scene shows more than the bare eye
	lights   func(name string) (*scene.Description, error)
	prepared func(d *scene.Description) (*render.Prepared, error)
}

// plates lists all pictures of a set, in its order.
var plates = []plate{
	{name: "hero", title: "Hero, from the side", proposed: true, make: hero},
	{name: "front", title: "Front", proposed: true, make: from(0, 0)},
	{name: "macro", title: "Iris, close up (macro)", proposed: true, make: macro(0, "")},
	{name: "raking", title: "Relief in raking light", proposed: true, make: macro(0, "raking")},
	{name: "pupil-small", title: "Pupil small", group: "pupils", make: pupil(0.62)},
	{name: "pupil-middle", title: "Pupil middle", group: "pupils", make: pupil(1)},
	{name: "pupil-large", title: "Pupil large", group: "pupils", make: pupil(1.75)},
	{name: "white", title: "White and veins", proposed: true, make: white},
	{name: "window", title: "Front, by a window", make: lit("window")},
	{name: "overcast", title: "Front, under an overcast sky", make: lit("overcast")},
	{name: "scene", title: "As the scene has it", proposed: true, make: func(b *sitting) (*scene.Description, error) { return b.own, nil }},
	{name: "finished", title: "Finished", group: "breakdown", make: from(14, 2)},
	{name: "clay", title: "Clay", group: "breakdown", make: only("iris.colour=0.4", "sclera.colour=0.4", "iris.scattering=false", "sclera.scattering=false", "effects.tear_film=false", "effects.refraction=false")},
	{name: "wire", title: "Triangles", group: "breakdown", look: string(diagram.Wire), make: wire},
	{name: "uv", title: "Texture coordinates and texels per mm", group: "breakdown", look: string(diagram.Texels), make: from(14, 2)},
	{name: "height", title: "Height", group: "breakdown", look: string(diagram.Height), make: from(14, 2)},
	{name: "normal", title: "Normals", group: "breakdown", look: string(diagram.Normal), make: from(14, 2)},
	{name: "roughness", title: "Roughness", group: "breakdown", look: string(diagram.Roughness), make: from(14, 2)},
	{name: "masks", title: "Parts", group: "breakdown", look: string(diagram.Zones), make: from(14, 2)},
	{name: "unscattered", title: "Scattering off", group: "breakdown", make: only("effects.scattering=false")},
	{name: "uncovered", title: "Cornea and tear film off", group: "breakdown", make: only("effects.refraction=false", "effects.caustic=false", "effects.tear_film=false")},
	{name: "reflection", title: "Reflection alone", group: "breakdown", make: only("iris.colour=0", "sclera.colour=0", "iris.scattering=false", "sclera.scattering=false")},
	{name: "albedo", title: "Albedo through the cornea", proposed: true, group: "breakdown", look: string(diagram.Albedo), make: from(14, 2)},
	{name: "raster", title: "Raster look of the hero", group: "wipe", proposed: true, look: "raster", make: hero},
}

// plateNames are the words by which pictures are asked for.
func plateNames() (names, groups []string) {
	for i := range plates {
		names = append(names, plates[i].name)
		if g := plates[i].group; g != "" && !slices.Contains(groups, g) {
			groups = append(groups, g)
		}
	}
	return names, groups
}

// choose returns the pictures of a set: those proposed or those named, with more and without others, in the order of the list. The
// wipe wants the hero beside it.
func choose(named, added, dropped []string, scenic bool) ([]*plate, error) {
	names, groups := plateNames()
	known := func(flag string, words []string) error {
		for _, w := range words {
			if !slices.Contains(names, w) && !slices.Contains(groups, w) && w != "all" {
				return usageError{fmt.Errorf("--%s %s: no such picture; known: %s; groups: %s, all", flag, w, strings.Join(names, ", "), strings.Join(groups, ", "))}
			}
		}
		return nil
	}
	for flag, words := range map[string][]string{"pictures": named, "add": added, "drop": dropped} {
		if err := known(flag, words); err != nil {
			return nil, err
		}
	}
	in := func(p *plate, words []string) bool {
		return slices.Contains(words, p.name) || p.group != "" && slices.Contains(words, p.group) || slices.Contains(words, "all")
	}
	var out []*plate
	for i := range plates {
		p := &plates[i]
		want := p.proposed && (p.name != "scene" || scenic)
		if len(named) > 0 {
			want = in(p, named)
		}
		if (want || in(p, added)) && !in(p, dropped) {
			out = append(out, p)
		}
	}
	has := func(name string) bool { return slices.ContainsFunc(out, func(p *plate) bool { return p.name == name }) }
	if has("raster") && !has("hero") {
		return nil, usageError{fmt.Errorf("the wipe lays the raster look over the hero: add hero, or drop raster")}
	}
	if len(out) == 0 {
		return nil, usageError{fmt.Errorf("no picture is left in the set")}
	}
	return out, nil
}

// sit finds the eye that is presented.
func sit(ctx context.Context, d *scene.Description, file string, o render.Options, setup func(d *scene.Description, name string) (*scene.Description, error), lights string) (*sitting, error) {
	names, err := eyes(d)
	if err != nil {
		return nil, err
	}
	b := &sitting{ctx: ctx, own: d, eye: names[0]}
	b.prepared = func(d *scene.Description) (*render.Prepared, error) { return render.Prepare(ctx, d, o) }
	sets := []string{"lids=off", "camera={}",
		fmt.Sprintf("objects.%s.transform.rotate=[0, 0, 0]", b.eye), fmt.Sprintf("objects.%s.transform.translate=[0, 0, 0]", b.eye)}
	for i := range d.Objects {
		q := &d.Objects[i]
		if q.Name != b.eye && q.On {
			sets = append(sets, fmt.Sprintf("objects.%s.on=false", q.Name))
		}
		b.lids = b.lids || q.Shape == "eye" && q.On && d.LidsOf(q) != nil || q.Name != b.eye && q.On && q.When != "bare"
		if q.Name == b.eye {
			if q.Gaze != nil {
				sets = append(sets, fmt.Sprintf("objects.%s.gaze=null", b.eye))
			}
			if q.Pair != 0 {
				sets = append(sets, fmt.Sprintf("objects.%s.pair=0", b.eye))
			}
		}
	}
	if lights != "own" {
		if d, err = setup(d, lights); err != nil {
			return nil, err
		}
	}
	if d, err = d.With(sets...); err != nil {
		return nil, fmt.Errorf("%s: the eye can't be shown alone: %w", file, err)
	}
	bare, _, err := prepare.Framed(ctx, d, prepare.Options{Workers: o.Workers, Cache: o.Cache})
	if err != nil {
		return nil, err
	}
	b.bare = bare
	b.lights = func(name string) (*scene.Description, error) { return setup(bare, name) }
	return b, nil
}

// from stands the camera at an azimuth and an elevation, in degrees, about the eye alone.
func from(azimuth, elevation float64) func(b *sitting) (*scene.Description, error) {
	return func(b *sitting) (*scene.Description, error) { return stand(b.bare, azimuth, elevation) }
}

func stand(d *scene.Description, azimuth, elevation float64) (*scene.Description, error) {
	_, _, dist := cameraBearing(d)
	return d.With(fmt.Sprintf("camera.orbit={azimuth: %.10g, elevation: %.10g, distance: %.10g}", azimuth, elevation, dist))
}

// lit is the front in a light set-up of the program.
func lit(name string) func(b *sitting) (*scene.Description, error) {
	return func(b *sitting) (*scene.Description, error) {
		d, err := b.lights(name)
		if err != nil {
			return nil, err
		}
		return stand(d, 0, 0)
	}
}

// leastMacro is the least length of the iris' close-up along its longer side, in pixels.
const leastMacro = 1500

// macro is a close-up of the iris, in the set's lights or in a set-up.
func macro(azimuth float64, lights string) func(b *sitting) (*scene.Description, error) {
	return func(b *sitting) (d *scene.Description, err error) {
		d = b.bare
		if lights != "" {
			if d, err = b.lights(lights); err != nil {
				return nil, err
			}
		}
		if d, err = stand(d, azimuth, 0); err != nil {
			return nil, err
		}
		p, err := b.prepared(d)
		if err != nil {
			return nil, err
		}
		w, err := p.IrisWindow()
		if err != nil {
			return nil, err
		}
		size := max(d.Picture.Width, d.Picture.Height)
		if size > 512 { // not a draft
			size = max(size, leastMacro)
		}
		return crop(d, w, size)
	}
}

// crop is a window of the picture in its own proportions, about the window's middle.
func crop(d *scene.Description, w render.Window, size int) (*scene.Description, error) {
	cx, cy := (w.X0+w.X1)/2, (w.Y0+w.Y1)/2
	s := max(w.X1-w.X0, w.Y1-w.Y0) // shares: as wide as high has the picture's proportions
	return render.Crop(d, render.Window{X0: cx - s/2, Y0: cy - s/2, X1: cx + s/2, Y1: cy + s/2}, size)
}

// pupil is the front with the pupil's diameter times k, within what an eye that is built can have.
func pupil(k float64) func(b *sitting) (*scene.Description, error) {
	return func(b *sitting) (*scene.Description, error) {
		d, err := stand(b.bare, 0, 0)
		if err != nil {
			return nil, err
		}
		for i := range d.Objects {
			q := &d.Objects[i]
			if q.Name != b.eye {
				continue
			}
			mm := q.Eye.Iris.Pupil * k
			if q.Eye.Asset == nil {
				mm = min(8, max(1.5, mm))
			} else if mm, err = b.warped(d, k); err != nil || k == 1 {
				return d, err
			}
			return d.With(fmt.Sprintf("objects.%s.iris.pupil=%.4g", b.eye, mm))
		}
		return d, nil
	}
}

// warped is k times the size of the pupil of an eye from a file, as far as its tissue can be warped.
func (b *sitting) warped(d *scene.Description, k float64) (float64, error) {
	p, err := b.prepared(d)
	if err != nil {
		return 0, err
	}
	mm, widest := p.Pupil(0)
	if mm == 0 {
		return 0, fmt.Errorf("objects.%s: its iris has no pupil to change; drop the group pupils", b.eye)
	}
	return min(k*mm, 0.9*widest), nil
}

// white is a close-up of the white and its veins beside the iris.
func white(b *sitting) (*scene.Description, error) {
	d, err := stand(b.bare, -42, 4)
	if err != nil {
		return nil, err
	}
	p, err := b.prepared(d)
	if err != nil {
		return nil, err
	}
	iris, err := p.IrisWindow()
	if err != nil {
		return nil, err
	}
	// Beside the iris on the side that faces the camera, as high as the iris.
	mid, half := (iris.Y0+iris.Y1)/2, (iris.Y1-iris.Y0)*0.5
	x := iris.X0 + 0.15*(iris.X1-iris.X0)
	if (iris.X0+iris.X1)/2 < 0.5 {
		x = iris.X1 - 0.15*(iris.X1-iris.X0) + 2*half
	}
	return crop(d, render.Window{X0: x - 2*half, Y0: mid - half, X1: x, Y1: mid + half}, max(d.Picture.Width, d.Picture.Height))
}

// only is the three-quarter view with some keys changed: keys of the eye without their object, others in full.
func only(sets ...string) func(b *sitting) (*scene.Description, error) {
	return func(b *sitting) (*scene.Description, error) {
		d, err := stand(b.bare, 14, 2)
		if err != nil {
			return nil, err
		}
		var full []string
		for _, s := range sets {
			if !strings.HasPrefix(s, "effects.") {
				s = "objects." + b.eye + "." + s
			}
			full = append(full, s)
		}
		return d.With(full...)
	}
}

// leastEdge is how long the triangles' edges are to be in the picture of triangles, in pixels.
const leastEdge = 9

// mostFocal is how long a lens a window may come to, in mm: a little less than what scenes allow.
const mostFocal = 9500

// wire is the three-quarter view, or so small a window about the limbus that triangles can be seen.
func wire(b *sitting) (*scene.Description, error) {
	d, err := stand(b.bare, 14, 2)
	if err != nil {
		return nil, err
	}
	p, err := b.prepared(d)
	if err != nil {
		return nil, err
	}
	outer, inner := diagram.Facets(p.Scene, d.Picture.Width, d.Picture.Height)
	edge := outer
	if inner > 0 {
		edge = min(edge, inner)
	}
	if edge == 0 || edge >= leastEdge {
		return d, nil
	}
	share := max(edge/leastEdge, 0.02, d.Camera.FocalLength/mostFocal)
	w, err := p.IrisWindow()
	if err != nil {
		return nil, err
	}
	x, y := (w.X0+w.X1)/2, w.Y1-(w.Y1-w.Y0)/12 // the limbus below: one sixth of the window is margin
	return crop(d, render.Window{X0: x - share/2, Y0: y - share/2, X1: x + share/2, Y1: y + share/2}, max(d.Picture.Width, d.Picture.Height))
}

// captionOf says in a line what a picture shows.
func captionOf(d *scene.Description) string {
	az, el, _ := cameraBearing(d)
	mm := frameWidth(d)
	out := fmt.Sprintf("from %.3g°, %.3g°; the picture is %.3g mm wide", az, el, mm)
	for i := range d.Objects {
		if q := &d.Objects[i]; q.Eye != nil && q.On && q.Eye.Iris.Pupil > 0 {
			out += fmt.Sprintf("; pupil %.2g mm", q.Eye.Iris.Pupil)
			break
		}
	}
	if f := d.LightSetupFile(); f != "" {
		out += "; light: " + lightSetupName(f)
	} else {
		out += "; light: the scene's own"
	}
	return out
}
