package main

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"io"
	"math"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/afar"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/render/prepare"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// stands are the distances that the page shows: within the personal, at the edge of the social and in the public distance of
// Hall, The Hidden Dimension (1966).
var stands = []struct {
	name   string
	metres float64
}{{"portrait", 0.6}, {"conversation", 1.2}, {"across the room", 4}}

// farShots are the pictures that distances are judged by.
type farShots struct {
	traced, raster, again, closed, calm, hard *shot // again has another seed; calm no veins (nil: no built ones), hard no scattering
}

func (f *farShots) all() (out []*shot) {
	for _, s := range []*shot{f.traced, f.raster, f.again, f.closed, f.calm, f.hard} {
		if s != nil {
			out = append(out, s)
		}
	}
	return out
}

// farPlan makes the scenes.
func farPlan(d *scene.Description) (*farShots, error) {
	names, err := eyes(d)
	if err != nil {
		return nil, err
	}
	var shut, calm []string
	built := false
	for _, n := range names {
		shut = append(shut, "objects."+n+".iris.pupil_closed=true")
		for i := range d.Objects {
			if b := &d.Objects[i]; b.Name == n && b.Eye.Asset == nil && !b.Eye.Sclera.Colour.Given && b.Eye.Sclera.Veins > 0 {
				calm, built = append(calm, "objects."+n+".sclera.veins=0"), true
			}
		}
	}
	var first error
	with := func(name, look string, sets ...string) *shot {
		e, err := d.With(sets...)
		if err != nil && first == nil {
			first = err
		}
		return &shot{name: name, look: look, d: e}
	}
	f := &farShots{traced: with("traced", "traced"), raster: with("raster", "raster"), again: with("traced-again", "traced", fmt.Sprintf("picture.seed=%d", (d.Picture.Seed+1)&math.MaxInt32)),
		closed: with("no-pupil", "traced", shut...), hard: with("no-scattering", "traced", "effects.scattering=false")}
	if built {
		f.calm = with("no-veins", "traced", calm...)
	}
	return f, first
}

// lightOf reads a finished picture back as linear light.
func lightOf(j *job.Job, s *shot) (*afar.Light, error) {
	pic, err := imageio.Read(j.Path(s.name + ".exr"))
	if err != nil {
		return nil, err
	}
	l := &afar.Light{W: pic.W, H: pic.H}
	l.Mean, l.Alpha = linearOf(pic)
	return l, nil
}

// farReport is distance.json.
type farReport struct {
	Program   string       `json:"program"`
	Scene     string       `json:"scene"`
	PerDegree float64      `json:"pixels_per_degree"`
	Noticed   float64      `json:"noticed_from_flip"`
	MmPixel   float64      `json:"mm_per_pixel"`
	Looks     afar.Reach   `json:"looks"`
	Grain     afar.Reach   `json:"grain"`
	Details   []afar.Reach `json:"details"`
}

// runDistance is sheet --distance.
func runDistance(cmd *cobra.Command, path string, f *sheetFlags) error {
	for _, w := range []string{"lights", "looks", "pupils", "gaze", "views", "vary", "balls", "chart"} {
		if cmd.Flags().Changed(w) {
			return usageError{fmt.Errorf("--%s has no meaning with --distance, which shows both looks in the scene's own light", w)}
		}
	}
	if !(f.perDegree >= 10 && f.perDegree <= 300) {
		return usageError{fmt.Errorf("--pixels-per-degree %g is outside [10, 300]", f.perDegree)}
	}
	d, err := f.load(path, cmd.Flags().Changed)
	if err != nil {
		return err
	}
	if d, err = smaller(d, cmd.Flags().Changed("size"), 480); err != nil {
		return err
	}
	if f.stages, err = stageCache(cmd.Context(), false); err != nil {
		return err
	}
	d, notes, err := prepare.Framed(cmd.Context(), d, prepare.Options{Workers: f.workers, Cache: f.stages})
	if err != nil {
		return err
	}
	plan, err := farPlan(d)
	if err != nil {
		return err
	}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "distance-"+sceneName(path))
	}
	var files []string
	for _, kind := range f.pages {
		files = append(files, "distance."+kind)
	}
	j, err := openJob(cmd, dir, path, plan.all(), &f.jobFlags, append(files, "distance.json"))
	if err != nil {
		return err
	}
	defer j.Close()
	stdout := cmd.OutOrStdout()
	t, err := makeShots(cmd.Context(), j, plan.all(), &f.jobFlags, f.cache, cmd.ErrOrStderr())
	if t == nil {
		return err
	}
	tell(cmd.ErrOrStderr(), append(notes, t.warnings...))
	fmt.Fprintf(stdout, "%d pictures: %s\n", len(plan.all()), t)
	if err != nil || t.others > 0 {
		return err
	}
	return f.tellDistance(cmd.Context(), j, d, plan, t, stdout)
}

