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

// filmDiagonal is the diagonal of a picture on 35 mm film, 36 x 24 mm.
const filmDiagonal = 43.2666

// mostPhoto is the longer side, in pixels, that a photograph is brought down to where no size is asked for.
const mostPhoto = 640

// film returns the size of the picture to render: the photograph's shape.
func (f *compareFlags) film(d *scene.Description, photo *compare.Photo, sized bool) (w, h int, err error) {
	w, h = d.Picture.Width, d.Picture.Height
	if !sized {
		k := min(1, mostPhoto/float64(max(photo.Width, photo.Height)))
		return max(1, int(math.Round(k*float64(photo.Width)))), max(1, int(math.Round(k*float64(photo.Height)))), nil
	}
	if want := float64(w) * float64(photo.Height) / float64(photo.Width); math.Abs(want-float64(h)) > 1 {
		return 0, 0, usageError{fmt.Errorf("--size %dx%d has another shape than %s, which is %d x %d: give %dx%d", w, h, f.photo.file, photo.Width, photo.Height, w, max(1, int(math.Round(want))))}
	}
	return w, h, nil
}

// runPhoto compares a picture of the scene with a photograph: the camera is put where the photograph's was.
func runPhoto(cmd *cobra.Command, path string, f *compareFlags, d *scene.Description) error {
	words, err := checkLooks(f.looks)
	if err != nil {
		return err
	}
	g := &f.photo
	if len(words) != 1 || f.vary != "" {
		return usageError{errors.New("--ref stands in for one of two pictures: give one look, and no --vary")}
	}
	if g.patch != "" && g.chart != "" {
		return usageError{errors.New("--patch and --chart both set white and exposure: give one")}
	}
	if !(g.reads > 0 && g.reads <= 1) {
		return usageError{fmt.Errorf("--reads %g is outside (0, 1]", g.reads)}
	}
	limb, err := places("limbus", g.limbus, 2, 2)
	if err != nil {
		return err
	}
	if g.limbus != "" && len(limb) < limbus.LeastPoints {
		return usageError{fmt.Errorf("--limbus: %d points; %d are needed at least", len(limb), limbus.LeastPoints)}
	}
	photo, err := compare.ReadPhoto(g.file)
	if err != nil {
		return usageError{fmt.Errorf("--ref %w", err)}
	}
	w, h, err := f.film(d, photo, cmd.Flags().Changed("size"))
	if err != nil {
		return err
	}
	sets := []string{fmt.Sprintf("picture.width=%d", w), fmt.Sprintf("picture.height=%d", h)}
	// The file's focal length holds where the command doesn't say another.
	fromFile := photo.Focal > 0 && !g.stay && !slices.ContainsFunc(f.set, func(s string) bool {
		return strings.Contains(s, "camera.f") || strings.Contains(s, "camera.sensor_width")
	})
	if fromFile {
		sets = append(sets, "camera.fov=null", fmt.Sprintf("camera.focal_length=%g", photo.Focal), fmt.Sprintf("camera.sensor_width=%.6g", filmDiagonal*float64(w)/math.Hypot(float64(w), float64(h))))
	}
	if d, err = d.With(sets...); err != nil {
		return err
	}
	stdout, stderr := cmd.OutOrStdout(), cmd.ErrOrStderr()
	opt := render.Options{Workers: f.workers, Cache: render.NewCache()}
	small := photo.Resize(w, h)
	var notes []string
	note := func(format string, a ...any) {
		notes = append(notes, fmt.Sprintf(format, a...))
	}
	note("%s: %d x %d pixels, compared at %d x %d.", filepath.Base(g.file), photo.Width, photo.Height, w, h)
	if g.credit != "" {
		note("%s", g.credit)
	}
	notes = append(notes, photo.Notes...)
	p, err := render.Prepare(cmd.Context(), d, opt)
	if err != nil {
		return orInterrupted(cmd, err)
	}
	eye := 0
	if g.eye != "" {
		names := p.EyeNames()
		if eye = slices.Index(names, g.eye); eye < 0 {
			return usageError{fmt.Errorf("--eye %s: the scene's eyes are %s", g.eye, strings.Join(names, ", "))}
		}
	}
	var marks [][2]float64
	if g.stay {
		note("The camera is the scene's own.")
	} else {
		points, err := f.limbusPoints(limb, photo, small)
		if err != nil {
			return fmt.Errorf("%s: %w", g.file, err)
		}
		at, err := p.CameraFrom(eye, points)
		if err != nil {
			return fmt.Errorf("%s: %w", g.file, err)
		}
		if d, err = d.With(at.Sets...); err != nil {
			return err
		}
		if p, err = render.Prepare(cmd.Context(), d, opt); err != nil {
			return orInterrupted(cmd, err)
		}
		note("From the limbus: %s.", at)
		note("A circle looks alike from two sides. The side is the scene's own camera's; the other camera would stand at %.4g, %.4g, %.4g mm.", at.Other.Config.Position.X, at.Other.Config.Position.Y, at.Other.Config.Position.Z)
		if fromFile {
			note("The focal length is that of the file, %g mm as on 35 mm film: right unless the picture was cropped.", photo.Focal)
		} else {
			note("The focal length is the scene's, as a circle can't tell it from the distance.")
		}
		for i := range 240 {
			q := at.Ellipse.At(2 * math.Pi * float64(i) / 240)
			marks = append(marks, [2]float64{q.X, q.Y})
		}
	}

	shots := []*shot{{name: words[0], look: words[0], d: d}}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "compare-"+sceneName(path))
	}
	j, err := openJob(cmd, dir, path, shots)
	if err != nil {
		return err
	}
	defer j.Close()
	t, err := makeShots(cmd.Context(), j, shots, &f.jobFlags, f.cache, stderr)
	if t == nil {
		return err
	}
	for _, w := range t.warnings {
		fmt.Fprintln(stderr, "note:", w)
	}
	fmt.Fprintf(stdout, "1 picture: %s\n", t)
	if err != nil {
		return err
	}
	pair := compare.Pair{Title: sceneName(path) + ": " + words[0] + " against " + filepath.Base(g.file), Width: w, Height: h,
		PerDegree: imgcmp.PixelsPerDegree(f.distance, 0.7, 3840), Distance: f.distance, Workers: f.workers}
	if pair.Workers == 0 {
		pair.Workers = runtime.GOMAXPROCS(0)
	}
	if err := readSide(j, shots[0], words[0], &pair.Test); err != nil {
		return err
	}
	pair.Shade = shade(j, shots[0])
	regions := p.Regions(opt)
	pair.Regions = regionsOf(regions)
	gains, how, err := f.gains(p, eye, photo, small, &pair.Test, regions)
	if err != nil {
		return err
	}
	note("%s", how)
	pair.Reference = compare.Side{Name: "photograph", File: "photograph"}
	if err := photoSide(d, small, gains, &pair.Reference); err != nil {
		return err
	}
	note("The parts of the eye are those of the scene: what a lid or a lash covers in the photograph alone counts as a difference.")
	if r, err := cell(j, shots[0]); err == nil && r.Error.RMS > 0 {
		note("%s", grainNote(&pair.Test, &r))
	}
	pair.Notes = notes
	if marks != nil {
		var b bytes.Buffer
		if err := png.Encode(&b, compare.Mark(pair.Reference.Seen, marks)); err != nil {
			return err
		}
		if err := writeBytes(j.Path("limbus.png"), b.Bytes()); err != nil {
			return err
		}
	}
	if err := writeComparison(&pair, j.Path, stdout); err != nil {
		return err
	}
	for _, n := range notes {
		fmt.Fprintln(stdout, "  "+n)
	}
	return t.report(j, nil)
}

