package main

import (
	"context"
	"fmt"
	"os"

	"catchlight/render"
	"catchlight/render/inspect"
	"catchlight/scene"
)

// draftLights are the lights of the drafts, as overrides of a scene.
var draftLights = []struct{ title, lights string }{
	{"by a window", "lights=[{name: window, kind: rectangle, orbit: {azimuth: -28, elevation: 26, distance: 2450}, width: 500, height: 510, panes: [2, 3], bar: 32, radiance: [56, 54.9, 52.9]}, {name: room, kind: environment, file: builtin:cottage-room-unlit, rotation: -28, ev: 2.9}]"},
	{"under a small grazing lamp", "lights=[{name: grazing, kind: disc, orbit: {azimuth: 68, elevation: 12, distance: 700}, radius: 30, radiance: [620, 600, 570]}]"},
	{"under an overcast sky", "lights=[{name: overcast, kind: constant, radiance: [1, 1, 1]}]"},
}

// maxMarks is the most findings that a draft marks.
const maxMarks = 8

// writePage writes the page of a report, with drafts where the eye can be rendered.
func writePage(ctx context.Context, out *inspect.Report, d *scene.Description, f *inspectFlags, report *reporter) error {
	var drafts []inspect.Draft
	why := ""
	switch {
	case !f.drafts:
		why = "No drafts under light were asked for."
	case d == nil:
		why = "There are no drafts under light: no scene can be proposed for this file."
	default:
		var err error
		if drafts, err = underLight(ctx, out, d, f, report); err != nil {
			if ctx.Err() != nil {
				return errInterrupted
			}
			why = "There are no drafts under light, as the eye can't be rendered as it is: " + err.Error()
		}
	}
	report.Phase("writing the page")
	data, err := out.HTML(drafts, why)
	if err != nil {
		return err
	}
	return writeBytes(f.page, data)
}

// underLight renders the drafts and marks the worst findings where they show.
func underLight(ctx context.Context, out *inspect.Report, d *scene.Description, f *inspectFlags, report *reporter) (list []inspect.Draft, err error) {
	opt := render.Options{Workers: f.workers, Progress: report, Cache: render.NewCache()}
	for _, q := range draftLights {
		set := []string{"light_setup=null", q.lights, fmt.Sprintf("picture.width=%d", f.size), fmt.Sprintf("picture.height=%d", f.size), fmt.Sprintf("picture.samples=%d", f.spp), "picture.denoise=true", "view.exposure=0"}
		lit, err := d.With(set...)
		if err != nil {
			return nil, err
		}
		draftDetail(lit)
		p, err := render.Prepare(ctx, lit, opt)
		if err != nil {
			return nil, err
		}
		r, err := p.Render(ctx, opt)
		if err != nil {
			return nil, err
		}
		m, err := r.Shown()
		if err != nil {
			return nil, err
		}
		list = append(list, inspect.Draft{Title: q.title, Image: m, Marks: marksOn(out, p, f.size)})
	}
	return list, nil
}

// marksOn says where in a picture the worst findings show: those on the side of the eye toward the camera.
func marksOn(out *inspect.Report, p *render.Prepared, size int) (list []inspect.Mark) {
	e := out.Subject.Eye
	if e == nil || len(p.Scene.Eyes) == 0 {
		return nil
	}
	b := &p.Scene.Objects[p.Scene.Eyes[0].Inner]
	toward := p.Scene.Camera.Frame().N
	for i, f := range out.Numbered() {
		// Notes are marked where there is nothing worse.
		if f.Severity < min(out.Worst, inspect.Warning) {
			continue
		}
		if len(list) == maxMarks || len(f.Where) == 0 || f.Where[0].MM == nil {
			continue
		}
		at := f.Where[0].Vec()
		local := e.Frame.Local(at.Sub(e.Centre)).Mul(out.Subject.Asked / out.Subject.MM)
		if out.Subject.Grown {
			local = local.Mul(1 / b.Scale)
		}
		// From the middle of the globe toward the camera, a little past the outline.
		if b.ToWorld.Vector(local).Dot(toward) < -0.1*local.Len() {
			continue
		}
		x, y, _, ok := p.Scene.Camera.Project(b.ToWorld.Point(local))
		if ok && x >= 0 && y >= 0 && x < float64(size) && y < float64(size) {
			list = append(list, inspect.Mark{X: x, Y: y, Number: i + 1, Severe: f.Severity})
		}
	}
	return list
}

// proposedScene is the scene that is proposed for a file of meshes, nil where there is none.
func proposedScene(s *inspect.Subject) *scene.Description {
	if s.Scene == nil {
		return nil
	}
	here, err := os.Getwd()
	if err != nil {
		return nil
	}
	d, err := scene.Parse("proposed.yaml", []byte(s.Scene(here)))
	if err != nil {
		return nil
	}
	return d
}
