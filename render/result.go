package render

import (
	"context"
	"fmt"
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
	r := &Result{Width: w, Height: h, Film: f, d: d, view: vw}
	r.Achieved = achieved(f, d, vw)
	r.SPP = r.Achieved.SPPLeast
	if d.Picture.Denoise || d.Picture.Passes.Surfaces {
		p, err := Prepare(ctx, d, Options{})
		if err != nil {
			return nil, err
		}
		r.p = p
		if d.Picture.Denoise {
			if r.clean, r.Stats.Denoised, err = p.clean(f, Options{}); err != nil {
				return nil, err
			}
		}
	}
	s := &r.Stats
	s.Width, s.Height, s.SPP, s.Seed, s.Kernel, s.Error = w, h, r.SPP, d.Picture.Seed, accel.Kernel(), r.Achieved
	s.Outliers, s.Dropped = f.Outliers()
	return r, f.Err()
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
	meta := r.record()
	w, h := r.Width, r.Height
	switch strings.ToLower(filepath.Ext(path)) {
	case ".png":
		m, channels, err := r.levels()
		if err != nil {
			return err
		}
		return imageio.WritePNG(path, w, h, channels, m, meta)
	case ".tif":
		rgb := make([]uint16, 3*w*h)
		if err := r.shownBands(func(first int, pix []colour.RGB, _ []float64) { view.Words(rgb[3*first:3*(first+len(pix))], pix) }); err != nil {
			return err
		}
		return imageio.WriteTIFF(path, w, h, 3, rgb)
	case ".hdr", ".pfm":
		rgb, err := r.light()
		if err != nil {
			return err
		}
		if strings.ToLower(filepath.Ext(path)) == ".hdr" {
			return imageio.WriteHDR(path, w, h, rgb)
		}
		return imageio.WritePFM(path, w, h, 3, rgb)
	}
	in, known := outputs[r.d.Picture.Primaries]
	if !known {
		in = colour.Rec709
	}
	if name := r.d.Picture.Primaries; in != colour.Rec709 {
		meta["primaries"] = name + ": R, G, B and " + CleanLayer + "; errors and intervals are of the channels of Rec. 709"
	}
	return r.linear(path, meta, in, r.d.Picture.Passes.Any() && r.Look == "")
}

// outputs are the primaries and whites that picture.primaries names.
var outputs = map[string]colour.Primaries{"rec709": colour.Rec709, "p3-d65": colour.P3, "rec2020": colour.Rec2020, "ap1": colour.AP1}

// WriteCell writes the OpenEXR file of Write without what it says of the view and of where the scene came from, so that
// the same light makes the same bytes. It is in Rec. 709.
func (r *Result) WriteCell(path string) error {
	meta := r.record()
	for _, k := range []string{"scene", "about", "display"} {
		delete(meta, k)
	}
	return r.linear(path, meta, colour.Rec709, false)
}

// linear writes the OpenEXR file, with its passes or without.
func (r *Result) linear(path string, meta map[string]string, in colour.Primaries, passes bool) error {
	turn := func(c colour.RGB) colour.RGB { return c }
	if in != colour.Rec709 {
		m, err := in.FromRec709()
		if err != nil {
			return err
		}
		turn = m.Apply
	}
	vw, err := r.viewOf()
	if err != nil {
		return err
	}
	if passes {
		return r.writePasses(path, vw, meta, in, turn)
	}
	names := r.channels()
	at := map[string]int{}
	for i, c := range names {
		at[c.Name] = i
	}
	return imageio.WriteEXRRows(path, r.Width, r.Height, []imageio.EXRPart{{Channels: names, Attrs: meta}}, in, func(y0, y1 int, planes [][][]float32) error {
		r.picture(vw, turn, y0, y1, func(name string) []float32 {
			if i, ok := at[name]; ok {
				return planes[0][i]
			}
			return nil
		})
		return r.Film.Err()
	})
}