// masks are the parts of the picture that details are looked for in, as shares of pixels.
func masks(r *render.Regions, zones ...render.Zone) []float64 {
	out := make([]float64, len(r.Zone))
	for _, z := range zones {
		for i, in := range r.Mask(z, -1) {
			if in {
				out[i] = 1
			}
		}
	}
	return out
}

// tellDistance looks at the finished pictures and writes what is seen.
func (f *sheetFlags) tellDistance(ctx context.Context, j *job.Job, d *scene.Description, plan *farShots, t *tally, stdout io.Writer) error {
	p, err := render.Prepare(ctx, d, render.Options{Workers: f.workers, Cache: f.stages})
	if err != nil {
		return err
	}
	zones := p.Regions(render.Options{Workers: f.workers})
	light := map[*shot]*afar.Light{}
	for _, s := range plan.all() {
		if light[s], err = lightOf(j, s); err != nil {
			return err
		}
	}
	show := func(l *afar.Light) []colour.RGB {
		out, err := render.Display(d, l.W, l.Mean, l.Alpha)
		if err != nil { // the view was made before
			panic(err)
		}
		return out
	}
	whole := masks(zones, render.Pupil, render.Iris, render.Limbus, render.Sclera, render.Catchlight)
	pair := func(name string, b *afar.Light, mask []float64) *afar.Pair {
		return &afar.Pair{Name: name, A: light[plan.traced], B: b, Mask: mask, Show: show}
	}
	iris := masks(zones, render.Iris)
	looks := pair("traced and raster look", light[plan.raster], whole)
	details := []*afar.Pair{
		pair("pupil", light[plan.closed], masks(zones, render.Pupil)),
		pair("colour of the iris", light[plan.traced].Grey(iris), iris),
		pair("scattering", light[plan.hard], whole),
	}
	if plan.calm != nil {
		details = append(details, pair("veins", light[plan.calm], masks(zones, render.Sclera)))
	}
	mm := frameWidth(d) / float64(d.Picture.Width)
	r := farReport{Program: versionText(), Scene: filepath.Base(d.File), PerDegree: f.perDegree, Noticed: afar.Noticed, MmPixel: mm}
	if r.Grain, err = pair("grain", light[plan.again], whole).Reach(mm, f.perDegree, 0); err != nil {
		return err
	}
	// A part is weighed against the grain in that part.
	reach := func(q *afar.Pair) (afar.Reach, error) {
		r, err := q.Reach(mm, f.perDegree, 0)
		if err != nil {
			return r, err
		}
		grain, err := pair("grain", light[plan.again], q.Mask).Reach(mm, f.perDegree, 0)
		r.Against(grain)
		return r, err
	}
	if r.Looks, err = reach(looks); err != nil {
		return err
	}
	for _, q := range details {
		one, err := reach(q)
		if err != nil {
			return err
		}
		r.Details = append(r.Details, one)
	}
	sayReaches(stdout, &r)
	pg, err := f.distancePage(d, looks, &r)
	if err != nil {
		return err
	}
	for _, kind := range f.pages {
		data, err := map[string]func() ([]byte, error){"png": pg.PNG, "svg": pg.SVG, "pdf": pg.PDF}[kind]()
		if err != nil {
			return err
		}
		if err := writeBytes(j.Path("distance."+kind), data); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s (%d x %d)\n", j.Path("distance."+kind), pg.W, pg.H)
	}
	if err := writeJSON(j.Path("distance.json"), &r); err != nil {
		return err
	}
	return t.report(j, nil)
}

