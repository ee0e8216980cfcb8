package shading

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// scattered returns the share of a point's light that the eye scatters out of the angle t (degrees): all but the sharp core of the
// photopic point spread function.
//
// Source: Spencer, Shirley, Zimmerman and Greenberg, Physically-Based Glare Effects for Digital Images, SIGGRAPH 1995, equation 5:
// 0.384 f0 + 0.478 f1 + 0.138 f2, f1 = 20.91/(t+.02)^3, f2 = 72.37/(t+.02)^2, in degrees and per steradian. f2 is cut at 90 degrees, where
// it integrates to 1.
func scattered(t float64) float64 {
	const a, sr = 0.02, math.Pi * math.Pi / 32400 // square degrees to steradians
	// int 2 pi t/(t+a)^3 dt and int 2 pi t/(t+a)^2 dt from 0 to t, closed.
	one := 2 * math.Pi * 20.91 * sr * t * t / (2 * a * (t + a) * (t + a))
	two := func(t float64) float64 { return 2 * math.Pi * 72.37 * sr * (math.Log((t+a)/a) + a/(t+a) - 1) }
	return 1 - (0.478*min(1, one)+0.138*min(1, two(t)/two(90)))/(0.478+0.138)
}

// Glare lays the eye's glare over a picture: a share of all light, in [0, 1], goes out into wider and wider veils. degrees is the angle
// that the picture's width spans for who looks at it. What leaves the picture is lost; inside energy is kept.
//
// Source: Kawase, Practical Implementation of High Dynamic Range Rendering, 2004, for the pyramid of smaller copies; the weight of each
// is the share that Spencer et al. give the ring that it covers.
func Glare(pix []colour.RGB, width, height int, degrees, share float64, workers int) []colour.RGB {
	type layer struct {
		w, h int
		pix  []colour.RGB
	}
	// The canvas has room round the picture, so that nothing is folded back at its edges.
	const levels = 8
	pad := 1 << levels
	w, h := (width+2*pad+pad-1)/pad*pad, (height+2*pad+pad-1)/pad*pad
	base := layer{w, h, make([]colour.RGB, w*h)}
	for y := range height {
		copy(base.pix[(y+pad)*w+pad:], pix[y*width:(y+1)*width])
	}
	pyramid := []layer{base}
	for len(pyramid) <= levels {
		a := &pyramid[len(pyramid)-1]
		b := layer{a.w / 2, a.h / 2, make([]colour.RGB, a.w*a.h/4)}
		parallel.Each(b.h, workers, func(y int) {
			for x := range b.w {
				i := 2*y*a.w + 2*x
				b.pix[y*b.w+x] = a.pix[i].Add(a.pix[i+1]).Add(a.pix[i+a.w]).Add(a.pix[i+a.w+1]).Scale(0.25)
			}
		})
		pyramid = append(pyramid, b)
	}
	// A copy k levels down, brought up by tents, is about 2^k pixels wide: it carries what falls between that radius and the next.
	pixel := degrees / float64(width)
	weight := make([]float64, levels+1)
	for k := range weight {
		in, out := scattered(pixel*math.Exp2(float64(k)-0.5)), scattered(pixel*math.Exp2(float64(k)+0.5))
		if k == 0 {
			in = 1
		}
		if k == levels {
			out = 0
		}
		weight[k] = in - out
	}
	up := pyramid[levels]
	for i := range up.pix {
		up.pix[i] = up.pix[i].Scale(weight[levels])
	}
	for k := levels - 1; k >= 0; k-- {
		a := &pyramid[k]
		out := layer{a.w, a.h, make([]colour.RGB, a.w*a.h)}
		// A texel half as wide lies a quarter of a texel from the middle of the wide one.
		at := func(i, n int) (lo, hi int, f float64) {
			lo = i/2 - 1 + i%2
			f = 0.75
			if i%2 == 1 {
				f = 0.25
			}
			return max(0, lo), min(n-1, lo+1), f
		}
		parallel.Each(a.h, workers, func(y int) {
			y0, y1, fy := at(y, up.h)
			for x := range a.w {
				x0, x1, fx := at(x, up.w)
				p := colour.Lerp(up.pix[y0*up.w+x0], up.pix[y0*up.w+x1], fx)
				q := colour.Lerp(up.pix[y1*up.w+x0], up.pix[y1*up.w+x1], fx)
				i := y*a.w + x
				out.pix[i] = colour.Lerp(p, q, fy).Add(a.pix[i].Scale(weight[k]))
			}
		})
		up = out
	}
	result := make([]colour.RGB, len(pix))
	for y := range height {
		for x := range width {
			i := y*width + x
			result[i] = pix[i].Scale(1 - share).Add(up.pix[(y+pad)*w+x+pad].Scale(share))
		}
	}
	return result
}
