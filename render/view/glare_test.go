package view

import (
	"math"
	"testing"

	"catchlight/scene/colour"
)

// A point in the middle of a picture spreads as the closed form says, integrated over pixels by a fine grid, from the point itself to
// 40 pixels away.
func TestGlareProfile(t *testing.T) {
	const side, at = 257, 128
	g := Glare{Share: 1, Radius: 2}
	pic, alpha := make([]colour.RGB, side*side), make([]float64, side*side)
	pic[at*side+at] = colour.Grey(1)
	out, _ := g.Spread(pic, alpha, side, 2)
	for _, p := range [][2]int{{0, 0}, {1, 0}, {2, 2}, {4, 0}, {5, 7}, {16, 0}, {0, 40}} {
		want := 0.0
		const fine = 20
		for k := range fine * fine {
			x, y := float64(p[0])+(float64(k%fine)+0.5)/fine-0.5, float64(p[1])+(float64(k/fine)+0.5)/fine-0.5
			want += math.Pow(1+(x*x+y*y)/4, -1.5) / (2 * math.Pi * 4) / fine / fine
		}
		got := out[(at+p[1])*side+at+p[0]][1]
		tolerance := 0.08
		if p == [2]int{} { // three boxes are a coarse Gaussian of half a pixel
			tolerance = 0.15
		}
		if math.Abs(got/want-1) > tolerance {
			t.Errorf("at %v: %.3g, want %.3g", p, got, want)
		}
	}
}

// All light stays in the picture, wherever it is and however wide the halo, and so does the coverage; an even picture stays even, and
// the share that does not spread stays where it was.
func TestGlareKeepsLight(t *testing.T) {
	for _, g := range []Glare{{0.08, 1}, {0.5, 0.05}, {1, 40}, {0.2, 3}} {
		const w, h = 61, 23
		pic, alpha := make([]colour.RGB, w*h), make([]float64, w*h)
		var sum colour.RGB
		for i, v := range []int{0, 5, w - 1, 7*w + 30, w*h - 1, 12 * w} {
			pic[v] = colour.RGB{1e4, float64(i), 0.1}
			sum = sum.Add(pic[v])
			alpha[v] = 1
		}
		out, cover := g.Spread(pic, alpha, w, 3)
		var got colour.RGB
		a := 0.0
		for i, c := range out {
			got, a = got.Add(c), a+cover[i]
		}
		for c := range got {
			near(t, "light", colour.Grey(got[c]/sum[c]), colour.Grey(1), 1e-9)
		}
		near(t, "coverage", colour.Grey(a), colour.Grey(6), 1e-9)
		if out[5][1] < (1-g.Share)*pic[5][1] {
			t.Errorf("%v: the point keeps %g", g, out[5][1])
		}
		for i := range pic {
			pic[i], alpha[i] = colour.RGB{3, 2, 1}, 1
		}
		out, cover = g.Spread(pic, alpha, w, 3)
		for i, c := range out {
			near(t, "even", c, colour.RGB{3, 2, 1}, 1e-12)
			near(t, "even coverage", colour.Grey(cover[i]), colour.Grey(1), 1e-12)
		}
	}
}

// The bits do not depend on the workers.
func TestGlareWorkers(t *testing.T) {
	const w, h = 90, 50
	pic, alpha := make([]colour.RGB, w*h), make([]float64, w*h)
	for i := range pic {
		pic[i] = colour.RGB{float64(i * i % 97), float64(i % 13), 1 / float64(i+1)}
	}
	g := Glare{0.3, 2}
	a, _ := g.Spread(pic, alpha, w, 1)
	b, _ := g.Spread(pic, alpha, w, 5)
	for i := range a {
		if a[i] != b[i] {
			t.Fatalf("pixel %d: %v and %v", i, a[i], b[i])
		}
	}
}
