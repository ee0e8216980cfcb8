package render

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/render/accel"
	"catchlight/render/film"
	prep "catchlight/render/prepare"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// Formats are the endings that Write knows.
var Formats = []string{".png", ".hdr", ".pfm", ".exr", ".tif"}

// CheckFormat returns an error for a file name whose ending Write does not know.
func CheckFormat(path string) error {
	ext := strings.ToLower(filepath.Ext(path))
	if !slices.Contains(Formats, ext) {
		return fmt.Errorf("%s: the ending %q is not one of %s", path, ext, strings.Join(Formats, " "))
	}
	return nil
}

// CleanLayer is the layer of OpenEXR files that holds the denoised picture.
const CleanLayer = "denoised"

// Joined is the result of films that parts of the samples were rendered into, put together in f.
func Joined(ctx context.Context, d *scene.Description, f *film.Film) (*Result, error) {
	w, h := f.Size()
	vw, err := prep.View(&d.View)
	if err != nil {
		return nil, err
	}
	r := &Result{Width: w, Height: h, Film: f, d: d, view: vw, SPP: math.MaxInt}
	for i := range w * h {
		r.SPP = min(r.SPP, f.Started(i))
		r.Stats.Dropped += uint64(f.Dropped(i))
	}
	r.Achieved, r.errors = achieved(f, d, vw)
	if d.Picture.Denoise {
		p, err := Prepare(ctx, d, Options{})
		if err != nil {
			return nil, err
		}
		if r.clean, r.Stats.Denoised, err = p.clean(f, Options{}); err != nil {
			return nil, err
		}
	}
	s := &r.Stats
	s.Width, s.Height, s.SPP, s.Seed, s.Kernel, s.Error, s.Outliers = w, h, r.SPP, d.Picture.Seed, accel.Kernel(), r.Achieved, f.Outliers()
	return r, nil
}

// Write develops the picture and writes it in the format of the path's ending: .png and .tif as seen (exposure, view
// transform, background, sRGB; 8 bits dithered and 16 bits), .hdr, .pfm and .exr linear and before exposure. OpenEXR
// files also hold the coverage (A), the standard error of each channel (error.R, .G, .B, of one standard deviation), how
// far the truth may lie to either side with three sigma (interval.R, .G, .B; film.Picture.Interval), the samples of each
// pixel (samples) and the standard error of the display signal, pooled over 7 x 7 pixels (display.error). With picture.denoise
// pictures as seen show the denoised one, and OpenEXR files hold it beside the raw one (denoised.R, .G, .B, and .A where the background
// is not the environment).
func (r *Result) Write(path string) error {
	if err := CheckFormat(path); err != nil {
		return err
	}
	pic := r.Film.Develop()
	meta := r.record()
	w, h := r.Width, r.Height
	switch strings.ToLower(filepath.Ext(path)) {
	case ".png":
		pix, err := r.display(&pic)
		if err != nil {
			return err
		}
		m, channels := r.levels(&pic, pix)
		return imageio.WritePNG(path, w, h, channels, m, meta)
	case ".tif":
		pix, err := r.display(&pic)
		if err != nil {
			return err
		}
		rgb := make([]uint16, 3*w*h)
		view.Words(rgb, pix)
		return imageio.WriteTIFF(path, w, h, 3, rgb)
	case ".hdr":
		return imageio.WriteHDR(path, w, h, interleave(pic.Mean))
	case ".pfm":
		return imageio.WritePFM(path, w, h, 3, interleave(pic.Mean))
	}
	in, known := outputs[r.d.Picture.Primaries]
	if !known {
		in = colour.Rec709
	}
	if name := r.d.Picture.Primaries; in != colour.Rec709 {
		meta["primaries"] = name + ": R, G, B and " + CleanLayer + "; errors and intervals are of the channels of Rec. 709"
	}
	return r.linear(path, &pic, meta, in)
}

