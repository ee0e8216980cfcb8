package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/diagram"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/imageio"
)

type presentFlags struct {
	jobFlags
	pictures, more, fewer []string
	set                   string
	ground                string
	credits               []string
	draft                 bool
}

func presentCommand() *cobra.Command {
	var f presentFlags
	names, groups := plateNames()
	c := &cobra.Command{
		Use:   "present SCENE",
		Short: "Make a set of pictures of the scene's eye for a portfolio or a hand-over",
		Long: `Make a set of pictures of the scene's first eye for a portfolio or a hand-over: alone and bare, in one light, framed by its own
size, and once as the scene has it where that shows more.

  pictures  ` + strings.Join(names, ", ") + `
  groups    ` + strings.Join(groups, ", ") + `, all

Without flags the set is hero, front, macro, raking, white, scene, albedo and raster (the hero in the raster look, and a wipe of
the two). --pictures names another set, --add and --drop change one; they take pictures and groups.

First comes draft.png, the whole set small and grainy, so that a mistake is seen before the long work. --draft stops there. Each
picture is NAME.png (16 bit, as seen), NAME.exr (linear light; not of diagrams) and NAME.yaml, a scene file that catchlight render
makes the same picture from: copy it before you change it. present.html shows all with captions and credits, offline; set.png is
one page. A stopped set goes on when the same command is given again. Pictures that a folder has stay in its set, made anew where the
scene has changed, until --drop takes them out.

  catchlight present scenes/ferry_keeper_lidded.yaml --credit "Mesh: grown" --ground transparent`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runPresent(cmd, args[0], &f) },
	}
	fl := c.Flags()
	f.shared(fl)
	fl.StringVarP(&f.out, "out", "o", "", "folder to work in; out/present-NAME without it")
	fl.DurationVar(&f.every, "keep-every", 20*time.Second, "time between saves of the picture under way")
	fl.StringSliceVar(&f.pictures, "pictures", nil, "pictures and groups of the set, instead of those proposed")
	fl.StringSliceVar(&f.more, "add", nil, "pictures and groups to add")
	fl.StringSliceVar(&f.fewer, "drop", nil, "pictures and groups to leave out")
	fl.StringVar(&f.set, "lights", "portrait", "light set-up of the set: a name or a file; own takes the scene's lights")
	fl.StringVar(&f.ground, "ground", "plain", "what is behind the eye: plain (soft dark grey) or transparent")
	fl.StringArrayVar(&f.credits, "credit", nil, "line of credit, such as who made the mesh; repeatable")
	fl.BoolVar(&f.draft, "draft", false, "make draft.png alone")
	return c
}

func (f *presentFlags) check() error {
	if f.ground != "plain" && f.ground != "transparent" {
		return usageError{fmt.Errorf("--ground %s: known are plain, transparent", f.ground)}
	}
	if f.workers < 0 || f.workers > 4096 {
		return usageError{fmt.Errorf("--workers %d is outside [0, 4096]", f.workers)}
	}
	return nil
}

// defaultSide is the size of a set's pictures without --size.
const defaultSide = 2048

