package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"os"
	"slices"
	"strings"

	"golang.org/x/image/draw"

	"catchlight/render/diagram"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/scene"
)

// tiled lays pictures out in rows of at most four, each in a square of side pixels.
func tiled(title, about string, row []picture, side int) *page.Page {
	const most = 4
	var rows []string
	var grid [][]picture
	for i := range row {
		row[i].m = squared(row[i].m, side)
		if i%most == 0 {
			rows, grid = append(rows, ""), append(grid, nil)
		}
		grid[len(grid)-1] = append(grid[len(grid)-1], row[i])
	}
	columns := make([]string, min(most, len(row)))
	return sheetPage(title, about, columns, rows, grid, side, side)
}

// squared puts a picture into the middle of a square of the page's own tone.
func squared(m *image.NRGBA, side int) *image.NRGBA {
	b := m.Bounds()
	if b.Dx() == side && b.Dy() == side {
		return m
	}
	k := min(float64(side)/float64(b.Dx()), float64(side)/float64(b.Dy()))
	w, h := max(1, int(float64(b.Dx())*k+0.5)), max(1, int(float64(b.Dy())*k+0.5))
	out := image.NewNRGBA(image.Rect(0, 0, side, side))
	draw.Draw(out, out.Bounds(), image.NewUniform(page.Paper), image.Point{}, draw.Src)
	at := image.Rect((side-w)/2, (side-h)/2, (side-w)/2+w, (side-h)/2+h)
	draw.Draw(out, at, page.Reduced(m, w, h), image.Point{}, draw.Over)
	return out
}

// shownSide is the longer side of the pictures on the page, in pixels.
const shownSide = 1200

// show writes the wipe, the page and the sheet, all from the files.
func (a *album) show(j *job.Job, d *scene.Description, credits []string, t *tally, stdout io.Writer) error {
	title := sceneName(d.File)
	q := page.Album{Title: title, About: d.About, Credits: append(a.credits(d), credits...)}
	var row []picture
	for i, s := range a.shots {
		m, err := readShown(j.Path(s.name + ".png"))
		if err != nil {
			return err
		}
		k := min(1, float64(shownSide)/float64(max(m.Bounds().Dx(), m.Bounds().Dy())))
		small := page.Reduced(m, max(1, int(float64(m.Bounds().Dx())*k+0.5)), max(1, int(float64(m.Bounds().Dy())*k+0.5)))
		caption, err := a.caption(j, i)
		if err != nil {
			return err
		}
		q.Pictures = append(q.Pictures, page.Shown{Name: s.name, Title: a.plates[i].title, Caption: caption, Picture: small,
			Files: a.fileNames(s), Wide: a.plates[i].group != "breakdown"})
		row = append(row, picture{m: small, about: a.plates[i].title, words: []string{a.plates[i].title, caption}, mm: frameWidth(s.d)})
	}
	if err := a.wipe(j, &q); err != nil {
		return err
	}
	data, err := q.HTML()
	if err != nil {
		return err
	}
	if err := writeBytes(j.Path("present.html"), data); err != nil {
		return err
	}
	p := tiled(title, d.About, row, 512)
	for ext, make := range map[string]func() ([]byte, error){"png": p.PNG, "pdf": p.PDF} {
		if data, err = make(); err != nil {
			return err
		}
		if err := writeBytes(j.Path("set."+ext), data); err != nil {
			return err
		}
	}
	fmt.Fprintf(stdout, "wrote %s and %s\n", j.Path("present.html"), j.Path("set.png"))
	return t.report(j, map[string]any{"credits": q.Credits})
}

// fileNames are the files of a picture that a reader may want.
func (a *album) fileNames(s *shot) []string {
	out := []string{s.name + ".png", s.name + ".yaml"}
	if slices.Contains(s.files, s.name+".exr") {
		out = append(out, s.name+".exr")
	}
	return out
}

// caption says what a finished picture shows, and how sure it is.
func (a *album) caption(j *job.Job, i int) (string, error) {
	s := a.shots[i]
	if looks[s.look] == nil {
		var said struct{ Tones string }
		data, err := os.ReadFile(j.Path(s.name + ".json"))
		if err == nil {
			err = json.Unmarshal(data, &said)
		}
		return said.Tones, err
	}
	r, err := cell(j, s)
	if err != nil {
		return "", err
	}
	spp, _ := cellWords(s, &r)
	out := a.captions[i] + "; " + spp
	if s.look == "traced" {
		return out + fmt.Sprintf(", grain of %.1f 8-bit levels, %.1f at worst", 255*r.Error.RMS, 255*r.Error.Worst), nil
	}
	if b := s.d.Raster.Budget; b != "" {
		out += ", budget " + b
	}
	out += fmt.Sprintf("; %d triangles", r.Triangles)
	for i := range s.d.Objects {
		if q := &s.d.Objects[i]; q.Eye != nil && q.On {
			side := diagram.MapSide(q.Eye)
			out += fmt.Sprintf(", maps of %d x %d", side, side)
			break
		}
	}
	if ms, ok := a.frame[s.name]; ok {
		out += fmt.Sprintf(", a frame %.0f ms here", ms)
	}
	return out, nil
}

// credits names what the set is made of, as far as the program knows it.
func (a *album) credits(d *scene.Description) []string {
	var out []string
	seen := map[string]bool{}
	for _, u := range d.Uses() {
		if n := shortName(u.File); !seen[n] {
			seen[n] = true
			out = append(out, "file: "+n)
		}
	}
	return out
}

func shortName(file string) string { return file[strings.LastIndexAny(file, `/\`)+1:] }

// wipe lays the raster look over the traced one, right of a slanted line.
func (a *album) wipe(j *job.Job, q *page.Album) error {
	at := map[string]int{}
	for i, s := range a.shots {
		at[s.name] = i
	}
	r, has := at["raster"]
	h, hero := at["hero"]
	if !has || !hero {
		if err := os.Remove(j.Path("wipe.png")); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
		return nil
	}
	traced, err := readShown(j.Path("hero.png"))
	if err != nil {
		return err
	}
	raster, err := readShown(j.Path("raster.png"))
	if err != nil {
		return err
	}
	w, hh := traced.Bounds().Dx(), traced.Bounds().Dy()
	out := image.NewNRGBA(traced.Bounds())
	for y := range hh {
		border := float64(w)/2 + (0.5-(float64(y)+0.5)/float64(hh))*0.12*float64(w)
		for x := range w {
			m := traced
			if float64(x) > border {
				m = raster
			}
			c := m.NRGBAAt(x, y)
			if d := float64(x) + 0.5 - border; d > -1 && d < 1 {
				c.R, c.G, c.B, c.A = 240, 240, 240, 255
			}
			out.SetNRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, out); err != nil {
		return err
	}
	q.Wipe = &page.Wipe{A: q.Pictures[h].Picture, B: q.Pictures[r].Picture, NameA: "traced", NameB: "raster", Caption: q.Pictures[r].Caption}
	return writeBytes(j.Path("wipe.png"), b.Bytes())
}

// readShown reads a picture of a set back, rounded to 8 bits.
func readShown(path string) (*image.NRGBA, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	m, err := png.Decode(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	out := image.NewNRGBA(m.Bounds())
	draw.Draw(out, out.Bounds(), m, m.Bounds().Min, draw.Src)
	return out, nil
}
