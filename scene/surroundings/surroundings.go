// Package surroundings makes places as latitude-longitude pictures: rooms and landscapes of the tidal marsh for eyes to mirror. They are
// made from a list of boxes, balls and painted skies by a ray from the eye through each texel, the same on every machine, when they
// are asked for and not before.
//
// Radiance is relative to the key of the place, its window, door or bright sky, which is about 1. Each place is there with its key and
// without it (NAME-unlit), for a light of one's own in its stead.
//
// Lengths are in mm; the eye is at the origin, +Y is up, and the key lies toward +Z. The layout of pictures is that of OpenEXR's
// latitude-longitude environment maps: -Z in the middle of the left edge, +X at a quarter, +Z in the middle.
//
// Levels: floors 0.02 to 0.05 of the key, ceilings 0.06 to 0.1, walls 0.03 to 0.08, a second window 0.05 to 0.2. Source: common practice,
// no published source; the overcast sky is that of CIE S 011/E:2003.
package surroundings

import (
	"math"
	"slices"
	"strings"
	"sync"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Version changes when any place looks other than before.
const Version = "3"

// Width and Height of the pictures in texels: about three texels to a pixel where a cornea mirrors into a picture of 2000 pixels of
// a whole eye.
const (
	Width  = 4096
	Height = 2048
)

// unlit ends the name of a place without its key.
const unlit = "-unlit"

// place returns what is seen in a direction.
type place func(d geom.Vec) colour.RGB

// places makes each place, with or without its key.
var places = map[string]func(key bool) place{
	"cottage-room":   cottageRoom,
	"boathouse-door": boathouseDoor,
	"marsh-dusk":     marshDusk,
	"marsh-overcast": marshOvercast,
	"studio-strips":  studioStrips,
}

// Names returns the names of all places in order.
func Names() (out []string) {
	for n := range places {
		out = append(out, n, n+unlit)
	}
	slices.Sort(out)
	return out
}

// Has reports whether there is a place of the name.
func Has(name string) bool {
	_, ok := places[strings.TrimSuffix(name, unlit)]
	return ok
}

// made keeps the last pictures, so that the looks and frames of one run share them.
var made struct {
	sync.Mutex
	name []string
	pix  [][3][]float32
}

// keep is how many pictures stay: 100 MB each.
const keep = 1

// Make returns the picture of a place: three planes of Width x Height values, row by row from the top left, which must not be changed.
// ok is false where there is none of the name.
func Make(name string) (planes [3][]float32, ok bool) {
	if !Has(name) {
		return planes, false
	}
	made.Lock()
	defer made.Unlock()
	if i := slices.Index(made.name, name); i >= 0 {
		return made.pix[i], true
	}
	planes = paint(places[strings.TrimSuffix(name, unlit)](!strings.HasSuffix(name, unlit)), Width, Height)
	made.name, made.pix = append(made.name, name), append(made.pix, planes)
	if n := len(made.name) - keep; n > 0 {
		made.name, made.pix = slices.Delete(made.name, 0, n), slices.Delete(made.pix, 0, n)
	}
	return planes, true
}

// paint looks once through the middle of each texel of a picture of half the size. Where that differs from its neighbours each texel is
// looked through four times; the rest is interpolated.
func paint(see place, w, h int) (planes [3][]float32) {
	for c := range planes {
		planes[c] = make([]float32, w*h)
	}
	cw, ch := w/2, h/2
	coarse, busy := make([]single, cw*ch), make([]bool, cw*ch)
	parallel.Each(ch, 0, func(y int) {
		for x := range cw {
			coarse[y*cw+x] = short(see(direction((float64(x)+0.5)/float64(cw), (float64(y)+0.5)/float64(ch))))
		}
	})
	parallel.Each(ch, 0, func(y int) {
		for x := range cw {
			busy[y*cw+x] = edge(coarse, cw, ch, x, y)
		}
	})
	parallel.Each(h, 0, func(y int) {
		// The texel lies a quarter of a coarse one from the middle of its own.
		y0 := y / 2
		y1 := min(max(y0-1+2*(y%2), 0), ch-1)
		for x := range w {
			x0 := x / 2
			x1 := (x0 - 1 + 2*(x%2) + cw) % cw
			var c single
			if q := [4]int{y0*cw + x0, y0*cw + x1, y1*cw + x0, y1*cw + x1}; busy[q[0]] || busy[q[1]] || busy[q[2]] || busy[q[3]] {
				var sum colour.RGB
				for k := range 4 {
					sum = sum.Add(see(direction((float64(x)+0.25+0.5*float64(k%2))/float64(w), (float64(y)+0.25+0.5*float64(k/2))/float64(h))))
				}
				c = short(sum.Scale(0.25))
			} else {
				for k := range c {
					c[k] = (9*coarse[q[0]][k] + 3*coarse[q[1]][k] + 3*coarse[q[2]][k] + coarse[q[3]][k]) / 16
				}
			}
			i := y*w + x
			planes[0][i], planes[1][i], planes[2][i] = c[0], c[1], c[2]
		}
	})
	return planes
}

// single is a colour as it is kept.
type single [3]float32

func short(c colour.RGB) single { return single{float32(c[0]), float32(c[1]), float32(c[2])} }

// edge reports whether a texel differs by an eighth from one beside, above or below it.
func edge(p []single, w, h, x, y int) bool {
	a := p[y*w+x][1]
	for _, q := range [4]int{y*w + (x+1)%w, y*w + (x+w-1)%w, min(y+1, h-1)*w + x, max(y-1, 0)*w + x} {
		if b := p[q][1]; max(a, b) > 1.125*min(a, b)+1e-4 {
			return true
		}
	}
	return false
}

// direction returns the direction of a point of the picture, u and v in [0, 1].
func direction(u, v float64) geom.Vec {
	s, c := math.Sincos(2 * math.Pi * u)
	sv, cv := math.Sincos(math.Pi * v)
	return geom.Vec{X: s * sv, Y: cv, Z: -c * sv}
}
