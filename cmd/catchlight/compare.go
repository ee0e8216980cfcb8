package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/compare"
	"catchlight/render/film"
	"catchlight/render/imgcmp"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

type compareFlags struct {
	jobFlags
	vary     string
	distance float64
	photo    photoFlags
}

func compareCommand() *cobra.Command {
	var f compareFlags
	c := &cobra.Command{
		Use:   "compare SCENE",
		Short: "Render a scene in two ways and say where and how far they differ",
		Long: `Render a scene in two ways, with one camera and the same lights, and say where and how far they differ.

  --looks A,B          two looks, traced,raster without it; the first is the reference. Known: ` + strings.Join(lookNames(), ", ") + `
  --vary KEY=a,b       one look, two values of a key; the first is the reference
  --ref PICTURE        a photograph or other picture against one look. The camera is put where the limbus's outline says that
                       it stood; limbus.png shows the outline. --patch or --chart set white and exposure.
                       The focal length is the file's, or --set camera.focal_length, or the scene's.

The folder gets both pictures (.exr, .png), side-by-side.png, wipe.png, wipe.apng and blink.apng (animated PNG), maps of
lightness, colour, FLIP and HDR-FLIP, compare.json with the numbers of each part of the eye, and compare.html: one file,
offline, with a border to drag, zoom and layers. A stopped comparison goes on when the same command is given again.

  catchlight compare scenes/ferry_keeper.yaml --samples 32 --size 320x320
  catchlight compare scenes/ferry_keeper.yaml --vary effects.caustic=true,false --samples 32
  catchlight compare scenes/ferry_keeper.yaml --ref photo.jpg --patch 1210,340 --credit "Photo: the keeper's daughter, CC0"`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runCompare(cmd, args[0], &f) },
	}
	fl := c.Flags()
	f.add(fl, "out/compare-NAME")
	fl.StringVar(&f.renderFlags.lights, "lights", "", "light set-up whose lights stand in for the scene's own: a name or a file")
	fl.StringVar(&f.vary, "vary", "", "KEY=a,b: compare two values of a key")
	fl.Float64Var(&f.distance, "distance", 0.7, "how far the observer of FLIP is from a screen 0.7 m and 3840 pixels wide, in m")
	f.photo.add(fl)
	fl.StringVar(&f.cache, "cache", filepath.Join("out", "cache"), "folder of pictures by content; empty for none")
	return c
}

// sides are the two pictures to make, the reference first, and what they are called.
func (f *compareFlags) sides(d *scene.Description) (out []*shot, titles []string, err error) {
	words, err := checkLooks(f.looks)
	if err != nil {
		return nil, nil, err
	}
	if f.vary == "" {
		if len(f.looks) == 0 {
			words = defaultLooks()
		}
		if len(words) != 2 {
			return nil, nil, usageError{fmt.Errorf("compare: give two ways to make the picture, as --looks A,B (known: %s) or --vary KEY=a,b", strings.Join(lookNames(), ", "))}
		}
		return []*shot{{name: words[0], look: words[0], d: d}, {name: words[1], look: words[1], d: d}}, words, nil
	}
	key, list, ok := strings.Cut(f.vary, "=")
	values := splitValues(list)
	if !ok || key == "" || len(values) != 2 || slices.Contains(values, "") {
		return nil, nil, usageError{fmt.Errorf("--vary %q: give KEY=a,b", f.vary)}
	}
	if len(words) != 1 {
		return nil, nil, usageError{errors.New("--vary compares within one look; give --looks once or not at all")}
	}
	if k := strings.TrimSpace(key); k == "picture" || k == "camera" || strings.HasPrefix(k, "camera.") || strings.HasPrefix(k, "picture.width") || strings.HasPrefix(k, "picture.height") {
		return nil, nil, usageError{fmt.Errorf("--vary %s: both pictures need the same camera and size", key)}
	}
	for i, v := range values {
		e, err := d.With(key + "=" + v)
		if err != nil {
			return nil, nil, err
		}
		name := fileName(lastKey(key) + "-" + v)
		if i == 1 && name == out[0].name {
			name += "-too"
		}
		out = append(out, &shot{name: name, look: words[0], d: e})
		titles = append(titles, lastKey(key)+" "+v)
	}
	return out, titles, nil
}

