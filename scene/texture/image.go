package texture

import (
	"fmt"
	"math"
	"sync"
)

// Image is a picture in memory: W x H texels of C channels (1 to 4), row-major from the top left, read as linear
// values. It stays in the bit depth that it came in, and its mip-maps stay in it too (those above the first in 16 bits
// where the picture has 8); they are averaged in linear light. After BuildMips any number of workers may read an Image
// at once.
type Image struct {
	c    int
	base level
	mips []level // level 1, 2, ... down to 1 x 1
	once sync.Once
	mean [4]float64
}

// NewImage wraps linear values: pix has w*h*c entries, row-major from the top left, channels interleaved. It keeps
// pix and does not copy it. It panics where the sizes do not fit, which is a programmer's mistake.
func NewImage(w, h, c int, pix []float32) *Image {
	mustFit(w, h, c, len(pix))
	return &Image{c: c, base: level{w: w, h: h, coding: Float, pix: pix}}
}

// NewImage8 wraps bytes coded as Signal8 or SRGB8; the layout is that of NewImage.
func NewImage8(w, h, c int, pix []uint8, coding Coding) *Image {
	mustFit(w, h, c, len(pix))
	if coding.bytes() != 1 {
		panic("texture: not a coding of 8 bits")
	}
	return &Image{c: c, base: level{w: w, h: h, coding: coding, pix8: pix, table: tables[coding]}}
}

// NewImage16 wraps words coded as Signal16, SRGB16 or Half; the layout is that of NewImage.
func NewImage16(w, h, c int, pix []uint16, coding Coding) *Image {
	mustFit(w, h, c, len(pix))
	if coding.bytes() != 2 {
		panic("texture: not a coding of 16 bits")
	}
	return &Image{c: c, base: level{w: w, h: h, coding: coding, pix16: pix, table: tables[coding]}}
}

func mustFit(w, h, c, n int) {
	if w < 1 || h < 1 || c < 1 || c > 4 || n != w*h*c {
		panic(fmt.Sprintf("texture: %d values do not make a picture of %d x %d with %d channels", n, w, h, c))
	}
}

// Size returns the width and height in texels and the number of channels.
func (im *Image) Size() (w, h, c int) { return im.base.w, im.base.h, im.c }

// Bytes returns the memory that a picture takes with its mip-maps, in bytes.
func Bytes(w, h, c int, coding Coding) int64 {
	n := int64(w) * int64(h) * int64(c) * int64(coding.bytes())
	for w > 1 || h > 1 {
		w, h = max(1, w/2), max(1, h/2)
		n += int64(w) * int64(h) * int64(c) * int64(coding.bytes())
		coding = coding.below()
	}
	return n
}

// At returns channel c of texel (x, y), linear; (0, 0) is the top left. It panics outside the picture.
func (im *Image) At(x, y, c int) float64 { return float64(im.base.texel((y*im.base.w+x)*im.c + c)) }

// Channel returns a picture of channel c alone, in the same depth. It panics where there is no such channel.
func (im *Image) Channel(c int) *Image {
	if c < 0 || c >= im.c {
		panic(fmt.Sprintf("texture: channel %d of a picture with %d", c, im.c))
	}
	out := &Image{c: 1, base: newLevel(im.base.w, im.base.h, 1, im.base.coding)}
	for i := range im.base.w * im.base.h {
		switch k := i*im.c + c; {
		case im.base.pix8 != nil:
			out.base.pix8[i] = im.base.pix8[k]
		case im.base.pix16 != nil:
			out.base.pix16[i] = im.base.pix16[k]
		default:
			out.base.pix[i] = im.base.pix[k]
		}
	}
	return out
}

// Mean returns the mean of each channel; channels that the picture does not have are 0. It builds the mip-maps.
func (im *Image) Mean() [4]float64 {
	im.BuildMips()
	return im.mean
}

