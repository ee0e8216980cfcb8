package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/imageio"
)

type renderFlags struct {
	out     []string
	set     []string
	size    string
	spp     int
	seed    int
	workers int
	stats   string
	probe   string
}

func renderCommand() *cobra.Command {
	var f renderFlags
	c := &cobra.Command{
		Use:   "render SCENE",
		Short: "Render a scene to one or more pictures",
		Long: `Render a scene to one or more pictures.

The ending of --out picks the format: .png (as seen, 8 bit), .tif (as seen, 16 bit), .hdr, .pfm and .exr (linear, before
exposure). Without --out the picture goes to out/NAME.png. Ctrl-C leaves a whole picture with fewer samples as
NAME.partial.EXT and exits with 130; a second Ctrl-C ends at once. Overrides name keys by path, lists by name or index:

  catchlight render scenes/ferry_keeper.yaml --spp 16 --set bodies.eye.eye.iris.pupil=2.5 --set lights.window.ev=1`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRender(cmd.Context(), args[0], &f, cmd.Flags().Changed, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := c.Flags()
	fl.StringArrayVarP(&f.out, "out", "o", nil, "picture to write; repeatable")
	fl.IntVar(&f.spp, "spp", 0, "samples per pixel, instead of the scene's")
	fl.StringVar(&f.size, "size", "", "picture size as WxH, instead of the scene's")
	fl.IntVar(&f.seed, "seed", 0, "seed of all random numbers, instead of the scene's")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor; never changes the picture")
	fl.StringArrayVar(&f.set, "set", nil, "override key=value; repeatable")
	fl.StringVar(&f.probe, "probe", "", "render nothing, but say what pixel x,y shows: bodies, places in mm, maps, texels, values")
	fl.StringVar(&f.stats, "stats", "", "write what was counted and timed to this JSON file")
	return c
}

// override is a key=value that a flag stands for.
type override struct{ flag, set string }

// overrides turns flags into overrides of the scene, so that they are checked where scenes are.
func (f *renderFlags) overrides(given func(flag string) bool) ([]override, error) {
	var list []override
	for _, s := range f.set {
		list = append(list, override{"--set " + s, s})
	}
	if given("spp") {
		list = append(list, override{fmt.Sprintf("--spp %d", f.spp), fmt.Sprintf("film.spp=%d", f.spp)})
	}
	if given("seed") {
		list = append(list, override{fmt.Sprintf("--seed %d", f.seed), fmt.Sprintf("film.seed=%d", f.seed)})
	}
	if given("size") {
		m := sizeForm.FindStringSubmatch(f.size)
		if m == nil {
			return nil, usageError{fmt.Errorf("--size %q: give width and height in pixels as WxH, for instance 640x640", f.size)}
		}
		list = append(list, override{"--size " + f.size, "film.width=" + m[1]}, override{"--size " + f.size, "film.height=" + m[2]})
	}
	return list, nil
}

var sizeForm = regexp.MustCompile(`^([0-9]{1,9})[xX]([0-9]{1,9})$`)

// load reads the scene with the flags' overrides on it, and names the flags in problems.
func (f *renderFlags) load(path string, given func(string) bool) (*scene.Description, error) {
	list, err := f.overrides(given)
	if err != nil {
		return nil, err
	}
	sets := make([]string, len(list))
	for i, o := range list {
		sets[i] = o.set
	}
	d, err := scene.Load(path, sets...)
	var problems scene.Problems
	if errors.As(err, &problems) {
		for i := range problems {
			for _, o := range list {
				if problems[i].File == "--set "+o.set {
					problems[i].File = o.flag
				}
			}
		}
	}
	return d, err
}

// targets returns the pictures to write, each of a known format and none twice.
func (f *renderFlags) targets(scenePath string) ([]string, error) {
	outs := f.out
	if len(outs) == 0 {
		base := strings.TrimSuffix(filepath.Base(scenePath), filepath.Ext(scenePath))
		outs = []string{filepath.Join("out", base+".png")}
	}
	seen := map[string]bool{}
	for _, o := range outs {
		if err := render.CheckFormat(o); err != nil {
			return nil, usageError{fmt.Errorf("--out %w", err)}
		}
		if seen[filepath.Clean(o)] {
			return nil, usageError{fmt.Errorf("--out %s: given twice", o)}
		}
		seen[filepath.Clean(o)] = true
	}
	return outs, nil
}

func runRender(ctx context.Context, path string, f *renderFlags, given func(flag string) bool, stdout, stderr io.Writer) error {
	if f.workers < 0 || f.workers > 4096 {
		return usageError{fmt.Errorf("--workers %d is outside [0, 4096]", f.workers)}
	}
	if given("probe") {
		return runProbe(ctx, path, f, given, stdout)
	}
	outs, err := f.targets(path)
	if err != nil {
		return err
	}
	d, err := f.load(path, given)
	if err != nil {
		return err
	}
	files := outs
	if f.stats != "" {
		files = append(slices.Clone(outs), f.stats)
	}
	for _, o := range files {
		if err := writable(o); err != nil {
			return err
		}
	}
	workers := f.workers
	if workers == 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	report := newReporter(stderr)
	defer report.done()
	start := time.Now()
	opt := render.Options{Workers: workers, Progress: report}
	p, err := render.Prepare(ctx, d, opt)
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	prepared := time.Since(start).Seconds()
	r, err := p.Render(ctx, opt)
	report.done()
	if err != nil && r == nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	for _, w := range r.Warnings {
		fmt.Fprintln(stderr, "note:", w)
	}
	partial := err != nil
	wrote := time.Now()
	for _, o := range outs {
		if partial {
			ext := filepath.Ext(o)
			o = strings.TrimSuffix(o, ext) + ".partial" + ext
		}
		if err := r.Write(o); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s (%d x %d, %d spp)\n", o, r.Width, r.Height, r.SPP)
	}
	if f.stats != "" {
		if err := writeStats(f.stats, d, r, prepared, time.Since(wrote).Seconds()); err != nil {
			return err
		}
	}
	if partial {
		if !errors.Is(err, context.Canceled) {
			return err
		}
		return errInterrupted
	}
	return nil
}

// writable makes a file's folder if need be and tries a file in it, so that no work is done in vain.
func writable(file string) error {
	dir := filepath.Dir(file)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("%s: its folder can't be made: %w", file, err)
	}
	if info, err := os.Stat(file); err == nil && info.IsDir() {
		return fmt.Errorf("%s: is a folder", file)
	}
	t, err := os.CreateTemp(dir, ".catchlight-*")
	if err != nil {
		return fmt.Errorf("%s: can't be written there: %w", file, err)
	}
	t.Close()
	return os.Remove(t.Name())
}

func writeStats(path string, d *scene.Description, r *render.Result, prepare, write float64) error {
	data, err := json.MarshalIndent(struct {
		Scene          string  `json:"scene"`
		PrepareSeconds float64 `json:"prepare_seconds"`
		WriteSeconds   float64 `json:"write_seconds"`
		render.Stats
	}{d.File, prepare, write, r.Stats}, "", "  ")
	if err != nil {
		return err
	}
	return imageio.WriteAtomic(path, func(w io.Writer) error {
		_, err := w.Write(append(data, '\n'))
		return err
	})
}

var probeForm = regexp.MustCompile(`^([0-9]{1,6}),([0-9]{1,6})$`)

func runProbe(ctx context.Context, path string, f *renderFlags, given func(string) bool, stdout io.Writer) error {
	m := probeForm.FindStringSubmatch(f.probe)
	if m == nil {
		return usageError{fmt.Errorf("--probe %q: give a pixel as x,y, counted from the top left, for instance 320,240", f.probe)}
	}
	d, err := f.load(path, given)
	if err != nil {
		return err
	}
	p, err := render.Prepare(ctx, d, render.Options{Workers: f.workers})
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	x, _ := strconv.Atoi(m[1])
	y, _ := strconv.Atoi(m[2])
	q, err := p.Probe(x, y)
	if err != nil {
		return usageError{fmt.Errorf("--probe: %w", err)}
	}
	_, err = io.WriteString(stdout, q.String())
	return err
}
