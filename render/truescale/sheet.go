package truescale

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"catchlight/render/page"
	"catchlight/render/spread"
	"catchlight/scene/geom"
)

// Album is a report with its pictures.
type Album struct {
	Title, About string
	Report       *Report
	pictures     map[string]shown
}

// shown is a finished picture.
type shown struct {
	Picture
	pix *image.NRGBA
}

// Add puts a finished picture in.
func (a *Album) Add(p Picture, m *image.NRGBA) {
	if a.pictures == nil {
		a.pictures = map[string]shown{}
	}
	a.pictures[p.Name] = shown{p, m}
}

// The colours of the channels, on the pictures and in the tables.
var inks = [3]color.NRGBA{{0xff, 0x6b, 0x5e, 0xff}, {0x62, 0xe0, 0x7a, 0xff}, {0x7d, 0xb2, 0xff, 0xff}}

var channels = [3]string{"red", "green", "blue"}

// Ruler is a scale of mm along the lower edge of a picture.
type Ruler struct {
	Step  float64   // mm from tick to tick
	Marks []float64 // pixels from the left edge, one for each multiple of Step from 0, rounded to a whole pixel
	Label string    // of the last tick
}

// NewRuler makes a scale for a picture n pixels and mm wide: ticks at 1, 2 or 5 times a power of ten, five at least.
func NewRuler(mm float64, n int) (r Ruler) {
	r.Step = math.Pow(10, math.Floor(math.Log10(mm/5)))
	for _, k := range []float64{5, 2} {
		if mm/(k*r.Step) >= 5 {
			r.Step *= k
			break
		}
	}
	for i := 0; ; i++ {
		at := math.Round(float64(i) * r.Step / mm * float64(n))
		if at > float64(n) {
			break
		}
		r.Marks = append(r.Marks, at)
	}
	r.Label = fmt.Sprintf("%.6g mm", float64(len(r.Marks)-1)*r.Step)
	return r
}

// draw puts the scale below a picture whose lower left corner is x, y: 22 pixels are wanted.
func (r Ruler) draw(p *page.Page, x, y float64) {
	last := r.Marks[len(r.Marks)-1]
	p.Rect(x, y+3, last+1, 2, page.Ink)
	for i, m := range r.Marks {
		h := 4.0
		if i == 0 || i == len(r.Marks)-1 {
			h = 6
		}
		p.Rect(x+m, y+3, 1, h, page.Ink)
	}
	p.Text(x, y+23, small, false, page.Start, page.Quiet, "0")
	p.Text(x+last, y+23, small, false, page.End, page.Quiet, r.Label)
}

// Sizes of the pages, in pixels.
const (
	margin = 28
	gap    = 14
	small  = 12.0
	body   = 14.0
	head   = 18.0
	lead   = 19.0 // of a line of text
)

// words say what a factor on the eye's lengths is.
func words(f float64) string {
	if f == 1 {
		return "as the file says"
	}
	return fmt.Sprintf("x %.4g", f)
}

func mm(v spread.Value) string { return fmt.Sprintf("%.3g ± %.1g", v.V, max(v.SE, 1e-4)) }

// width writes a length of an edge with its bound where the edge does not end on the globe.
func width(e *spread.Edge, c int) string {
	if e.Whole {
		return fmt.Sprintf("%.3g or more", e.Width[c].V)
	}
	return mm(e.Width[c])
}

// Pages are the two pages as they are printed.
func (a *Album) Pages() []*page.Page { return []*page.Page{a.first(), a.second()} }

// pageWidth is how wide the pages are for cells of n pixels.
func pageWidth(n int) int { return 2*margin + 6*n + 5*gap }

func (a *Album) cell() int { return a.pictures[label("eye", 1)].Size }

// put places a picture with its ruler; k is how many mm of its caption one of its own is.
func (a *Album) put(p *page.Page, name, about string, x, y int, k float64) {
	s := a.pictures[name]
	p.Image(x, y, s.pix, about)
	NewRuler(s.Frame.Width*k, s.Size).draw(p, float64(x), float64(y+s.Size))
}

// paragraph writes a text in lines and returns where the next one begins.
func paragraph(p *page.Page, text string, x, y, size, wide float64, bold bool, c color.NRGBA) float64 {
	for _, l := range page.Wrap(text, size, bold, wide, 8) {
		p.Text(x, y, size, bold, page.Start, c, l)
		y += size * 1.36
	}
	return y
}

