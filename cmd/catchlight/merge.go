package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/film"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/imageio"
)

type mergeFlags struct {
	out       []string
	memory    float64
	overwrite bool
}

func mergeCommand() *cobra.Command {
	var f mergeFlags
	c := &cobra.Command{
		Use:   "merge PART...",
		Short: "Put the parts together that --shard made, to the bits of one run",
		Long: `Put the parts together that --shard made, to the bits of one run.

Parts of one picture are its NAME.shard-i-of-n.film files, each with the .json that lies beside it:

  catchlight render scenes/ferry_keeper.yaml --samples 256 --shard 1/2 --out a.png
  catchlight render scenes/ferry_keeper.yaml --samples 256 --shard 2/2 --out a.png
  catchlight merge a.shard-*.film --out a.png --out a.exr

Parts of a sheet or a turntable are their folders; --out names the folder of the whole:

  catchlight turntable scenes/ferry_keeper.yaml --shard 1/2 --out part1
  catchlight turntable scenes/ferry_keeper.yaml --shard 2/2 --out part2
  catchlight merge part1 part2 --out whole

The scene is read again from where the parts' reports say it was. Parts of another scene, program, processor level or ray
kernel are refused, and so is a part given twice or left out.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{errors.New("merge: the parts are needed; see catchlight merge --help")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if info, err := os.Stat(args[0]); err == nil && info.IsDir() {
				return mergeFolders(cmd.Context(), args, &f, cmd.OutOrStdout(), cmd.ErrOrStderr())
			}
			return mergeFilms(cmd.Context(), args, &f, cmd.OutOrStdout())
		},
	}
	c.Flags().StringArrayVarP(&f.out, "out", "o", nil, "picture to write, repeatable; or folder of the whole")
	memoryFlag(c.Flags(), &f.memory)
	overwriteFlag(c.Flags(), &f.overwrite)
	return c
}

// mergeFolders joins parts of a job: it puts their pictures into one folder and gives the command again there, which finds
// them all made and lays out the rest.
func mergeFolders(ctx context.Context, parts []string, f *mergeFlags, stdout, stderr io.Writer) error {
	if len(f.out) != 1 {
		return usageError{errors.New("merge: --out names the folder of the whole, once")}
	}
	if err := job.CheckOutputs(f.out, parts, f.overwrite); err != nil {
		return err
	}
	m, err := job.Merge(f.out[0], parts, f.overwrite)
	if err != nil {
		return err
	}
	return execute(ctx, append(append([]string{m.Kind}, m.Args...), "--out="+f.out[0], fmt.Sprintf("--overwrite=%t", f.overwrite)), stdout, stderr)
}

// claim makes sure that the whole of some parts can be written, and is nobody else's; it returns all files of it.
func (f *mergeFlags) claim(parts []string, stats string) (outputs []string, err error) {
	outputs = append(slices.Clone(f.out), stats)
	inputs := slices.Clone(parts)
	for _, p := range parts {
		inputs = append(inputs, strings.TrimSuffix(p, filepath.Ext(p))+".json")
	}
	if err := job.CheckOutputs(outputs, inputs, f.overwrite); err != nil {
		return nil, err
	}
	if err := ownReport(stats, f.overwrite); err != nil {
		return nil, err
	}
	for _, o := range outputs {
		imageio.Sweep(o)
		if err := writable(o); err != nil {
			return nil, err
		}
	}
	return outputs, nil
}

// mergeFilms joins parts of one picture's samples.
func mergeFilms(ctx context.Context, parts []string, f *mergeFlags, stdout io.Writer) error {
	if len(f.out) == 0 {
		return usageError{errors.New("merge: --out names the picture to write")}
	}
	for _, o := range f.out {
		if err := render.CheckFormat(o); err != nil {
			return usageError{fmt.Errorf("--out %w", err)}
		}
	}
	stats := strings.TrimSuffix(f.out[0], filepath.Ext(f.out[0])) + ".json"
	outputs, err := f.claim(parts, stats)
	if err != nil {
		return err
	}
	list, reports, err := openParts(parts)
	if err != nil {
		return err
	}
	defer func() {
		for _, g := range list {
			g.Close()
		}
	}()
	first := reports[0]
	d, err := first.scene()
	if err != nil {
		return err
	}
	if err := job.CheckOutputs(outputs, render.Files(d), f.overwrite); err != nil {
		return err
	}
	now, err := render.RecordOf(d)
	if err != nil {
		return err
	}
	if err := now.Differs(render.ParseRecord(list[0].Record())); err != nil {
		return fmt.Errorf("%s: the scene as it is now, or this program, does not go with it: %w", parts[0], err)
	}
	resident, err := memory(f.memory)
	if err != nil {
		return err
	}
	whole, err := list[0].Like(resident, filepath.Dir(f.out[0]))
	if err != nil {
		return err
	}
	defer whole.Close()
	if w, h := whole.Size(); w*h > 1<<22 {
		sparing()
	}
	if err := whole.Merge(list...); err != nil {
		var part *film.MergeError
		if errors.As(err, &part) {
			return fmt.Errorf("%s: %w", parts[part.Part], err)
		}
		return err
	}
	for _, g := range list { // where their blocks lie takes memory too
		g.Close()
	}
	clear(list)
	list = nil
	r, err := render.Joined(ctx, d, whole)
	if err != nil {
		return err
	}
	if r.SPP != first.SPP {
		return fmt.Errorf("the %d parts hold %d of %d spp; a part is missing", len(parts), r.SPP, first.SPP)
	}
	for _, o := range f.out {
		if err := r.Write(o); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s (%d x %d, %s)\n", o, r.Width, r.Height, samples(r))
	}
	return writeStats(stats, d, r, render.Shard{}, 0, 0)
}

// openParts opens the films of parts with their reports, and refuses what does not go together.
func openParts(parts []string) (list []*film.Film, reports []report, err error) {
	defer func() {
		if err != nil {
			for _, g := range list {
				g.Close()
			}
		}
	}()
	for _, p := range parts {
		var r report
		data, err := os.ReadFile(strings.TrimSuffix(p, filepath.Ext(p)) + ".json")
		if err == nil {
			err = json.Unmarshal(data, &r)
		}
		if err != nil {
			return list, nil, fmt.Errorf("%s: its report can't be read: %w", p, err)
		}
		g, err := render.ReadFilm(p)
		if err != nil {
			return list, nil, err
		}
		list, reports = append(list, g), append(reports, r)
		if err := render.ParseRecord(list[0].Record()).Differs(render.ParseRecord(g.Record())); err != nil {
			return list, nil, fmt.Errorf("%s: it does not go with %s: %w", p, parts[0], err)
		}
		if r.SPP != reports[0].SPP {
			return list, nil, fmt.Errorf("%s: it is of a render with %d samples, the first part of one with %d", p, r.SPP, reports[0].SPP)
		}
		if n := g.Damaged(); n > 0 {
			return list, nil, fmt.Errorf("%s: %d of its blocks are damaged, or were cut off while they were written; render this part again with --continue", p, n)
		}
	}
	return list, reports, nil
}

// scene reads the scene of a report's picture again.
func (r *report) scene() (*scene.Description, error) {
	if r.Lights != "" {
		return scene.LoadLit(r.Scene, r.Lights, r.Overrides...)
	}
	return scene.Load(r.Scene, r.Overrides...)
}
