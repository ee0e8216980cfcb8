package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/render/bake"
	"catchlight/render/job"
	"catchlight/scene/imageio"
)

// style is how maps are stored.
func (b *baking) style() bake.Style {
	return bake.Style{Bits: b.bits, Dither: b.dither, GreenDown: b.green == "down", Edge: b.edge, HeightRange: b.heightRange, ThickRange: b.thickRange}
}

// pictures are the files of a set's tile: of maps first, then packs. r is what their codes span.
func (b *baking) pictures(w *bake.Work, r *bake.Ranges) (out []bake.File) {
	s := b.style()
	for _, n := range b.files(w.Passes[0].Bake.High) {
		var names []string
		if n == "masks" && b.wanted(n) {
			names = w.Passes[0].Bake.Names()
		}
		out = append(out, s.Plan(n, r, names)...)
	}
	for _, text := range b.packs {
		p, _ := bake.ParsePack(text) // checked before
		out = append(out, s.Pack(&p, r))
	}
	return out
}

// made reports whether --only leaves a file in.
func (b *baking) made(f *bake.File) bool {
	return b.wanted(f.Map) || strings.HasPrefix(f.Map, "mask_") && b.wanted("masks")
}

// item is a file of the job: its key says what it depends on.
func (b *baking) item(w *bake.Work, f *bake.File, tile int) job.Item {
	name := f.Path(w.Name, tile, len(w.Tiles) > 1)
	all := w.Keys(tile)
	var own []string
	for _, k := range f.Kinds() {
		own = append(own, all[k])
	}
	keys, err := json.Marshal([]any{own, b.style(), b.pad, b.size, f.Holds, f.Bits})
	if err != nil { // numbers and words alone
		panic(err)
	}
	sum := sha256.Sum256(keys)
	return job.Item{Name: name, Key: hex.EncodeToString(sum[:]), Files: []string{name}}
}

// open takes the folder. With --only the files of earlier runs stay.
func (b *baking) open(works []*bake.Work) (*job.Job, error) {
	m := job.Manifest{Kind: "bake", Args: []string{}, Program: versionText(), Plan: []job.Item{}, More: []string{bake.ReportName, alignmentName, "planes"}, Overwrite: b.overwrite}
	if b.proof != "" {
		m.More = append(m.More, proofName)
	}
	seen := map[string]bool{}
	add := func(it job.Item) {
		if !seen[it.Name] {
			m.Plan, seen[it.Name] = append(m.Plan, it), true
		}
	}
	for _, w := range works {
		for _, tile := range w.Tiles {
			list := b.pictures(w, &bake.Ranges{})
			for i := range list {
				if len(b.only) == 0 || b.made(&list[i]) {
					add(b.item(w, &list[i], tile))
				}
			}
		}
	}
	if old, err := job.Read(b.out); err == nil && len(b.only) > 0 {
		for _, it := range old.Plan {
			for _, f := range old.Done[it.Name] {
				it.Files = append(it.Files, f.Name)
			}
			add(it)
		}
		for _, n := range old.More {
			if !slices.Contains(m.More, n) {
				m.More = append(m.More, n)
			}
		}
	}
	return job.Open(b.out, m)
}

// earlier is the report of an earlier run.
func (b *baking) earlier() (r bake.Report) {
	data, err := os.ReadFile(filepath.Join(b.out, bake.ReportName))
	if err != nil || json.Unmarshal(data, &r) != nil {
		return bake.Report{}
	}
	return r
}

// writing is what the files of a run are written with.
type writing struct {
	*baking
	j     *job.Job
	old   bake.Report
	fresh int // files that were written
}

