package prepare

import (
	"context"
	"errors"
	"fmt"
	"runtime"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/memory"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/geom"
)

// Progress hears how work goes on. Its methods are called from one goroutine at a time.
type Progress interface {
	Phase(name string)
	Advance(done, total int64)
}

// Options say how to work; they never change the picture.
type Options struct {
	Workers  int // 0 takes one per processor
	Progress Progress
	Cache    *Cache // keeps what overrides leave unchanged; nil builds all anew
	Rough    bool   // takes rough stand-ins of what takes long, from what the cache has; the picture is another one

	log *stages // hears of every stage
}

// WorkerCount is how many goroutines work.
func (o Options) WorkerCount() int {
	if o.Workers > 0 {
		return o.Workers
	}
	return runtime.GOMAXPROCS(0)
}

// Phase tells the listener, where there is one, what is done now.
func (o Options) Phase(name string) {
	if o.Progress != nil {
		o.Progress.Phase(name)
	}
}

// Prepared is a scene ready to render.
type Prepared struct {
	Description *scene.Description // with its camera in place
	Scene       *frozen.Scene
	Filter      film.Filter
	Warnings    []string
	Bytes       int64      // of the hierarchies
	Triangles   int64      // in them
	View        *view.View // of the description
	Rough       bool       // some of it is a rough stand-in; see Options
	Stages      []Stage    // what was made for it, in order, and what was taken
}

// preparer gathers what Prepare makes.
type preparer struct {
	d    *scene.Description
	o    Options
	out  *frozen.Scene
	warn []string
	errs []error

	meshes map[string]*instance

	rims   []geom.Vec   // of all lids, in the world
	lidded map[int]bool // eyes with lids
	rough  bool         // a stand-in was taken
}

func (p *preparer) warnf(format string, a ...any) { p.warn = append(p.warn, fmt.Sprintf(format, a...)) }

func (p *preparer) fail(key string, err error) {
	p.errs = append(p.errs, fmt.Errorf("%s: %s: %w", p.d.File, key, err))
}

// Scene makes everything that rendering reads: meshes, hierarchies, maps, lights, camera. It reports all that is
// wrong in one go.
func Scene(ctx context.Context, d *scene.Description, o Options) (*Prepared, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	o.log = new(stages)
	p := &preparer{d: d, o: o, out: &frozen.Scene{}}
	if err := p.checkForecast(); err != nil {
		return nil, err
	}
	p.settings()
	for i := range d.Objects {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		b := &d.Objects[i]
		if !d.Shown(b) {
			continue
		}
		o.Phase("preparing " + b.Name)
		if b.Shape == "eye" {
			p.eyes(b)
		} else {
			p.object(b)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p.balance()
	order(p.out.Objects)
	o.Phase("preparing lights")
	own := len(p.out.Lights)
	p.lights()
	p.level(own)
	p.lit()
	p.camera()
	if p.out.Camera != nil && !p.out.Plate && d.Advanced.HoldHair {
		if err := Hold(p.out, o.Workers); err != nil {
			p.fail("advanced.hold_hair", err)
		}
	}
	p.beams()
	var filter film.Filter
	if k, err := film.ParseFilter(d.Picture.Filter); err != nil {
		p.fail("picture.filter", err)
	} else if filter, err = film.NewFilter(k, d.Picture.FilterWidth/2); err != nil {
		p.fail("picture.filter_width", err)
	}
	look, err := View(&d.View)
	if err != nil {
		p.fail("view", err)
	}
	if len(p.out.Objects) == 0 && len(p.out.Lights) == 0 {
		p.fail("objects", errors.New("the scene holds no object and no light"))
	}
	if len(p.errs) > 0 {
		return nil, errors.Join(p.errs...)
	}
	if o.log.anew() {
		hugePages(p.out)
	}
	bytes, triangles := size(p.out)
	return &Prepared{Description: p.d, Scene: p.out, Filter: filter, Warnings: p.warn, Bytes: bytes, Triangles: triangles, View: look, Rough: p.rough, Stages: o.log.list}, nil
}

func (p *preparer) settings() {
	t := &p.d.Advanced
	e := &p.d.Effects
	p.out.Settings = frozen.Settings{
		MaxDepth: t.MaxDepth, ExactExit: t.Exit == "exact", Manifold: t.Manifold, Split: t.Split, Guided: t.Guided, LightSamples: t.LightSamples,
		Refraction: e.Refraction, Caustic: e.Caustic, Scattering: e.Scattering, TearFilm: e.TearFilm, Shadow: e.Shadow,
	}
	p.out.ShowEnvironment = p.d.View.Background == "environment"
}

// hugePages moves what rays and walks read here and there onto huge pages; what is there already stays.
func hugePages(s *frozen.Scene) {
	for i := range s.Objects {
		b := &s.Objects[i]
		if b.Hair != nil && b.First == 0 {
			b.Hair.HugePages()
		}
		if b.BVH != nil {
			b.BVH.HugePages()
			memory.Huge(b.Mesh.P)
			memory.Huge(b.Mesh.N)
			memory.Huge(b.Mesh.UV)
			memory.Huge(b.Mesh.Tri)
		}
	}
	for i := range s.Eyes {
		t := &s.Eyes[i].Tissue
		t.Alpha.HugePages()
		t.Colour.HugePages()
		t.Vessels.HugePages()
	}
}

// size adds up the hierarchies of a scene, each once.
func size(s *frozen.Scene) (bytes, triangles int64) {
	seen := map[*accel.BVH]bool{}
	for i := range s.Objects {
		if b := s.Objects[i].BVH; b != nil && !seen[b] {
			seen[b] = true
			bytes += int64(b.Stats().Bytes)
			triangles += int64(b.Stats().Triangles)
		}
		if h := s.Objects[i].Hair; h != nil && s.Objects[i].First == 0 {
			bytes += h.Bytes()
		}
	}
	return
}
