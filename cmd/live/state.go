package live

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"catchlight/render"
	prep "catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/colour"
)

// liveMaps is how many texels a side the maps of built eyes and of tissue have while a change is new, unless Options say otherwise.
const liveMaps = 512

// state is a prepared scene.
type state struct {
	d       *scene.Description // that it was made from, gains of lights included
	warmth                     // of its eyes
	files   string             // the state of all files that it was made from
	p       *render.Prepared
	smaller bool // maps than the scene asks for
	held    bool // a pupil is warped, or lids are as they were
}

// warmth is what eyes were made from, files too: with their lids, and however they are turned in these.
type warmth struct{ eyes, maps string }

// rough reports whether a finer state is to follow.
func (s *state) rough() bool { return s.smaller || s.held }

// picture is what is traced of a state at one size.
type picture struct {
	s    *state
	size int
	run  *render.Run
}

// worker is what the engine's goroutine has for itself.
type worker struct {
	e        *Engine
	pace     pace
	low      low  // of the last draft
	want     int  // longer side of the finest picture
	first    bool // no picture of the request was shown yet
	state    *state
	pic      *picture
	looked   time.Time     // when a picture was shown last
	lookTook time.Duration // that making it took
	canvas   canvas
	cleaning cleaning

	warm    warmth   // of the last eyes that are prepared as their scene asks for
	fine    *finer   // the preparation of a finer state under way
	drawn   string   // what the last picture of the raster look is of
	drawing *drawing // the raster look on its way
	failed  bool     // the last request did
	marked  *state   // whose marks were handed on
}

// finer is a preparation that goes on while rough pictures are made.
type finer struct {
	of   warmth
	stop context.CancelFunc
	done chan struct{}
	err  error // once it is done
}

// errFiner says that a finer state is there.
var errFiner = errors.New("a finer state is there")

// show makes the pictures of a request until its context ends.
func (w *worker) show(ctx context.Context, r *request) error {
	w.first = true
	now := baked(r.d, r.gains)
	if r.v.Alone != "" {
		return w.alone(ctx, r, now)
	}
	var gains map[string]colour.RGB
	c, files := grown, filesOf(now)
	if w.state != nil && w.state.files == files {
		c, gains = compare(w.state.d, now)
	}
	if c > lit {
		if err := w.prepare(ctx, now); err != nil {
			return err
		}
		gains = nil
	}
	if w.failed {
		w.failed = false
		w.e.queue.push(Frame{Run: r.run, Look: Well})
	}
	for {
		err := w.trace(ctx, r, now, gains)
		again := errors.Is(err, errFiner)
		// The kept samples may be of a light that was dim: it is sampled as it is now.
		if !again && (err != nil || !noisy(gains) || r.v.Drag) {
			return err
		}
		if w.state.held && !w.state.smaller {
			w.canvas.of = "" // lids in the wrong place: even a draft of the right ones is better
		}
		if err := w.prepare(ctx, now); err != nil {
			return err
		}
		gains = nil
	}
}

// filesOf is the state of the files that a description names.
func filesOf(d *scene.Description) string {
	var b strings.Builder
	for _, f := range render.Files(d) {
		fmt.Fprintln(&b, prep.StampOf(f))
	}
	return b.String()
}

// prepare makes the state of a description: as the scene asks for where its eyes are prepared so already, else a rough one.
func (w *worker) prepare(ctx context.Context, d *scene.Description) error {
	files := filesOf(d)
	s := &state{d: d, files: files, warmth: warmth{text(eyesOf(d, true)) + files, text(eyesOf(d, false)) + files}}
	if w.fine != nil && w.fine.of != s.warmth {
		w.fine.stop()
		w.fine = nil
	}
	q := plain(d)
	o := w.e.o
	if w.warm.maps != s.maps {
		s.smaller = small(q, w.e.maps)
	}
	o.Rough = w.warm != s.warmth
	p, err := render.Prepare(ctx, q, o)
	if err != nil {
		return err
	}
	if s.p, s.held = p, p.Rough; !s.rough() {
		w.warm = s.warmth
	}
	w.state, w.pic = s, nil
	w.e.shown.Store(s)
	return nil
}

// plain is a description without what no picture here needs.
func plain(d *scene.Description) *scene.Description {
	q := *d
	q.Picture.Error, q.Picture.Passes = 0, scene.Passes{}
	return &q
}

// small brings the maps of a description's eyes down to what is quickly made; it reports whether any was larger.
func small(d *scene.Description, maps int) (changed bool) {
	d.Objects = append([]scene.Object(nil), d.Objects...)
	for i := range d.Objects {
		if e := d.Objects[i].Eye; e != nil && e.MapSize > maps {
			q := *e
			q.MapSize = maps
			d.Objects[i].Eye, changed = &q, true
		}
	}
	return changed
}

// refineState starts to prepare what the scene asks for, beside the work for pictures.
func (w *worker) refineState() {
	s := w.state
	if w.fine != nil || !s.rough() {
		return
	}
	ctx, stop := context.WithCancel(context.Background())
	f, q, o := &finer{of: s.warmth, stop: stop, done: make(chan struct{})}, plain(s.d), w.e.o
	w.fine = f
	go func() {
		defer close(f.done)
		defer stop()
		_, f.err = render.Prepare(ctx, q, o)
	}()
}

// finished reports whether the finer state is there. What is wrong with it is told once.
func (w *worker) finished() (bool, error) {
	if w.fine == nil {
		return false, nil
	}
	select {
	case <-w.fine.done:
	default:
		return false, nil
	}
	f := w.fine
	if w.fine = nil; f.err == nil {
		w.warm = f.of
	}
	return f.err == nil, f.err
}