func runPresent(cmd *cobra.Command, path string, f *presentFlags) error {
	if err := f.check(); err != nil {
		return err
	}
	if _, err := choose(f.pictures, f.more, f.fewer, true); err != nil { // before the scene is prepared
		return err
	}
	ctx, stdout, stderr := cmd.Context(), cmd.OutOrStdout(), cmd.ErrOrStderr()
	d, err := f.load(path, cmd.Flags().Changed)
	if err != nil {
		return err
	}
	ground := "view.background=" + map[string]string{"plain": "gradient", "transparent": "transparent"}[f.ground]
	if d, err = smaller(d, cmd.Flags().Changed("size"), defaultSide); err != nil {
		return err
	}
	if d, err = d.With("picture.denoise=true", "picture.primaries=rec709", ground); err != nil {
		return err
	}
	keep, err := stageCache(ctx, false)
	if err != nil {
		return err
	}
	b, err := sit(ctx, d, path, render.Options{Workers: f.workers, Cache: keep}, func(d *scene.Description, name string) (*scene.Description, error) {
		file, err := findLightSetup(path, name)
		if err != nil {
			return nil, err
		}
		return d.WithLightSetup(file)
	}, f.set)
	if err != nil {
		return err
	}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "present-"+sceneName(path))
	}
	list, err := choose(f.pictures, append(madeIn(dir), f.more...), f.fewer, b.lids)
	if err != nil {
		return err
	}
	a, err := f.compose(b, list, dir)
	if err != nil {
		return err
	}
	j, err := openJob(cmd, dir, path, a.shots, &f.jobFlags, a.files(), render.Files(d)...)
	if err != nil {
		return err
	}
	defer j.Close()
	for i, s := range a.shots {
		if err := writeBytes(j.Path(s.name+".yaml"), []byte(a.texts[i])); err != nil {
			return err
		}
	}
	if !a.begun(j) {
		if err := a.draft(ctx, j, f, keep, stdout, stderr); err != nil || f.draft {
			return err
		}
	} else if f.draft {
		return nil
	}
	t, err := makeShots(ctx, j, a.shots, &f.jobFlags, "", stderr)
	if t == nil {
		return err
	}
	tell(stderr, t.warnings)
	fmt.Fprintf(stdout, "%d pictures: %s\n", len(a.shots), t)
	if err != nil || t.others > 0 {
		return err
	}
	return a.show(j, d, f.credits, t, stdout)
}

// madeIn names the pictures of the set in a folder that are finished: they stay in it until they are dropped.
func madeIn(dir string) (out []string) {
	m, err := job.Read(dir)
	if err != nil || m.Kind != "present" {
		return nil
	}
	names, _ := plateNames()
	for _, it := range m.Plan {
		if len(m.Done[it.Name]) > 0 && slices.Contains(names, it.Name) {
			out = append(out, it.Name)
		}
	}
	return out
}

// album is a planned set.
type album struct {
	plates   []*plate
	shots    []*shot
	texts    []string // of the scene files
	captions []string
	frame    map[string]float64 // ms of a raster frame without its baking, of those made now, by name
}

// compose makes the scenes of a set, each read back from the text that its file will have.
func (f *presentFlags) compose(b *sitting, list []*plate, dir string) (*album, error) {
	a := &album{plates: list, frame: map[string]float64{}}
	for _, p := range list {
		d, err := p.make(b)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", p.name, err)
		}
		q := *d
		if q.About = p.title; p.name == "scene" && d.About != "" {
			q.About = d.About
		}
		text, err := q.Text()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", p.name, err)
		}
		text = "# Written by catchlight present; copy it before you change it.\n" + text
		e, err := scene.Parse(filepath.Join(dir, p.name+".yaml"), []byte(text))
		if err != nil {
			return nil, fmt.Errorf("%s: %w", p.name, err)
		}
		s := &shot{name: p.name, look: p.look, d: e}
		if s.look == "" {
			s.look = "traced"
		}
		s.files, s.make = []string{p.name + ".png", p.name + ".json"}, a.drawn
		if looks[s.look] != nil {
			s.files, s.make = append(s.files, p.name+".exr"), a.rendered
		}
		caption := captionOf(d)
		a.shots, a.texts, a.captions = append(a.shots, s), append(a.texts, text), append(a.captions, caption)
	}
	return a, nil
}

// files are what the command writes besides the pictures.
func (a *album) files() []string {
	out := []string{"draft.png", "set.png", "set.pdf", "present.html", "wipe.png"}
	for _, s := range a.shots {
		out = append(out, s.name+".yaml")
	}
	return out
}

// begun reports whether some picture of the set is finished or under way: its draft was looked at then.
func (a *album) begun(j *job.Job) bool {
	return slices.ContainsFunc(a.shots, func(s *shot) bool {
		it, err := s.item()
		if err != nil {
			return false
		}
		_, under := os.Stat(j.Path(filmName(s)))
		return j.Done(it) || under == nil
	})
}

// rendered makes a picture in one of the looks: linear light, and as seen.
func (a *album) rendered(ctx context.Context, j *job.Job, s *shot, o render.Options) (*render.Result, error) {
	r, err := looks[s.look](ctx, s.d, o)
	if err != nil {
		return nil, err
	}
	if s.look == "raster" {
		a.frame[s.name] = 1000 * r.Stats.Seconds
	}
	if err := r.WriteCell(j.Path(s.name + ".exr")); err != nil {
		return nil, err
	}
	return r, r.WriteShown16(j.Path(s.name + ".png"))
}

