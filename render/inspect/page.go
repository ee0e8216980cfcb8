package inspect

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html"
	"html/template"
	"image"
	"image/png"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/pages"
)

//go:embed inspect.html
var pageText string

var inspectPage = pages.New("inspect", pageText)

// Draft is a picture of the eye under light, with places of findings.
type Draft struct {
	Title string
	Image *image.NRGBA
	Marks []Mark
}

// Mark is a place in a picture, px, with the number of its finding.
type Mark struct {
	X, Y   float64
	Number int
	Severe Severity
}

// Picture is one that a finding shows besides its places.
type Picture struct {
	Title string
	Image *image.NRGBA
}

// card is a finding on the page.
type card struct {
	Number         int
	F              *Finding
	Sign           string
	Means          string
	Figures        []figure
	Value, Normal  string
	Where, Shows   string
	Remedy, Key    string
	Factor, Source string
}

type figure struct {
	SVG     template.HTML
	Caption string
}

// signs of the severities: a shape each, so that none needs colour.
var signs = [...]string{"\u2713", "\u25c7", "\u25b2", "\u25cf"}

// Numbered are the findings that are numbered on a page and in its pictures: all that are not fine, the worst first.
func (p *Report) Numbered() []*Finding {
	var list []*Finding
	for i := range p.Findings {
		if p.Findings[i].Severity > Fine {
			list = append(list, &p.Findings[i])
		}
	}
	return list
}

// svg draws a picture with its marks.
func svg(m *image.NRGBA, about string, marks []Mark) (template.HTML, error) {
	var b bytes.Buffer
	if err := png.Encode(&b, m); err != nil {
		return "", err
	}
	w, h := m.Rect.Dx(), m.Rect.Dy()
	var s strings.Builder
	fmt.Fprintf(&s, `<svg viewBox="0 0 %d %d" role="img" aria-label="%s"><image width="%d" height="%d" href="data:image/png;base64,%s"/>`, w, h, html.EscapeString(about), w, h, base64.StdEncoding.EncodeToString(b.Bytes()))
	r := float64(w) / 32
	// Labels step aside of those that are drawn already.
	var taken [][2]float64
	for _, k := range marks {
		x, y := k.X+1.6*r, k.Y-1.6*r
		if x > float64(w)-1.2*r {
			x = k.X - 1.6*r
		}
		if y < 1.2*r {
			y = k.Y + 1.6*r
		}
		for range 40 {
			if !slices.ContainsFunc(taken, func(q [2]float64) bool { return abs2(q[0]-x, q[1]-y) < 4*r*r }) {
				break
			}
			if y += 2 * r; y > float64(h)-r {
				x, y = x-2.1*r, r*1.2
			}
		}
		taken = append(taken, [2]float64{x, y})
		fmt.Fprintf(&s, `<g class="%s"><circle cx="%.1f" cy="%.1f" r="%.1f" class="halo"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="halo"/><circle cx="%.1f" cy="%.1f" r="%.1f" class="ring"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="ring"/><circle cx="%.1f" cy="%.1f" r="%.1f" class="tag"/><text x="%.1f" y="%.1f" font-size="%.1f" text-anchor="middle">%d</text></g>`,
			k.Severe, k.X, k.Y, 0.55*r, k.X, k.Y, x, y, k.X, k.Y, 0.55*r, k.X, k.Y, x, y, x, y, r, x, y+0.42*r, 1.2*r, k.Number)
	}
	s.WriteString("</svg>")
	return template.HTML(s.String()), nil
}

func abs2(x, y float64) float64 { return x*x + y*y }

// album draws what a page shows of the parts.
type album struct {
	p       *Report
	sitters map[string]*sitter
	frame   geom.Frame
	centre  geom.Vec
	radius  float64
}

func newAlbum(p *Report) *album {
	a := &album{p: p, sitters: map[string]*sitter{}, frame: geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, radius: p.Subject.Radius()}
	if e := p.Subject.Eye; e != nil {
		a.frame, a.centre = e.Frame, e.Centre
	} else if len(p.Subject.Parts) > 0 {
		a.centre = p.Subject.Parts[0].Mesh.Bounds().Centre()
	}
	return a
}

