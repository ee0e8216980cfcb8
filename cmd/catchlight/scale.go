package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/render/truescale"
	"catchlight/scene"
)

func scaleCommand() *cobra.Command {
	var f jobFlags
	var only bool
	walks := truescale.Walks
	c := &cobra.Command{
		Use:   "scale SCENE",
		Short: "Say whether the unit of an eye is right, and show how far light spreads in it",
		Long: `Say whether the unit of the first eye of a scene is right, and show how far light spreads in it.

The verdict comes first, before any picture, with what to type:
  unit right        its length is an eye's, in this unit and no other usual one; it need not be a human's
  wrong unit        one usual mistake of units alone makes an eye of it
  unit undecided    several readings make one, or none, or the tissue speaks against the length; each is listed
  parts do not fit  the visible iris is too small or too large for the globe, at any unit
A line beside it says how many times a grown human's 24.2 mm the eye is across. --verdict says that much, and makes no pictures
and no files. The exit code is 0 whatever the verdict; scripts read the first line, or verdict.word in scale.json.

The first page shows the eye bare, as the file says and at the usual mistakes of units, framed alike: as light scatters over
millimetres, the scattering is all that differs. Circles drawn to scale hold 50 % and 90 % of the light that comes back out of the
white and of the iris, by channel; a table gives the 10-90 % width of a shadow's edge on the white, and how far red runs past
blue at the terminator. All of that is measured by random walks in this very eye, with standard errors.

The second page sweeps the scatter radii in one close-up of a shadow's edge, with what to type for each.

The folder gets scale.html (one file, offline), scale.pdf, scale-1.png, scale-2.png and scale.json. Cells are square, 240 pixels
across without --size, which takes 64x64 to 2048x2048, and show the raw light without --denoise. Notes on the file's meshes and
maps are left to catchlight render. A stopped command goes on when it is given again.

  catchlight scale scenes/ferry_keeper.yaml --verdict
  catchlight scale scenes/ferry_keeper.yaml --samples 32`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runScale(cmd, args[0], &f, walks, only) },
	}
	fl := c.Flags()
	f.shared(fl)
	fl.IntVar(&walks, "walks", truescale.Walks, "random walks for the radii of each part, and for each edge; an error halves with four times as many")
	fl.BoolVar(&only, "verdict", false, "say the verdict alone: no pictures, no files")
	fl.StringVarP(&f.out, "out", "o", "", "folder to work in; out/scale-NAME without it")
	fl.DurationVar(&f.every, "keep-every", 20e9, "time between saves of the picture under way")
	fl.StringVar(&f.cache, "cache", filepath.Join("out", "cache"), "folder of pictures by content; empty for none")
	return c
}

// scaleFiles are what the command writes beside its pictures.
var scaleFiles = []string{"scale.html", "scale.pdf", "scale-1.png", "scale-2.png", "scale.json"}

// cellSize is the side of a cell in pixels without --size.
const cellSize = 240