// first is the page of the verdict, the circles and the mistakes.
func (a *Album) first() *page.Page {
	r, n := a.Report, a.cell()
	wide := pageWidth(n)
	p := &page.Page{W: wide, Title: a.Title + ": is its unit right?"}
	x, y := float64(margin), float64(margin)
	p.Text(x, y+16, 20, true, page.Start, page.Ink, page.Fit(p.Title, 20, true, float64(wide-2*margin)))
	y = paragraph(p, "Verdict: "+r.Verdict.Word, x, y+54, 28, float64(wide-2*margin), true, page.Ink)
	said := []string{"Size: " + r.Verdict.Size + "."}
	if r.Verdict.Human != "" {
		said = append(said, "Beside a grown human: "+r.Verdict.Human+".")
	}
	for _, t := range append(said, "Tissue: "+r.Verdict.Tissue+".") {
		y = paragraph(p, t, x, y, body, float64(wide-2*margin), false, page.Ink)
	}
	for _, t := range r.Verdict.Do {
		y = paragraph(p, t.Line(), x, y, body, float64(wide-2*margin), true, page.Ink)
	}
	top := int(y) + 10
	a.put(p, "eye", "the eye as the file says, with circles", margin, top, 1)
	a.circles(p, "eye", r.WhiteAt, &r.White, margin, top)
	if r.HasIris {
		a.circles(p, "eye", r.IrisAt, &r.Iris, margin, top)
	}
	cx := margin + 2*n + gap
	a.put(p, "white", "the white, with circles", cx, top, 1)
	a.circles(p, "white", r.WhiteAt, &r.White, cx, top)
	p.Text(float64(cx), float64(top+n+40), small, false, page.Start, page.Quiet, page.Fit("white; inner circles 50 %, outer 90 %", small, false, float64(n)))
	if r.HasIris {
		ix := cx + n + gap
		a.put(p, "iris", "the iris, with circles", ix, top, 1)
		a.circles(p, "iris", r.IrisAt, &r.Iris, ix, top)
		p.Text(float64(ix), float64(top+n+40), small, false, page.Start, page.Quiet, page.Fit("iris, as it lies: not bent by the cornea", small, false, float64(n)))
	}
	// The tables stand to the right where there is room, else below.
	tx, ty := float64(cx+2*(n+gap)+gap), float64(top+14)
	if float64(wide-margin)-tx < 430 {
		tx, ty = margin, float64(top+2*n+60)
	}
	end := a.radii(p, tx, ty, float64(wide-margin)-tx)
	a.mistakes(p, max(top+2*n+52, int(end)+8))
	return p
}

// circles draws the radii about a place of the world in a picture at x, y of the page.
func (a *Album) circles(p *page.Page, name string, at geom.Vec, q *spread.Radii, x, y int) {
	s := a.pictures[name]
	u, v := s.Frame.Pixel(at, s.Size)
	for c := range 3 {
		for _, w := range []spread.Value{q.Half[c], q.Most[c]} {
			px := w.V / s.Frame.Width * float64(s.Size)
			if px < 0.6*float64(s.Size) {
				p.Circle(float64(x)+u, float64(y)+v, px, 1.4, inks[c])
			}
		}
	}
}

// radii writes the tables of radii and of the edge, and returns where they end.
func (a *Album) radii(p *page.Page, x, y, wide float64) float64 {
	r := a.Report
	p.Text(x, y, head, true, page.Start, page.Ink, page.Fit("What comes back out, mm", head, true, wide))
	y += 26
	cols := []float64{0, 0.22 * wide, 0.44 * wide, 0.64 * wide, 0.84 * wide}
	row := func(bold bool, c color.NRGBA, cells ...string) {
		for i, t := range cells {
			room := wide - cols[i]
			if i+1 < len(cols) {
				room = cols[i+1] - cols[i] - 8
			}
			p.Text(x+cols[i], y, small, bold, page.Start, c, page.Fit(t, small, bold, room))
		}
		y += lead
	}
	row(true, page.Quiet, "", "holds 50 %", "holds 90 %", "published", "comes out")
	for i, l := range a.radiusLines() {
		row(false, inks[i%3], l.Part+", "+l.Channel, l.Half, l.Most, l.Known, l.Share)
	}
	e := r.own()
	y += 8
	p.Text(x, y, head, true, page.Start, page.Ink, page.Fit("A shadow's edge on the white, mm", head, true, wide))
	y += 26
	row(true, page.Quiet, "", "10 to 90 %", "past terminator")
	for c, l := range edgeLines(e) {
		row(false, inks[c], l.Channel, l.Half, l.Most)
	}
	row(true, page.Ink, "red past blue", "", mm(e.RedPastBlue))
	return y
}