// sitter returns a part ready to be drawn, nil where it can't be.
func (a *album) sitter(name string) *sitter {
	if s, ok := a.sitters[name]; ok {
		return s
	}
	a.sitters[name] = nil
	for _, p := range a.p.Subject.Parts {
		if p.Name == name {
			if s, err := newSitter(p.Welded()); err == nil {
				a.sitters[name] = s
			}
			break
		}
	}
	return a.sitters[name]
}

// overview draws each part from in front, or behind, with the first place of each finding on it.
func (a *album) overview() (list []figure, err error) {
	for _, p := range a.p.Subject.Parts {
		s := a.sitter(p.Name)
		if s == nil || p.Role == Other {
			continue
		}
		for _, side := range []string{"from in front", "from the side"} {
			q := portrait{frame: a.frame, at: a.centre, half: 1.2 * a.radius, size: 420}
			if side == "from the side" {
				q.frame = geom.Frame{S: a.frame.N.Neg(), T: a.frame.T, N: a.frame.S}
			}
			var marks []Mark
			for i, f := range a.p.Numbered() {
				if f.Part != p.Name || len(f.Where) == 0 || f.Where[0].MM == nil {
					continue
				}
				at := vecOf(f.Where[0].MM)
				x, y, toward := q.project(at)
				if toward < -0.05*a.radius && side == "from in front" {
					continue
				}
				marks = append(marks, Mark{X: x, Y: y, Number: i + 1, Severe: f.Severity})
			}
			if side == "from the side" && len(marks) == 0 && len(a.p.Subject.Parts) > 1 {
				continue
			}
			h, err := svg(q.draw(s, nil), p.Name+" "+side, marks)
			if err != nil {
				return nil, err
			}
			list = append(list, figure{h, p.Name + ", " + side})
		}
	}
	return list, nil
}

func vecOf(p *[3]float64) geom.Vec { return geom.Vec{X: p[0], Y: p[1], Z: p[2]} }

// figures draws a finding: its first place close up, its fields from in front, its own pictures.
func (a *album) figures(f *Finding, number int) (list []figure, err error) {
	add := func(m *image.NRGBA, about string, marks []Mark) {
		var h template.HTML
		if err == nil {
			h, err = svg(m, about, marks)
			list = append(list, figure{h, about})
		}
	}
	if len(f.Where) > 0 && f.Where[0].MM != nil {
		name := f.Where[0].Part
		if s := a.sitter(name); s != nil {
			at := vecOf(f.Where[0].MM)
			q := portrait{frame: a.toward(s, at), at: at, half: max(0.22*a.radius, 1.5*f.Where[0].Size), size: 220}
			var marks []Mark
			for i := range f.Where {
				if p := f.Where[i].MM; p != nil && f.Where[i].Part == name {
					if x, y, z := q.project(vecOf(p)); x >= 0 && y >= 0 && x < float64(q.size) && y < float64(q.size) && z > -q.half && len(marks) == 0 {
						marks = append(marks, Mark{X: x, Y: y, Number: number, Severe: f.Severity})
					}
				}
			}
			add(q.draw(s, edgesOf(s, q)), fmt.Sprintf("%.2g mm across, with the triangles' edges", 2*q.half), marks)
		}
	}
	for i := range f.Fields {
		d := &f.Fields[i]
		if s := a.sitter(d.Part); s != nil && len(d.Value) == len(s.m.P) {
			q := portrait{frame: a.frame, at: a.centre, half: 1.05 * a.radius, size: 300}
			var marks []Mark
			if number > 0 && len(f.Where) > 0 && f.Where[0].MM != nil {
				if x, y, z := q.project(vecOf(f.Where[0].MM)); z > -0.1*a.radius {
					marks = append(marks, Mark{X: x, Y: y, Number: number, Severe: f.Severity})
				}
			}
			add(q.draw(s, d.shade(s.m)), fmt.Sprintf("%s: %s, from %.3g (dark) to %.3g %s (light)", d.Part, d.Title, d.Low, d.High, d.Unit), marks)
		}
	}
	for _, p := range f.Pictures {
		add(p.Image, p.Title, nil)
	}
	return list, err
}