// outputs are the primaries and whites that picture.primaries names.
var outputs = map[string]colour.Primaries{"rec709": colour.Rec709, "p3-d65": colour.P3, "rec2020": colour.Rec2020, "ap1": colour.AP1}

// WriteCell writes the OpenEXR file of Write without what it says of the view and of where the scene came from, so that
// the same light makes the same bytes. It is in Rec. 709.
func (r *Result) WriteCell(path string) error {
	pic := r.Film.Develop()
	meta := r.record()
	for _, k := range []string{"scene", "about", "display"} {
		delete(meta, k)
	}
	return r.linear(path, &pic, meta, colour.Rec709)
}

func (r *Result) linear(path string, pic *film.Picture, meta map[string]string, in colour.Primaries) error {
	w, h := r.Width, r.Height
	turn := func(c colour.RGB) colour.RGB { return c }
	if in != colour.Rec709 {
		m, err := in.FromRec709()
		if err != nil {
			return err
		}
		turn = m.Apply
	}
	ch := func(name string, half bool, at func(i int) float64) imageio.EXRChannel {
		p := make([]float32, w*h)
		for i := range p {
			p[i] = float32(at(i))
		}
		return imageio.EXRChannel{Name: name, Half: half, Pix: p}
	}
	channels := []imageio.EXRChannel{
		ch("A", true, func(i int) float64 { return pic.Alpha[i] }),
		ch("samples", false, func(i int) float64 { return float64(pic.Samples[i]) }),
		ch("display.error", true, func(i int) float64 { return r.errors[i] }),
	}
	interval := pic.Interval(sigma3)
	for c, n := range []string{"R", "G", "B"} {
		channels = append(channels,
			ch(n, false, func(i int) float64 { return turn(pic.Mean[i])[c] }),
			ch("error."+n, true, func(i int) float64 { return pic.Error[i][c] }),
			ch("interval."+n, true, func(i int) float64 { return interval[i][c] }))
	}
	if r.clean != nil {
		for c, n := range []string{"R", "G", "B"} {
			channels = append(channels, ch(CleanLayer+"."+n, false, func(i int) float64 { return turn(r.clean.mean[i])[c] }))
		}
		if len(r.clean.alpha) > 0 {
			channels = append(channels, ch(CleanLayer+".A", true, func(i int) float64 { return r.clean.alpha[i] }))
		}
	}
	return imageio.WriteEXRIn(path, w, h, channels, meta, in)
}

// viewOf is the view that the picture is shown with: the one that Prepare made, else made anew from the description.
func (r *Result) viewOf() (*view.View, error) {
	if r.view != nil {
		return r.view, nil
	}
	return prep.View(&r.d.View)
}

// shown says in a record how the picture is turned into display light.
func shown(v *scene.View) string {
	how := v.ToneMapping
	if t := v.Table; t != nil {
		how = fmt.Sprintf("table %s, input %s, output %s", filepath.Base(string(t.File)), t.Input, t.Output)
		if t.Input == "log2" {
			how += fmt.Sprintf(", %g to %g stops over 0.18", *t.Low, *t.High)
		}
	}
	if t := v.Table; t == nil && v.ToneMapping == "reinhard" && v.White != view.White {
		how += fmt.Sprintf(" with white at %g", v.White)
	}
	if g := v.Glare; g != nil && g.Share > 0 {
		how += fmt.Sprintf(", glare of %g over %g", g.Share, g.Radius)
	}
	return fmt.Sprintf("%s, exposure %g EV", how, v.Exposure)
}

// display returns linear display light over the background, with the lens's glare where the view has one.
func (r *Result) display(pic *film.Picture) ([]colour.RGB, error) {
	vw, err := r.viewOf()
	if err != nil {
		return nil, err
	}
	mean := pic.Mean
	if r.clean != nil {
		mean = r.clean.mean
	}
	return present(&r.d.View, vw, r.Width, mean, r.alpha(pic)), nil
}

