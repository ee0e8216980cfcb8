package page

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"strings"
	"sync"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// The colours of pages: dark and neutral, so that they lend a picture no hue, with text of at least 7:1 contrast.
var (
	Paper = color.NRGBA{0x24, 0x24, 0x24, 0xff}
	Ink   = color.NRGBA{0xf0, 0xf0, 0xf0, 0xff}
	Quiet = color.NRGBA{0xbc, 0xbc, 0xbc, 0xff}
)

// Align says which point of a text its place is.
type Align uint8

// A text starts at its place, is centred on it, or ends there.
const (
	Start Align = iota
	Middle
	End
)

type textItem struct {
	x, y, size float64 // y is the baseline
	bold       bool
	align      Align
	colour     color.NRGBA
	text       string
}

type rectItem struct {
	x, y, w, h float64
	colour     color.NRGBA
}

// strokeItem is a circle or a straight line.
type strokeItem struct {
	x, y, r, x1, y1, width float64 // r > 0 is a circle about x, y; else a line
	colour                 color.NRGBA
}

type imageItem struct {
	x, y   int
	pix    *image.NRGBA
	about  string
	encode []byte
}

// Page is a page being laid out.
type Page struct {
	W, H   int
	Title  string
	texts  []textItem
	rects  []rectItem
	images []imageItem
	over   []strokeItem // drawn above the pictures
}

// Text puts one line of text with its baseline at y; size is the height of the letters' em.
func (p *Page) Text(x, y, size float64, bold bool, a Align, c color.NRGBA, text string) {
	p.texts = append(p.texts, textItem{x, y, size, bold, a, c, text})
}

// Rect puts a filled rectangle.
func (p *Page) Rect(x, y, w, h float64, c color.NRGBA) {
	p.rects = append(p.rects, rectItem{x, y, w, h, c})
}

// Image puts a picture, texel for pixel; about says in words what it shows.
func (p *Page) Image(x, y int, m *image.NRGBA, about string) {
	p.images = append(p.images, imageItem{x, y, m, about, nil})
}

// Circle draws a circle of radius r > 0 above the pictures, with a line of some width.
func (p *Page) Circle(x, y, r, width float64, c color.NRGBA) {
	p.over = append(p.over, strokeItem{x: x, y: y, r: r, width: width, colour: c})
}

// Line draws a straight line above the pictures.
func (p *Page) Line(x0, y0, x1, y1, width float64, c color.NRGBA) {
	p.over = append(p.over, strokeItem{x: x0, y: y0, x1: x1, y1: y1, width: width, colour: c})
}

// cover returns how much of a pixel about x, y the stroke covers, for an edge one pixel soft.
func (s *strokeItem) cover(x, y float64) float64 {
	d := 0.0
	if s.r > 0 {
		d = math.Abs(math.Hypot(x-s.x, y-s.y) - s.r)
	} else {
		u, v := s.x1-s.x, s.y1-s.y
		t := max(0, min(1, ((x-s.x)*u+(y-s.y)*v)/max(u*u+v*v, 1e-12)))
		d = math.Hypot(x-s.x-t*u, y-s.y-t*v)
	}
	return max(0, min(1, s.width/2+0.5-d))
}

// draw puts the stroke into a picture.
func (s *strokeItem) draw(m *image.NRGBA) {
	lo, hi := [2]float64{min(s.x, s.x1), min(s.y, s.y1)}, [2]float64{max(s.x, s.x1), max(s.y, s.y1)}
	if s.r > 0 {
		lo, hi = [2]float64{s.x - s.r, s.y - s.r}, [2]float64{s.x + s.r, s.y + s.r}
	}
	box := image.Rect(int(lo[0]-s.width-2), int(lo[1]-s.width-2), int(hi[0]+s.width+3), int(hi[1]+s.width+3)).Intersect(m.Bounds())
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			k := s.cover(float64(x)+0.5, float64(y)+0.5) * float64(s.colour.A) / 255
			if k == 0 {
				continue
			}
			o := m.PixOffset(x, y)
			for c, v := range [3]uint8{s.colour.R, s.colour.G, s.colour.B} {
				m.Pix[o+c] = uint8(math.Round(float64(m.Pix[o+c])*(1-k) + float64(v)*k))
			}
		}
	}
}

type faceKey struct {
	size float64
	bold bool
}

var (
	faceMutex sync.Mutex
	faces     = map[faceKey]font.Face{}
)

