package view

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"

	"catchlight/scene/colour"
)

// Cube is a table of colours in the .cube format, of one dimension (a curve for each channel) or three.
//
// Source of the format: Cube LUT Specification 1.0, Adobe Systems, 2013: keywords TITLE, DOMAIN_MIN, DOMAIN_MAX and one
// of LUT_1D_SIZE and LUT_3D_SIZE stand before the data, # begins a comment, red runs fastest. The domain holds for both
// kinds; what lies outside it is brought to its edge. Keywords of other makers are errors, not guesses.
type Cube struct {
	Title     string
	Low, High colour.RGB // the domain
	size      int
	solid     bool         // three dimensions
	pix       []colour.RGB // size, or size^3 with red fastest
}

// Limits of a .cube file. The first two are the format's.
const (
	maxCurve    = 65536
	maxSolid    = 256
	maxCubeLine = 1024
)

// ParseCube reads a .cube file; name is used in messages only, which have the line. Memory grows with the data that are
// there, not with what a size claims.
//
// Long: one case a keyword, and every refusal with its line.
func ParseCube(name string, data []byte) (*Cube, error) {
	c := &Cube{High: colour.Grey(1)}
	seen := map[string]int{}
	want, line := 0, 0
	fail := func(format string, a ...any) (*Cube, error) {
		return nil, fmt.Errorf("%s: line %d: %s", name, line, fmt.Sprintf(format, a...))
	}
	for len(data) > 0 {
		var row []byte
		row, data, _ = bytes.Cut(data, []byte("\n"))
		line++
		if len(row) > maxCubeLine {
			return fail("%d bytes long, at most %d", len(row), maxCubeLine)
		}
		text := strings.TrimSpace(string(row))
		if text == "" || text[0] == '#' {
			continue
		}
		word, rest, _ := strings.Cut(strings.ReplaceAll(text, "\t", " "), " ")
		if word[0] >= 'A' && word[0] <= 'Z' {
			if len(c.pix) > 0 {
				return fail("the keyword %s stands after the data", word)
			}
			if n := seen[word]; n > 0 {
				return fail("%s stands on line %d already", word, n)
			}
			seen[word] = line
			switch word {
			case "TITLE":
				t := strings.TrimSpace(rest)
				if len(t) < 2 || t[0] != '"' || t[len(t)-1] != '"' {
					return fail("TITLE wants a text in double quotes")
				}
				c.Title = strings.ToValidUTF8(t[1:len(t)-1], "\ufffd")
			case "DOMAIN_MIN", "DOMAIN_MAX":
				v, err := triple(strings.Fields(rest))
				if err != nil {
					return fail("%s: %v", word, err)
				}
				if word == "DOMAIN_MIN" {
					c.Low = v
				} else {
					c.High = v
				}
			case "LUT_1D_SIZE", "LUT_3D_SIZE":
				if want > 0 {
					return fail("a table is of one or of three dimensions, not of both")
				}
				top := maxCurve
				if c.solid = word == "LUT_3D_SIZE"; c.solid {
					top = maxSolid
				}
				n, err := strconv.Atoi(strings.TrimSpace(rest))
				if err != nil || n < 2 || n > top {
					return fail("%s %q, must be 2 to %d", word, strings.TrimSpace(rest), top)
				}
				c.size, want = n, n
				if c.solid {
					want = n * n * n
				}
			default:
				return fail("unknown keyword %q", word)
			}
			continue
		}
		if want == 0 {
			return fail("data before LUT_1D_SIZE or LUT_3D_SIZE")
		}
		if len(c.pix) == want {
			return fail("more than the %d colours of the table", want)
		}
		v, err := triple(strings.Fields(text))
		if err != nil {
			return fail("%v", err)
		}
		c.pix = append(c.pix, v)
	}
	switch {
	case want == 0:
		return nil, fmt.Errorf("%s: neither LUT_1D_SIZE nor LUT_3D_SIZE: not a .cube table", name)
	case len(c.pix) < want:
		return nil, fmt.Errorf("%s: the data end after %d of %d colours", name, len(c.pix), want)
	}
	for k := range c.Low {
		if !(c.High[k] > c.Low[k]) {
			return nil, fmt.Errorf("%s: DOMAIN_MIN %g is not below DOMAIN_MAX %g (channel %d)", name, c.Low[k], c.High[k], k+1)
		}
	}
	return c, nil
}

