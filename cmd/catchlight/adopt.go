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
	units "catchlight/scene/asset"
	"catchlight/scene/imageio"
)

type adoptFlags struct {
	out       string
	names     string
	print     bool
	side      string
	drafts    bool
	size      int
	spp       int
	workers   int
	overwrite bool

	unit                  string
	factor, limbus, pupil float64
	closeGap              bool
}

func adoptCommand() *cobra.Command {
	var f adoptFlags
	c := &cobra.Command{
		Use:   "adopt ASSET [MAP-FOLDER]",
		Short: "Propose a scene for an eye or a head of your own: shells, unit, axis, limbus, pupil, maps, lids, each with a reason, and drafts",
		Long: `Propose a scene for an eye of your own.

ASSET is a file with the eye's meshes, MAP-FOLDER a folder with its pictures. What is found goes to a folder of its own,
out/adopt-NAME unless --out says otherwise, and never over anything that is there: scene.yaml, a page with each guess and
its reason (list.html), the same as findings.json, and drafts by a window, under a small grazing key and under an
overcast sky; the first is there a second time with limbus, pupil and axis drawn over it. In the scene file a guess to
check is marked UNSURE, what is missing and taken from the built-in eye BORROWED, and what has two answers QUESTION.
A guess is sure only where the shells determine it and two independent measures agree. Nothing is written that the
renderer would refuse.

A HEAD with two eyes, or one, is taken in whole: both eyes are found by their shape (two balls of one size beside each other, with
something about them that leaves their fronts free), which is left and right, front, up and unit, and what each other mesh is - skin,
lids, tear line, lashes, brows, inner corners - with the number that says why. The scene has both eyes in their places and
the rest as meshes with the file's own pictures; the drafts show it in both looks. seating.png and findings.json say how
each globe sits between its lids as modelled, over gazes of 30 degrees and in the file's blink: the widest gap beside the
rim and how far the globe comes out of the lids, in mm and where, and the move that seats it best. Nothing is moved.
--side left or right adopts one eye alone.

Look at the size first: lengths in mm follow from it. What you know better - unit, factor, limbus - is told with
flags, and all other guesses are made with it. The shape stays as modelled: the pupil changes only with --pupil, the
gap between the shells only with --close-gap.

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
	overwriteFlag(fl, &f.overwrite)
	fl.StringVar(&f.names, "names", "", "table of names that adds to the built-in one")
	fl.BoolVar(&f.print, "print-names", false, "print the built-in table of names and end")
	fl.StringVar(&f.side, "side", "", "one eye alone of a pair or a head: left or right")
	fl.StringVar(&f.unit, "unit", "", "unit of the file's lengths, of a format that has none: mm, cm, m or inch")
	fl.Float64Var(&f.factor, "factor", 0, "factor from the file's size to true size, after its unit; 0: measured")
	fl.Float64Var(&f.limbus, "limbus", 0, "radius of the limbus in mm at true size; 0: measured")
	fl.Float64Var(&f.pupil, "pupil", 0, "warp the pupil to this diameter in mm at true size; 0 leaves it as modelled")
	fl.BoolVar(&f.closeGap, "close-gap", false, "lay the inner shell close beneath the outer one outside the limbus")
	fl.BoolVar(&f.drafts, "drafts", true, "render the three drafts")
	fl.IntVar(&f.size, "size", 512, "pixels of a draft's side")
	fl.IntVar(&f.spp, "samples", 8, "samples per pixel of a draft")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor")
	return c
}

// Long: one command from its flags to its files, in order.
func runAdopt(ctx context.Context, asset, folder string, f *adoptFlags, stdout, stderr io.Writer) error {
	switch {
	case f.side != "" && f.side != "left" && f.side != "right":
		return usageError{fmt.Errorf("--side %q must be left or right", f.side)}
	case f.size < 16 || f.size > 4096:
		return usageError{fmt.Errorf("--size %d is outside [16, 4096]", f.size)}
	case f.spp < 1 || f.spp > 65536:
		return usageError{fmt.Errorf("--samples %d is outside [1, 65536]", f.spp)}
	}
	for _, q := range []struct {
		flag   string
		v, top float64
	}{{"factor", f.factor, 1e9}, {"limbus", f.limbus, 30}, {"pupil", f.pupil, 20}} {
		if !(q.v >= 0 && q.v <= q.top) {
			return usageError{fmt.Errorf("--%s %g is outside [0, %g]", q.flag, q.v, q.top)}
		}
	}
	if _, ok := units.Unit(f.unit); f.unit != "" && !ok {
		return usageError{fmt.Errorf("--unit %q must be mm, cm, m or inch", f.unit)}
	}
	names, err := adopt.LoadNames(f.names)
	if err != nil {
		return usageError{err}
	}
	in, err := adopt.Read(asset, folder, f.side, names)
	if err != nil {
		return err
	}
	in.Unit, in.Factor, in.Limbus, in.Pupil, in.CloseGap = f.unit, f.factor, f.limbus, f.pupil, f.closeGap
	h, err := adopt.FindHead(in)
	if err != nil {
		return fmt.Errorf("%s: %w", asset, err)
	}
	if h != nil {
		return adoptHead(ctx, in, h, f, stdout, stderr)
	}
	p, err := adopt.Propose(in)
	if err != nil {
		return fmt.Errorf("%s: %w", asset, err)
	}
	dir, err := newFolder(f.out, asset, f.overwrite)
	if err != nil {
		return err
	}
	file := filepath.Join(dir, "scene.yaml")
	cache := render.NewCache()
	if err := p.Fit(func(q *adopt.Proposal) error { return tryScene(ctx, file, q.Scene(in, dir), f, cache) }); err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return fmt.Errorf("%s: what was found can't be rendered, so nothing is written: %w", asset, err)
	}
	tell(stderr, in.Notes)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	if err := writeText(file, p.Scene(in, dir)); err != nil {
		return err
	}
	found, err := json.MarshalIndent(map[string]any{"findings": p.Findings}, "", "  ")
	if err != nil {
		return err
	}
	if err := writeText(filepath.Join(dir, "findings.json"), string(scene.Stamp(found))+"\n"); err != nil {
		return err
	}
	for _, q := range p.Findings {
		switch {
		case q.Choice == adopt.LeftOut && q.File != "":
			fmt.Fprintf(stdout, "%s: %s: %s\n", q.Choice, filepath.Base(q.File), q.Reason)
		case q.Grade != adopt.Sure:
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
		if drafts, err = renderDrafts(ctx, file, dir, f, cache, stderr); err != nil {
			return err
		}
		if err := page(); err != nil {
			return err
		}
	}
	fmt.Fprintf(stdout, "wrote %s, list.html and findings.json beside it\nto change it and see it: %s\n", file, commandLine([]string{"watch", file}))
	return nil
}

// newFolder names the folder of an adopted eye: the one asked for, which must be new or empty, else the first free one.
func newFolder(want, asset string, overwrite bool) (string, error) {
	free := func(dir string) bool {
		list, err := os.ReadDir(dir)
		return errors.Is(err, os.ErrNotExist) || err == nil && len(list) == 0
	}
	if want != "" {
		if !overwrite && !free(want) {
			return "", fmt.Errorf("--out %s: is there already and not empty; nothing is written over without --overwrite", want)
		}
		return want, nil
	}
	base := filepath.Join("out", "adopt-"+strings.TrimSuffix(filepath.Base(asset), filepath.Ext(asset)))
	for i := 1; i < 10000; i++ {
		dir := base
		if i > 1 {
			dir = fmt.Sprintf("%s-%d", base, i)
		}
		if free(dir) {
			return dir, nil
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

// tryScene says whether the renderer takes a scene that is not written yet. The shells that it makes stay in the cache for
// the drafts.
func tryScene(ctx context.Context, file, text string, f *adoptFlags, cache *render.Cache) error {
	d, err := scene.Parse(file, []byte(text), "picture.width=16", "picture.height=16", "picture.samples=1")
	if err != nil {
		return err
	}
	draftDetail(d)
	if !f.drafts {
		for i := range d.Objects {
			if e := d.Objects[i].Eye; e != nil {
				e.MapSize = min(e.MapSize, 128)
			}
		}
	}
	_, err = render.Prepare(ctx, d, render.Options{Workers: f.workers, Cache: cache})
	return err
}

// renderDrafts renders the scene under each of its lights, and the first once more with limbus, pupil and axis over it.
func renderDrafts(ctx context.Context, file, dir string, f *adoptFlags, cache *render.Cache, stderr io.Writer) ([]adopt.Draft, error) {
	report := newReporter(stderr)
	defer report.done()
	opt := render.Options{Workers: f.workers, Progress: report, Cache: cache}
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
		draft := adopt.Draft{Title: name, File: "draft-" + name + ".png"}
		if err := r.Write(filepath.Join(dir, draft.File)); err != nil {
			return nil, err
		}
		drafts = append(drafts, draft)
		if name == adopt.Lights[0] {
			tell(stderr, r.Warnings)
			marked := adopt.Draft{Title: "limbus (solid), pupil (dashed; seen through the cornea it looks about an eighth wider), axis (dotted)", File: "draft-outlines.png"}
			if err := drawMarks(p, filepath.Join(dir, draft.File), filepath.Join(dir, marked.File)); err != nil {
				return nil, err
			}
			drafts = append(drafts, marked)
		}
	}
	return drafts, nil
}

// draftDetail bounds the size of the tissue maps of a draft.
func draftDetail(d *scene.Description) {
	for i := range d.Objects {
		if e := d.Objects[i].Eye; e != nil {
			e.MapSize = min(e.MapSize, 1024)
		}
	}
}
