package main

import (
	"fmt"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/render/truescale"
)

func scaleCommand() *cobra.Command {
	var f jobFlags
	walks := truescale.Walks
	c := &cobra.Command{
		Use:   "scale SCENE",
		Short: "Say whether an eye has its true scale, and show how far light spreads in it",
		Long: `Say whether the first eye of a scene has its true scale, and show how far light spreads in it.

The first page shows the eye bare, as the file says and at the usual mistakes of units, framed alike: as light scatters over
millimetres, the scattering is all that differs. Circles drawn to scale hold 50 % and 90 % of the light that comes back out of the
white and of the iris, by channel; a table gives the 10-90 % width of a shadow's edge on the white, and how far red runs past
blue at the terminator. All of that is measured by random walks in this very eye, with standard errors. The verdict is right,
wrong unit (with what mends it), or undecided (with the readings that are left).

The second page sweeps the scatter radii in one close-up of a shadow's edge, with what to type for each.

The folder gets scale.html (one file, offline), scale.pdf, scale-1.png, scale-2.png and scale.json. Cells are 240 pixels across
without --size, and show the raw light without --denoise. A stopped command goes on when it is given again.

  catchlight scale scenes/ferry_keeper.yaml --samples 32`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runScale(cmd, args[0], &f, walks) },
	}
	fl := c.Flags()
	f.shared(fl)
	fl.IntVar(&walks, "walks", truescale.Walks, "random walks for the radii of each part, and for each edge; an error halves with four times as many")
	fl.StringVarP(&f.out, "out", "o", "", "folder to work in; out/scale-NAME without it")
	fl.DurationVar(&f.every, "keep-every", 20e9, "time between saves of the picture under way")
	fl.StringVar(&f.cache, "cache", filepath.Join("out", "cache"), "folder of pictures by content; empty for none")
	return c
}

// scaleFiles are what the command writes beside its pictures.
var scaleFiles = []string{"scale.html", "scale.pdf", "scale-1.png", "scale-2.png", "scale.json"}

// cellSize is the side of a cell in pixels without --size.
const cellSize = 240

func runScale(cmd *cobra.Command, path string, f *jobFlags, walks int) error {
	if walks < truescale.LeastWalks || walks > 1e8 {
		return usageError{fmt.Errorf("--walks %d is outside [%d, 100000000]", walks, truescale.LeastWalks)}
	}
	d, err := f.load(path, cmd.Flags().Changed)
	if err != nil {
		return err
	}
	n := cellSize
	if cmd.Flags().Changed("size") {
		if n = d.Picture.Width; d.Picture.Height != n || n < 64 || n > 2048 {
			return usageError{fmt.Errorf("--size %s: cells are square, 64x64 to 2048x2048", f.size)}
		}
	}
	if !cmd.Flags().Changed("denoise") { // edges are judged on the raw light
		if d, err = d.With("picture.denoise=false"); err != nil {
			return err
		}
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
	fmt.Fprintf(stdout, "%s: %s\n  size: %s\n  tissue: %s\n", r.Name, r.Verdict.Word, r.Verdict.Size, r.Verdict.Tissue)
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
	tell(stderr, t.warnings)
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
