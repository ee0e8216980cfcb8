package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/scene"
	"catchlight/scene/adopt"
	"catchlight/scene/imageio"
)

type adoptFlags struct {
	out     string
	names   string
	print   bool
	side    string
	drafts  bool
	size    int
	spp     int
	workers int
}

func adoptCommand() *cobra.Command {
	var f adoptFlags
	c := &cobra.Command{
		Use:   "adopt ASSET [MAP-FOLDER]",
		Short: "Propose a scene for an eye of your own: shells, unit, axis, pupil and maps, each with a reason, and three drafts",
		Long: `Propose a scene for an eye of your own.

ASSET is a file with the eye's meshes, MAP-FOLDER a folder with its pictures. What is found goes to a folder of its own,
out/adopt-NAME unless --out says otherwise, and never over anything that is there: scene.yaml, a page with each guess and
its reason (list.html), the same as findings.json, and drafts by a window, under a small grazing key and under an
overcast sky. In the scene file a guess to check is marked UNSURE, what is missing and taken from the built-in eye
BORROWED, and what has two answers QUESTION.

Pictures are told by their names. --print-names shows the table of words; --names FILE adds words of your own.`,
		Args: func(cmd *cobra.Command, args []string) error {
			if f.print && len(args) == 0 || len(args) == 1 || len(args) == 2 {
				return nil
			}
			return usageError{fmt.Errorf("adopt: a file with an eye and perhaps a folder of maps are needed, %d arguments given; see catchlight adopt --help", len(args))}
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if f.print {
				_, err := io.WriteString(cmd.OutOrStdout(), adopt.BuiltNames())
				return err
			}
			folder := ""
			if len(args) == 2 {
				folder = args[1]
			}
			return runAdopt(cmd.Context(), args[0], folder, &f, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := c.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "folder to make; must be new or empty")
	fl.StringVar(&f.names, "names", "", "table of names that adds to the built-in one")
	fl.BoolVar(&f.print, "print-names", false, "print the built-in table of names and end")
	fl.StringVar(&f.side, "side", "", "which eye of a pair: left or right")
	fl.BoolVar(&f.drafts, "drafts", true, "render the three drafts")
	fl.IntVar(&f.size, "size", 512, "pixels of a draft's side")
	fl.IntVar(&f.spp, "samples", 8, "samples per pixel of a draft")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor")
	return c
}

func runAdopt(ctx context.Context, asset, folder string, f *adoptFlags, stdout, stderr io.Writer) error {
	switch {
	case f.side != "" && f.side != "left" && f.side != "right":
		return usageError{fmt.Errorf("--side %q must be left or right", f.side)}
	case f.size < 16 || f.size > 4096:
		return usageError{fmt.Errorf("--size %d is outside [16, 4096]", f.size)}
	case f.spp < 1 || f.spp > 65536:
		return usageError{fmt.Errorf("--samples %d is outside [1, 65536]", f.spp)}
	}
	names, err := adopt.LoadNames(f.names)
	if err != nil {
		return usageError{err}
	}
	in, err := adopt.Read(asset, folder, f.side, names)
	if err != nil {
		return err
	}
	p, err := adopt.Propose(in)
	if err != nil {
		return fmt.Errorf("%s: %w", asset, err)
	}
	dir, err := newFolder(f.out, asset)
	if err != nil {
		return err
	}
	file := filepath.Join(dir, "scene.yaml")
	if err := writeText(file, p.Scene(in, dir)); err != nil {
		return err
	}
	found, err := json.MarshalIndent(p.Findings, "", "  ")
	if err != nil {
		return err
	}
	if err := writeText(filepath.Join(dir, "findings.json"), string(found)+"\n"); err != nil {
		return err
	}
	for _, q := range p.Findings {
		if q.Grade != adopt.Sure {
			fmt.Fprintf(stdout, "%s: %s: %s; %s\n", q.Word, q.Topic, q.Choice, q.Reason)
		}
	}
	fmt.Fprintln(stdout, p.Verdict)
	var drafts []adopt.Draft
	page := func() error {
		return imageio.WriteAtomic(filepath.Join(dir, "list.html"), func(w io.Writer) error { return p.Page(w, in, drafts) })
	}
	if err := page(); err != nil {
		return err
	}
	if f.drafts {
		if drafts, err = renderDrafts(ctx, file, dir, p.Borrowed(), f, stderr); err != nil {
			return err
		}
		if err := page(); err != nil {
			return err
		}
	}
	fmt.Fprintf(stdout, "wrote %s, list.html and findings.json beside it\n", file)
	return nil
}

// newFolder makes the folder of an adopted eye: the one asked for, which must be new or empty, else the first free one.
func newFolder(want, asset string) (string, error) {
	free := func(dir string) bool {
		list, err := os.ReadDir(dir)
		return errors.Is(err, os.ErrNotExist) || err == nil && len(list) == 0
	}
	if want != "" {
		if !free(want) {
			return "", fmt.Errorf("--out %s: is there already and not empty; nothing is written over", want)
		}
		return want, os.MkdirAll(want, 0o777)
	}
	base := filepath.Join("out", "adopt-"+strings.TrimSuffix(filepath.Base(asset), filepath.Ext(asset)))
	for i := 1; i < 10000; i++ {
		dir := base
		if i > 1 {
			dir = fmt.Sprintf("%s-%d", base, i)
		}
		if free(dir) {
			return dir, os.MkdirAll(dir, 0o777)
		}
	}
	return "", fmt.Errorf("%s: ten thousand of them are there already; name another with --out", base)
}

func writeText(file, text string) error {
	return imageio.WriteAtomic(file, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
}

// renderDrafts renders the scene under each of its lights, and badges what is borrowed.
func renderDrafts(ctx context.Context, file, dir string, borrowed []string, f *adoptFlags, stderr io.Writer) ([]adopt.Draft, error) {
	report := newReporter(stderr)
	defer report.done()
	opt := render.Options{Workers: f.workers, Progress: report, Cache: render.NewCache()}
	var drafts []adopt.Draft
	for _, name := range adopt.Lights {
		sets := []string{fmt.Sprintf("picture.width=%d", f.size), fmt.Sprintf("picture.height=%d", f.size), fmt.Sprintf("picture.samples=%d", f.spp)}
		for _, other := range append([]string{"room"}, adopt.Lights...) {
			sets = append(sets, fmt.Sprintf("lights.%s.on=%t", other, other == name || other == "room" && name == "window"))
		}
		d, err := scene.Load(file, sets...)
		if err != nil {
			return nil, err
		}
		draftDetail(d)
		p, err := render.Prepare(ctx, d, opt)
		if err != nil {
			if ctx.Err() != nil {
				return nil, errInterrupted
			}
			return nil, err
		}
		r, err := p.Render(ctx, opt)
		if err != nil {
			if ctx.Err() != nil {
				return nil, errInterrupted
			}
			return nil, err
		}
		if name == adopt.Lights[0] {
			for _, w := range r.Warnings {
				fmt.Fprintln(stderr, "note:", w)
			}
		}
		draft := adopt.Draft{Title: name, File: "draft-" + name + ".png"}
		if err := r.Write(filepath.Join(dir, draft.File)); err != nil {
			return nil, err
		}
		drafts = append(drafts, draft)
	}
	return drafts, nil
}
