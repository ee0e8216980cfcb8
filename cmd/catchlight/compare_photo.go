package main

import (
	"bytes"
	"errors"
	"fmt"
	"image/png"
	"math"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"catchlight/render"
	"catchlight/render/compare"
	"catchlight/render/imgcmp"
	"catchlight/render/job"
	"catchlight/render/limbus"
	"catchlight/scene"
	"catchlight/scene/colour"
)

// photoFlags say what a scene's picture is held against in place of another look.
type photoFlags struct {
	file   string
	limbus string
	eye    string
	stay   bool
	patch  string
	chart  string
	reads  float64
	credit string
}

func (f *photoFlags) add(fl *pflag.FlagSet) {
	fl.StringVar(&f.file, "ref", "", "photograph or other picture to compare with, in place of a second look")
	fl.StringVar(&f.limbus, "limbus", "", "points of the limbus in it, five or more, as \"x,y x,y ...\" in its pixels; without them it is searched for")
	fl.StringVar(&f.eye, "eye", "", "which of the scene's eyes it shows; the first without it")
	fl.BoolVar(&f.stay, "scene-camera", false, "leave the scene's camera where it is")
	fl.StringVar(&f.patch, "patch", "", "neutral patch in it that sets white and exposure, as x,y or x,y,radius in its pixels")
	fl.StringVar(&f.chart, "chart", "", "colour chart of 24 patches in it that sets white and exposure: the middles of dark skin, bluish green, black and white as \"x,y x,y x,y x,y\"")
	fl.Float64Var(&f.reads, "reads", 0.18, "reflectance of the patch; it is taken for a card before the eye that faces the camera")
	fl.StringVar(&f.credit, "credit", "", "who made the photograph and under which licence, for the page")
}

// places reads "x,y x,y ..." with between least and most numbers in each group.
func places(flag, text string, least, most int) ([][]float64, error) {
	var out [][]float64
	for _, word := range strings.FieldsFunc(text, func(c rune) bool { return c == ' ' || c == ';' }) {
		var p []float64
		for _, n := range strings.Split(word, ",") {
			v, err := strconv.ParseFloat(n, 64)
			if err != nil || !(math.Abs(v) <= 1e6) {
				return nil, usageError{fmt.Errorf("--%s %q: %q is no place in a picture", flag, text, word)}
			}
			p = append(p, v)
		}
		if len(p) < least || len(p) > most {
			return nil, usageError{fmt.Errorf("--%s %q: %q holds %d numbers", flag, text, word, len(p))}
		}
		out = append(out, p)
	}
	return out, nil
}

// mostPhoto is the longer side, in pixels, that a photograph is brought down to where no size is asked for.
const mostPhoto = 640

// film returns the size of the picture to render: the photograph's shape.
func (f *compareFlags) film(d *scene.Description, photo *compare.Photo, sized bool) (w, h int, err error) {
	w, h = d.Picture.Width, d.Picture.Height
	if !sized {
		w, h = photo.Film(mostPhoto)
		return w, h, nil
	}
	if want := float64(w) * float64(photo.Height) / float64(photo.Width); math.Abs(want-float64(h)) > 1 {
		return 0, 0, usageError{fmt.Errorf("--size %dx%d has another shape than %s, which is %d x %d: give %dx%d", w, h, f.photo.file, photo.Width, photo.Height, w, max(1, int(math.Round(want))))}
	}
	return w, h, nil
}

// check refuses flags that do not go together, and returns the given points of the limbus.
func (f *photoFlags) check(vary string, words []string) ([][]float64, error) {
	if len(words) != 1 || vary != "" {
		return nil, usageError{errors.New("--ref stands in for one of two pictures: give one look, and no --vary")}
	}
	if f.patch != "" && f.chart != "" {
		return nil, usageError{errors.New("--patch and --chart both set white and exposure: give one")}
	}
	if !(f.reads > 0 && f.reads <= 1) {
		return nil, usageError{fmt.Errorf("--reads %g is outside (0, 1]", f.reads)}
	}
	limb, err := places("limbus", f.limbus, 2, 2)
	if err != nil {
		return nil, err
	}
	if f.limbus != "" && len(limb) < limbus.LeastPoints {
		return nil, usageError{fmt.Errorf("--limbus: %d points; %d are needed at least", len(limb), limbus.LeastPoints)}
	}
	return limb, nil
}