// sayReaches writes how far each detail is seen, and what may be grain.
func sayReaches(w io.Writer, r *farReport) {
	say := func(name string, q afar.Reach) {
		fmt.Fprintf(w, "%s: %s", name, q)
		if q.Doubt {
			fmt.Fprintf(w, " (grain alone is seen there up to %.2g m; more samples tell)", q.Grain)
		}
		fmt.Fprintln(w)
	}
	for _, q := range r.Details {
		say(q.Name, q)
	}
	say("the difference between the looks", r.Looks)
	fmt.Fprintf(w, "grain alone, in the whole eye: %s\n", r.Grain)
}

// picture8 makes a picture of display light.
func picture8(pix []colour.RGB, w, times int) *image.NRGBA {
	h := len(pix) / w
	bytes := make([]byte, 3*len(pix))
	view.Bytes(bytes, pix, 1)
	m := image.NewNRGBA(image.Rect(0, 0, w*times, h*times))
	for y := range h * times {
		for x := range w * times {
			i := 3 * (y/times*w + x/times)
			m.SetNRGBA(x, y, color.NRGBA{bytes[i], bytes[i+1], bytes[i+2], 255})
		}
	}
	return m
}

// heat shows FLIP from black over red to white.
func heat(v []float64, w, times int) *image.NRGBA {
	pix := make([]colour.RGB, len(v))
	for i, x := range v {
		pix[i] = colour.RGB{colour.DecodeSRGB(min(1, 2.5*x)), colour.DecodeSRGB(min(1, max(0, 2.5*x-0.6))), colour.DecodeSRGB(min(1, max(0, 2.5*x-1.4)))}
	}
	return picture8(pix, w, times)
}

// farCell is the side of an enlarged picture.
const farCell = 220

// distancePage lays the page out: three distances with both looks at their true size and enlarged, and how far each detail is seen.
func (f *sheetFlags) distancePage(d *scene.Description, looks *afar.Pair, r *farReport) (*page.Page, error) {
	const left = 190
	p := &page.Page{W: 2*sheetMargin + left + 4*(farCell+sheetGap), Title: sceneName(d.File) + ": from how far one sees what"}
	across := float64(p.W - 2*sheetMargin)
	p.Text(sheetMargin, sheetMargin+16, 20, true, page.Start, page.Ink, page.Fit(p.Title, 20, true, across))
	y := float64(sheetMargin + 50)
	for _, l := range page.Wrap(apart(r.Looks), 22, true, across, 2) {
		p.Text(sheetMargin, y, 22, true, page.Start, page.Ink, l)
		y += 30
	}
	y = f.reachBars(p, r, y+6)
	for i, head := range []string{"true size, traced and raster", "traced, enlarged", "raster, enlarged", "FLIP, enlarged"} {
		for k, l := range page.Wrap(head, headSize, true, farCell, 2) {
			p.Text(float64(sheetMargin+left+i*(farCell+sheetGap)), y+float64(k)*sheetLine, headSize, true, page.Start, page.Ink, l)
		}
	}
	top := int(y) + 30
	for _, s := range stands {
		k := afar.PerPixel(s.metres*1000, r.PerDegree) / r.MmPixel
		words := []string{s.name, fmt.Sprintf("%g m", s.metres)}
		if k < 1 {
			words = append(words, "finer than this picture;", "a larger --size shows it")
			k = 1
		}
		a, b, flip, err := looks.At(k, r.PerDegree)
		if err != nil {
			return nil, err
		}
		score, err := looks.Score(k, r.PerDegree)
		if err != nil {
			return nil, err
		}
		words = append(words, fmt.Sprintf("%d x %d px", a.W, a.H), fmt.Sprintf("%.3g mm a pixel", r.MmPixel*k), fmt.Sprintf("FLIP %.3f", score))
		for i, l := range words {
			size, bold, c := wordSize, false, page.Quiet
			if i == 0 {
				size, bold, c = headSize, true, page.Ink
			}
			p.Text(sheetMargin, float64(top+14+i*sheetLine), size, bold, page.Start, c, page.Fit(l, size, bold, left-10))
		}
		times := max(1, farCell/max(a.W, a.H))
		x := sheetMargin + left
		p.Image(x, top, picture8(looks.Show(a), a.W, 1), "traced, "+s.name)
		high := max(farCell, 2*a.H+6)
		p.Image(x, top+a.H+6, picture8(looks.Show(b), b.W, 1), "raster, "+s.name)
		for i, m := range []*image.NRGBA{picture8(looks.Show(a), a.W, times), picture8(looks.Show(b), b.W, times), heat(flip, a.W, times)} {
			p.Image(x+(i+1)*(farCell+sheetGap), top, m, []string{"traced", "raster", "FLIP"}[i]+", "+s.name+", enlarged")
			high = max(high, m.Bounds().Dy())
		}
		top += high + sheetGap
	}
	foot := fmt.Sprintf("True size for an observer with %.3g pixels a degree (100 %% on a screen 0.7 m away and 0.7 m, 3840 px wide). Linear light, resampled by area before tone mapping. FLIP is how strongly the difference of two pictures strikes the eye when one takes the place of the other, from 0, none, to 1, black for white. Seen: FLIP of at least %.3f in 1 of 100 pixels of the part, what FLIP says of greys 2.3 L* apart, about the least that is noticed. Grain alone, in the whole eye: %s.", r.PerDegree, r.Noticed, r.Grain)
	lines := page.Wrap(foot, wordSize, false, across, 4)
	for i, l := range lines {
		p.Text(sheetMargin, float64(top+12+i*sheetLine), wordSize, false, page.Start, page.Quiet, l)
	}
	p.H = top + 12 + len(lines)*sheetLine + 10
	return p, nil
}

