package compare

import (
	"bytes"
	"catchlight/scene/pages"
	_ "embed"
	"encoding/base64"
	"fmt"
	"image"
	"math"
	"strings"
)

//go:embed compare.html
var pageText string

var pageTemplate = pages.New("compare", pageText)

// keys are the page's keys of the layers, and what their help calls them.
var keys = map[string][2]string{
	"difference-signed":   {"d", "lightness"},
	"difference-absolute": {"c", "colour"},
	"flip":                {"f", "FLIP"},
	"hdr-flip":            {"h", "HDR-FLIP"},
}

// row is a line of the page's table, in words.
type row struct {
	Name, Dot, FLIP, Grain, HDR, Colour, Ratio, RatioError, SSIM string
	Pixels                                                       int
	FLIPBar, HDRBar                                              float64
}

// HTML returns the page as one file that needs no other and no network.
func (r *Result) HTML() ([]byte, error) {
	var failed error
	src := func(m image.Image) string {
		data, err := encode(m)
		if err != nil {
			failed = err
		}
		return "data:image/png;base64," + base64.StdEncoding.EncodeToString(data)
	}
	type layer struct {
		Key   string   `json:"key"`
		Cap   string   `json:"-"`
		Short string   `json:"-"`
		Title string   `json:"title"`
		Low   string   `json:"low"`
		High  string   `json:"high"`
		Ramp  []string `json:"ramp"`
		Src   string   `json:"src"`
	}
	var layers []layer
	for _, l := range r.Maps() {
		q := layer{keys[l.ID][0], strings.ToUpper(keys[l.ID][0]), keys[l.ID][1], l.Title, l.Low, l.High, nil, src(l.Pix)}
		for i := range 64 {
			q.Ramp = append(q.Ramp, css(l.ramp, float64(i)/63))
		}
		layers = append(layers, q)
	}
	type part struct {
		Name string `json:"name"`
		Code int    `json:"code"`
	}
	parts := make([]part, len(kinds))
	for i, c := range kinds {
		parts[i] = part{"backdrop", int(c.R)<<16 | int(c.G)<<8 | int(c.B)}
	}
	dots := map[string]string{}
	for _, g := range r.pair.Regions {
		if g.Kind >= 0 {
			parts[g.Kind].Name = g.Name
			dots[g.Name] = css(kinds, float64(g.Kind)/float64(len(kinds)-1))
		}
	}
	var rows []row
	errors := false
	for _, f := range r.Regions {
		q := row{Name: f.Region, Dot: dots[f.Region], Pixels: f.Pixels, FLIP: text("%.3f", f.FLIP.Mean), HDR: text("%.3f", f.HDRFLIP.Mean), Colour: text("%.1f", f.Colour.Median),
			Ratio: text("%.3f", f.Ratio), SSIM: text("%.3f", f.SSIM), FLIPBar: share(f.FLIP.Mean), HDRBar: share(f.HDRFLIP.Mean)}
		if f.Eye != "" {
			q.Name += ", " + f.Eye
		}
		if !math.IsNaN(float64(f.Grain)) {
			q.Grain = text("%.3f", f.Grain)
		}
		if !math.IsNaN(float64(f.RatioError)) {
			q.RatioError, errors = text("%.3f", f.RatioError), true
		}
		rows = append(rows, q)
	}
	viewing := fmt.Sprintf("For %.3g pixels in a degree of view", r.PerDegree)
	if d := r.pair.Distance; d > 0 {
		viewing += fmt.Sprintf(": from %.3g m before a screen 0.7 m and 3840 pixels wide", d)
	}
	exposures := ""
	if e := r.Exposures; e != nil {
		exposures = fmt.Sprintf("%d exposures from %.1f to %.1f EV", e.Count, e.Start, e.Stop)
	}
	var b bytes.Buffer
	err := pageTemplate.Execute(&b, map[string]any{
		"Title": r.Title, "Summary": r.Summary(), "Width": r.Width, "Height": r.Height, "A": r.Reference, "B": r.Test,
		"Layers": layers, "Rows": rows, "HDR": r.hdr != nil, "Grain": r.grain != nil, "Viewing": viewing + ".", "Exposures": exposures, "Light": r.Light, "Errors": errors, "Notes": r.Notes,
		"Data": map[string]any{"width": r.Width, "height": r.Height, "names": []string{r.Reference, r.Test}, "pictures": []string{src(r.pair.Reference.Seen), src(r.pair.Test.Seen)},
			"parts": src(r.RegionMap()), "kinds": parts, "layers": layers},
	})
	if failed != nil {
		return nil, failed
	}
	return b.Bytes(), err
}

func css(p ramp, t float64) string {
	c := p.at(t)
	return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B)
}

func text(format string, n Number) string {
	if math.IsNaN(float64(n)) || math.IsInf(float64(n), 0) {
		return "–"
	}
	return fmt.Sprintf(format, float64(n))
}

// share is a number of [0, 1] in per cent for the width of a bar.
func share(n Number) float64 {
	if !(n > 0) {
		return 0
	}
	return math.Round(1000*min(1, float64(n))) / 10
}

// Summary says in a sentence or two how the pictures compare.
func (r *Result) Summary() string {
	s := fmt.Sprintf("%s against %s", r.Test, r.Reference)
	var most, least *Figures
	for i := range r.Regions {
		f := &r.Regions[i]
		if f.Region == "picture" {
			s += fmt.Sprintf(": FLIP %.3f over the whole picture.", float64(f.FLIP.Mean))
			continue
		}
		if f.Eye != "" || f.Region == "around" || f.Region == "backdrop" {
			continue
		}
		if most == nil || f.FLIP.Mean > most.FLIP.Mean {
			most = f
		}
		if least == nil || f.FLIP.Mean < least.FLIP.Mean {
			least = f
		}
	}
	if most != nil && most != least {
		s += fmt.Sprintf(" Of the eye, they differ most in the %s (%.3f) and least in the %s (%.3f).", most.Region, float64(most.FLIP.Mean), least.Region, float64(least.FLIP.Mean))
	}
	return s
}
