package main

import (
	"encoding/xml"
	"fmt"
	"image"
	"strings"
	"testing"

	"catchlight/render/page"

	"github.com/stretchr/testify/require"
)

// Texts of a sheet keep to their cells and off each other and the pictures, from cells of 48 pixels to 2048, however long the captions.
func TestCaptionsKeepApart(t *testing.T) {
	long := strings.Repeat("objects.ferry-keeper.iris.colour ", 4) + strings.Repeat("abcdefghij", 12)
	for _, size := range [][2]int{{48, 48}, {57, 200}, {64, 36}, {96, 96}, {150, 84}, {256, 256}, {512, 64}, {2048, 48}} {
		for _, mm := range []float64{0, 3e-4, 0.37, 30, 123456} {
			w, h := size[0], size[1]
			rows := []string{strings.Repeat(long+"\n", 6) + "pupil 2 mm", "references"}
			columns := []string{long, "window", strings.Repeat("W", 300)}
			var grid [][]picture
			for range rows {
				var row []picture
				for range columns {
					row = append(row, picture{m: image.NewNRGBA(image.Rect(0, 0, w, h)), mm: mm, words: []string{"+0.0 EV, 1234 samples (16 to 4096), denoised", "error 10.2 / 123.4"}})
				}
				grid = append(grid, row)
			}
			p := sheetPage(long, long, columns, rows, grid, w, h)
			boxes, pictures := textBoxes(t, p)
			require.Len(t, pictures, 6)
			for i, a := range boxes {
				require.False(t, a.x0 < 0 || a.x1 > float64(p.W) || a.y0 < 0 || a.y1 > float64(p.H), "%v leaves the page of %v", a, size)
				for _, b := range append(boxes[i+1:len(boxes):len(boxes)], pictures...) {
					require.False(t, a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1, "%v and %v at %v", a, b, size)
				}
				// Right of the rows' captions each text stands within one column.
				if a.x0 >= pictures[0].x0 {
					in := false
					for _, q := range pictures[:3] {
						in = in || a.x0 >= q.x0-0.01 && a.x1 <= q.x1+0.01
					}
					require.True(t, in, "%v leaves its cell at %v", a, size)
				}
			}
		}
	}
}

type textBox struct {
	x0, y0, x1, y1 float64
	text           string
}

// textBoxes reads the page's SVG: letters of the fonts reach from 0.95 of their size above the line to 0.22 below it.
func textBoxes(t *testing.T, p *page.Page) (boxes, pictures []textBox) {
	t.Helper()
	data, err := p.SVG()
	require.NoError(t, err)
	var doc struct {
		Text []struct {
			X      float64 `xml:"x,attr"`
			Y      float64 `xml:"y,attr"`
			Size   float64 `xml:"font-size,attr"`
			Anchor string  `xml:"text-anchor,attr"`
			Weight string  `xml:"font-weight,attr"`
			Text   string  `xml:",chardata"`
		} `xml:"text"`
		Image []struct {
			X      float64 `xml:"x,attr"`
			Y      float64 `xml:"y,attr"`
			Width  float64 `xml:"width,attr"`
			Height float64 `xml:"height,attr"`
		} `xml:"image"`
	}
	require.NoError(t, xml.Unmarshal(data, &doc))
	for _, q := range doc.Text {
		w := page.TextWidth(q.Text, q.Size, q.Weight == "bold")
		x := q.X
		if q.Anchor == "end" {
			x -= w
		}
		boxes = append(boxes, textBox{x, q.Y - 0.95*q.Size, x + w, q.Y + 0.22*q.Size, q.Text})
	}
	for i, q := range doc.Image {
		pictures = append(pictures, textBox{q.X, q.Y, q.X + q.Width, q.Y + q.Height, fmt.Sprint("picture ", i)})
	}
	return boxes, pictures
}