// channels are those of the picture in OpenEXR files, in their order.
func (r *Result) channels() []imageio.EXRChannel {
	out := []imageio.EXRChannel{{Name: "A", Half: true}, {Name: "samples"}, {Name: "display.error", Half: true}}
	for _, n := range []string{"R", "G", "B"} {
		out = append(out, imageio.EXRChannel{Name: n}, imageio.EXRChannel{Name: "error." + n, Half: true}, imageio.EXRChannel{Name: "interval." + n, Half: true})
		if r.clean != nil {
			out = append(out, imageio.EXRChannel{Name: CleanLayer + "." + n})
		}
	}
	if r.clean != nil && len(r.clean.cover) > 0 {
		out = append(out, imageio.EXRChannel{Name: CleanLayer + ".A", Half: true})
	}
	slices.SortFunc(out, func(a, b imageio.EXRChannel) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// picture fills rows y0 <= y < y1 of the picture's channels; plane returns where one goes.
func (r *Result) picture(vw *view.View, turn func(colour.RGB) colour.RGB, y0, y1 int, plane func(name string) []float32) {
	w := r.Width
	top := max(0, y0-1) // intervals look at the rows beside
	pic := r.Film.Rows(top, min(r.Height, y1+1))
	interval := pic.Interval(sigma3)
	off, n := (y0-top)*w, (y1-y0)*w
	errs := make([]float64, n) // no samples, no grain
	if r.Look == "" {
		errs = displayErrors(r.Film, vw, y0, y1)
	}
	put := func(name string, at func(i int) float64) {
		p := plane(name)
		for i := range p {
			p[i] = float32(at(i))
		}
	}
	put("A", func(i int) float64 { return pic.Alpha[off+i] })
	put("samples", func(i int) float64 { return float64(pic.Samples[off+i]) })
	put("display.error", func(i int) float64 { return errs[i] })
	var clean []colour.RGB
	if r.clean != nil {
		clean = r.clean.mean(y0*w, n)
	}
	for c, name := range []string{"R", "G", "B"} {
		put(name, func(i int) float64 { return turn(pic.Mean[off+i])[c] })
		put("error."+name, func(i int) float64 { return pic.Error[off+i][c] })
		put("interval."+name, func(i int) float64 { return interval[off+i][c] })
		put(CleanLayer+"."+name, func(i int) float64 { return turn(clean[i])[c] })
	}
	put(CleanLayer+".A", func(i int) float64 { return float64(r.clean.cover[y0*w+i]) })
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

// bandRows is how many rows of a picture are developed at a time: four rows of tiles.
const bandRows = 4 * film.TileSize

// bands develops the picture from the top down; first is the number of a band's first pixel.
func (r *Result) bands(do func(first int, pic *film.Picture)) error {
	for y := 0; y < r.Height; y += bandRows {
		pic := r.Film.Rows(y, min(r.Height, y+bandRows))
		do(y*r.Width, &pic)
	}
	return r.Film.Err()
}

// shownBands makes linear display light over the background, from the top down, and the coverage.
func (r *Result) shownBands(do func(first int, pix []colour.RGB, alpha []float64)) error {
	vw, err := r.viewOf()
	if err != nil {
		return err
	}
	if g := r.d.View.Glare; g != nil && g.Share > 0 { // it comes from all over the picture
		var mean []colour.RGB
		var alpha []float64
		if err := r.bands(func(first int, pic *film.Picture) {
			m, a := r.cleaned(first, pic)
			mean, alpha = append(mean, m...), append(alpha, a...)
		}); err != nil {
			return err
		}
		do(0, present(&r.d.View, vw, r.Width, mean, alpha), alpha)
		return nil
	}
	return r.bands(func(first int, pic *film.Picture) {
		mean, alpha := r.cleaned(first, pic)
		do(first, display(&r.d.View, vw, r.Width, r.Height, first, mean, alpha), alpha)
	})
}

// cleaned returns light and coverage that a part of the picture is shown with.
func (r *Result) cleaned(first int, pic *film.Picture) (mean []colour.RGB, alpha []float64) {
	mean, alpha = pic.Mean, pic.Alpha
	if r.clean != nil {
		mean = r.clean.mean(first, len(mean))
		if len(r.clean.cover) > 0 {
			alpha = r.clean.alpha(first, len(alpha))
		}
	}
	return mean, alpha
}

// light returns the raw light, three values a pixel.
func (r *Result) light() ([]float32, error) {
	out := make([]float32, 0, 3*r.Width*r.Height)
	err := r.bands(func(_ int, pic *film.Picture) {
		for _, c := range pic.Mean {
			out = append(out, float32(c[0]), float32(c[1]), float32(c[2]))
		}
	})
	return out, err
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
	return display(v, vw, width, len(mean)/width, 0, mean, alpha)
}

// Display shows radiance and coverage, rows of width pixels from the top left, as the description's view says: linear
// display light over the background. The lens's glare is left out: it is for measuring.
func Display(d *scene.Description, width int, mean []colour.RGB, alpha []float64) ([]colour.RGB, error) {
	vw, err := prep.View(&d.View)
	if err != nil {
		return nil, err
	}
	return display(&d.View, vw, width, len(mean)/width, 0, mean, alpha), nil
}

// DisplayPart is Display for the part of a picture of width x height pixels that begins with pixel first, in a view that is there already.
func DisplayPart(v *scene.View, vw *view.View, width, height, first int, mean []colour.RGB, alpha []float64) []colour.RGB {
	return display(v, vw, width, height, first, mean, alpha)
}

// display shows the part of a picture of width x height pixels that begins with pixel first.
func display(v *scene.View, vw *view.View, width, height, first int, mean []colour.RGB, alpha []float64) []colour.RGB {
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
				x, y := float64((first+i)%width)+0.5, float64((first+i)/width)+0.5
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
	if g := r.Film.GrainText(); g != "" {
		m[film.GrainAttr] = g
	}
	if r.clean != nil {
		m["denoised"] = "yes: smoother than the samples alone can say"
	}
	if e := r.d.Effects; !(e.Refraction && e.Caustic && e.Scattering && e.TearFilm && e.Shadow) {
		m["effects"] = fmt.Sprintf("refraction %t, caustic %t, scattering %t, tear film %t, shadow %t", e.Refraction, e.Caustic, e.Scattering, e.TearFilm, e.Shadow)
	}
	return m
}
