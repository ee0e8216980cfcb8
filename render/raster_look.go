package render

import (
	"context"
	"math"
	"slices"
	"time"

	"catchlight/render/film"
	prep "catchlight/render/prepare"
	"catchlight/render/raster"
)

// Raster draws the scene in the raster look: the same camera, film size, lights, view and record, one sample a pixel in the film,
// without an error. Bits do not depend on the workers.
func (p *Prepared) Raster(ctx context.Context, o Options) (*Result, error) {
	start := time.Now()
	d := p.Description
	o.phase("baking")
	maker := &prep.Maker{Cache: o.Cache}
	look, err := raster.Bake(ctx, maker, p.Scene, d.Raster, o.workers())
	if err != nil {
		return nil, err
	}
	o.phase("drawing")
	baked := time.Now()
	pic, err := look.Draw(ctx, p.Scene.Camera, d.Picture.Width, d.Picture.Height)
	if err != nil {
		return nil, err
	}
	f, err := film.New(film.Config{Width: pic.Width, Height: pic.Height, SPP: 1, Resident: o.FilmBytes, Scratch: o.Scratch})
	if err != nil {
		return nil, err
	}
	s := f.Sample()
	for i, c := range pic.Mean {
		s.Begin(i, 0)
		s.Add(0, 0, c)
		s.Cover(pic.Alpha[i])
		s.End()
	}
	s.Release()
	r := &Result{Width: pic.Width, Height: pic.Height, SPP: 1, Film: f, Look: "raster", Finished: true, d: d, view: p.View}
	r.Achieved = Achieved{SPPLeast: 1, SPPMost: 1, SPPMean: 1}
	r.Warnings = append(append(r.Warnings, p.Warnings...), pic.Notes...)
	t := &r.Stats
	t.Width, t.Height, t.SPP, t.Seed, t.Workers = r.Width, r.Height, 1, d.Picture.Seed, o.workers()
	t.Seconds, t.BakeSeconds = time.Since(baked).Seconds(), baked.Sub(start).Seconds()
	t.Stages = slices.Concat(p.Stages, maker.Stages())
	t.HierarchyBytes, t.Triangles, t.PeakBytes = p.Bytes, p.Triangles, peakMemory()
	t.BytesPerTriangle = float64(p.Bytes) / math.Max(1, float64(p.Triangles))
	t.Error, t.Warnings = r.Achieved, r.Warnings
	return r, nil
}
