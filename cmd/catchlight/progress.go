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
	from  int64 // done when the phase began, in an earlier run
	begun bool  // from is known
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
	r.phase, r.start, r.last, r.begun = name, time.Now(), time.Now(), false
	fmt.Fprintln(r.w, oneLine(name))
}

// Advance implements render.Progress.
func (r *reporter) Advance(done, total int64) {
	if !r.begun {
		r.from, r.begun = done, true
	}
	left, known := timeLeft(time.Since(r.start), r.from, done, total)
	words := ""
	if known {
		words = ", " + left.String() + " left"
	}
	if r.term != nil {
		if r.bar == nil {
			r.bar = progressbar.NewOptions64(total, progressbar.OptionSetWriter(r.term), progressbar.OptionSetPredictTime(false),
				progressbar.OptionSetDescription(oneLine(r.phase)), progressbar.OptionThrottle(200*time.Millisecond), progressbar.OptionClearOnFinish())
		}
		r.bar.Describe(oneLine(r.phase) + words)
		_ = r.bar.Set64(done)
		return
	}
	if now := time.Now(); now.Sub(r.last) >= lineEvery {
		r.last = now
		fmt.Fprintf(r.w, "%s: %.0f %%%s\n", r.phase, 100*float64(done)/float64(max(total, 1)), words)
	}
}

// timeLeft tells how long the rest takes at the pace so far; from was done before. Nothing is known before 2 s and 2 % of the work:
// the first tile's pace is its own.
func timeLeft(gone time.Duration, from, done, total int64) (left time.Duration, known bool) {
	if gone < 2*time.Second || done <= from || 50*(done-from) < total-from {
		return 0, false
	}
	return time.Duration(float64(gone) * float64(total-done) / float64(done-from)).Round(time.Second), true
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
