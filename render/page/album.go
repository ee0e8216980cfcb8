package page

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"html/template"
	"image"
	"image/jpeg"
	"image/png"
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/pages"
)

// Album is a page that shows a set of pictures with captions and credits, and one pair of them under a border that moves.
type Album struct {
	Title, About string
	Pictures     []Shown
	Wipe         *Wipe // nil without one
	Credits      []string
}

// Shown is a picture of an album.
type Shown struct {
	Name, Title, Caption string
	Picture              *image.NRGBA
	Files                []string // beside the page, to open
	Wide                 bool     // one of the large ones
}

// Wipe is a pair of pictures of one size, A left of a border and B right of it.
type Wipe struct {
	A, B                  *image.NRGBA
	NameA, NameB, Caption string
}

//go:embed album.html
var albumText string

var albumPage = pages.New("album", albumText)

// HTML returns the page as one file that needs no other to be seen and no network.
func (a *Album) HTML() ([]byte, error) {
	type shown struct {
		Shown
		Src  template.URL
		W, H int
	}
	one := func(s Shown) (shown, error) {
		src, err := dataURL(s.Picture)
		return shown{s, src, s.Picture.Bounds().Dx(), s.Picture.Bounds().Dy()}, err
	}
	var wide, narrow []shown
	for _, s := range a.Pictures {
		q, err := one(s)
		if err != nil {
			return nil, err
		}
		if s.Wide {
			wide = append(wide, q)
		} else {
			narrow = append(narrow, q)
		}
	}
	data := map[string]any{"Title": a.Title, "About": a.About, "Wide": wide, "Narrow": narrow, "Credits": a.Credits}
	if w := a.Wipe; w != nil {
		left, err := dataURL(w.A)
		if err != nil {
			return nil, err
		}
		right, err := dataURL(w.B)
		if err != nil {
			return nil, err
		}
		data["Wipe"] = map[string]any{"A": left, "B": right, "NameA": w.NameA, "NameB": w.NameB, "Caption": w.Caption, "W": w.A.Bounds().Dx(), "H": w.A.Bounds().Dy()}
	}
	var b bytes.Buffer
	err := albumPage.Execute(&b, data)
	return b.Bytes(), err
}

// dataURL holds a picture: as JPEG where it covers all, else as PNG.
func dataURL(m *image.NRGBA) (template.URL, error) {
	var b bytes.Buffer
	kind, err := "jpeg", error(nil)
	if m.Opaque() {
		err = jpeg.Encode(&b, m, &jpeg.Options{Quality: 93})
	} else {
		kind, err = "png", png.Encode(&b, m)
	}
	return template.URL("data:image/" + kind + ";base64," + base64.StdEncoding.EncodeToString(b.Bytes())), err
}

// Reduced returns a picture at another size, by the mean of the light that each pixel covers; enlarged it is nearest neighbours.
func Reduced(m *image.NRGBA, w, h int) *image.NRGBA {
	b := m.Bounds()
	if b.Dx() == w && b.Dy() == h {
		return m
	}
	var light [256]float64
	for i := range light {
		light[i] = colour.DecodeSRGB(float64(i) / 255)
	}
	out := image.NewNRGBA(image.Rect(0, 0, w, h))
	sx, sy := float64(b.Dx())/float64(w), float64(b.Dy())/float64(h)
	for y := range h {
		y0, y1 := span(y, sy, b.Dy())
		for x := range w {
			x0, x1 := span(x, sx, b.Dx())
			var sum [4]float64
			for v := y0; v < y1; v++ {
				for u := x0; u < x1; u++ {
					i := m.PixOffset(b.Min.X+u, b.Min.Y+v)
					a := float64(m.Pix[i+3]) / 255
					for c := range 3 {
						sum[c] += a * light[m.Pix[i+c]]
					}
					sum[3] += a
				}
			}
			i := out.PixOffset(x, y)
			if sum[3] > 0 {
				for c := range 3 {
					out.Pix[i+c] = byte(255*colour.EncodeSRGB(sum[c]/sum[3]) + 0.5)
				}
				out.Pix[i+3] = byte(255*sum[3]/float64((y1-y0)*(x1-x0)) + 0.5)
			}
		}
	}
	return out
}

// span are the pixels that the k-th of a coarser row covers, one at least.
func span(k int, scale float64, n int) (from, to int) {
	from = min(n-1, int(math.Floor(float64(k)*scale)))
	return from, max(from+1, min(n, int(math.Floor(float64(k+1)*scale))))
}