// defaultLooks are what compare sets against each other where nothing is asked for: the first is the traced look.
func defaultLooks() []string {
	out := []string{"traced"}
	for _, n := range lookNames() {
		if n != "traced" {
			out = append(out, n)
		}
	}
	return out[:min(2, len(out))]
}

// fileName leaves of a text what is sound in the name of a file.
func fileName(text string) string {
	return strings.Map(func(c rune) rune {
		if c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '.' || c == '_' || c == '-' {
			return c
		}
		return '-'
	}, text)
}

// folder is that of a comparison.
func (f *compareFlags) folder(path string) string {
	if f.out != "" {
		return f.out
	}
	return filepath.Join("out", "compare-"+sceneName(path))
}

// make opens the job of a comparison and renders what is missing of its pictures. The comparison writes the files more
// besides, and reads inputs that no scene names. Without an error the caller closes the job.
func (f *compareFlags) make(cmd *cobra.Command, path string, shots []*shot, count string, more []string, inputs ...string) (*job.Job, *tally, error) {
	j, err := openJob(cmd, f.folder(path), path, shots, &f.jobFlags, more, inputs...)
	if err != nil {
		return nil, nil, err
	}
	stdout, stderr := cmd.OutOrStdout(), cmd.ErrOrStderr()
	t, err := makeShots(cmd.Context(), j, shots, &f.jobFlags, f.cache, stderr)
	if t != nil {
		tell(stderr, t.warnings)
		fmt.Fprintf(stdout, "%s: %s\n", count, t)
	}
	if err != nil {
		j.Close()
		return nil, nil, err
	}
	return j, t, nil
}

func runCompare(cmd *cobra.Command, path string, f *compareFlags) error {
	if !(f.distance >= 0.05 && f.distance <= 10) {
		return usageError{fmt.Errorf("--distance %g is outside [0.05, 10] m", f.distance)}
	}
	if f.shard != "" {
		return usageError{errors.New("--shard: a comparison is two pictures; share out the samples of each with catchlight render --shard")}
	}
	d, err := f.load(path, cmd.Flags().Changed)
	if err != nil {
		return err
	}
	if d.Camera.Kind == "plate" {
		return usageError{fmt.Errorf("%s: a plate records irradiance; there is no picture of an eye to compare", path)}
	}
	if f.photo.file != "" {
		return runPhoto(cmd, path, f, d)
	}
	for _, n := range []string{"limbus", "eye", "scene-camera", "patch", "chart", "reads", "credit"} {
		if cmd.Flags().Changed(n) {
			return usageError{fmt.Errorf("--%s goes with --ref", n)}
		}
	}
	shots, titles, err := f.sides(d)
	if err != nil {
		return err
	}
	j, t, err := f.make(cmd, path, shots, "2 pictures", compare.FileNames(shots[0].name, shots[1].name))
	if err != nil {
		return err
	}
	defer j.Close()
	stdout := cmd.OutOrStdout()
	p := compare.Pair{
		Title: sceneName(path) + ": " + titles[1] + " against " + titles[0], Width: d.Picture.Width, Height: d.Picture.Height,
		PerDegree: imgcmp.PixelsPerDegree(f.distance, 0.7, 3840), Distance: f.distance, Workers: f.workers,
	}
	if p.Workers == 0 {
		p.Workers = runtime.GOMAXPROCS(0)
	}
	for i, side := range []*compare.Side{&p.Reference, &p.Test} {
		if err := readSide(j, shots[i], titles[i], side); err != nil {
			return err
		}
		r, err := cell(j, shots[i])
		if err != nil {
			return err
		}
		if r.Error.RMS > 0 {
			p.Notes = append(p.Notes, grainNote(side, &r))
		}
	}
	p.Shade = shade(j, shots[0])
	prepared, err := render.Prepare(cmd.Context(), shots[0].d, render.Options{Workers: p.Workers})
	if err != nil {
		return orInterrupted(cmd, err)
	}
	p.Regions = regionsOf(prepared.Regions(render.Options{Workers: p.Workers}))
	if f.vary != "" {
		p.Notes = append(p.Notes, "The parts of the eye are those of "+p.Reference.Name+".")
	}
	if err := writeComparison(&p, j.Path, stdout); err != nil {
		return err
	}
	return t.report(j, nil)
}