// toward looks at a place from outside.
func (a *album) toward(s *sitter, at geom.Vec) geom.Frame {
	n := a.frame.N
	if q, ok := s.tree.Nearest(at, s.far); ok && q.N != (geom.Vec{}) {
		n = q.N
	}
	up := a.frame.T
	if x := up.Cross(n); x.Len() > 0.1 {
		x = x.Unit()
		return geom.Frame{S: x, T: n.Cross(x), N: n}
	}
	return geom.NewFrame(n)
}

// HTML returns the page as one file that needs no other and no network. why says why there are no drafts.
func (p *Report) HTML(drafts []Draft, why string) ([]byte, error) {
	a := newAlbum(p)
	var cards []card
	for i, f := range p.Numbered() {
		c := card{Number: i + 1, F: f, Sign: signs[f.Severity], Value: f.Number.String(), Where: f.WhereText(), Shows: f.ShowsText(), Remedy: f.Remedy.Step, Key: f.Remedy.Key}
		if k, ok := CodeOf(f.Code); ok {
			c.Means = k.Means
		}
		if f.Range != nil {
			c.Normal, c.Source = f.Range.String(), f.Range.Source
		}
		if f.Remedy.Factor != 0 {
			c.Factor = fmt.Sprintf("%.6g", f.Remedy.Factor)
		}
		var err error
		if c.Figures, err = a.figures(f, i+1); err != nil {
			return nil, err
		}
		cards = append(cards, c)
	}
	over, err := a.overview()
	if err != nil {
		return nil, err
	}
	var lit []figure
	for _, d := range drafts {
		h, err := svg(d.Image, d.Title, d.Marks)
		if err != nil {
			return nil, err
		}
		lit = append(lit, figure{h, d.Title})
	}
	fine, err := p.fineRows(a)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = inspectPage.Execute(&b, map[string]any{"Title": p.Name + ": inspected", "Report": p, "Cards": cards, "Overview": over, "Drafts": lit, "Why": why, "Told": p.drafted(), "Fine": fine,
		"Limits": p.Limits})
	return b.Bytes(), err
}

// drafted says what drafts show otherwise than the file has it.
func (p *Report) drafted() string {
	s := p.Subject
	list := []string{"Drafts show the eye as it is read and rendered here: holes of a shell are capped and shells are subdivided, so what a finding says may not show in them."}
	for _, q := range s.Parts {
		if q.InsideOut {
			list = append(list, q.Name+" winds inward, and was turned when it was read.")
		}
	}
	coloured := slices.ContainsFunc(s.Maps, func(m Map) bool { return m.kind() == "colour" && m.Role == Inner })
	if !coloured && !s.Grown && s.Key == "" {
		list = append(list, "The file has no colour of an iris: the colour is the built-in one.")
	}
	return strings.Join(list, " ")
}

// fineRow is a measure that lies within its range.
type fineRow struct {
	Group                      Group
	Code, Part, Value, What    string
	Normal, Source, FieldTitle string
	Figures                    []figure
}

func (p *Report) fineRows(a *album) (list []fineRow, err error) {
	for i := range p.Findings {
		f := &p.Findings[i]
		if f.Severity != Fine {
			continue
		}
		r := fineRow{Group: f.Group, Code: f.Code, Part: f.Part, Value: f.Number.String(), What: f.Number.What}
		if f.Range != nil {
			r.Normal, r.Source = f.Range.String(), f.Range.Source
		}
		if len(f.Fields) > 0 {
			q := *f
			q.Where = nil
			if r.Figures, err = a.figures(&q, 0); err != nil {
				return nil, err
			}
		}
		list = append(list, r)
	}
	return list, nil
}