// own is the edge of the eye as it is.
func (r *Report) own() *spread.Edge {
	for i := range r.Mistakes {
		if r.Mistakes[i].Factor == 1 {
			return &r.Mistakes[i].Edge
		}
	}
	return &spread.Edge{}
}

// mistakes puts the rows of the usual mistakes of units, and sets the page's height.
func (a *Album) mistakes(p *page.Page, y int) {
	r, n := a.Report, a.cell()
	p.Text(margin, float64(y+6), head, true, page.Start, page.Ink, page.Fit("The same eye at the usual mistakes of units, framed alike", head, true, float64(p.W-2*margin)))
	y += 24
	for i := range r.Mistakes {
		v := &r.Mistakes[i]
		x := margin + i*(n+gap)
		c := page.Quiet
		if v.Factor == 1 {
			c = page.Ink
		}
		p.Text(float64(x), float64(y+14), body, v.Factor == 1, page.Start, c, page.Fit(fmt.Sprintf("%s: %.3g mm long", words(v.Factor), v.Length), body, v.Factor == 1, float64(n)))
		a.put(p, label("eye", v.Factor), "the eye "+words(v.Factor), x, y+22, v.Factor)
		a.put(p, label("edge", v.Factor), "a shadow's edge on the white, "+words(v.Factor), x, y+22+n+30, v.Factor)
		t := float64(y + 22 + 2*n + 30 + 40)
		for k, l := range []string{fmt.Sprintf("half of the light within %.3g %% of the globe", 100*v.Share), "edge " + width(&v.Edge, 1) + " mm (green)", "red past blue " + mm(v.Edge.RedPastBlue) + " mm"} {
			p.Text(float64(x), t+float64(k)*lead, small, false, page.Start, page.Quiet, page.Fit(l, small, false, float64(n)))
		}
	}
	foot := y + 22 + 2*n + 30 + 40 + 3*int(lead) + 10
	end := paragraph(p, a.foot(), margin, float64(foot), small, float64(p.W-2*margin), false, page.Quiet)
	p.H = int(end) + margin/2
}

// second is the page that sweeps the scatter radii.
func (a *Album) second() *page.Page {
	r, n := a.Report, a.cell()
	p := &page.Page{W: pageWidth(n), Title: a.Title + ": how far light should spread"}
	wide := float64(p.W - 2*margin)
	p.Text(margin, margin+16, 20, true, page.Start, page.Ink, page.Fit(p.Title, 20, true, wide))
	y := paragraph(p, "One close-up of the white where a shadow ends, with the scatter radii of the eye times a number. Pick by eye, then type what stands below.", margin, margin+44, body, wide, false, page.Quiet)
	const across = 4
	cell := (p.W - 2*margin - (across-1)*gap) / across
	top := int(y) + 12
	lines := 0
	for i := range r.Sweep {
		for _, s := range r.Sweep[i].Set {
			lines = max(lines, len(page.Wrap(s, small, false, float64(cell), 4)))
		}
	}
	high := n + 30 + (lines+4)*int(lead)
	for i := range r.Sweep {
		v := &r.Sweep[i]
		x, y := margin+i%across*(cell+gap), top+i/across*(high+2*gap)
		title := fmt.Sprintf("radii x %.3g", v.Factor)
		if v.Factor == 1 {
			title = "as it is"
		}
		p.Text(float64(x), float64(y+14), body, v.Factor == 1, page.Start, page.Ink, title)
		a.put(p, sweepName(v.Factor), "a shadow's edge on the white, "+title, x, y+22, 1)
		t := float64(y + 22 + n + 40)
		p.Text(float64(x), t, small, false, page.Start, page.Quiet, page.Fit(fmt.Sprintf("edge %.3g, %.3g, %.3g mm", v.Edge.Width[0].V, v.Edge.Width[1].V, v.Edge.Width[2].V), small, false, float64(cell)))
		t += lead
		for _, s := range v.Set {
			t = paragraph(p, s, float64(x), t, small, float64(cell), true, page.Ink)
		}
		if v.Held {
			p.Text(float64(x), t, small, false, page.Start, page.Quiet, "held in the range of its key")
		}
	}
	p.H = top + (len(r.Sweep)+across-1)/across*(high+2*gap) + margin
	return p
}