// BuildMips makes the smaller copies of the picture, each half as wide and high (rounded down, at least 1) as the
// one before. A texel of a copy is the area-weighted mean of what it covers, so every level has the same mean but for
// the rounding of its coding, whatever its size. Calling it again does nothing.
func (im *Image) BuildMips() {
	im.once.Do(func() {
		c := im.c
		buf := make([]float32, im.base.w*c)
		for y := range im.base.h {
			var sum [4]float64
			for i, v := range im.base.row(y*im.base.w*c, im.base.w*c, buf) {
				sum[i%c] += float64(v)
			}
			for k := range c {
				im.mean[k] += sum[k] / float64(im.base.w) / float64(im.base.h)
			}
		}
		src, coding := &im.base, im.base.coding
		for src.w > 1 || src.h > 1 {
			im.mips = append(im.mips, newLevel(max(1, src.w/2), max(1, src.h/2), c, coding))
			dst := &im.mips[len(im.mips)-1]
			shrink(src, dst, c)
			next := *dst
			src, coding = &next, coding.below()
		}
	})
}

// shrink averages one level into the next. Weights are areas of overlap: two halves where the side is even, three
// parts where it is odd.
func shrink(src, dst *level, c int) {
	w, h, nw, nh := src.w, src.h, dst.w, dst.h
	buf := make([]float32, w*c)
	acc := make([]float64, w*c)
	out := make([]float32, nw*c)
	for j := 0; j < nh; j++ {
		clear(acc)
		y0, y1 := span(j, h, nh)
		for y := y0; y < y1; y++ {
			wt := overlap(j, y, h, nh)
			for i, v := range src.row(y*w*c, w*c, buf) {
				acc[i] += wt * float64(v)
			}
		}
		for i := 0; i < nw; i++ {
			x0, x1 := span(i, w, nw)
			for k := 0; k < c; k++ {
				s := 0.0
				for x := x0; x < x1; x++ {
					s += overlap(i, x, w, nw) * acc[x*c+k]
				}
				out[i*c+k] = float32(s)
			}
		}
		dst.put(j*nw*c, out)
	}
}

// span returns the half-open range of source texels that target texel i of nw covers, of w.
func span(i, w, nw int) (a, b int) { return i * w / nw, ((i+1)*w + nw - 1) / nw }

// overlap returns the share of target texel i that source texel x covers; the shares of a target add up to 1.
func overlap(i, x, w, nw int) float64 {
	// In units of 1/nw source texels: the target covers [i w, (i+1) w), the source [x nw, (x+1) nw).
	return float64(min((i+1)*w, (x+1)*nw)-max(i*w, x*nw)) / float64(w)
}

// tap holds the four texels and weights of a bilinear look-up.
type tap struct {
	i00, i10, i01, i11 int // entries of channel 0
	fx, fy             float64
}

// at finds the four texels about (u, v), which are in [0, 1], in a level of w x h texels.
func at(u, v float64, w, h, c int, wrap Wrap) tap {
	x, y := u*float64(w)-0.5, v*float64(h)-0.5
	x0, y0 := int(math.Floor(x)), int(math.Floor(y))
	t := tap{fx: x - float64(x0), fy: y - float64(y0)}
	xa, xb := edge(x0, w, wrap), edge(x0+1, w, wrap)
	ya, yb := edge(y0, h, wrap), edge(y0+1, h, wrap)
	t.i00, t.i10, t.i01, t.i11 = (ya*w+xa)*c, (ya*w+xb)*c, (yb*w+xa)*c, (yb*w+xb)*c
	return t
}

// edge brings a texel index that is at most one step outside [0, n) back inside.
func edge(i, n int, wrap Wrap) int {
	if i < 0 {
		if wrap == Repeat {
			return n - 1
		}
		return 0
	}
	if i >= n {
		if wrap == Repeat {
			return 0
		}
		return n - 1
	}
	return i
}