// apart says from where on the looks can't be told apart.
func apart(r afar.Reach) string {
	if r.Doubt {
		r.Doubt = false
		return apart(r) + " Grain alone is seen from as far: more samples tell."
	}
	switch {
	case r.Beyond:
		return fmt.Sprintf("The looks can be told apart even from %g m.", afar.Furthest)
	case r.Metres == 0 && len(r.Steps) > 0:
		return fmt.Sprintf("The looks can't be told apart, not even from %.2g m.", r.Steps[0].Metres)
	}
	return fmt.Sprintf("From %.2g m on the looks can't be told apart.", r.Metres)
}

// reachBars draws how far each detail is seen, over the logarithm of the distance, and returns where the next thing goes. A bar
// that may be grain is striped, and a line stands where grain alone ends in that part.
func (f *sheetFlags) reachBars(p *page.Page, r *farReport, y float64) float64 {
	const left = 190.0
	x0, x1 := sheetMargin+left, float64(p.W-sheetMargin-180)
	near := r.MmPixel / afar.PerPixel(1000, r.PerDegree)
	low := math.Min(0.25, near)
	at := func(m float64) float64 { return x0 + (x1-x0)*math.Log(m/low)/math.Log(afar.Furthest/low) }
	for _, q := range append([]afar.Reach{r.Looks}, r.Details...) {
		p.Text(sheetMargin, y+13, headSize, false, page.Start, page.Ink, page.Fit(q.Name, headSize, false, left-10))
		p.Rect(x0, y+3, x1-x0, 12, color.NRGBA{0x38, 0x38, 0x38, 0xff})
		end := x0
		switch {
		case q.Beyond:
			end = x1
		case q.Metres > 0:
			end = at(q.Metres)
		}
		bar := color.NRGBA{0xd9, 0xa4, 0x41, 0xff}
		if q.Doubt {
			for x := x0; x < end; x += 8 {
				p.Rect(x, y+3, min(3, end-x), 12, bar)
			}
		} else {
			p.Rect(x0, y+3, end-x0, 12, bar)
		}
		if q.Grain > 0 {
			p.Rect(at(q.Grain)-1, y, 2, 18, page.Ink)
		}
		p.Text(x1+8, y+13, wordSize, false, page.Start, page.Quiet, page.Fit(strings.TrimPrefix(q.String(), "still "), wordSize, false, 172))
		y += 22
	}
	for _, m := range []float64{0.3, 0.6, 1.2, 2, 4, 8, 16, 40} {
		p.Rect(at(m), y, 1, 5, page.Quiet)
		p.Text(at(m), y+18, wordSize, false, page.Middle, page.Quiet, fmt.Sprintf("%g m", m))
	}
	p.Text(sheetMargin, y+40, wordSize, false, page.Start, page.Quiet, page.Fit("White line: from how far grain alone is seen in that part. Striped: not seen from clearly further (1.26 times) than that, so it may be grain: more samples tell.", wordSize, false, float64(p.W-2*sheetMargin)))
	return y + 74
}
