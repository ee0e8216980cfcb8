package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/adopt"
	"catchlight/scene/imageio"
	"catchlight/scene/seat"
)

// adoptHead takes in a head: its scene, its findings, how its eyes sit, and a draft in both looks.
//
// Long: one head from what was found to its files, in order.
func adoptHead(ctx context.Context, in adopt.Input, h *adopt.Head, f *adoptFlags, stdout, stderr io.Writer) error {
	o := seat.Defaults()
	o.Workers = f.workers
	if err := h.Seat(in, o); err != nil {
		return fmt.Errorf("%s: %w", in.Asset, err)
	}
	dir, err := newFolder(f.out, in.Asset, f.overwrite)
	if err != nil {
		return err
	}
	file := filepath.Join(dir, "scene.yaml")
	cache := render.NewCache()
	if err := tryScene(ctx, file, h.Scene(in, dir), f, cache); err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return fmt.Errorf("%s: what was found can't be rendered, so nothing is written: %w", in.Asset, err)
	}
	tell(stderr, in.Notes)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	if err := writeText(file, h.Scene(in, dir)); err != nil {
		return err
	}
	found, err := json.MarshalIndent(headJSON(h), "", "  ")
	if err != nil {
		return err
	}
	if err := writeText(filepath.Join(dir, "findings.json"), string(scene.Stamp(found))+"\n"); err != nil {
		return err
	}
	var drafts []adopt.Draft
	wrote := []string{"list.html", "findings.json"}
	png, err := seatingMap(h)
	if err != nil {
		return err
	}
	if png != nil {
		if err := imageio.WriteAtomic(filepath.Join(dir, "seating.png"), func(w io.Writer) error { _, err := w.Write(png); return err }); err != nil {
			return err
		}
		drafts = append(drafts, adopt.Draft{Title: "seating: what lies between globe and lids, by direction from the globe's centre", File: "seating.png"})
		wrote = append(wrote, "seating.png")
	}
	told(h, stdout)
	page := func() error {
		return imageio.WriteAtomic(filepath.Join(dir, "list.html"), func(w io.Writer) error { return h.Page(w, in, drafts) })
	}
	if err := page(); err != nil {
		return err
	}
	if f.drafts {
		var seats []adopt.Draft
		seats, drafts = drafts, nil
		for _, look := range []string{"traced", "raster"} {
			name := "draft-" + look + ".png"
			if err := headDraft(ctx, file, filepath.Join(dir, name), look, f, cache, stderr); err != nil {
				return err
			}
			drafts = append(drafts, adopt.Draft{Title: look + " look", File: name})
			wrote = append(wrote, name)
		}
		drafts = append(drafts, seats...)
		if err := page(); err != nil {
			return err
		}
	}
	fmt.Fprintf(stdout, "wrote %s, and beside it %s\nto change it and see it: %s\n", file, strings.Join(wrote, ", "), commandLine([]string{"watch", file}))
	if len(h.Eyes) > 1 {
		fmt.Fprintln(stdout, "one eye alone: add --side right or --side left")
	}
	return nil
}

// told prints what was found: what is sure in a few words, then what wants a look, then how the eyes sit.
func told(h *adopt.Head, stdout io.Writer) {
	fmt.Fprintln(stdout, h.Verdict)
	for _, q := range h.Findings {
		if q.Grade == adopt.Sure && !strings.Contains(q.Topic, " eye: ") {
			fmt.Fprintf(stdout, "%s: %s\n", q.Topic, q.Choice)
		}
	}
	for _, q := range h.Findings {
		if q.Grade != adopt.Sure && !strings.HasSuffix(q.Topic, ": seating") {
			fmt.Fprintf(stdout, "%s: %s: %s; %s\n", q.Word, q.Topic, q.Choice, q.Reason)
		}
	}
	for i := range h.Eyes {
		if s := h.Eyes[i].Seat; s != nil {
			fmt.Fprintln(stdout, seatLines(h, &h.Eyes[i]))
		}
	}
}