// orInterrupted is an error of work that the context may have ended.
func orInterrupted(cmd *cobra.Command, err error) error {
	if cmd.Context().Err() != nil {
		return errInterrupted
	}
	return err
}

// limbusPoints are the given points on the film, or those that are found.
func (f *compareFlags) limbusPoints(given [][]float64, photo, small *compare.Photo) ([]limbus.Point, error) {
	if len(given) == 0 {
		signal := make([]float64, len(small.Pix))
		for i, c := range small.Pix {
			signal[i] = c.Luminance()
		}
		most := 1.0
		if small.Scene { // a picture of any range: its white is taken at the 99th percentile
			_, _, most, _ = imgcmp.Pool(signal, nil)
		}
		for i, v := range signal {
			signal[i] = colour.EncodeSRGB(min(max(v/max(most, 1e-30), 0), 1))
		}
		return limbus.Find(signal, small.Width)
	}
	var out []limbus.Point
	sx, sy := float64(small.Width)/float64(photo.Width), float64(small.Height)/float64(photo.Height)
	for _, p := range given {
		if !(p[0] >= 0 && p[1] >= 0 && p[0] <= float64(photo.Width) && p[1] <= float64(photo.Height)) {
			return nil, fmt.Errorf("--limbus: %g,%g is outside the picture of %d x %d", p[0], p[1], photo.Width, photo.Height)
		}
		out = append(out, limbus.Point{X: p[0] * sx, Y: p[1] * sy})
	}
	return out, nil
}