// photoRun is one comparison with a photograph under way.
type photoRun struct {
	*compareFlags
	cmd   *cobra.Command
	d     *scene.Description
	opt   render.Options
	photo *compare.Photo
	small *compare.Photo // at the size of the film
	limb  [][]float64    // given points of the limbus
	lens  bool           // the focal length is the file's

	p     *render.Prepared
	eye   int
	marks [][2]float64 // the outline of the limbus; none where the camera stays
	notes []string
}

func (r *photoRun) note(format string, a ...any) {
	r.notes = append(r.notes, fmt.Sprintf(format, a...))
}

// runPhoto compares a picture of the scene with a photograph: the camera is put where the photograph's was.
func runPhoto(cmd *cobra.Command, path string, f *compareFlags, d *scene.Description) error {
	words, err := checkLooks(f.looks)
	if err != nil {
		return err
	}
	r := &photoRun{compareFlags: f, cmd: cmd, d: d, opt: render.Options{Workers: f.workers, Cache: render.NewCache()}}
	if r.limb, err = f.photo.check(f.vary, words); err != nil {
		return err
	}
	more := append(compare.FileNames("photograph", words[0]), "limbus.png")
	plan := []job.Item{{Name: words[0], Files: []string{words[0] + ".exr", words[0] + ".json"}}}
	if err := guardJob(f.folder(path), &job.Manifest{Plan: plan, More: append(more, "report.json"), Overwrite: f.overwrite}, append(render.Files(d), f.photo.file)); err != nil {
		return err
	}
	if err := r.read(); err != nil {
		return err
	}
	if err := r.stand(); err != nil {
		return err
	}
	shots := []*shot{{name: words[0], look: words[0], d: r.d}}
	j, t, err := f.make(cmd, path, shots, "1 picture", more, f.photo.file)
	if err != nil {
		return err
	}
	defer j.Close()
	stdout := cmd.OutOrStdout()
	pair := compare.Pair{Title: sceneName(path) + ": " + words[0] + " against " + filepath.Base(f.photo.file), Width: r.small.Width, Height: r.small.Height,
		PerDegree: imgcmp.PixelsPerDegree(f.distance, 0.7, 3840), Distance: f.distance, Workers: f.workers}
	if pair.Workers == 0 {
		pair.Workers = runtime.GOMAXPROCS(0)
	}
	if err := r.sides(j, shots[0], &pair); err != nil {
		return err
	}
	if r.marks != nil {
		var b bytes.Buffer
		if err := png.Encode(&b, compare.Mark(pair.Reference.Seen, r.marks)); err != nil {
			return err
		}
		if err := writeBytes(j.Path("limbus.png"), b.Bytes()); err != nil {
			return err
		}
	}
	if err := writeComparison(&pair, j.Path, stdout); err != nil {
		return err
	}
	for _, n := range r.notes {
		fmt.Fprintln(stdout, "  "+n)
	}
	return t.report(j, nil)
}

// read reads the photograph and gives the scene its shape and lens.
func (r *photoRun) read() (err error) {
	g := &r.compareFlags.photo
	if r.photo, err = compare.ReadPhoto(g.file); err != nil {
		return usageError{fmt.Errorf("--ref %w", err)}
	}
	w, h, err := r.film(r.d, r.photo, r.cmd.Flags().Changed("size"))
	if err != nil {
		return err
	}
	sets := []string{fmt.Sprintf("picture.width=%d", w), fmt.Sprintf("picture.height=%d", h)}
	// The file's focal length holds where the command doesn't say another.
	r.lens = r.photo.Focal > 0 && !g.stay && !slices.ContainsFunc(r.set, func(s string) bool {
		return strings.Contains(s, "camera.f") || strings.Contains(s, "camera.sensor_width")
	})
	if r.lens {
		sets = append(sets, r.photo.Lens(w, h)...)
	}
	if r.d, err = r.d.With(sets...); err != nil {
		return err
	}
	r.small = r.photo.Resize(w, h)
	r.note("%s: %d x %d pixels, compared at %d x %d.", filepath.Base(g.file), r.photo.Width, r.photo.Height, w, h)
	if g.credit != "" {
		r.note("%s", g.credit)
	}
	r.notes = append(r.notes, r.photo.Notes...)
	return nil
}