// seatLines say how an eye sits, in numbers and places, and what would seat it better.
func seatLines(h *adopt.Head, e *adopt.Socketed) string {
	s := e.Seat
	side := e.Side
	if side == "" {
		side = "only"
	}
	line := fmt.Sprintf("%s eye in its socket: gap beside the rim up to %s; over gazes of 30 degrees up to %s, and the globe comes out of the lids ", side, adopt.Place(&s.Rest.Gap), adopt.Place(&s.Turns.Gap))
	if s.Turns.Clip.MM > 0.02 {
		line += "by up to " + adopt.Place(&s.Turns.Clip)
	} else {
		line += "nowhere"
	}
	if b := s.Blink; b != nil {
		if b.Open > 0 {
			line += fmt.Sprintf("; the blink leaves %.1f %% of the view open", 100*b.Open)
		} else {
			line += fmt.Sprintf("; the blink closes, and the globe comes out by up to %.2f mm", b.Rest.Clip.MM)
		}
	}
	if to, ok := h.Seated(e); ok {
		line += fmt.Sprintf("\n  %.2f mm aside it would sit better: gap up to %.2f mm as modelled, over gazes up to %.2f and out of the lids up to %.2f; to try it: --set 'objects.%s.transform.translate=[%.5g, %.5g, %.5g]'",
			s.Move.Len(), s.MovedRest.Gap.MM, s.Moved.Gap.MM, s.Moved.Clip.MM, h.EyeName(e), to.X, to.Y, to.Z)
	}
	return line
}

// headDraft renders the scene in one look.
func headDraft(ctx context.Context, file, out, look string, f *adoptFlags, cache *render.Cache, stderr io.Writer) error {
	report := newReporter(stderr)
	defer report.done()
	opt := render.Options{Workers: f.workers, Progress: report, Cache: cache}
	d, err := scene.Load(file, fmt.Sprintf("picture.width=%d", f.size), fmt.Sprintf("picture.height=%d", max(1, f.size*5/8)), fmt.Sprintf("picture.samples=%d", f.spp))
	if err != nil {
		return err
	}
	draftDetail(d)
	p, err := render.Prepare(ctx, d, opt)
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	draw := p.Render
	if look == "raster" {
		draw = p.Raster
	}
	r, err := draw(ctx, opt)
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	if look == "traced" {
		tell(stderr, r.Warnings)
	}
	return r.Write(out)
}

// headJSON is what findings.json holds of a head.
func headJSON(h *adopt.Head) any {
	type worst struct {
		MM     float64    `json:"mm"`
		At     [3]float64 `json:"at_mm"`
		Clock  float64    `json:"clock"`
		Beyond float64    `json:"beyond_rim_mm"`
		Gaze   [2]float64 `json:"gaze_degrees"`
	}
	type fit struct {
		Gap  worst `json:"gap"`
		Clip worst `json:"out_of_lids"`
		Rub  worst `json:"within_lids"`
	}
	type sits struct {
		Eye    string     `json:"eye"`
		Centre [3]float64 `json:"centre_mm"`
		Radius float64    `json:"radius_mm"`
		Rest   *fit       `json:"as_modelled,omitempty"`
		Turns  *fit       `json:"over_gazes,omitempty"`
		Move   [3]float64 `json:"best_move_mm"`
		Then   *fit       `json:"as_modelled_moved,omitempty"`
		Moved  *fit       `json:"over_gazes_moved,omitempty"`
		Blink  *fit       `json:"blink,omitempty"`
		Open   float64    `json:"blink_open_share,omitempty"`
	}
	one := func(w seat.Worst) worst {
		return worst{w.MM, [3]float64{w.At.X, w.At.Y, w.At.Z}, w.Clock, w.Beyond, w.Gaze}
	}
	fits := func(q *seat.Fit) *fit { return &fit{one(q.Gap), one(q.Clip), one(q.Rub)} }
	var list []sits
	for i := range h.Eyes {
		e := &h.Eyes[i]
		s := sits{Eye: e.Side, Centre: [3]float64{e.Centre.X, e.Centre.Y, e.Centre.Z}, Radius: e.Radius}
		if q := e.Seat; q != nil {
			s.Rest, s.Turns, s.Then, s.Moved = fits(&q.Rest), fits(&q.Turns), fits(&q.MovedRest), fits(&q.Moved)
			s.Move = [3]float64{q.Move.X, q.Move.Y, q.Move.Z}
			if q.Blink != nil {
				s.Blink, s.Open = fits(&q.Blink.Rest), q.Blink.Open
			}
		}
		list = append(list, s)
	}
	return map[string]any{"findings": h.Findings, "eyes": list}
}