// triple reads three finite numbers.
func triple(words []string) (v colour.RGB, err error) {
	if len(words) != 3 {
		return v, fmt.Errorf("%d numbers, must be 3", len(words))
	}
	for k, w := range words {
		if v[k], err = strconv.ParseFloat(w, 64); err != nil || math.Abs(v[k]) > 1e30 || v[k] != v[k] {
			return v, fmt.Errorf("%q is not a number within 1e30", w)
		}
	}
	return v, nil
}

// At returns the table's colour at x: linear between the two entries of a curve, and in the one of six tetrahedra of a
// cell that x lies in, so that greys between greys stay grey.
//
// Source: Kasson, Nin, Plouffe and Hafner, Performing Color Space Conversions with Three-Dimensional Linear
// Interpolation, J. Electronic Imaging 4(3), 1995.
func (c *Cube) At(x colour.RGB) colour.RGB {
	var cell [3]int
	var f colour.RGB
	for k, v := range x {
		t := (v - c.Low[k]) / (c.High[k] - c.Low[k]) * float64(c.size-1)
		if !(t > 0) {
			t = 0
		}
		t = min(t, float64(c.size-1))
		cell[k] = min(int(t), c.size-2)
		f[k] = t - float64(cell[k])
	}
	if !c.solid {
		var out colour.RGB
		for k := range out {
			a, b := c.pix[cell[k]][k], c.pix[cell[k]+1][k]
			out[k] = a + f[k]*(b-a)
		}
		return out
	}
	step := [3]int{1, c.size, c.size * c.size}
	i := cell[0] + cell[1]*step[1] + cell[2]*step[2]
	// From the low corner along the axes in falling order of their fractions.
	order := [3]int{0, 1, 2}
	if f[order[0]] < f[order[1]] {
		order[0], order[1] = order[1], order[0]
	}
	if f[order[1]] < f[order[2]] {
		order[1], order[2] = order[2], order[1]
	}
	if f[order[0]] < f[order[1]] {
		order[0], order[1] = order[1], order[0]
	}
	out := c.pix[i]
	for _, k := range order {
		out = out.Add(c.pix[i+step[k]].Sub(c.pix[i]).Scale(f[k]))
		i += step[k]
	}
	return out
}

// Feed says how light is coded on its way into a table.
type Feed uint8

const (
	FeedLinear Feed = iota // exposed light as it is
	FeedSRGB               // its sRGB signal; 1 and above is 1
	FeedLog2               // stops over middle grey .18, from Table.Low at 0 to Table.High at 1
)

// Feeds are the names of the feeds in scene files, in their order.
var Feeds = [...]string{"linear", "srgb", "log2"}

// Table stands in for the transform: exposed light, coded by Feed, is looked up in Cube, and what comes out is the sRGB
// signal or, where Linear is set, linear display light.
type Table struct {
	Cube      *Cube
	Feed      Feed
	Low, High float64 // stops, of FeedLog2; Low < High
	Linear    bool
}

// display maps exposed light, >= 0, to linear display light.
func (t *Table) display(c colour.RGB) colour.RGB {
	for k, x := range c {
		switch t.Feed {
		case FeedSRGB:
			c[k] = colour.EncodeSRGB(min(x, 1))
		case FeedLog2:
			c[k] = min(1, max(0, (math.Log2(x/0.18)-t.Low)/(t.High-t.Low)))
		}
	}
	c = t.Cube.At(c)
	if !t.Linear {
		for k, x := range c {
			c[k] = colour.DecodeSRGB(min(1, max(0, x)))
		}
	}
	return c
}
