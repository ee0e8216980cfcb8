package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"catchlight/render"
	"catchlight/scene"
)

// finisher renders a picture as `render` does, one at a time, beside the live pictures.
type finisher struct {
	dir   string // that pictures go to
	cache *render.Cache
	say   func(word)
	o     render.Options

	mu     sync.Mutex
	cancel context.CancelFunc // nil while nothing is rendered
	done   chan struct{}      // closed when what is rendered has ended
}

var errFinishing = errors.New("a picture is being finished already; stop it first")

// begin renders d in the background.
func (f *finisher) begin(d *scene.Description) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.cancel != nil {
		return errFinishing
	}
	ctx, cancel := context.WithCancel(context.Background())
	over := make(chan struct{})
	f.cancel, f.done = cancel, over
	go func() {
		defer close(over)
		began := time.Now()
		file, notes, err := f.render(ctx, d)
		f.mu.Lock()
		f.cancel = nil
		f.mu.Unlock()
		cancel()
		all := 1.0
		switch {
		case err == nil:
			text := fmt.Sprintf("wrote %s in %.1f s", file, time.Since(began).Seconds())
			f.say(word{Word: "progress", Text: strings.Join(append([]string{text}, notes...), "; "), Share: &all, File: file})
		case errors.Is(err, context.Canceled):
			f.say(word{Word: "progress", Text: "stopped; nothing was written"})
		default:
			f.say(word{Word: "problem", Problem: err.Error()})
		}
	}()
	return nil
}

// stop ends what is under way. It waits for that no longer than it may: a stage of preparation ends by itself.
func (f *finisher) stop(wait time.Duration) {
	f.mu.Lock()
	cancel, over := f.cancel, f.done
	f.mu.Unlock()
	if cancel == nil {
		return
	}
	cancel()
	select {
	case <-over:
	case <-time.After(wait):
	}
}

// render makes the picture and writes it under a name that is free. It returns what there is to know of it, too.
func (f *finisher) render(ctx context.Context, d *scene.Description) (file string, notes []string, err error) {
	o := f.o
	o.Cache, o.Progress = f.cache, &sharing{say: f.say}
	p, err := render.Prepare(ctx, d, o)
	if err != nil {
		return "", nil, err
	}
	r, err := p.Render(ctx, o)
	if err != nil {
		return "", nil, err
	}
	if !r.Finished {
		return "", nil, context.Canceled
	}
	if err := os.MkdirAll(f.dir, 0o777); err != nil {
		return "", nil, err
	}
	for i := 1; i < 10000; i++ {
		file := filepath.Join(f.dir, sceneName(d.File)+".png")
		if i > 1 {
			file = filepath.Join(f.dir, fmt.Sprintf("%s-%d.png", sceneName(d.File), i))
		}
		if _, err := os.Lstat(file); errors.Is(err, fs.ErrNotExist) {
			return file, r.Warnings, r.Write(file)
		}
	}
	return "", nil, fmt.Errorf("%s: there are too many pictures of this scene already", f.dir)
}

// sharing tells the tabs how work goes on, a few times a second.
type sharing struct {
	say   func(word)
	phase string
	last  time.Time
}

// Phase implements render.Progress.
func (s *sharing) Phase(name string) {
	s.phase, s.last = name, time.Now()
	s.say(word{Word: "progress", Text: name})
}

// Advance implements render.Progress.
func (s *sharing) Advance(done, total int64) {
	if time.Since(s.last) < 250*time.Millisecond || total == 0 {
		return
	}
	s.last = time.Now()
	share := float64(done) / float64(total)
	s.say(word{Word: "progress", Text: s.phase, Share: &share})
}
