package denoise

import (
	"fmt"

	"catchlight/scene/colour"
)

const leastShare, mostShare = 0.5, 2.0 // of the picture that its fitted samples may be, for layers to be fitted too

// ApplyTo filters layers of the picture with the picture's weights, each of W x H pixels; whole is what they are layers of, nil for
// the mean of the halves. Layers that add up to it come out as layers that add up to Mean, whatever Mean is by then; so do layers
// that were picked out of layers. As halves of a layer are not known, both halves' weights are taken on its mean; what that misses
// of Mean, part by part, all layers make up for alike. Rows that are not filtered come out as 0.
//
// A layer may come out a little below 0 where a fit through its pixels does so. Where fits go far astray the weights that are not
// negative serve alone.
func (f *Filter) ApplyTo(layers [][]colour.RGB, whole []colour.RGB, workers int) ([][]colour.RGB, error) {
	n := f.W * f.H
	out := make([][]colour.RGB, len(layers))
	for k, l := range layers {
		if len(l) != n {
			return nil, fmt.Errorf("denoise: layer %d has %d pixels, not %d x %d", k, len(l), f.W, f.H)
		}
		out[k] = make([]colour.RGB, n)
	}
	if whole == nil {
		whole = make([]colour.RGB, n)
		for i := range whole {
			whole[i] = f.raw(i)
		}
	}
	f.tiles(workers, 1+len(layers), func(b *worker, x0, y0 int) {
		b.loadLayer(0, whole, f.planes, x0, y0)
		for k, l := range layers {
			b.loadLayer(k+1, l, f.planes, x0, y0)
		}
		for i := range b.both {
			b.both[i] = 0
		}
		for half := range 2 {
			b.weigh(f.planes, x0, y0, half)
			f.strips(x0, y0, func(strip, _, _, n int) {
				f.fit(b, strip, n, half)
				both := b.both[strip*neighbours*lanes:][:neighbours*lanes]
				for i, k := range b.kernel {
					both[i] += 0.5 * k
				}
			})
		}
		f.strips(x0, y0, func(strip, x, y, n int) { f.share(b, strip, y*f.W+x, n, out) })
		for y := y0; y < min(y0+tileHeight, f.H-f.Bottom); y++ {
			for i := y*f.W + x0; i < y*f.W+min(x0+tileWidth, f.W); i++ {
				if f.planes.sure[i] {
					for k := range out {
						out[k][i] = layers[k][i]
					}
				}
			}
		}
	})
	return out, nil
}

// share filters a strip of all layers.
func (f *Filter) share(b *worker, strip, at, n int, out [][]colour.RGB) {
	counts := b.both[strip*neighbours*lanes:][:neighbours*lanes]
	part := func(s []float32) (q [lanes]colour.RGB, fair [lanes]bool) {
		for lane := range n {
			v := pixel(s, lane)
			fair[lane] = true
			for c, m := range f.Mean[at+lane] {
				m /= f.planes.unit
				switch {
				case v[c] > 0:
					q[lane][c] = m / v[c]
					fair[lane] = fair[lane] && q[lane][c] >= leastShare && q[lane][c] <= mostShare
				case v[c] < 0 || m > 0:
					fair[lane] = false
				}
			}
		}
		return q, fair
	}
	q, fair := part(b.total(counts, b.layer(0), strip, 3))
	astray := false
	for lane := range n {
		if !fair[lane] {
			astray = true
			for o := range neighbours {
				counts[o*lanes+lane] = max(0, counts[o*lanes+lane])
			}
		}
	}
	if astray {
		q, _ = part(b.total(counts, b.layer(0), strip, 3))
	}
	for k := range out {
		s := b.total(counts, b.layer(k+1), strip, 3)
		for lane := range n {
			if i := at + lane; !f.planes.sure[i] {
				out[k][i] = pixel(s, lane).Mul(q[lane]).Scale(f.planes.unit)
			}
		}
	}
}

// loadLayer copies a tile and its rim of a layer.
func (b *worker) loadLayer(k int, from []colour.RGB, p *planes, x0, y0 int) {
	to := b.layer(k)
	clear(to[:3*plane])
	for y := max(0, y0-rim); y < min(p.h, y0+tileHeight+rim); y++ {
		for x := max(0, x0-rim); x < min(p.w, x0+tileWidth+rim); x++ {
			v, at := &from[y*p.w+x], (y-y0+rim)*localWidth+x-x0+rim
			for c := range 3 {
				to[c*plane+at] = float32(max(-largest, min(largest, v[c]/p.unit)))
			}
		}
	}
}
