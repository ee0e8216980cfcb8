package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
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
	wg     sync.WaitGroup
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
	f.cancel = cancel
	f.wg.Add(1)
	go func() {
		defer f.wg.Done()
		began := time.Now()
		file, err := f.render(ctx, d)
		f.mu.Lock()
		f.cancel = nil
		f.mu.Unlock()
		cancel()
		done := 1.0
		switch {
		case err == nil:
			f.say(word{Word: "progress", Text: fmt.Sprintf("wrote %s in %.1f s", file, time.Since(began).Seconds()), Share: &done, File: file})
		case errors.Is(err, context.Canceled):
			f.say(word{Word: "progress", Text: "stopped; nothing was written"})
		default:
			f.say(word{Word: "problem", Problem: err.Error()})
		}
	}()
	return nil
}

// stop ends what is under way, and returns when it has ended.
func (f *finisher) stop() {
	f.mu.Lock()
	if f.cancel != nil {
		f.cancel()
	}
	f.mu.Unlock()
	f.wg.Wait()
}

// render makes the picture and writes it under a name that is free.
func (f *finisher) render(ctx context.Context, d *scene.Description) (string, error) {
	o := f.o
	o.Cache, o.Progress = f.cache, &sharing{say: f.say}
	p, err := render.Prepare(ctx, d, o)
	if err != nil {
		return "", err
	}
	r, err := p.Render(ctx, o)
	if err != nil {
		return "", err
	}
	if !r.Finished {
		return "", context.Canceled
	}
	if err := os.MkdirAll(f.dir, 0o777); err != nil {
		return "", err
	}
	for i := 1; i < 10000; i++ {
		file := filepath.Join(f.dir, sceneName(d.File)+".png")
		if i > 1 {
			file = filepath.Join(f.dir, fmt.Sprintf("%s-%d.png", sceneName(d.File), i))
		}
		if _, err := os.Lstat(file); errors.Is(err, fs.ErrNotExist) {
			return file, r.Write(file)
		}
	}
	return "", fmt.Errorf("%s: there are too many pictures of this scene already", f.dir)
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