// gains are what the photograph's channels are multiplied by, and how they came about.
func (f *compareFlags) gains(p *render.Prepared, eye int, photo, small *compare.Photo, test *compare.Side, r *render.Regions) (colour.RGB, string, error) {
	g := &f.photo
	// What a grey card is to be: in scene light what the scene's lights make of one before the eye, on a display what the view
	// makes of that.
	card, err := p.Card(eye)
	if err != nil {
		return colour.RGB{}, "", err
	}
	if (g.patch != "" || g.chart != "") && !(min(card[0], card[1], card[2]) > 0) {
		return colour.RGB{}, "", errors.New("no light of the scene reaches a card before the eye that faces the camera: leave --patch and --chart out")
	}
	target := func(reflectance float64) colour.RGB { return card.Scale(reflectance) }
	if !photo.Scene {
		target = func(reflectance float64) colour.RGB {
			lit, err := render.Display(p.Description, 1, []colour.RGB{card.Scale(reflectance)}, []float64{1})
			if err != nil {
				return card.Scale(reflectance) // the view has been used before: it is sound
			}
			return lit[0]
		}
	}
	tell := func(what string, q colour.RGB) string {
		return fmt.Sprintf("White and exposure from %s, as of a card before the eye that faces the camera in the scene's light: red, green and blue times %.3f, %.3f, %.3f.", what, q[0], q[1], q[2])
	}
	switch {
	case g.patch != "":
		list, err := places("patch", g.patch, 2, 3)
		if err != nil {
			return colour.RGB{}, "", err
		}
		if len(list) != 1 {
			return colour.RGB{}, "", usageError{fmt.Errorf("--patch %q: give one place", g.patch)}
		}
		radius := max(2, 0.005*float64(max(photo.Width, photo.Height)))
		if len(list[0]) == 3 {
			radius = list[0][2]
		}
		c, uneven, err := photo.Patch(list[0][0], list[0][1], radius)
		if err != nil {
			return colour.RGB{}, "", usageError{fmt.Errorf("--patch: %w", err)}
		}
		edge := ""
		if uneven > 0.1 {
			edge = fmt.Sprintf(" The patch is uneven by %.0f %%: it may reach over an edge.", 100*uneven)
		}
		q := compare.Grey(c, target(g.reads))
		return q, tell(fmt.Sprintf("the patch of reflectance %g at %g,%g", g.reads, list[0][0], list[0][1]), q) + edge, nil
	case g.chart != "":
		list, err := places("chart", g.chart, 2, 2)
		if err != nil {
			return colour.RGB{}, "", err
		}
		if len(list) != 4 {
			return colour.RGB{}, "", usageError{fmt.Errorf("--chart %q: give four places", g.chart)}
		}
		var corners [4][2]float64
		for i, p := range list {
			corners[i] = [2]float64{p[0], p[1]}
		}
		patches, err := photo.Chart(corners)
		if err != nil {
			return colour.RGB{}, "", usageError{fmt.Errorf("--chart: %w", err)}
		}
		q, err := compare.Neutral(patches, target)
		if err != nil {
			return colour.RGB{}, "", usageError{fmt.Errorf("--chart: %w", err)}
		}
		s := tell("the chart's greys", q)
		if photo.Scene {
			for i, c := range patches {
				for k := range c {
					patches[i][k] = c[k] * q[k] / card[k]
				}
			}
			s += fmt.Sprintf(" Its 24 patches then differ from the published ones by %.1f on average (CIEDE2000).", compare.ChartError(patches))
		}
		return q, s, nil
	}
	// Neither: the sclera of the eye is made as bright as the scene's.
	lum := func(pix []colour.RGB) float64 {
		v := make([]float64, len(pix))
		for i, c := range pix {
			v[i] = c.Luminance()
		}
		_, median, _, _ := imgcmp.Pool(v, r.Mask(render.Sclera, -1))
		return median
	}
	pix := test.Display
	if photo.Scene {
		pix = test.Linear
	}
	k := lum(pix) / lum(small.Pix)
	if !(k > 0) || math.IsInf(k, 0) {
		return colour.RGB{}, "", errors.New("the sclera of the eye is not in the picture, or black there: give --patch or --chart for the exposure")
	}
	return colour.Grey(k), fmt.Sprintf("Exposure: times %.3f, so that the sclera of the eye is as bright as in the scene (median); its colours are as they were. --patch or --chart set the white.", k), nil
}

// photoSide makes a side of the photograph.
func photoSide(d *scene.Description, small *compare.Photo, gains colour.RGB, out *compare.Side) error {
	pix := make([]colour.RGB, len(small.Pix))
	for i, c := range small.Pix {
		pix[i] = c.Mul(gains)
	}
	if small.Scene {
		alpha := make([]float64, len(pix))
		for i := range alpha {
			alpha[i] = 1
		}
		lit, err := render.Display(d, small.Width, pix, alpha)
		if err != nil {
			return err
		}
		out.Linear, out.Display = pix, lit
	} else {
		for i, c := range pix {
			for k, v := range c {
				pix[i][k] = min(max(v, 0), 1)
			}
		}
		out.Display = pix
	}
	compare.Shown(out, small.Width)
	return nil
}
