package render

import (
	"context"
	"errors"
	"slices"
	"time"

	prep "catchlight/render/prepare"
	"catchlight/scene"
)

// Watcher renders drafts of a scene, again whenever the scene file or a file that it names is saved. What did not change
// is not loaded again.
//
// A draft always shows one state of the files: they are looked at before and after they are read, and a draft of files
// that changed meanwhile is thrown away. A file that can't be read is waited for as long as it goes on changing, and
// Patience more; then it is a problem to show, and the last good draft stays.
type Watcher struct {
	File    string                             // the scene file
	Load    func() (*scene.Description, error) // reads it, with overrides
	Options Options                            // Cache is made where there is none
	Passes  []int                              // samples per pixel of the drafts of one state, rising
	Window  func(p *Prepared) (Window, error)  // part of the picture to show; nil shows all
	Size    int                                // longer side of the draft in pixels; 0 keeps the scene's
	Show    func(Draft) error                  // hears of each draft and each problem, one at a time; a draft's pixels are there during the call

	Poll     time.Duration // how often files are looked at; 0: 50 ms
	Settle   time.Duration // how long a file must stay as it is; 0: 100 ms
	Patience time.Duration // how long a file that can't be read is waited for; 0: 2 s
}

// Draft is a picture of the scene as its files are now, or what is wrong with them.
type Draft struct {
	Number  int           // of the state of the files, from 1
	Result  *Result       // nil for a problem
	Problem error         // nil for a picture
	Last    bool          // the last pass of this state
	Changed []string      // the files that were saved since the last state
	Age     time.Duration // since the save was seen
}

// Run watches until ctx ends, and returns nil then; or until Show returns an error.
func (w *Watcher) Run(ctx context.Context) error {
	if w.Poll == 0 {
		w.Poll = 50 * time.Millisecond
	}
	if w.Settle == 0 {
		w.Settle = 100 * time.Millisecond
	}
	if w.Patience == 0 {
		w.Patience = 2 * time.Second
	}
	if w.Options.Cache == nil {
		w.Options.Cache = NewCache()
	}
	files := []string{w.File} // of the last scene that could be read
	var changed []string
	seen := time.Now() // when the change was seen
	for number := 1; ctx.Err() == nil; number++ {
		before := stamps(files)
		d, err := w.Load()
		if err == nil {
			files = Files(d)
			before = extend(before, files)
			err = w.draft(ctx, d, before, func(r *Result, last bool) error {
				return w.Show(Draft{Number: number, Result: r, Last: last, Changed: changed, Age: time.Since(seen)})
			})
		}
		var stop showError
		var now []prep.Stamp
		ok := false
		switch {
		case errors.As(err, &stop):
			return stop.error
		case ctx.Err() != nil:
			return nil
		case err != nil && !errors.Is(err, errStale):
			// Half saved, perhaps.
			if now, ok = w.settle(ctx, before, w.Patience); !ok && ctx.Err() == nil {
				if err := w.Show(Draft{Number: number, Problem: err, Last: true, Changed: changed, Age: time.Since(seen)}); err != nil {
					return err
				}
			}
		}
		if !ok {
			now, _ = w.settle(ctx, before, -1)
		}
		changed, seen = differ(before, now), time.Now()
	}
	return nil
}

type showError struct{ error }

// errStale says that files changed while a draft of them was made.
var errStale = errors.New("files changed")

// draft renders the passes of one state of the files; it ends early where they change.
func (w *Watcher) draft(ctx context.Context, d *scene.Description, before []prep.Stamp, show func(*Result, bool) error) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	stale := make(chan struct{})
	done := make(chan struct{})
	defer close(done)
	go func() {
		for {
			select {
			case <-done:
				return
			case <-time.After(w.Poll):
			}
			if !current(before) {
				close(stale)
				cancel()
				return
			}
		}
	}()
	changed := func() bool {
		select {
		case <-stale:
			return true
		default:
			return !current(before)
		}
	}
	r, err := w.begin(ctx, d)
	if changed() {
		return errStale
	}
	if err != nil {
		return err
	}
	for i, spp := range w.Passes {
		var now *Result
		err := r.To(ctx, spp)
		if err == nil {
			now, err = r.Result()
		}
		if changed() {
			return errStale
		}
		if err != nil {
			return err
		}
		if err := show(now, i == len(w.Passes)-1); err != nil {
			return showError{err}
		}
	}
	return nil
}

// begin prepares the scene for the samples of the last pass; the passes before are on the way there.
func (w *Watcher) begin(ctx context.Context, d *scene.Description) (*Run, error) {
	q := *d
	q.Picture.Samples = w.Passes[len(w.Passes)-1]
	p, err := Prepare(ctx, &q, w.Options)
	if err != nil {
		return nil, err
	}
	if w.Size > 0 {
		win := Window{0, 0, 1, 1}
		if w.Window != nil {
			if win, err = w.Window(p); err != nil {
				return nil, err
			}
		}
		c, err := Crop(p.Description, win, w.Size)
		if err != nil {
			return nil, err
		}
		if p, err = Prepare(ctx, c, w.Options); err != nil {
			return nil, err
		}
	}
	return p.Begin(w.Options)
}

// settle waits until the files differ from before and have stopped changing. It gives up after limit (never where that
// is negative) and when ctx ends.
func (w *Watcher) settle(ctx context.Context, before []prep.Stamp, limit time.Duration) (now []prep.Stamp, ok bool) {
	start := time.Now()
	var still time.Time
	last := before
	for {
		now = again(before)
		switch {
		case !slices.Equal(now, last):
			last, still = now, time.Now()
		case !slices.Equal(now, before) && time.Since(still) >= w.Settle:
			return now, true
		}
		if limit >= 0 && time.Since(start) > limit && slices.Equal(now, before) {
			return now, false
		}
		select {
		case <-ctx.Done():
			return now, false
		case <-time.After(w.Poll):
		}
	}
}

func stamps(files []string) []prep.Stamp {
	out := make([]prep.Stamp, len(files))
	for i, f := range files {
		out[i] = prep.StampOf(f)
	}
	return out
}

// differ lists the files whose state is not the same.
func differ(a, b []prep.Stamp) []string {
	var out []string
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			out = append(out, a[i].Path)
		}
	}
	return out
}

// again looks at the same files once more.
func again(before []prep.Stamp) []prep.Stamp {
	out := make([]prep.Stamp, len(before))
	for i := range before {
		out[i] = prep.StampOf(before[i].Path)
	}
	return out
}

// current says whether all files are as they were.
func current(before []prep.Stamp) bool { return slices.Equal(again(before), before) }

// extend returns the states of the files: the known ones, and what others are now.
func extend(known []prep.Stamp, files []string) []prep.Stamp {
	out := make([]prep.Stamp, len(files))
	for i, f := range files {
		if k := slices.IndexFunc(known, func(s prep.Stamp) bool { return s.Path == f }); k >= 0 {
			out[i] = known[k]
		} else {
			out[i] = prep.StampOf(f)
		}
	}
	return out
}
