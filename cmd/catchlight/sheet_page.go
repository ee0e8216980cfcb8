package main

import (
	"fmt"
	"image"
	"math"
	"strings"

	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/scene"
)

// picture is a cell as it stands on the page.
type picture struct {
	m     *image.NRGBA
	about string
	words []string // captions, each on lines of its own
	mm    float64  // width of what it shows at the camera's aim
}

// layOut reads the cells back and puts them onto a page.
func (c *cells) layOut(j *job.Job, d *scene.Description) (*page.Page, error) {
	rows, grid := c.rows, c.grid
	if len(c.references) > 0 {
		rows, grid = append(append([]string(nil), rows...), "references"), append(append([][]*shot(nil), grid...), c.references)
	}
	var pictures [][]picture
	for ri, shots := range grid {
		var row []picture
		for i, s := range shots {
			m, _, err := seen(j, s)
			if err != nil {
				return nil, err
			}
			r, err := cell(j, s)
			if err != nil {
				return nil, err
			}
			spp, errs := cellWords(s, &r)
			row = append(row, picture{m: m, about: strings.TrimSpace(strings.ReplaceAll(rows[ri], "\n", ", ") + " " + c.columns[i]),
				words: []string{fmt.Sprintf("%+.1f EV, %s", s.d.View.Exposure+s.d.LightSetup.EV, spp), errs}, mm: frameWidth(s.d)})
		}
		pictures = append(pictures, row)
	}
	return sheetPage(sceneName(d.File), d.About, c.columns, rows, pictures, d.Picture.Width, d.Picture.Height), nil
}

// Sizes of a page in pixels.
const (
	sheetMargin = 24
	sheetGap    = 14
	sheetLine   = 18 // of a line of text
	headSize    = 14.0
	wordSize    = 12.0
	mostLeft    = 220.0 // width of the captions of rows
)

// sheetPage lays pictures of w x h pixels out in rows and columns. Every text has a place of its own, whatever the size of the cells:
// captions are wrapped, and rows and headings grow by the lines that they take.
func sheetPage(title, about string, columns, rows []string, pictures [][]picture, w, h int) *page.Page {
	left, cellWidth := 0.0, float64(w)
	for _, r := range rows {
		for _, l := range strings.Split(r, "\n") {
			left = max(left, page.TextWidth(l, headSize, true))
		}
	}
	if left > 0 {
		left = math.Ceil(min(left, mostLeft)) + 14
	}
	lines := func(texts []string, size float64, bold bool, width float64, most int) (out []string) {
		for _, t := range texts {
			out = append(out, page.Wrap(t, size, bold, width, most)...)
		}
		return out
	}
	var heads, sides [][]string
	most := 0
	for _, l := range columns {
		heads = append(heads, page.Wrap(l, headSize, true, cellWidth, 4))
		most = max(most, len(heads[len(heads)-1]))
	}
	x0, top := sheetMargin+int(left), sheetMargin+58+most*sheetLine
	if most > 0 {
		top += 4
	}
	high := 0 // of a row
	bars := make([][]scaleBar, len(rows))
	captions := make([][][]string, len(rows))
	for ri, r := range rows {
		sides = append(sides, lines(strings.Split(r, "\n"), headSize, true, left-10, 2))
		high = max(high, len(sides[ri])*sheetLine)
		for _, q := range pictures[ri] {
			t := lines(q.words, wordSize, false, cellWidth, 3)
			bar := newScaleBar(cellWidth, q.mm)
			n := len(t)
			if n == 0 || page.TextWidth(t[n-1], wordSize, false)+10+bar.width() > cellWidth {
				n++
			}
			bar.line = n
			bars[ri], captions[ri] = append(bars[ri], bar), append(captions[ri], t)
			high = max(high, h+n*sheetLine+6)
		}
	}
	width := x0 + len(columns)*(w+sheetGap) - sheetGap + sheetMargin
	p := &page.Page{W: max(width, 420), H: top + len(rows)*(high+sheetGap) + 34, Title: title}
	across := float64(p.W - 2*sheetMargin)
	p.Text(sheetMargin, sheetMargin+16, 20, true, page.Start, page.Ink, page.Fit(title, 20, true, across))
	if about != "" {
		p.Text(sheetMargin, sheetMargin+40, headSize, false, page.Start, page.Quiet, page.Fit(about, headSize, false, across))
	}
	for i, head := range heads {
		for k, l := range head {
			p.Text(float64(x0+i*(w+sheetGap)), float64(top-10-(len(head)-1-k)*sheetLine), headSize, true, page.Start, page.Ink, l)
		}
	}
	for ri := range rows {
		y := top + ri*(high+sheetGap)
		for k, l := range sides[ri] {
			p.Text(sheetMargin, float64(y+14+k*sheetLine), headSize, true, page.Start, page.Ink, l)
		}
		for i, q := range pictures[ri] {
			x := x0 + i*(w+sheetGap)
			p.Image(x, y, q.m, q.about)
			for k, l := range captions[ri][i] {
				p.Text(float64(x), float64(y+h+(k+1)*sheetLine-3), wordSize, false, page.Start, page.Quiet, l)
			}
			bars[ri][i].draw(p, float64(x+w), float64(y+h+bars[ri][i].line*sheetLine-3))
		}
	}
	foot := "error: standard error in 8-bit levels, over the cell / at worst; EV: view and light set-up together"
	p.Text(sheetMargin, float64(p.H-14), wordSize, false, page.Start, page.Quiet, page.Fit(foot, wordSize, false, across))
	return p
}

// scaleBar is a bar of a round length with its name.
type scaleBar struct {
	px, size float64
	label    string
	line     int // below the picture that it stands on, from 1
}

// newScaleBar makes the bar for a picture w pixels and mm wide: a sixth of it at most, in letters that leave it room. It is empty where
// no letters do.
func newScaleBar(w, mm float64) (b scaleBar) {
	if !(mm > 0) {
		return b
	}
	want := mm / 6
	base := math.Pow(10, math.Floor(math.Log10(want)))
	length := base
	for _, k := range []float64{2, 5} {
		if k*base <= want {
			length = k * base
		}
	}
	b = scaleBar{px: length / mm * w, size: wordSize, label: fmt.Sprintf("%.4g mm", length)}
	for b.width() > w {
		if b.size--; b.size < 7 {
			return scaleBar{}
		}
	}
	return b
}

func (b *scaleBar) width() float64 {
	if b.label == "" {
		return 0
	}
	return b.px + 6 + page.TextWidth(b.label, b.size, false)
}

// draw puts it where it ends at x.
func (b *scaleBar) draw(p *page.Page, x, y float64) {
	if b.label == "" {
		return
	}
	p.Rect(x-b.px, y-5, b.px, 3, page.Ink)
	p.Text(x-b.px-6, y, b.size, false, page.End, page.Quiet, b.label)
}
