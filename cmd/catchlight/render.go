package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
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
		Args: oneScene,
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRender(cmd.Context(), args[0], &f, cmd.Flags().Changed("seed"), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := c.Flags()
	fl.StringArrayVarP(&f.out, "out", "o", nil, "picture to write; repeatable")
	fl.IntVar(&f.spp, "spp", 0, "samples per pixel, instead of the scene's")
	fl.StringVar(&f.size, "size", "", "picture size as WxH, instead of the scene's")
	fl.IntVar(&f.seed, "seed", 0, "seed of all random numbers, instead of the scene's")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor; never changes the picture")
	fl.StringArrayVar(&f.set, "set", nil, "override key=value; repeatable")
	fl.StringVar(&f.stats, "stats", "", "write what was counted and timed to this JSON file")
	return c
}

// overrides turns flags into overrides of the scene, so that they are checked where scenes are.
func (f *renderFlags) overrides(seedGiven bool) ([]string, error) {
	set := append([]string(nil), f.set...)
	if f.spp != 0 {
		set = append(set, fmt.Sprintf("film.spp=%d", f.spp))
	}
	if seedGiven {
		set = append(set, fmt.Sprintf("film.seed=%d", f.seed))
	}
	if f.size != "" {
		var w, h int
		var rest string
		if n, _ := fmt.Sscanf(f.size+" .", "%dx%d %s", &w, &h, &rest); n != 3 || rest != "." {
			return nil, usageError{fmt.Errorf("--size %q: give width and height in pixels as WxH, for instance 640x640", f.size)}
		}
		set = append(set, fmt.Sprintf("film.width=%d", w), fmt.Sprintf("film.height=%d", h))
	}
	if f.workers < 0 || f.workers > 4096 {
		return nil, usageError{fmt.Errorf("--workers %d is outside [0, 4096]", f.workers)}
	}
	return set, nil
}

func runRender(ctx context.Context, path string, f *renderFlags, seedGiven bool, stdout, stderr io.Writer) error {
	set, err := f.overrides(seedGiven)
	if err != nil {
		return err
	}
	outs := f.out
	if len(outs) == 0 {
		base := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
		outs = []string{filepath.Join("out", base+".png")}
	}
	for _, o := range outs {
		if err := render.CheckFormat(o); err != nil {
			return usageError{fmt.Errorf("--out %w", err)}
		}
	}
	d, err := scene.Load(path, set...)
	if err != nil {
		return err
	}
	targets := outs
	if f.stats != "" {
		targets = append(append([]string(nil), outs...), f.stats)
	}
	for _, o := range targets {
		if err := writable(filepath.Dir(o)); err != nil {
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

// writable makes a folder if need be and tries a file in it, before any work starts.
func writable(dir string) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	t, err := os.CreateTemp(dir, ".catchlight-*")
	if err != nil {
		return fmt.Errorf("%s: no file can be written there: %w", dir, err)
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