// grainNote says how much grain a picture has.
func grainNote(side *compare.Side, r *cellReport) string {
	s := fmt.Sprintf("%s: %d samples a pixel, grain of %.1f 8-bit levels (root of the mean square)", side.Name, r.SPP, 255*r.Error.RMS)
	if side.Clean != nil {
		s += ", taken out of what is seen by denoising; the light ratio is of the picture with its grain"
	}
	return s + "."
}

// readSide reads a finished picture back, as light and as seen.
func readSide(j *job.Job, s *shot, title string, out *compare.Side) error {
	seen, lit, err := seen(j, s)
	if err != nil {
		return err
	}
	pic, err := imageio.Read(j.Path(s.name + ".exr"))
	if err != nil {
		return err
	}
	*out = compare.Side{Name: title, File: s.name, Display: lit, Seen: seen, Linear: planes(pic, "R", "G", "B"), Error: planes(pic, "error.R", "error.G", "error.B"), Grain: film.GrainOf(pic.Attrs[film.GrainAttr])}
	out.Clean = planes(pic, render.CleanLayer+".R", render.CleanLayer+".G", render.CleanLayer+".B")
	if !slices.ContainsFunc(out.Error, colour.RGB.Finite) {
		out.Error = nil // no look with samples
	}
	return nil
}

// shade shows other light as a finished picture is shown.
func shade(j *job.Job, s *shot) func([]colour.RGB) ([]colour.RGB, error) {
	return func(linear []colour.RGB) ([]colour.RGB, error) {
		pic, err := imageio.Read(j.Path(s.name + ".exr"))
		if err != nil {
			return nil, err
		}
		alpha := make([]float64, len(linear))
		a := pic.Channel("A")
		for i := range alpha {
			if alpha[i] = 1; a != nil {
				alpha[i] = float64(a[i])
			}
		}
		return render.Display(s.d, pic.W, linear, alpha)
	}
}

// planes joins three channels of a picture; nil where one is missing.
func planes(pic *imageio.Picture, names ...string) []colour.RGB {
	out := make([]colour.RGB, pic.W*pic.H)
	for c, n := range names {
		p := pic.Channel(n)
		if p == nil {
			return nil
		}
		for i, v := range p {
			out[i][c] = float64(v)
		}
	}
	return out
}

// regionsOf lists the parts of the picture to judge by themselves: of all eyes together, and where there are more, of each.
func regionsOf(r *render.Regions) []compare.Region {
	var out []compare.Region
	zones := []render.Zone{render.Pupil, render.Iris, render.Limbus, render.Sclera, render.Catchlight, render.Around}
	for _, z := range zones {
		out = append(out, compare.Region{Name: z.String(), Mask: r.Mask(z, -1), Kind: int(z)})
	}
	if len(r.Eyes) > 1 {
		for e, name := range r.Eyes {
			for _, z := range zones[:len(zones)-1] {
				out = append(out, compare.Region{Name: z.String(), Eye: name, Mask: r.Mask(z, e), Kind: int(z)})
			}
		}
	}
	return out
}

// writeComparison measures a pair and writes what a comparison leaves; path says where a file goes.
func writeComparison(p *compare.Pair, path func(name string) string, stdout io.Writer) error {
	r, err := compare.Measure(p)
	if err != nil {
		return err
	}
	files, err := r.Files()
	if err != nil {
		return err
	}
	for _, f := range files {
		if err := writeBytes(path(f.Name), f.Data); err != nil {
			return err
		}
	}
	fmt.Fprintln(stdout, r.Summary())
	for _, q := range r.Regions {
		name := q.Region
		if q.Eye != "" {
			name += ", " + q.Eye
		}
		fmt.Fprintf(stdout, "  %-18s FLIP %.3f, colour %.1f, light %.3f times\n", name, float64(q.FLIP.Mean), float64(q.Colour.Median), float64(q.Ratio))
	}
	fmt.Fprintf(stdout, "wrote %s\n", path("compare.html"))
	return nil
}
