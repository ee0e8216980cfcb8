package truescale

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html"
	"html/template"
	"image/png"
	"strings"

	"catchlight/render/spread"
	"catchlight/scene/geom"
	"catchlight/scene/pages"
)

//go:embed scale.html
var pageText string

var scalePage = pages.New("scale", pageText)

// figure is a picture on the page.
type figure struct {
	SVG, Second    template.HTML
	Title, Caption string
	Set            []string
	Now            bool
}

// circled are radii about a place.
type circled struct {
	at geom.Vec
	q  *spread.Radii
}

// svg draws a picture with its ruler below and circles above; k is how many mm of its caption one of its own is.
func (a *Album) svg(name, about string, k float64, rings ...circled) (template.HTML, error) {
	s := a.pictures[name]
	var b bytes.Buffer
	if err := png.Encode(&b, s.pix); err != nil {
		return "", err
	}
	n := s.Size
	size := float64(n) / 18
	if name == "eye" { // shown large
		size = float64(n) / 34
	}
	high := float64(n) + 3 + 2*size
	var o strings.Builder
	fmt.Fprintf(&o, `<svg viewBox="0 0 %d %.0f" role="img" aria-label="%s"><image width="%d" height="%d" href="data:image/png;base64,%s"/>`, n, high, html.EscapeString(about), n, n, base64.StdEncoding.EncodeToString(b.Bytes()))
	for _, r := range rings {
		u, v := s.Frame.Pixel(r.at, n)
		for c := range 3 {
			for _, w := range []spread.Value{r.q.Half[c], r.q.Most[c]} {
				if px := w.V / s.Frame.Width * float64(n); px < 0.6*float64(n) {
					fmt.Fprintf(&o, `<circle cx="%.2f" cy="%.2f" r="%.2f" fill="none" stroke="#%02x%02x%02x" stroke-width="%.2f"/>`, u, v, px, inks[c].R, inks[c].G, inks[c].B, 1.4*float64(n)/240)
				}
			}
		}
	}
	r := NewRuler(s.Frame.Width*k, n)
	base := float64(n) + 3 + 1.6*size // of the numbers, whose digits are less than 0.8 of their size tall
	last := r.Marks[len(r.Marks)-1]
	fmt.Fprintf(&o, `<g fill="#f0f0f0"><rect x="0" y="%d" width="%.0f" height="%.1f"/>`, n+3, last+1, 0.12*size)
	for i, m := range r.Marks {
		tall := 0.35 * size // the numbers stand below the longest
		if i == 0 || i == len(r.Marks)-1 {
			tall = 0.6 * size
		}
		fmt.Fprintf(&o, `<rect x="%.0f" y="%d" width="1" height="%.1f"/>`, m, n+3, tall)
	}
	fmt.Fprintf(&o, `<g font-family="system-ui, sans-serif" font-size="%.1f"><text x="0" y="%.1f">0</text><text x="%.0f" y="%.1f" text-anchor="end">%s</text></g></g></svg>`, size, base, last, base, r.Label)
	return template.HTML(o.String()), nil
}

// line is one row of a table.
type line struct{ Part, Channel, Half, Most, Known, Share string }

// HTML returns both pages as one file that needs no other and no network.
func (a *Album) HTML() ([]byte, error) {
	r := a.Report
	var first error
	draw := func(name, about string, k float64, rings ...circled) template.HTML {
		s, err := a.svg(name, about, k, rings...)
		if err != nil && first == nil {
			first = err
		}
		return s
	}
	white, iris := circled{r.WhiteAt, &r.White}, circled{r.IrisAt, &r.Iris}
	rings := []circled{white}
	if r.HasIris {
		rings = append(rings, iris)
	}
	top := []figure{
		{SVG: draw("eye", "the eye as the file says, with circles", 1, rings...), Caption: "The eye as the file says. Circles, to scale: the inner three hold 50 % of the light that comes back out, the outer three 90 %, in red, green and blue."},
		{SVG: draw("white", "the white, with circles", 1, white), Caption: "White."},
	}
	if r.HasIris {
		top = append(top, figure{SVG: draw("iris", "the iris, with circles", 1, iris), Caption: "Iris, as it lies: the cornea doesn't bend light here, so that the ruler holds."})
	}
	var mistakes, steps []figure
	start := 0
	for i := range r.Mistakes {
		v := &r.Mistakes[i]
		mistakes = append(mistakes, figure{
			SVG:    draw(label("eye", v.Factor), "the eye "+words(v.Factor), v.Factor),
			Second: draw(label("edge", v.Factor), "a shadow's edge on the white, "+words(v.Factor), v.Factor),
			Title:  fmt.Sprintf("%s: %.3g mm long", words(v.Factor), v.Length), Now: v.Factor == 1,
			Caption: fmt.Sprintf("half of the light within %.3g %% of the globe's width; edge %s mm in green; red past blue %s mm", 100*v.Share, width(&v.Edge, 1), mm(v.Edge.RedPastBlue)),
		})
	}
	for i := range r.Sweep {
		v := &r.Sweep[i]
		title := fmt.Sprintf("radii x %.3g", v.Factor)
		if v.Factor == 1 {
			start, title = i, "as it is"
		}
		steps = append(steps, figure{SVG: draw(sweepName(v.Factor), "a shadow's edge on the white, "+title, 1), Title: title, Set: v.Set,
			Caption: fmt.Sprintf("the edge is %.3g, %.3g, %.3g mm wide in red, green, blue", v.Edge.Width[0].V, v.Edge.Width[1].V, v.Edge.Width[2].V)})
	}
	if first != nil {
		return nil, first
	}
	e := r.own()
	var b bytes.Buffer
	err := scalePage.Execute(&b, map[string]any{
		"Title": a.Title + ": is its unit right?", "About": a.About, "Verdict": r.Verdict, "Size": sentence(r.Verdict.Size), "Tissue": sentence(r.Verdict.Tissue), "Human": sentence(r.Verdict.Human),
		"Top": top, "Radii": a.radiusLines(), "Edges": edgeLines(e), "RedPastBlue": mm(e.RedPastBlue), "Mistakes": mistakes, "Steps": steps,
		"Start": start, "Last": len(steps) - 1, "Foot": a.foot(),
	})
	return b.Bytes(), err
}

// sentence begins a text with a capital letter.
func sentence(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// radiusLines are the rows of the table of radii.
func (a *Album) radiusLines() (out []line) {
	r := a.Report
	part := func(name string, q *spread.Radii, known bool) {
		for c := range 3 {
			pub := "none found"
			if known {
				pub = fmt.Sprintf("%.2f to %.2f", r.Published[c]/Known, r.Published[c]*Known)
			}
			out = append(out, line{name, channels[c], mm(q.Half[c]), mm(q.Most[c]), pub, fmt.Sprintf("%.0f %%", 100*q.Share[c].V)})
		}
	}
	part("white", &r.White, true)
	if r.HasIris {
		part("iris", &r.Iris, false)
	}
	return out
}

func edgeLines(e *spread.Edge) (out []line) {
	for c := range 3 {
		out = append(out, line{Channel: channels[c], Half: width(e, c), Most: mm(e.Past[c])})
	}
	return out
}

// foot says how it was measured.
func (a *Album) foot() string {
	return fmt.Sprintf("Measured by random walks in this eye: %d a part for the radii, %d an edge; ± is a standard error. The terminator is where the round globe turns away from a far lamp: past it, what glows is light that went through tissue. It is told where 1 %% of full light is left, in mm over the surface; less than 0 is that this lies on the lit side. Lamps are far away, the eye alone and bare.", a.Report.White.Walks, a.Report.own().Walks)
}