// drawn makes a diagram.
func (a *album) drawn(ctx context.Context, j *job.Job, s *shot, o render.Options) (*render.Result, error) {
	m, words, err := a.draw(ctx, s, o)
	if err != nil {
		return nil, err
	}
	size := m.Bounds().Size()
	pix := make([]uint16, 4*size.X*size.Y)
	for i := range pix {
		pix[i] = uint16(m.Pix[2*i])<<8 | uint16(m.Pix[2*i+1])
	}
	if err := imageio.WritePNG16(j.Path(s.name+".png"), size.X, size.Y, 4, pix, map[string]string{"Software": "catchlight", "Description": words}); err != nil {
		return nil, err
	}
	return nil, writeJSON(j.Path(s.name+".json"), map[string]string{"diagram": s.look, "tones": words})
}

func (a *album) draw(ctx context.Context, s *shot, o render.Options) (*image.NRGBA64, string, error) {
	p, err := render.Prepare(ctx, s.d, o)
	if err != nil {
		return nil, "", err
	}
	g, err := diagram.Draw(ctx, p.Scene, s.d, diagram.Kind(s.look), o.Workers)
	if err != nil {
		return nil, "", err
	}
	m, err := p.Backed(g)
	return m, g.Words, err
}

// draft makes the set small and grainy, on one page.
func (a *album) draft(ctx context.Context, j *job.Job, f *presentFlags, keep *render.Cache, stdout, stderr io.Writer) error {
	report := newReporter(stderr)
	defer report.done()
	report.Phase("drafting the set")
	var row []picture
	side := 0
	for i, s := range a.shots {
		d, err := smaller(s.d, false, draftSide)
		if err != nil {
			return err
		}
		if d, err = d.With(fmt.Sprintf("picture.samples=%d", draftSamples), "picture.error=0"); err != nil {
			return err
		}
		q := &shot{name: s.name, look: s.look, d: d}
		o := render.Options{Workers: f.workers, Cache: keep}
		m, err := a.sketch(ctx, q, o)
		if err != nil {
			if ctx.Err() != nil {
				return errInterrupted
			}
			return fmt.Errorf("%s: %w", s.name, err)
		}
		row = append(row, picture{m: m, about: a.plates[i].title, words: []string{a.plates[i].title, a.captions[i]}, mm: frameWidth(d)})
		side = max(side, max(m.Bounds().Dx(), m.Bounds().Dy()))
		report.Advance(int64(i+1), int64(len(a.shots)))
	}
	p := tiled("draft of a set", "small and grainy, to judge the composition before the long work", row, side)
	data, err := p.PNG()
	if err != nil {
		return err
	}
	report.done()
	if err := writeBytes(j.Path("draft.png"), data); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "wrote %s\n", j.Path("draft.png"))
	return nil
}

// The size and the samples of drafts.
const (
	draftSide    = 192
	draftSamples = 8
)

// sketch is one picture of a draft.
func (a *album) sketch(ctx context.Context, s *shot, o render.Options) (*image.NRGBA, error) {
	if looks[s.look] == nil {
		m, _, err := a.draw(ctx, s, o)
		if err != nil {
			return nil, err
		}
		return narrow(m), nil
	}
	r, err := looks[s.look](ctx, s.d, o)
	if err != nil {
		return nil, err
	}
	return r.Shown()
}

// narrow rounds to 8 bits.
func narrow(m *image.NRGBA64) *image.NRGBA {
	out := image.NewNRGBA(m.Bounds())
	for i := range out.Pix {
		v := int(m.Pix[2*i])<<8 | int(m.Pix[2*i+1])
		out.Pix[i] = byte((v*255 + 32767) / 65535)
	}
	return out
}

// presentKey is the key of a picture whose files show it as seen: all keys of the scene count.
func presentKey(s *shot) (string, error) {
	print, err := render.Fingerprint(s.d)
	if err != nil {
		return "", err
	}
	id, err := render.Program()
	if err != nil {
		return "", err
	}
	h := sha256.Sum256([]byte("present " + print + " " + s.look + " " + id.String()))
	return hex.EncodeToString(h[:]), nil
}
