// Command equalerror measures how much sooner this program reaches an error than another build of it, by part of the eye.
//
//	go run ./cmd/equalerror -then /tmp/then/catchlight
//
// Both programs render each baseline scene with the same seeds at a small size and without denoiser, by turns. The error is
// the variance between seeds of what is shown, over the pixels of a part; the time is the processor time of a run less the
// least of runs with one sample. Their product does not depend on the samples; its ratio, then over now, is how many times sooner
// an error is reached. The table goes to standard output, progress to standard error.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/render"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/colour"
)

type options struct {
	then, now  string // programs
	thenScenes string // folder; empty: as the program's keys need
	scenes     []string
	size       int
	samples    int
	seeds      int
	bare       int // runs of one sample
}

func main() {
	var o options
	var scenes string
	flag.StringVar(&o.then, "then", "", "the other program: a catchlight binary")
	flag.StringVar(&o.thenScenes, "then-scenes", "", "folder of its scenes; by itself testdata/baseline, or testdata/baseline/then where its keys are the old ones")
	flag.StringVar(&o.now, "now", "", "this program: a catchlight binary; by itself it is built")
	flag.StringVar(&scenes, "scenes", "ferry_keeper,ferry_keeper_lidded,salt_widow_apartment", "names of baseline scenes, by commas")
	flag.IntVar(&o.size, "size", 96, "pixels of a picture's side, in [16, 1024]")
	flag.IntVar(&o.samples, "samples", 64, "samples a pixel, in [2, 65536]")
	flag.IntVar(&o.seeds, "seeds", 4, "seeds, in [2, 64]")
	flag.IntVar(&o.bare, "bare", 2, "runs of one sample, whose time is taken off, in [1, 64]")
	flag.Parse()
	o.scenes = strings.Split(scenes, ",")
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, &o); err != nil {
		fmt.Fprintln(os.Stderr, "equalerror:", err)
		os.Exit(1)
	}
}

func (o *options) check() error {
	for _, q := range []struct {
		flag     string
		v, lo, h int
	}{{"size", o.size, 16, 1024}, {"samples", o.samples, 2, 1 << 16}, {"seeds", o.seeds, 2, 64}, {"bare", o.bare, 1, 64}} {
		if q.v < q.lo || q.v > q.h {
			return fmt.Errorf("-%s is %d: outside [%d, %d]", q.flag, q.v, q.lo, q.h)
		}
	}
	if o.then == "" {
		return errors.New("-then names no program to compare with")
	}
	return nil
}

// baseline is where the scenes lie, from the folder of the module.
const baseline = "testdata/baseline"

// run measures all scenes. What is measured is printed even where it is interrupted in a later scene.
func run(ctx context.Context, o *options) error {
	if err := o.check(); err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "equalerror-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if o.now == "" {
		o.now = filepath.Join(dir, "now")
		if out, err := exec.CommandContext(ctx, "go", "build", "-o", o.now, "./cmd/catchlight").CombinedOutput(); err != nil {
			return fmt.Errorf("building ./cmd/catchlight: %w\n%s", err, out)
		}
	}
	then, err := newProgram(ctx, "then", o.then, o.thenScenes, dir)
	if err != nil {
		return err
	}
	now, err := newProgram(ctx, "now", o.now, baseline, dir)
	if err != nil {
		return err
	}
	fmt.Printf("%d x %d pixels, %d samples, %d seeds, one worker.\n\n%s", o.size, o.size, o.samples, o.seeds, header)
	for _, name := range o.scenes {
		m, err := o.measure(ctx, name, then, now)
		if err != nil {
			return err
		}
		fmt.Print(m.rows(name))
	}
	return nil
}

// measure renders a scene with both programs by turns.
func (o *options) measure(ctx context.Context, name string, then, now *program) (*measured, error) {
	d, err := scene.Load(filepath.Join(baseline, name+".yaml"),
		"picture.width="+strconv.Itoa(o.size), "picture.height="+strconv.Itoa(o.size))
	if err != nil {
		return nil, err
	}
	p, err := render.Prepare(ctx, d, render.Options{})
	if err != nil {
		return nil, err
	}
	parts, look := p.Regions(render.Options{}), p.View
	m := &measured{parts: parts.Zone}
	sides := [2]*side{&m.then, &m.now}
	for i := range max(o.seeds, o.bare) {
		for k, q := range []*program{then, now} {
			s := sides[k]
			if i < o.bare {
				_, cpu, err := q.render(ctx, name, o.size, 1, i+1)
				if err != nil {
					return nil, err
				}
				s.bare = append(s.bare, cpu)
			}
			if i >= o.seeds {
				continue
			}
			pic, cpu, err := q.render(ctx, name, o.size, o.samples, i+1)
			if err != nil {
				return nil, err
			}
			if len(pic) != len(parts.Zone) {
				return nil, fmt.Errorf("%s: the picture of %s has %d pixels and not %d", name, q.path, len(pic), len(parts.Zone))
			}
			s.shown = append(s.shown, signals(pic, look))
			s.about = append(s.about, around(s.shown[len(s.shown)-1], o.size))
			s.cpu = append(s.cpu, cpu)
			fmt.Fprintf(os.Stderr, "%s: seed %d of %d, %s: %.1f s of processor time\n", name, i+1, o.seeds, q.name, cpu)
		}
	}
	m.samples = float64(o.samples-1) * float64(o.size*o.size)
	return m, nil
}

// signals turns a picture of light into what is shown, in 8-bit levels.
func signals(pic []colour.RGB, look *view.View) []colour.RGB {
	out := make([]colour.RGB, len(pic))
	for i, c := range pic {
		out[i] = look.Signal(c).Scale(255)
	}
	return out
}