// at returns level k.
func (im *Image) at(k int) *level {
	if k == 0 {
		return &im.base
	}
	return &im.mips[k-1]
}

// bilinear returns channels 0 and, where rgb is set and the picture has them, 1 and 2 at (u, v) of level k; a
// picture of one channel is grey.
func (im *Image) bilinear(k int, u, v float64, wrap Wrap, rgb bool) (r, g, b float64) {
	l := im.at(k)
	t := at(u, v, l.w, l.h, im.c, wrap)
	w00, w10, w01, w11 := (1-t.fx)*(1-t.fy), t.fx*(1-t.fy), (1-t.fx)*t.fy, t.fx*t.fy
	r = w00*float64(l.texel(t.i00)) + w10*float64(l.texel(t.i10)) + w01*float64(l.texel(t.i01)) + w11*float64(l.texel(t.i11))
	if !rgb || im.c == 1 {
		return r, r, r
	}
	g = w00*float64(l.texel(t.i00+1)) + w10*float64(l.texel(t.i10+1)) + w01*float64(l.texel(t.i01+1)) + w11*float64(l.texel(t.i11+1))
	if im.c == 2 {
		return r, g, 0
	}
	b = w00*float64(l.texel(t.i00+2)) + w10*float64(l.texel(t.i10+2)) + w01*float64(l.texel(t.i01+2)) + w11*float64(l.texel(t.i11+2))
	return r, g, b
}

// gradient returns the derivative of channel 0 by u and v at level k.
//
// The surface that is differentiated is the biquadratic B-spline over the texels (the bilinear surface smoothed by
// a box one texel wide), so the derivative is continuous across texel edges and is that of one smooth height field:
// mixed derivatives agree. On a ramp it is exact. Source of the spline: de Boor, A Practical Guide to Splines, 1978.
func (im *Image) gradient(k int, u, v float64, wrap Wrap) (du, dv float64) {
	l := im.at(k)
	w, h := l.w, l.h
	x, y := u*float64(w), v*float64(h)
	ix, iy := min(int(x), w-1), min(int(y), h-1)
	tx, ty := x-float64(ix)-0.5, y-float64(iy)-0.5 // in [-1/2, 1/2] from the centre of the nearest texel
	wx := [3]float64{0.5 * (0.5 - tx) * (0.5 - tx), 0.75 - tx*tx, 0.5 * (0.5 + tx) * (0.5 + tx)}
	wy := [3]float64{0.5 * (0.5 - ty) * (0.5 - ty), 0.75 - ty*ty, 0.5 * (0.5 + ty) * (0.5 + ty)}
	dx := [3]float64{tx - 0.5, -2 * tx, tx + 0.5}
	dy := [3]float64{ty - 0.5, -2 * ty, ty + 0.5}
	xs := [3]int{edge(ix-1, w, wrap), ix, edge(ix+1, w, wrap)}
	for j := 0; j < 3; j++ {
		row := edge(iy+j-1, h, wrap) * w
		for i := 0; i < 3; i++ {
			t := float64(l.texel((row + xs[i]) * im.c))
			du += dx[i] * wy[j] * t
			dv += wx[i] * dy[j] * t
		}
	}
	return du * float64(w), dv * float64(h)
}

// lod turns a footprint in uv units into a level and the weight of the next one: 0 where a sample is no wider than
// a texel, one more at each doubling, linear in the footprint between (so the logarithm costs nothing).
func (im *Image) lod(footprint float64) (k int, f float64) {
	x := footprint * float64(max(im.base.w, im.base.h))
	switch {
	case !(x > 1):
		return 0, 0
	case x >= 1<<30: // wider than any picture, infinity too
		return len(im.mips), 0
	}
	m, e := math.Frexp(x) // x = m 2^e, m in [1/2, 1)
	k, f = e-1, 2*m-1
	if n := len(im.mips); k >= n {
		return n, 0
	}
	return k, f
}
