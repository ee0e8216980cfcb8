package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/render"
	"catchlight/scene/colour"
)

// side is what one program rendered of a scene.
type side struct {
	shown [][]colour.RGB // [seed][pixel], in 8-bit levels
	about [][]colour.RGB // the same in the mean over 3 x 3 pixels; empty where the pictures have no size
	cpu   []float64      // [seed]: processor time of the run, s
	bare  []float64      // processor time of runs of one sample, s
}

// measured is a scene rendered by both programs.
type measured struct {
	parts     []render.Zone // [pixel]
	samples   float64       // of a run, less those of a bare one
	then, now side
}

// parts are the rows of a scene.
var parts = []struct {
	name string
	zone render.Zone
}{{"iris", render.Iris}, {"white", render.Sclera}, {"limbus", render.Limbus}, {"skin", render.Around}}

// variance is the unbiased variance between seeds, in the mean over channels and over the pixels of a part, without the seed
// left out (-1: with all); n is how many pixels there are.
func (s *side) variance(zones []render.Zone, part render.Zone, without int) (v float64, n int) {
	return variance(s.shown, zones, part, without)
}

func variance(pics [][]colour.RGB, zones []render.Zone, part render.Zone, without int) (v float64, n int) {
	for i, z := range zones {
		if z != part {
			continue
		}
		n++
		for c := range 3 {
			var k, mean, m2 float64
			for j, pic := range pics {
				if j == without {
					continue
				}
				k++
				d := pic[i][c] - mean
				mean += d / k
				m2 += d * (pic[i][c] - mean)
			}
			v += m2 / (k - 1) / 3
		}
	}
	return v / max(1, float64(n)), n
}

// seconds is the processor time of the samples of a run, without the seed left out: the least of the bare runs is taken off, as the
// first may make what later runs find made.
func (s *side) seconds(without int) float64 {
	var sum, n float64
	for i, t := range s.cpu {
		if i != without {
			sum, n = sum+t, n+1
		}
	}
	return sum/n - slices.Min(s.bare)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}

// gain is how many times sooner now reaches an error in a part than then, and its standard error by leaving out one seed of
// both at a time (the jackknife, on the logarithm).
func (m *measured) gain(part render.Zone) (ratio, se float64, ok bool) {
	at := func(without int) float64 {
		a, _ := m.then.variance(m.parts, part, without)
		b, _ := m.now.variance(m.parts, part, without)
		return math.Log(a * m.then.seconds(without) / (b * m.now.seconds(without)))
	}
	all := at(-1)
	if math.IsNaN(all) || math.IsInf(all, 0) {
		return 0, 0, false
	}
	n := len(m.now.shown)
	if n < 3 { // leaving out one of two leaves no variance
		return math.Exp(all), math.NaN(), true
	}
	left := make([]float64, n)
	for i := range left {
		left[i] = at(i)
	}
	sum, mid := 0.0, mean(left)
	for _, v := range left {
		sum += (v - mid) * (v - mid)
	}
	return math.Exp(all), math.Exp(all) * math.Sqrt(sum*float64(n-1)/float64(n)), true
}

// around is the mean over the 3 x 3 pixels about each, as far as they lie in the picture.
func around(pic []colour.RGB, width int) []colour.RGB {
	out := make([]colour.RGB, len(pic))
	height := len(pic) / width
	for i := range pic {
		n := 0.0
		for y := max(0, i/width-1); y <= min(height-1, i/width+1); y++ {
			for x := max(0, i%width-1); x <= min(width-1, i%width+1); x++ {
				out[i] = out[i].Add(pic[y*width+x])
				n++
			}
		}
		out[i] = out[i].Scale(1 / n)
	}
	return out
}

const header = `| scene | part | pixels | error then, now (levels of 255) | over 3 x 3 pixels | µs a sample then, now | ratio of time a sample | times sooner to equal error |
| --- | --- | --- | --- | --- | --- | --- | --- |
`

// rows are the scene's rows of the table.
func (m *measured) rows(scene string) string {
	var b strings.Builder
	then, now := m.then.seconds(-1), m.now.seconds(-1)
	for _, p := range parts {
		a, n := m.then.variance(m.parts, p.zone, -1)
		c, _ := m.now.variance(m.parts, p.zone, -1)
		if n == 0 {
			continue
		}
		sooner := "-"
		if ratio, se, ok := m.gain(p.zone); ok && math.IsNaN(se) {
			sooner = fmt.Sprintf("%.2f", ratio)
		} else if ok {
			sooner = fmt.Sprintf("%.2f ± %.2f", ratio, se)
		}
		a3, _ := variance(m.then.about, m.parts, p.zone, -1)
		c3, _ := variance(m.now.about, m.parts, p.zone, -1)
		fmt.Fprintf(&b, "| %s | %s | %d | %.2f, %.2f | %.2f, %.2f | %.2f, %.2f | %.2f | %s |\n", scene, p.name, n, math.Sqrt(a), math.Sqrt(c), math.Sqrt(a3), math.Sqrt(c3),
			then/m.samples*1e6, now/m.samples*1e6, now/then, sooner)
	}
	return b.String()
}
