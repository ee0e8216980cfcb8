package main

import (
	"context"
	"maps"
	"os"
	"slices"
	"strings"
	"sync"
	"time"

	"catchlight/cmd/live"
	"catchlight/render"
	"catchlight/render/desk"
	"catchlight/scene"
)

// engine makes the pictures of a session: live.Engine, or a small one in tests.
type engine interface {
	Show(run uint64, d *scene.Description, v live.View, gains []live.Light)
	Frames() <-chan live.Frame
	Close()
}

// session is a scene on its desk, the engine that shows it, and the tabs that look on.
type session struct {
	desk   *desk.Desk
	hub    *hub
	start  func() engine
	finish finisher

	mu      sync.Mutex
	engine  engine      // nil while no tab looks on
	closing *time.Timer // ends the engine soon
	done    bool
	run     uint64
	since   uint64 // run with which the scene became what it is
	view    live.View
	fault   string // why the engine has no picture of the scene; empty: it has, or will have
	version uint64 // of the desk that d is
	d       *scene.Description
	files   []string         // that d names, without the scene file
	stamps  map[string]stamp // of the files of d
	settled map[string]stamp // as the pictures have them
}

// grace is how long an engine goes on without a tab: a page that is loaded again takes it up.
const grace = 250 * time.Millisecond

// lookEvery is how often files are looked at.
const lookEvery = 100 * time.Millisecond

func newSession(k *desk.Desk, start func() engine) *session {
	s := &session{desk: k, start: start, view: live.View{Width: 384, Height: 384}}
	s.hub = newHub(s.watched)
	d, version := k.Description()
	s.version = version
	s.take(d)
	return s
}

// take makes a description the one that is shown. s.mu is held.
func (s *session) take(d *scene.Description) {
	s.d, s.since = d, s.run
	s.files = slices.DeleteFunc(render.Files(d), func(f string) bool { return f == d.File }) // the desk looks after that
	s.stamps = stampsOf(s.files)
	s.settled = s.stamps
}

// watched starts the engine with the first tab and ends it with the last.
func (s *session) watched() {
	s.mu.Lock()
	defer s.mu.Unlock()
	tabs := s.hub.count()
	if s.closing != nil {
		s.closing.Stop()
		s.closing = nil
	}
	switch {
	case s.done:
	case tabs == 0:
		s.closing = time.AfterFunc(grace, s.rest)
	case s.engine == nil:
		s.engine, s.fault = s.start(), ""
		go s.pass(s.engine)
		s.show()
	}
}

// rest ends the work; the next tab begins it anew.
func (s *session) rest() {
	s.mu.Lock()
	e := s.engine
	s.engine = nil
	s.mu.Unlock()
	if e != nil {
		e.Close()
	}
}

// end ends the work for good.
func (s *session) end() {
	s.mu.Lock()
	s.done = true
	if s.closing != nil {
		s.closing.Stop()
	}
	s.mu.Unlock()
	s.finish.stop(time.Second)
	s.hub.end()
	s.rest()
}

// pass hands an engine's frames to the tabs.
func (s *session) pass(e engine) {
	for f := range e.Frames() {
		switch {
		case f.Problem != "" || f.Look == live.Well:
			s.trouble(f.Run, f.Problem)
		case f.Look == live.Still:
			s.mu.Lock()
			now := f.Run >= s.since
			s.mu.Unlock()
			if now {
				s.hub.age(false, f.Run)
			}
		default:
			m := frameMessage(f)
			s.mu.Lock()
			m.frame.Old = f.Look == live.Raster && f.Run < s.since
			s.mu.Unlock()
			s.hub.send(m)
		}
	}
}

// trouble tells the tabs why there is no picture, or that there is one again.
func (s *session) trouble(run uint64, problem string) {
	s.mu.Lock()
	s.fault = sentences(problem, s.d.File)
	fault := s.fault
	s.mu.Unlock()
	s.hub.say(word{Word: "problem", Run: run, Problem: fault})
	s.hub.say(word{Word: "state", Run: run})
}

// sentences sets the lines of a problem apart as sentences; each begins with its key instead of the scene file's name.
func sentences(problem, file string) string {
	lines := strings.Split(strings.TrimSpace(problem), "\n")
	for i, line := range lines {
		lines[i] = strings.TrimPrefix(strings.TrimSpace(line), file+": ")
	}
	return strings.Join(lines, ". Also: ")
}

// ready refuses to save a scene of which there can't be a picture.
func (s *session) ready() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fault == "" {
		return nil
	}
	return &desk.Problem{Problem: "there is no picture of the scene as it is; save it nevertheless? " + s.fault, Ask: true}
}

// show asks for pictures of the scene as it is. s.mu is held.
func (s *session) show() {
	s.run++
	if d, version := s.desk.Description(); version != s.version {
		if d != s.d {
			s.take(d)
		}
		s.version = version
	}
	if s.since == s.run {
		s.hub.age(true, s.run)
	}
	if s.engine != nil {
		s.engine.Show(s.run, s.d, s.view, nil)
	}
}

// renew shows the scene after a change of the desk and tells the tabs. It returns the number of the run.
func (s *session) renew() uint64 {
	s.mu.Lock()
	s.show()
	run := s.run
	s.mu.Unlock()
	s.hub.say(word{Word: "state", Run: run})
	return run
}

// look takes another view.
func (s *session) look(v live.View) uint64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	if v == s.view {
		return s.run
	}
	if v.Alone != s.view.Alone {
		s.hub.forget(live.Alone)
	}
	s.view = v
	s.show()
	return s.run
}

// stamp is the state of a file by which a change is seen.
type stamp struct {
	size int64
	time int64
}

func stampsOf(files []string) map[string]stamp {
	out := map[string]stamp{}
	for _, f := range files {
		if info, err := os.Stat(f); err == nil {
			out[f] = stamp{info.Size(), info.ModTime().UnixNano()}
		} else {
			out[f] = stamp{-1, 0}
		}
	}
	return out
}

// watch looks at the scene file and at all that it names until ctx ends. What has changed and stays so for a moment is shown.
func (s *session) watch(ctx context.Context) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		if s.desk.Check() {
			s.renew()
		}
		s.mu.Lock()
		d, files := s.d, s.files
		s.mu.Unlock()
		now := stampsOf(files)
		s.mu.Lock()
		if d != s.d {
			s.mu.Unlock()
			continue
		}
		still := maps.Equal(now, s.stamps)
		s.stamps = now
		saved := still && !maps.Equal(now, s.settled)
		if saved {
			again := *s.d // another pointer says that files are new
			s.take(&again)
			s.since++ // the run that show begins
			s.show()
		}
		s.mu.Unlock()
		if saved {
			s.hub.say(word{Word: "state"})
		}
	}
}
