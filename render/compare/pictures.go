package compare

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"

	"catchlight/render/page"
	"catchlight/scene"
	"catchlight/scene/colour"
)

const (
	margin = 16
	line   = 22
)

// number writes a figure with as many digits as it needs, three at most.
func number(v float64) string { return fmt.Sprintf("%.3g", v) }

// File is a finished file of a comparison.
type File struct {
	Name string
	Data []byte
}

// Files makes all that a comparison leaves: both pictures, both at once, the maps, the numbers and the page.
func (r *Result) Files() ([]File, error) {
	var out []File
	var first error
	add := func(name string, data []byte, err error) {
		if err != nil && first == nil {
			first = fmt.Errorf("%s: %w", name, err)
		}
		out = append(out, File{name, data})
	}
	made := func(name string, from func() ([]byte, error)) {
		data, err := from()
		add(name, data, err)
	}
	for _, s := range []*Side{&r.pair.Reference, &r.pair.Test} {
		made(s.File+".png", func() ([]byte, error) { return encode(s.Seen) })
	}
	made("side-by-side.png", r.sideBySide)
	made("wipe.png", r.wipe)
	made("wipe.apng", r.sweep)
	made("blink.apng", r.blink)
	for _, l := range r.Maps() {
		data, err := r.withLegend(l)
		add(l.ID+".png", data, err)
	}
	made("regions.png", func() ([]byte, error) { return encode(r.RegionMap()) })
	made("compare.json", func() ([]byte, error) {
		data, err := json.MarshalIndent(r.Report, "", "  ")
		return append(scene.Stamp(data), '\n'), err
	})
	made("compare.html", r.HTML)
	return out, first
}

// FileNames are the names of all files that a comparison of two sides of these names may leave.
func FileNames(reference, test string) []string {
	return []string{reference + ".png", test + ".png", "side-by-side.png", "wipe.png", "wipe.apng", "blink.apng",
		"difference-signed.png", "difference-absolute.png", "flip.png", "hdr-flip.png", "regions.png", "compare.json", "compare.html"}
}

func encode(m image.Image) ([]byte, error) {
	var b bytes.Buffer
	err := png.Encode(&b, m)
	return b.Bytes(), err
}

func (r *Result) sideBySide() ([]byte, error) {
	p := &page.Page{W: 2*r.Width + 3*margin, H: r.Height + 2*margin + line, Title: r.Title}
	for i, s := range []*Side{&r.pair.Reference, &r.pair.Test} {
		x := margin + i*(r.Width+margin)
		p.Text(float64(x), margin+12, 14, true, page.Start, page.Ink, page.Fit(s.Name, 14, true, float64(r.Width)))
		p.Image(x, margin+line, s.Seen, s.Name)
	}
	return p.PNG()
}

// split returns the reference to the left of column at and the test from there on, with a thin line between.
func split(a, b *image.NRGBA, at int) *image.NRGBA {
	m := image.NewNRGBA(a.Bounds())
	draw.Draw(m, m.Bounds(), a, image.Point{}, draw.Src)
	w, h := m.Bounds().Dx(), m.Bounds().Dy()
	draw.Draw(m, image.Rect(at, 0, w, h), b, image.Pt(at, 0), draw.Src)
	if at > 0 && at < w {
		draw.Draw(m, image.Rect(at-1, 0, at+1, h), image.NewUniform(page.Ink), image.Point{}, draw.Src)
	}
	return m
}

// wipe shows the reference on the left half and the test on the right one.
func (r *Result) wipe() ([]byte, error) {
	p := &page.Page{W: r.Width + 2*margin, H: r.Height + 2*margin + line, Title: r.Title}
	half := float64(r.Width)/2 - 8
	p.Text(margin, margin+12, 14, true, page.Start, page.Ink, page.Fit(r.Reference, 14, true, half))
	p.Text(float64(margin+r.Width), margin+12, 14, true, page.End, page.Ink, page.Fit(r.Test, 14, true, half))
	p.Image(margin, margin+line, split(r.pair.Reference.Seen, r.pair.Test.Seen, r.Width/2), r.Reference+" and "+r.Test)
	return p.PNG()
}

