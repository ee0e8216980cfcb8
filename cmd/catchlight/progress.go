package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"
	"golang.org/x/term"
)

// reporter shows how work goes on: a bar with the time left on a terminal, else a line now and then.
type reporter struct {
	w     io.Writer
	term  *os.File // nil where it is no terminal
	phase string
	bar   *progressbar.ProgressBar
	start time.Time
	last  time.Time
}

const lineEvery = 5 * time.Second

func newReporter(w io.Writer) *reporter {
	r := &reporter{w: w}
	if d, ok := w.(*door); ok {
		if f := d.terminal(); f != nil && term.IsTerminal(int(f.Fd())) {
			r.term = f
		}
	}
	return r
}

// Phase implements render.Progress.
func (r *reporter) Phase(name string) {
	r.done()
	r.phase, r.start, r.last = name, time.Now(), time.Now()
	fmt.Fprintln(r.w, oneLine(name))
}

// Advance implements render.Progress.
func (r *reporter) Advance(done, total int64) {
	if r.term != nil {
		if r.bar == nil {
			r.bar = progressbar.NewOptions64(total, progressbar.OptionSetWriter(r.term), progressbar.OptionSetPredictTime(true),
				progressbar.OptionSetDescription(oneLine(r.phase)), progressbar.OptionThrottle(200*time.Millisecond), progressbar.OptionClearOnFinish())
		}
		_ = r.bar.Set64(done)
		return
	}
	if now := time.Now(); now.Sub(r.last) >= lineEvery {
		r.last = now
		gone := now.Sub(r.start)
		left := time.Duration(float64(gone) * float64(total-done) / float64(max(done, 1)))
		fmt.Fprintf(r.w, "%s: %.0f %%, %s left\n", r.phase, 100*float64(done)/float64(total), left.Round(time.Second))
	}
}

// Note implements render.Noter.
func (r *reporter) Note(text string) {
	if r.bar != nil {
		_ = r.bar.Clear()
	}
	tell(r.w, []string{text})
}

// done takes the bar away.
func (r *reporter) done() {
	if r.bar != nil {
		_ = r.bar.Finish()
		r.bar = nil
	}
}