// write pads, codes and writes all files, and the report.
func (b *baking) write(ctx context.Context, j *job.Job, works []*bake.Work) error {
	q := writing{baking: b, j: j, old: b.earlier()}
	b.progress.Phase("padding and writing")
	for i, w := range works {
		var r bake.Ranges
		canvases := map[int]*bake.Canvas{}
		for _, tile := range w.Tiles {
			c, err := bake.NewCanvas(w.Planes(tile), b.pad)
			if err != nil {
				return err
			}
			s := &b.report.Sets[i]
			s.Covered, s.Missed, s.Back = s.Covered+c.Padding.Covered, s.Missed+c.Padding.Missed, max(s.Back, c.Padding.Back)
			if err := r.Measure(c); err != nil {
				return err
			}
			if len(w.Tiles) == 1 { // many at a time would not fit
				canvases[tile] = c
			}
		}
		for _, tile := range w.Tiles {
			if err := q.tile(ctx, w, tile, canvases[tile], &r); err != nil {
				return err
			}
		}
		b.identities(w)
	}
	b.progress.done()
	if len(b.only) > 0 { // what stays
		for _, o := range q.old.Files {
			if !slices.ContainsFunc(b.report.Files, func(f bake.File) bool { return f.Name == o.Name }) {
				b.report.Files = append(b.report.Files, o)
			}
		}
	}
	if err := writeJSON(j.Path(bake.ReportName), &b.report); err != nil {
		return err
	}
	b.tellFiles(q.fresh)
	return nil
}

// tile writes the files of a tile; c may be nil, and is read when it is needed.
func (q *writing) tile(ctx context.Context, w *bake.Work, tile int, c *bake.Canvas, r *bake.Ranges) error {
	list := q.pictures(w, r)
	for k := range list {
		f := &list[k]
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if !q.made(f) {
			continue
		}
		it := q.item(w, f, tile)
		f.Name, f.Set, f.Tile = it.Name, w.Name, tile
		was := slices.IndexFunc(q.old.Files, func(o bake.File) bool { return o.Name == f.Name })
		if was >= 0 && q.j.Done(it) && len(q.only) == 0 {
			q.report.Files = append(q.report.Files, q.old.Files[was])
			continue
		}
		if c == nil {
			var err error
			if c, err = bake.NewCanvas(w.Planes(tile), q.pad); err != nil {
				return err
			}
		}
		imageio.Sweep(q.j.Path(f.Name))
		if err := c.Write(q.j.Path(f.Name), f); err != nil {
			return err
		}
		if err := q.j.Finish(it); err != nil {
			return err
		}
		if f.Clip > 0.001 {
			q.note(fmt.Sprintf("%s: %.2g %% of the values lie outside what its codes span and are clipped", f.Name, 100*f.Clip))
		}
		q.fresh++
		q.report.Files = append(q.report.Files, *f)
	}
	return nil
}

// identities adds the list of ids.
func (b *baking) identities(w *bake.Work) {
	if !slices.Contains(w.Passes[0].Kinds, bake.IDs) && !slices.Contains(w.Passes[0].Kinds, bake.Masks) {
		return
	}
	for i, n := range w.Passes[0].Bake.Names() {
		c := bake.Palette(i + 1)
		b.report.IDs = append(b.report.IDs, bake.ID{ID: i + 1, Name: n, Colour: fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2]), Set: w.Name})
	}
}

// tellFiles sums up.
func (b *baking) tellFiles(fresh int) {
	for i := range b.report.Sets {
		c := &b.report.Sets[i]
		if c.Missed > 0 {
			b.note(fmt.Sprintf("%s: %d of %d texels met nothing and are filled from their neighbours", strings.Join(c.Low, ", "), c.Missed, c.Covered+c.Missed))
		}
	}
	for i := range b.report.Files {
		f := &b.report.Files[i]
		words := ""
		switch {
		case f.Zero != nil && f.Map == "thickness":
			words = fmt.Sprintf(": 0 to %g mm", *f.Scale)
		case f.Zero != nil && f.Map == "height":
			words = fmt.Sprintf(": %.8g is level, %g mm from 0 to 1", *f.Zero, *f.Scale)
		case f.Zero != nil && f.Map == "curvature":
			words = fmt.Sprintf(": %.8g is flat, %g 1/mm from 0 to 1", *f.Zero, *f.Scale)
		}
		fmt.Fprintf(b.stdout, "  %s (%d bits)%s\n", f.Name, f.Bits, words)
	}
	fmt.Fprintf(b.stdout, "wrote %d of %d maps into %s; %s says what they hold\n", fresh, len(b.report.Files), b.out, filepath.Join(b.out, bake.ReportName))
}