func face(size float64, bold bool) (font.Face, error) {
	faceMutex.Lock()
	defer faceMutex.Unlock()
	if f := faces[faceKey{size, bold}]; f != nil {
		return f, nil
	}
	data := goregular.TTF
	if bold {
		data = gobold.TTF
	}
	parsed, err := opentype.Parse(data)
	if err != nil {
		return nil, err
	}
	f, err := opentype.NewFace(parsed, &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err == nil {
		faces[faceKey{size, bold}] = f
	}
	return f, err
}

// TextWidth returns how wide a line is.
func TextWidth(text string, size float64, bold bool) float64 {
	f, err := face(size, bold)
	if err != nil { // the fonts are part of the program
		panic(err)
	}
	faceMutex.Lock()
	defer faceMutex.Unlock()
	return float64(font.MeasureString(f, text)) / 64
}

// Fit cuts a text so that it is at most width wide, with three dots where something is left out; nothing where even these are wider.
func Fit(text string, size float64, bold bool, width float64) string {
	if text == "" || TextWidth(text, size, bold) <= width {
		return text
	}
	r := []rune(text)
	for len(r) > 0 && TextWidth(string(r)+"...", size, bold) > width {
		r = r[:len(r)-1]
	}
	if len(r) == 0 && TextWidth("...", size, bold) > width {
		return ""
	}
	return strings.TrimRight(string(r), " ") + "..."
}

// Wrap breaks a text into at most so many lines, none wider than width: between words, or within one that is wider than a line. The
// last line ends in three dots where something is left out.
func Wrap(text string, size float64, bold bool, width float64, most int) (lines []string) {
	rest := strings.Fields(text)
	for len(rest) > 0 && len(lines) < most-1 {
		line, n := rest[0], 1
		for n < len(rest) && TextWidth(line+" "+rest[n], size, bold) <= width {
			line, n = line+" "+rest[n], n+1
		}
		rest = rest[n:]
		if TextWidth(line, size, bold) > width {
			r := []rune(line)
			for len(r) > 1 && TextWidth(string(r), size, bold) > width {
				r = r[:len(r)-1]
			}
			rest = append([]string{string([]rune(line)[len(r):])}, rest...)
			line = string(r)
			if TextWidth(line, size, bold) > width {
				return lines // not one letter has room
			}
		}
		lines = append(lines, line)
	}
	if len(rest) > 0 {
		if last := Fit(strings.Join(rest, " "), size, bold, width); last != "" {
			lines = append(lines, last)
		}
	}
	return lines
}

// Draw returns the page as a picture.
func (p *Page) Draw() (*image.NRGBA, error) {
	m := image.NewNRGBA(image.Rect(0, 0, p.W, p.H))
	draw.Draw(m, m.Bounds(), image.NewUniform(Paper), image.Point{}, draw.Src)
	for _, r := range p.rects {
		box := image.Rect(int(math.Round(r.x)), int(math.Round(r.y)), int(math.Round(r.x+r.w)), int(math.Round(r.y+r.h)))
		draw.Draw(m, box, image.NewUniform(r.colour), image.Point{}, draw.Over)
	}
	for _, i := range p.images {
		draw.Draw(m, i.pix.Bounds().Add(image.Pt(i.x, i.y)), i.pix, image.Point{}, draw.Over)
	}
	for i := range p.over {
		p.over[i].draw(m)
	}
	for _, t := range p.texts {
		f, err := face(t.size, t.bold)
		if err != nil {
			return nil, err
		}
		x := t.left()
		faceMutex.Lock()
		d := font.Drawer{Dst: m, Src: image.NewUniform(t.colour), Face: f, Dot: fixed.Point26_6{X: fixed.Int26_6(math.Round(x * 64)), Y: fixed.Int26_6(math.Round(t.y * 64))}}
		d.DrawString(t.text)
		faceMutex.Unlock()
	}
	return m, nil
}

func (t *textItem) left() float64 {
	switch t.align {
	case Middle:
		return t.x - TextWidth(t.text, t.size, t.bold)/2
	case End:
		return t.x - TextWidth(t.text, t.size, t.bold)
	}
	return t.x
}

// PNG returns the page as a PNG file.
func (p *Page) PNG() ([]byte, error) {
	m, err := p.Draw()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = png.Encode(&b, m)
	return b.Bytes(), err
}

// encoded makes the PNG file of each picture once.
func (p *Page) encoded() error {
	for i := range p.images {
		if p.images[i].encode == nil {
			var b bytes.Buffer
			if err := png.Encode(&b, p.images[i].pix); err != nil {
				return err
			}
			p.images[i].encode = b.Bytes()
		}
	}
	return nil
}

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// SVG returns the page as an SVG file with its pictures inside.
func (p *Page) SVG() ([]byte, error) {
	if err := p.encoded(); err != nil {
		return nil, err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" role="img" font-family="Go, Helvetica, Arial, sans-serif"><title>%s</title>`+"\n", p.W, p.H, p.W, p.H, html.EscapeString(p.Title))
	fmt.Fprintf(&b, `<rect width="100%%" height="100%%" fill="%s"/>`+"\n", hex(Paper))
	for _, r := range p.rects {
		fmt.Fprintf(&b, `<rect x="%g" y="%g" width="%g" height="%g" fill="%s"/>`+"\n", r.x, r.y, r.w, r.h, hex(r.colour))
	}
	for _, i := range p.images {
		size := i.pix.Bounds().Size()
		fmt.Fprintf(&b, `<image x="%d" y="%d" width="%d" height="%d" href="data:image/png;base64,%s"><title>%s</title></image>`+"\n", i.x, i.y, size.X, size.Y, base64.StdEncoding.EncodeToString(i.encode), html.EscapeString(i.about))
	}
	for _, o := range p.over {
		if o.r > 0 {
			fmt.Fprintf(&b, `<circle cx="%.2f" cy="%.2f" r="%.2f" fill="none" stroke="%s" stroke-width="%g"/>`+"\n", o.x, o.y, o.r, hex(o.colour), o.width)
		} else {
			fmt.Fprintf(&b, `<line x1="%.2f" y1="%.2f" x2="%.2f" y2="%.2f" stroke="%s" stroke-width="%g"/>`+"\n", o.x, o.y, o.x1, o.y1, hex(o.colour), o.width)
		}
	}
	for _, t := range p.texts {
		weight := ""
		if t.bold {
			weight = ` font-weight="bold"`
		}
		fmt.Fprintf(&b, `<text x="%.2f" y="%.2f" font-size="%g" text-anchor="%s" fill="%s"%s>%s</text>`+"\n", t.x, t.y, t.size, [...]string{"start", "middle", "end"}[t.align], hex(t.colour), weight, html.EscapeString(t.text))
	}
	b.WriteString("</svg>\n")
	return b.Bytes(), nil
}

// point is the length of a page's pixel in a PDF, in points: 96 pixels make an inch.
const point = 0.75

// PDF returns the page as a PDF file of one page, with its fonts and pictures inside and real text.
func (p *Page) PDF() ([]byte, error) { return PDF(p) }

// PDF returns pages as one PDF file, with its fonts and pictures inside and real text. There is one page at least; its
// title is that of the file.
func PDF(pages ...*Page) ([]byte, error) {
	size := func(p *Page) fpdf.SizeType { return fpdf.SizeType{Wd: float64(p.W) * point, Ht: float64(p.H) * point} }
	f := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: size(pages[0]), OrientationStr: "P"})
	// The same page gives the same bytes.
	f.SetCatalogSort(true)
	f.SetCreationDate(time.Unix(0, 0).UTC())
	f.SetModificationDate(time.Unix(0, 0).UTC())
	f.SetTitle(pages[0].Title, true)
	f.SetCreator("catchlight", true)
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(0, 0, 0)
	f.AddUTF8FontFromBytes("go", "", goregular.TTF)
	f.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	for i, p := range pages {
		if err := p.encoded(); err != nil {
			return nil, err
		}
		f.AddPageFormat("P", size(p))
		p.pdf(f, i)
	}
	var b bytes.Buffer
	err := f.Output(&b)
	return b.Bytes(), err
}

