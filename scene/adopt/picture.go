package adopt

import (
	"fmt"
	"math"

	"catchlight/scene/imageio"
)

// look is what a picture shows of itself.
type look struct {
	w, h, depth int
	encoded     bool
	mean        [3]float64 // of the signal
	lo, hi      float64
	grey        bool    // the channels are equal
	unit        float64 // share of texels that are unit normals within 3 %
	curl        float64 // correlation of the cross slopes: +1 green up, -1 green down
	middle      float64 // median of the first channel
	cells       *cells  // where it is painted
	zero, scale float64 // of a height map, as its file states them
	stated      bool    // it does
}

// inspect reads a picture and looks at it, at no more than some 500 x 500 places (and their neighbours).
func inspect(path string) (look, error) {
	p, err := imageio.Read(path)
	if err != nil {
		return look{}, err
	}
	l := look{w: p.W, h: p.H, depth: p.Depth, encoded: p.Encoded, lo: math.Inf(1), hi: math.Inf(-1), grey: true}
	l.zero, l.scale, l.stated = heightText(p.Attrs)
	c := p.RGB()
	step := max(1, int(math.Sqrt(float64(p.W)*float64(p.H)/250_000)))
	l.cells = newCells(p.W, p.H)
	var n, unit float64
	var vals []float32
	for y := 0; y < p.H; y += step {
		for x := 0; x < p.W; x += step {
			i := y*p.W + x
			r, g, b := float64(c[0][i]), float64(c[1][i]), float64(c[2][i])
			if math.IsNaN(r+g+b) || math.IsInf(r+g+b, 0) {
				continue
			}
			n++
			l.cells.add((float64(x)+0.5)/float64(p.W), (float64(y)+0.5)/float64(p.H), [3]float32{c[0][i], c[1][i], c[2][i]})
			l.mean[0], l.mean[1], l.mean[2] = l.mean[0]+r, l.mean[1]+g, l.mean[2]+b
			l.lo, l.hi = min(l.lo, r, g, b), max(l.hi, r, g, b)
			if math.Abs(r-g) > 0.01 || math.Abs(r-b) > 0.01 {
				l.grey = false
			}
			vals = append(vals, c[0][i])
			if m := math.Hypot(math.Hypot(2*r-1, 2*g-1), 2*b-1); math.Abs(m-1) < 0.03 {
				unit++
			}
		}
	}
	if n == 0 {
		return l, fmt.Errorf("%s: no texel is finite", path)
	}
	for k := range l.mean {
		l.mean[k] /= n
	}
	l.unit, l.middle = unit/n, float64(median(vals))
	l.curl = greenUp(p.W, p.H, c[0], c[1], c[2])
	return l, nil
}

// greenUp tells which way green points in a tangent-space normal map: +1 up in the picture, -1 down, near 0 unknown.
//
// A normal map of a height field h has the slopes (p, q) = (dh/dx, dh/dy) = (-nx/nz, -ny/nz), and mixed derivatives
// commute: dp/dy = dq/dx, with y in the direction that green means. The result is the correlation of the two for y up.
// Source: the integrability condition, Frankot and Chellappa, IEEE Trans. PAMI 10 (1988), 439-451.
func greenUp(w, h int, r, g, b []float32) float64 {
	if w < 3 || h < 3 {
		return 0
	}
	slope := func(i int) (p, q float64) {
		nz := max(0.05, 2*float64(b[i])-1)
		return -(2*float64(r[i]) - 1) / nz, -(2*float64(g[i]) - 1) / nz
	}
	// Neighbouring texels, at rows that are spread over the picture: all columns of at most 512 of them.
	step := max(1, h/512)
	var ab, aa, bb float64
	for y := 1; y+1 < h; y += step {
		for x := 1; x+1 < w; x++ {
			pu, _ := slope((y-1)*w + x)
			pd, _ := slope((y+1)*w + x)
			_, ql := slope(y*w + x - 1)
			_, qr := slope(y*w + x + 1)
			a, c := pu-pd, qr-ql // y up: rows run down
			ab, aa, bb = ab+a*c, aa+a*a, bb+c*c
		}
	}
	if aa == 0 || bb == 0 || math.IsNaN(ab) {
		return 0
	}
	return ab / math.Sqrt(aa*bb)
}
