package film

import (
	"slices"

	"catchlight/scene/colour"
)

// Weigh puts rows y0 <= y < y1 together with what layer i holds counted gains[i] times; what no layer holds counts once. Layers
// past the gains count once. Where a contribution lies in two layers whose gains are not 1, both count. Errors are those of the weighed
// light, from its own replicates. With gains of 1 it has the bits of Rows.
func (f *Film) Weigh(y0, y1 int, gains []colour.RGB) Picture {
	if !slices.ContainsFunc(gains, func(g colour.RGB) bool { return g != colour.Grey(1) }) {
		return f.Rows(y0, y1)
	}
	n := f.width * (y1 - y0)
	p := Picture{
		Width: f.width, Height: y1 - y0,
		Mean: make([]colour.RGB, n), Error: make([]colour.RGB, n), Fourth: make([]colour.RGB, n), Alpha: make([]float64, n), Samples: make([]uint32, n),
	}
	mixed := make([]float64, f.k*blockPixels*4)
	tile, most := -1, 1
	f.each(y0, y1, func(h *Held, x, y int) {
		b := h.block
		if h.tile != tile {
			tile = h.tile
			b.mix(mixed, gains)
		}
		at, i := h.At(x, y), (y-y0)*f.width+x
		q := b.pixel(mixed, 4, at)
		p.Mean[i], p.Error[i], p.Fourth[i], p.Alpha[i], p.Samples[i] = q.mean, q.err, q.fourth, q.alpha, q.samples
		most = max(most, q.used)
		p.Dropped += uint64(b.dropped[at])
	})
	p.Freedom = most - 1
	return p
}

// mix fills in the sums of a block in other light.
func (b *block) mix(out []float64, gains []colour.RGB) {
	copy(out, b.sums)
	for l, g := range gains[:min(len(gains), len(b.layers))] {
		if g == colour.Grey(1) {
			continue
		}
		for i := 0; i < len(b.layers[l]); i += 3 {
			for c := range g {
				out[i/3*4+c] += (g[c] - 1) * b.layers[l][i+c]
			}
		}
	}
}