// mostSweep is the greatest side of the sweeping wipe, and sweepFrames how many frames it has: a file of a few MB.
const (
	mostSweep   = 400
	sweepFrames = 14
)

// sweep lets the border between the pictures run to and fro.
func (r *Result) sweep() ([]byte, error) {
	k := (max(r.Width, r.Height) + mostSweep - 1) / mostSweep
	a, b := smaller(r.pair.Reference.Display, r.Width, k), smaller(r.pair.Test.Display, r.Width, k)
	w := a.Bounds().Dx()
	var frames []*image.NRGBA
	for i := range sweepFrames {
		t := 0.5 + 0.5*math.Cos(2*math.Pi*float64(i)/sweepFrames)
		p := &page.Page{W: w, H: a.Bounds().Dy() + line, Title: r.Title}
		half := float64(w)/2 - 8
		p.Text(4, 16, 14, true, page.Start, page.Ink, page.Fit(r.Reference, 14, true, half))
		p.Text(float64(w-4), 16, 14, true, page.End, page.Ink, page.Fit(r.Test, 14, true, half))
		p.Image(0, line, split(a, b, int(math.Round(t*float64(w)))), r.Title)
		m, err := p.Draw()
		if err != nil {
			return nil, err
		}
		frames = append(frames, m)
	}
	return page.APNG(frames, 130)
}

// smaller returns display light as a picture with the means of k x k pixels; what is left over at the edges falls away.
func smaller(pix []colour.RGB, width, k int) *image.NRGBA {
	height := len(pix) / width
	k = min(k, width, height)
	m := image.NewNRGBA(image.Rect(0, 0, width/k, height/k))
	for y := range height / k {
		for x := range width / k {
			var sum colour.RGB
			for v := range k {
				for u := range k {
					sum = sum.Add(pix[(y*k+v)*width+x*k+u])
				}
			}
			o := m.PixOffset(x, y)
			for c := range 3 {
				m.Pix[o+c] = uint8(math.Round(255 * colour.EncodeSRGB(min(max(sum[c]/float64(k*k), 0), 1))))
			}
			m.Pix[o+3] = 255
		}
	}
	return m
}

// blink shows one picture after the other, under its name, 1.4 times a second: slow enough for readers who can't bear
// flashes (three a second are the most that WCAG 2.2, 2.3.1 allows).
func (r *Result) blink() ([]byte, error) {
	var frames []*image.NRGBA
	for _, s := range []*Side{&r.pair.Reference, &r.pair.Test} {
		p := &page.Page{W: r.Width, H: r.Height + line, Title: r.Title}
		p.Text(4, 16, 14, true, page.Start, page.Ink, page.Fit(s.Name, 14, true, float64(r.Width-8)))
		p.Image(0, line, s.Seen, s.Name)
		m, err := p.Draw()
		if err != nil {
			return nil, err
		}
		frames = append(frames, m)
	}
	return page.APNG(frames, 700)
}

// withLegend returns a map with its title and scale.
func (r *Result) withLegend(l Map) ([]byte, error) {
	w := max(r.Width, 200)
	p := &page.Page{W: w + 2*margin, H: r.Height + 2*margin + 3*line, Title: l.Title}
	p.Text(margin, margin+12, 14, true, page.Start, page.Ink, page.Fit(l.Title+": "+r.Test+" against "+r.Reference, 14, true, float64(w)))
	m := image.NewNRGBA(l.Pix.Bounds())
	draw.Draw(m, m.Bounds(), l.Pix, image.Point{}, draw.Src)
	p.Image(margin, margin+line, m, l.Title)
	y := float64(margin + line + r.Height + 8)
	for i := range w {
		p.Rect(float64(margin+i), y, 1, 10, l.ramp.at(float64(i)/float64(w-1)))
	}
	half := float64(w)/2 - 6
	p.Text(margin, y+26, 12, false, page.Start, page.Quiet, page.Fit(l.Low, 12, false, half))
	p.Text(float64(margin+w), y+26, 12, false, page.End, page.Quiet, page.Fit(l.High, 12, false, half))
	return p.PNG()
}