// stand prepares the scene, with its camera where the photograph's was.
func (r *photoRun) stand() (err error) {
	g := &r.compareFlags.photo
	if r.p, err = render.Prepare(r.cmd.Context(), r.d, r.opt); err != nil {
		return orInterrupted(r.cmd, err)
	}
	if g.eye != "" {
		names := r.p.EyeNames()
		if r.eye = slices.Index(names, g.eye); r.eye < 0 {
			return usageError{fmt.Errorf("--eye %s: the scene's eyes are %s", g.eye, strings.Join(names, ", "))}
		}
	}
	if g.stay {
		r.note("The camera is the scene's own.")
		return nil
	}
	points, err := r.photo.Limbus(r.limb, r.small)
	if err != nil {
		return fmt.Errorf("%s: %w", g.file, err)
	}
	at, err := r.p.CameraFrom(r.eye, points)
	if err != nil {
		return fmt.Errorf("%s: %w", g.file, err)
	}
	if r.d, err = r.d.With(at.Sets...); err != nil {
		return err
	}
	if r.p, err = render.Prepare(r.cmd.Context(), r.d, r.opt); err != nil {
		return orInterrupted(r.cmd, err)
	}
	r.note("From the limbus: %s.", at)
	r.note("A circle looks alike from two sides. The side is the scene's own camera's; the other camera would stand at %.4g, %.4g, %.4g mm.", at.Other.Config.Position.X, at.Other.Config.Position.Y, at.Other.Config.Position.Z)
	if r.lens {
		r.note("The focal length is that of the file, %g mm as on 35 mm film: right unless the picture was cropped.", r.photo.Focal)
	} else {
		r.note("The focal length is the scene's, as a circle can't tell it from the distance.")
	}
	r.marks = compare.OutlineMarks(&at.Ellipse)
	return nil
}

// sides fills a pair with the finished picture and the photograph in its light.
func (r *photoRun) sides(j *job.Job, s *shot, pair *compare.Pair) error {
	if err := readSide(j, s, s.name, &pair.Test); err != nil {
		return err
	}
	pair.Shade = shade(j, s)
	regions := r.p.Regions(r.opt)
	pair.Regions = regionsOf(regions)
	gains, how, err := r.gains(&pair.Test, regions)
	if err != nil {
		return err
	}
	r.note("%s", how)
	if pair.Reference, err = r.small.Side(gains, r.show); err != nil {
		return err
	}
	r.note("The parts of the eye are those of the scene: what a lid or a lash covers in the photograph alone counts as a difference.")
	if c, err := cell(j, s); err == nil && c.Error.RMS > 0 {
		r.note("%s", grainNote(&pair.Test, &c))
	}
	pair.Notes = r.notes
	return nil
}

// show turns light into what the scene's view shows of it.
func (r *photoRun) show(linear []colour.RGB) ([]colour.RGB, error) {
	alpha := make([]float64, len(linear))
	for i := range alpha {
		alpha[i] = 1
	}
	return render.Display(r.d, min(r.small.Width, len(linear)), linear, alpha)
}

// orInterrupted is an error of work that the context may have ended.
func orInterrupted(cmd *cobra.Command, err error) error {
	if cmd.Context().Err() != nil {
		return errInterrupted
	}
	return err
}

// gains are what the photograph's channels are multiplied by, and how they came about.
func (r *photoRun) gains(test *compare.Side, regions *render.Regions) (colour.RGB, string, error) {
	g := &r.compareFlags.photo
	if g.patch == "" && g.chart == "" {
		return r.small.ScleraGains(test, regions.Mask(render.Sclera, -1))
	}
	card, err := r.p.Card(r.eye)
	if err != nil {
		return colour.RGB{}, "", err
	}
	if !(min(card[0], card[1], card[2]) > 0) {
		return colour.RGB{}, "", errors.New("no light of the scene reaches a card before the eye that faces the camera: leave --patch and --chart out")
	}
	target := r.photo.Target(card, r.show)
	flag, text, least, most, count := "patch", g.patch, 2, 3, 1
	if g.chart != "" {
		flag, text, least, most, count = "chart", g.chart, 2, 2, 4
	}
	list, err := places(flag, text, least, most)
	if err != nil {
		return colour.RGB{}, "", err
	}
	if len(list) != count {
		return colour.RGB{}, "", usageError{fmt.Errorf("--%s %q: give %s", flag, text, map[int]string{1: "one place", 4: "four places"}[count])}
	}
	var gains colour.RGB
	var how string
	if count == 1 {
		radius := r.photo.PatchRadius()
		if len(list[0]) == 3 {
			radius = list[0][2]
		}
		gains, how, err = r.photo.PatchGains(list[0][0], list[0][1], radius, g.reads, target)
	} else {
		var corners [4][2]float64
		for i, p := range list {
			corners[i] = [2]float64{p[0], p[1]}
		}
		gains, how, err = r.photo.ChartGains(corners, card, target)
	}
	if err != nil {
		return colour.RGB{}, "", usageError{fmt.Errorf("--%s: %w", flag, err)}
	}
	return gains, how, nil
}
