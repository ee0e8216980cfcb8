package main

import (
	"fmt"
	"image"
	"image/color"
	"math"

	"catchlight/render/page"
	"catchlight/scene/adopt"
	"catchlight/scene/seat"
)

// seatScale is the distance in mm at the ends of the map's scale.
const seatScale = 1.0

// seatColour is the colour of a distance: white where globe and lid touch, blue toward a gap, orange toward what reaches into the
// lid, black where it comes out of it, and the ground where there is no lid.
//
// Source of the colours between: Harrower and Brewer, An Online Tool for Selecting Colour Schemes for Maps, The Cartographic Journal
// 40 (2003), 27 (diverging, orange to purple, its ends; from memory).
func seatColour(mm float64, out bool) color.NRGBA {
	if math.IsNaN(mm) {
		return color.NRGBA{0x30, 0x30, 0x30, 0xff}
	}
	if out {
		return color.NRGBA{0xd0, 0x20, 0x10, 0xff}
	}
	t := max(-1, min(1, mm/seatScale))
	end := [3]float64{0x54, 0x6a, 0xc8}
	if t < 0 {
		end, t = [3]float64{0xe0, 0x82, 0x14}, -t
	}
	var c [3]uint8
	for k := range c {
		c[k] = uint8(0xf7 + (end[k]-0xf7)*math.Sqrt(t) + 0.5)
	}
	return color.NRGBA{c[0], c[1], c[2], 0xff}
}

// seatingMap draws how the eyes sit: for each eye as modelled and the worst over all gazes, with their scale in mm. It is nil where
// nothing was measured.
//
// Long: one page laid out from top to bottom.
func seatingMap(h *adopt.Head) ([]byte, error) {
	const side, gap, top, foot = 300, 24, 74, 84
	var eyes []*adopt.Socketed
	for i := range h.Eyes {
		if h.Eyes[i].Seat != nil {
			eyes = append(eyes, &h.Eyes[i])
		}
	}
	if len(eyes) == 0 {
		return nil, nil
	}
	p := &page.Page{W: gap + len(eyes)*(side+gap), H: top + 2*(side+gap+20) + foot, Title: "Seating of the eyes"}
	p.Rect(0, 0, float64(p.W), float64(p.H), color.NRGBA{0x18, 0x18, 0x18, 0xff})
	p.Text(gap, 28, 17, true, page.Start, page.Ink, "Globe and lids, seen from before the face")
	p.Text(gap, 48, 12, false, page.Start, page.Quiet, "by direction from the globe's centre:")
	p.Text(gap, 64, 12, false, page.Start, page.Quiet, "a ring every 20 degrees, 4.2 mm on a globe of 12")
	for k, e := range eyes {
		x := gap + k*(side+gap)
		for row, q := range []struct {
			m    *seat.Map
			what string
			fit  *seat.Fit
		}{{&e.Seat.Map, "as modelled", &e.Seat.Rest}, {&e.Seat.Worst, "worst over gazes of 30 degrees", &e.Seat.Turns}} {
			y := top + row*(side+gap+20)
			name := e.Side
			if name == "" {
				name = "only"
			}
			p.Text(float64(x), float64(y+13), 13, true, page.Start, page.Ink, name+" eye, "+q.what)
			y += 20
			im := image.NewNRGBA(image.Rect(0, 0, side, side))
			for j := range side {
				for i := range side {
					c := q.m.N*j/side*q.m.N + q.m.N*i/side
					im.SetNRGBA(i, j, seatColour(q.m.MM[c], q.m.Out[c]))
				}
			}
			p.Image(x, y, im, name+" eye, "+q.what)
			mid := [2]float64{float64(x) + side/2, float64(y) + side/2}
			deg := float64(side) / (float64(q.m.N) * q.m.Cell) // pixels a degree
			for a := 20.0; a <= 60; a += 20 {
				p.Circle(mid[0], mid[1], a*deg, 1, color.NRGBA{0x80, 0x80, 0x80, 0x90})
			}
			for _, w := range []struct {
				w seat.Worst
				c color.NRGBA
			}{{q.fit.Gap, color.NRGBA{0x20, 0x40, 0xc0, 0xff}}, {q.fit.Clip, color.NRGBA{0, 0, 0, 0xff}}} {
				if w.w.MM <= 0.02 {
					continue
				}
				v := w.w.At.Sub(e.Centre).Unit()
				th := math.Acos(max(-1, min(1, v.Z))) * 180 / math.Pi * deg
				l := max(1e-9, math.Hypot(v.X, v.Y))
				p.Circle(mid[0]+th*v.X/l, mid[1]-th*v.Y/l, 6, 2, w.c)
			}
		}
	}
	y := float64(p.H - foot + 4)
	w := float64(min(p.W-2*gap, 420))
	for i := range int(w) {
		mm := (2*float64(i)/(w-1) - 1) * seatScale
		p.Rect(gap+float64(i), y, 1, 16, seatColour(mm, false))
	}
	for _, mm := range []float64{-1, -0.3, -0.1, 0, 0.1, 0.3, 1} {
		at := gap + (mm/seatScale+1)/2*w
		p.Rect(at, y+16, 1, 4, page.Quiet)
		if math.Abs(mm) > 0.2 || mm == 0 {
			p.Text(at, y+32, 12, false, page.Middle, page.Ink, fmt.Sprintf("%g", mm))
		}
	}
	p.Text(gap, y+50, 12, false, page.Start, page.Ink, "mm: in the lid (hidden), touching, gap")
	p.Rect(gap, y+58, 12, 12, seatColour(0, true))
	p.Text(gap+18, y+69, 12, false, page.Start, page.Ink, "globe comes out of the lid; circles: worst gap (blue), worst clip (black)")
	return p.PNG()
}