func runScale(cmd *cobra.Command, path string, f *jobFlags, walks int, only bool) error {
	if walks < truescale.LeastWalks || walks > 1e8 {
		return usageError{fmt.Errorf("--walks %d is outside [%d, 100000000]", walks, truescale.LeastWalks)}
	}
	d, n, err := scaleScene(cmd, path, f)
	if err != nil {
		return err
	}
	alone, err := truescale.Alone(d)
	if err != nil {
		return err
	}
	stdout, stderr := cmd.OutOrStdout(), cmd.ErrOrStderr()
	if f.stages, err = stageCache(cmd.Context(), false); err != nil {
		return err
	}
	report := newReporter(stderr)
	p, err := render.Prepare(cmd.Context(), alone, render.Options{Workers: f.workers, Progress: report, Cache: f.stages})
	if err != nil {
		report.done()
		return err
	}
	report.Phase("measuring how far light spreads")
	r, err := truescale.Examine(&p.Prepared, render.Options{Workers: f.workers}.Count(), walks)
	report.done()
	if err != nil {
		return err
	}
	sayVerdict(stdout, r)
	if only {
		return nil
	}
	report = newReporter(stderr)
	report.Phase("measuring the iris and edges of shadows")
	err = r.Fill()
	report.done()
	if err != nil {
		return err
	}
	pictures, err := r.Pictures(alone, n)
	if err != nil {
		return err
	}
	var shots []*shot
	for _, q := range pictures {
		shots = append(shots, &shot{name: q.Name, look: "traced", d: q.D})
	}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "scale-"+sceneName(path))
	}
	j, err := openJob(cmd, dir, path, shots, f, scaleFiles)
	if err != nil {
		return err
	}
	defer j.Close()
	t, err := makeShots(cmd.Context(), j, shots, f, f.cache, stderr)
	if t == nil {
		return err
	}
	tell(stderr, beyond(t.warnings, p.Warnings))
	fmt.Fprintf(stdout, "%d pictures: %s\n", len(shots), t)
	if err != nil {
		return err
	}
	album := truescale.Album{Title: sceneName(path), About: d.About, Report: r}
	for i, s := range shots {
		m, _, err := seen(j, s)
		if err != nil {
			return err
		}
		album.Add(pictures[i], m)
	}
	return writeAlbum(j, &album, t, stdout)
}

// scaleScene loads a scene as it is judged, and says how many pixels a cell is across.
func scaleScene(cmd *cobra.Command, path string, f *jobFlags) (d *scene.Description, n int, err error) {
	if d, err = f.load(path, cmd.Flags().Changed); err != nil {
		return nil, 0, err
	}
	n = cellSize
	if cmd.Flags().Changed("size") {
		if n = d.Picture.Width; d.Picture.Height != n || n < 64 || n > 2048 {
			return nil, 0, usageError{fmt.Errorf("--size %s: cells are square, 64x64 to 2048x2048", f.size)}
		}
	}
	if !cmd.Flags().Changed("denoise") { // edges are judged on the raw light
		d, err = d.With("picture.denoise=false")
	}
	return d, n, err
}

// sayVerdict writes the verdict and what to type.
func sayVerdict(w io.Writer, r *truescale.Report) {
	v := &r.Verdict
	fmt.Fprintf(w, "%s: %s\n  size: %s\n", r.Name, v.Word, v.Size)
	if v.Human != "" {
		fmt.Fprintf(w, "  beside a grown human: %s\n", v.Human)
	}
	fmt.Fprintf(w, "  tissue: %s\n", v.Tissue)
	for _, m := range v.Do {
		fmt.Fprintf(w, "  %s\n", m.Line())
	}
}

// beyond are the notes of pictures that are not those on the scene's own files.
func beyond(notes, files []string) (out []string) {
	for _, n := range notes {
		_, text, _ := strings.Cut(repeated.ReplaceAllString(n, ""), ": ") // behind the look
		if !slices.Contains(files, text) {
			out = append(out, n)
		}
	}
	return out
}

// writeAlbum writes the pages and the numbers.
func writeAlbum(j *job.Job, a *truescale.Album, t *tally, stdout io.Writer) error {
	pages := a.Pages()
	write := func(name string, data []byte, err error) error {
		if err == nil {
			err = writeBytes(j.Path(name), data)
		}
		if err == nil {
			fmt.Fprintf(stdout, "wrote %s\n", j.Path(name))
		}
		return err
	}
	for i, p := range pages {
		data, err := p.PNG()
		if err := write(fmt.Sprintf("scale-%d.png", i+1), data, err); err != nil {
			return err
		}
	}
	data, err := page.PDF(pages...)
	if err := write("scale.pdf", data, err); err != nil {
		return err
	}
	data, err = a.HTML()
	if err := write("scale.html", data, err); err != nil {
		return err
	}
	if err := writeJSON(j.Path("scale.json"), a.Report); err != nil {
		return err
	}
	return t.report(j, nil)
}