// pdf draws the page, number i of the file.
func (p *Page) pdf(f *fpdf.Fpdf, i int) {
	fill := func(c color.NRGBA) { f.SetFillColor(int(c.R), int(c.G), int(c.B)) }
	fill(Paper)
	f.Rect(0, 0, float64(p.W)*point, float64(p.H)*point, "F")
	for _, r := range p.rects {
		fill(r.colour)
		f.Rect(r.x*point, r.y*point, r.w*point, r.h*point, "F")
	}
	for k, q := range p.images {
		name := fmt.Sprint("picture", i, "-", k)
		opt := fpdf.ImageOptions{ImageType: "PNG"}
		f.RegisterImageOptionsReader(name, opt, bytes.NewReader(q.encode))
		s := q.pix.Bounds().Size()
		f.ImageOptions(name, float64(q.x)*point, float64(q.y)*point, float64(s.X)*point, float64(s.Y)*point, false, opt, 0, "")
	}
	for _, o := range p.over {
		f.SetDrawColor(int(o.colour.R), int(o.colour.G), int(o.colour.B))
		f.SetLineWidth(o.width * point)
		if o.r > 0 {
			f.Circle(o.x*point, o.y*point, o.r*point, "D")
		} else {
			f.Line(o.x*point, o.y*point, o.x1*point, o.y1*point)
		}
	}
	for _, t := range p.texts {
		style := ""
		if t.bold {
			style = "B"
		}
		f.SetFont("go", style, t.size*point)
		f.SetTextColor(int(t.colour.R), int(t.colour.G), int(t.colour.B))
		f.Text(t.left()*point, t.y*point, t.text)
	}
}