// alpha returns the coverage that the picture is shown with.
func (r *Result) alpha(pic *film.Picture) []float64 {
	if r.clean != nil && len(r.clean.alpha) > 0 {
		return r.clean.alpha
	}
	return pic.Alpha
}

// Presented shows radiance and coverage as pictures are shown: as Display does, after the lens's glare where the view has one.
func Presented(d *scene.Description, width int, mean []colour.RGB, alpha []float64) ([]colour.RGB, error) {
	vw, err := prep.View(&d.View)
	if err != nil {
		return nil, err
	}
	return present(&d.View, vw, width, mean, alpha), nil
}

// present adds the lens's glare and shows the picture.
func present(v *scene.View, vw *view.View, width int, mean []colour.RGB, alpha []float64) []colour.RGB {
	if g := v.Glare; g != nil && g.Share > 0 {
		lens := view.Glare{Share: g.Share, Radius: g.Radius * float64(width) / 1000}
		mean, alpha = lens.Spread(mean, alpha, width, 0)
	}
	return display(v, vw, width, mean, alpha)
}

// Display shows radiance and coverage, rows of width pixels from the top left, as the description's view says: linear
// display light over the background. The lens's glare is left out: it is for measuring.
func Display(d *scene.Description, width int, mean []colour.RGB, alpha []float64) ([]colour.RGB, error) {
	vw, err := prep.View(&d.View)
	if err != nil {
		return nil, err
	}
	return display(&d.View, vw, width, mean, alpha), nil
}

func display(v *scene.View, vw *view.View, width int, mean []colour.RGB, alpha []float64) []colour.RGB {
	height := len(mean) / width
	out := make([]colour.RGB, len(mean))
	for i, c := range mean {
		a := min(1, alpha[i])
		switch v.Background {
		case "environment":
			out[i] = vw.Display(c)
		case "transparent":
			if a > 0 {
				out[i] = vw.Display(c.Scale(1 / a))
			}
		default:
			back := v.BackgroundColour
			if v.Background == "gradient" {
				x, y := float64(i%width)+0.5, float64(i/width)+0.5
				back = back.Scale(view.Gradient(x, y, float64(width), float64(height), v.BackgroundEdge))
			}
			out[i] = vw.Backdrop(c, a, back)
		}
	}
	return out
}

// record says in a picture how it was made.
func (r *Result) record() map[string]string {
	t := &r.d.Advanced
	m := map[string]string{
		"Software": "catchlight",
		"scene":    filepath.Base(r.d.File),
		"about":    r.d.About,
		"samples":  fmt.Sprint(r.SPP),
		"seed":     fmt.Sprint(r.d.Picture.Seed),
		"exit":     t.Exit,
		"display":  shown(&r.d.View),
		"kernel":   r.Stats.Kernel,
	}
	if r.Look != "" {
		m["look"] = r.Look
		for _, k := range []string{"samples", "seed", "exit", "kernel"} {
			delete(m, k)
		}
		return m
	}
	if a := r.Achieved; a.Target > 0 {
		m["samples"] = fmt.Sprintf("%d to %d, mean %.1f", a.SPPLeast, a.SPPMost, a.SPPMean)
		m["error"] = fmt.Sprintf("target %.5f, worst %.5f, %.2f %% of the pixels above", a.Target, a.Worst, 100*a.ShareOver)
	}
	if r.clean != nil {
		m["denoised"] = "yes: smoother than the samples alone can say"
	}
	if e := r.d.Effects; !(e.Refraction && e.Caustic && e.Scattering && e.TearFilm && e.Shadow) {
		m["effects"] = fmt.Sprintf("refraction %t, caustic %t, scattering %t, tear film %t, shadow %t", e.Refraction, e.Caustic, e.Scattering, e.TearFilm, e.Shadow)
	}
	return m
}

func interleave(pix []colour.RGB) []float32 {
	out := make([]float32, 3*len(pix))
	for i, c := range pix {
		out[3*i], out[3*i+1], out[3*i+2] = float32(c[0]), float32(c[1]), float32(c[2])
	}
	return out
}
