package main

import (
	"bytes"
	"context"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/pages"
)

type watchFlags struct {
	renderFlags
	out  string
	crop string
	pix  int
}

func watchCommand() *cobra.Command {
	var f watchFlags
	c := &cobra.Command{
		Use:   "watch SCENE",
		Short: "Render a draft again whenever the scene file or one of its maps is saved, on a page that refreshes itself",
		Long: `Render a draft again whenever the scene file or a file that it names is saved.

Only what changed is loaded again. The drafts go to a folder of their own, with watch.html, a page that needs no network
and refreshes itself. A file caught half saved is waited for; one that stays broken is named on the page, and the last
good draft stays. --crop iris shows the iris alone. Ctrl-C ends the watch.`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runWatch(cmd.Context(), args[0], &f, cmd.Flags().Changed, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := c.Flags()
	fl.StringVarP(&f.out, "out", "o", "", "folder of the drafts; out/watch-NAME without it")
	overwriteFlag(fl, &f.overwrite)
	fl.StringVar(&f.crop, "crop", "", "part of the picture: iris")
	fl.IntVar(&f.pix, "pixels", 384, "longer side of the draft in pixels (256 with --crop)")
	fl.IntVar(&f.spp, "samples", 12, "samples per pixel of the last pass")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor")
	fl.StringVar(&f.lights, "lights", "", "light set-up whose lights stand in for the scene's own: a name (see catchlight lights) or a file")
	fl.StringArrayVar(&f.set, "set", nil, "override key=value; repeatable")
	return c
}

//go:embed watch.html
var watchText string

// draftDetail bounds the size of the tissue maps of a draft.
func draftDetail(d *scene.Description) {
	for i := range d.Objects {
		if e := d.Objects[i].Eye; e != nil {
			e.MapSize = min(e.MapSize, 1024)
		}
	}
}

func runWatch(ctx context.Context, path string, f *watchFlags, given func(string) bool, stdout, stderr io.Writer) error {
	switch {
	case f.crop != "" && f.crop != "iris":
		return usageError{fmt.Errorf("--crop %q: only iris is known", f.crop)}
	case f.pix < 16 || f.pix > 4096:
		return usageError{fmt.Errorf("--pixels %d is outside [16, 4096]", f.pix)}
	case f.spp < 1 || f.spp > 65536:
		return usageError{fmt.Errorf("--samples %d is outside [1, 65536]", f.spp)}
	}
	if info, err := os.Stat(path); err != nil {
		return fmt.Errorf("%s: there is no such file to watch: %w", path, errors.Unwrap(err))
	} else if info.IsDir() {
		return fmt.Errorf("%s: is a folder, not a scene file", path)
	}
	if f.crop != "" && !given("pixels") {
		f.pix = 256
	}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "watch-"+sceneName(path))
	}
	made := madeBy(dir, "state.js", func(data []byte) []string {
		if !bytes.HasPrefix(data, []byte("showDraft(")) {
			return nil
		}
		return []string{"watch.html", "state.js"}
	})
	if err := job.CheckFolder(dir, []string{"watch.html", "state.js"}, made, f.overwrite); err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("--out %s: %w", dir, err)
	}
	var text strings.Builder
	if err := pages.New("watch", watchText).Execute(&text, nil); err != nil {
		return err
	}
	if err := writeText(filepath.Join(dir, "watch.html"), text.String()); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "open %s; Ctrl-C ends the watch\n", filepath.Join(dir, "watch.html"))
	cache, err := stageCache(ctx, false)
	if err != nil {
		return err
	}
	show := &drafts{dir: dir, out: stdout, scene: filepath.Base(path)}
	if err := show.write(); err != nil {
		return err
	}
	w := &render.Watcher{
		File: path, Size: f.pix, Passes: passes(f.spp), Show: show.draft, Options: render.Options{Workers: f.workers, Cache: cache},
		Load: func() (*scene.Description, error) {
			d, err := f.load(path, func(string) bool { return false })
			if err != nil {
				return nil, err
			}
			draftDetail(d)
			return d, nil
		},
	}
	if f.crop == "iris" {
		w.Window = (*render.Prepared).IrisWindow
	}
	if err := w.Run(ctx); err != nil {
		return err
	}
	show.state.Over = true
	return show.write()
}

// passes rise fourfold from one sample a pixel to spp.
func passes(spp int) []int {
	var out []int
	for n := 1; n < spp; n *= 4 {
		out = append(out, n)
	}
	return append(out, spp)
}

// drafts writes drafts and what the page reads. The page loads state.js again and again: a file opened from disk may
// load a script, but no data.
type drafts struct {
	dir, scene string
	out        io.Writer
	last       string // picture on the page
	state      struct {
		Scene   string   `json:"scene"`
		Number  int      `json:"number"`
		Picture string   `json:"picture"`
		Width   int      `json:"width"`
		Height  int      `json:"height"`
		SPP     int      `json:"samples"`
		Last    bool     `json:"last"`
		Seconds float64  `json:"seconds"`
		Changed []string `json:"changed"`
		Problem string   `json:"problem"`
		Notes   []string `json:"notes"`
		Over    bool     `json:"over"`
	}
}

func (p *drafts) draft(d render.Draft) error {
	s := &p.state
	s.Number, s.Last, s.Changed = d.Number, d.Last, nil
	for _, f := range d.Changed {
		s.Changed = append(s.Changed, filepath.Base(f))
	}
	old := p.last
	if d.Problem != nil {
		s.Problem = d.Problem.Error()
		fmt.Fprintln(p.out, "problem:", s.Problem)
	} else {
		r := d.Result
		name := fmt.Sprintf("draft-%d-%d.png", d.Number, r.SPP)
		if err := r.Write(filepath.Join(p.dir, name)); err != nil {
			return err
		}
		s.Problem, s.Picture, s.Width, s.Height, s.SPP, s.Notes = "", name, r.Width, r.Height, r.SPP, r.Warnings
		s.Seconds = d.Age.Seconds()
		p.last = name
		if d.Last {
			fmt.Fprintf(p.out, "draft %d: %d x %d, %d spp, %.1f s after the save\n", d.Number, r.Width, r.Height, r.SPP, d.Age.Round(time.Millisecond).Seconds())
		}
	}
	if err := p.write(); err != nil {
		return err
	}
	if old != "" && old != p.last {
		_ = os.Remove(filepath.Join(p.dir, old)) // a page that still shows it has it in memory
	}
	return nil
}

func (p *drafts) write() error {
	p.state.Scene = p.scene
	data, err := json.Marshal(p.state)
	if err != nil {
		return err
	}
	return writeText(filepath.Join(p.dir, "state.js"), "showDraft("+string(data)+");\n")
}
