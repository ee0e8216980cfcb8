package film

import (
	"math"
	"sync"
)

// spares are plain blocks that shared tiles are put together in.
type spares struct {
	mu   sync.Mutex
	list []*block
}

func (f *Film) plain() *block {
	s := &f.spare
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := len(s.list); n > 0 {
		b := s.list[n-1]
		s.list = s.list[:n-1]
		return b
	}
	return f.blockOf(plainShape)
}

func (s *spares) back(b *block) {
	b.clear()
	s.mu.Lock()
	s.list = append(s.list, b)
	s.mu.Unlock()
}

// HoldAlone is Hold with what the tile's own samples say alone, where others lay light into its pixels too: a pixel's filter is then cut at the tile's
// edge. Others may write to other tiles meanwhile.
func (f *Film) HoldAlone(tile int) Held {
	if f.splat == nil {
		return f.hold(tile, false)
	}
	return f.gather(tile, true)
}

// Share returns how much of the filter of pixel i of the tile lies where the samples come from: 1, or less near the edge of one that was held alone.
// Pixel's error is then of that share of the samples; all of them make one of sqrt(Share) of it, where light is equally noisy all about.
func (h *Held) Share(i int) float64 {
	if h.share == nil {
		return 1
	}
	return h.share[i]
}

// gather puts the pixels of a tile together from what it and its neighbours laid there. Where all tiles have the same samples that is a sum.
// Where they have not, each counts by its mean, and the weights that came together count as one: a ratio, whose bias is below 1e-4 from 48 samples on
// (TestUnlikeTilesKeepTheMean). Only samples of replicates that the tile has itself count.
func (f *Film) gather(tile int, alone bool) Held {
	h := Held{film: f, tile: tile, block: f.plain(), gathered: true}
	h.X0, h.Y0, h.X1, h.Y1 = f.Tile(tile)
	own := f.pool.pin(tile, false)
	n := own.begun()
	if n == 0 {
		f.pool.unpin(tile)
		return h
	}
	if !alone {
		f.pool.widen()
	}
	g := &gathering{Held: &h, own: own, n: n}
	across := (f.width + TileSize - 1) / TileSize
	down := f.Tiles() / across
	for y := max(0, tile/across-1); y <= min(down-1, tile/across+1); y++ {
		for x := max(0, tile%across-1); x <= min(across-1, tile%across+1); x++ {
			switch t := y*across + x; {
			case t == tile:
				g.add(t, own)
			case alone || f.reach == 0:
			case !f.pool.has(t):
				g.uneven = true
			default:
				g.add(t, f.pool.pin(t, false))
				f.pool.unpin(t)
			}
		}
	}
	g.settle(alone)
	f.pool.unpin(tile)
	return h
}

// gathering is a tile that is being put together.
type gathering struct {
	*Held
	own    *block
	n      uint32 // samples that it has itself
	uneven bool   // a neighbour has others
	alpha  [2][blockPixels]float64
	weight [2][blockPixels]float64 // that came together, over n: of replicates, and of passes and coverage, which have all samples
}

// add adds what a tile laid into the pixels of this one.
func (g *gathering) add(t int, b *block) {
	f, to := g.film, g.block
	m := b.begun()
	var both uint32 // samples of replicates that this tile has too
	for r, k := range b.counts {
		g.uneven = g.uneven || k != g.own.counts[r]
		if g.own.counts[r] > 0 {
			both += k
		}
	}
	if m == 0 {
		return
	}
	scale, ours := float64(g.n)/float64(m), 0.0
	if both > 0 {
		ours = float64(g.n) / float64(both)
	}
	x0, y0, _, _ := f.Tile(t)
	a := f.reach
	for y := max(g.Y0, y0-a); y < min(g.Y1, y0+TileSize+a); y++ {
		for x := max(g.X0, x0-a); x < min(g.X1, x0+TileSize+a); x++ {
			cell, p := (y-y0+a)*f.side+x-x0+a, g.At(x, y)
			for half := range 2 {
				g.alpha[half][p] += scale * coverUnit * float64(b.cover[half*b.cells+cell])
			}
			for r := range b.counts {
				from, at := (r*b.cells+cell)*3, r*blockPixels+p
				for c := range 3 {
					to.sums[4*at+c] += ours * b.sums[from+c]
				}
				for i := range to.layers {
					for c := range 3 {
						to.layers[i][3*at+c] += ours * b.layers[i][from+c]
					}
				}
			}
			for i := range to.passes {
				put(to.passes[i][3*p:3*p+3], b.passes[i][3*cell:3*cell+3], scale, unit)
			}
			for i := range to.squares {
				put(to.squares[i][3*p:3*p+3], b.squares[i][3*cell:3*cell+3], scale, squareUnit)
			}
			w, all := f.weights(t, g.own, b, x, y)
			g.weight[0][p] += ours / float64(g.n) * w
			g.weight[1][p] += all / float64(m)
		}
	}
}

// put adds exact sums times a scale.
func put(to, from []exact, scale, unit float64) {
	for c := range to {
		if scale == 1 {
			to[c].plus(from[c])
		} else {
			to[c].units(scale * from[c].value(1))
		}
	}
}

// weights returns the weights with which a tile's samples came to a pixel, summed: of the replicates that another block has too, and of all.
func (f *Film) weights(t int, own, b *block, x, y int) (both, all float64) {
	x0, y0, x1, y1 := f.Sources(t)
	a := f.reach
	n := 2*a + 1
	inside := x-a >= x0 && x+a < x1 && y-a >= y0 && y+a < y1
	for r := range b.counts {
		m, sum := part(b.mass, r, n*n), 0.0
		if inside {
			sum = float64(b.counts[r])
		}
		for dy := -a; dy <= a && !inside; dy++ {
			for dx := -a; dx <= a; dx++ {
				if x-dx >= x0 && x-dx < x1 && y-dy >= y0 && y-dy < y1 {
					sum += m[(dy+a)*n+dx+a]
				}
			}
		}
		all += sum
		if own.counts[r] > 0 {
			both += sum
		}
	}
	return both, all
}

// settle makes the sums those of a block whose pixels have samples of their own.
func (g *gathering) settle(alone bool) {
	to := g.block
	var halves [2]float64
	for r, k := range g.own.counts {
		halves[r&1] += float64(k)
	}
	for y := g.Y0; y < g.Y1; y++ {
		for x := g.X0; x < g.X1; x++ {
			p := g.At(x, y)
			scale, all := 1.0, 1.0
			if g.uneven || alone {
				scale, all = 1/g.weight[0][p], 1/g.weight[1][p]
			}
			for r, k := range g.own.counts {
				at := r*blockPixels + p
				to.counts[at] = k
				for c := range 3 {
					to.sums[4*at+c] *= scale
				}
				for i := range to.layers {
					for c := range 3 {
						to.layers[i][3*at+c] *= scale
					}
				}
				if k > 0 {
					to.sums[4*at+3] = all * g.alpha[r&1][p] * (float64(k) / halves[r&1])
				}
			}
			to.settle(to.sums, 4, p)
			for _, l := range to.layers {
				to.settle(l, 3, p)
			}
			if all != 1 {
				for i := range to.passes {
					rescale(to.passes[i][3*p:3*p+3], all)
				}
				for i := range to.squares {
					rescale(to.squares[i][3*p:3*p+3], all)
				}
			}
			to.dropped[p] = g.own.dropped[(y-g.Y0+g.film.reach)*g.film.side+x-g.X0+g.film.reach]
		}
	}
	if alone {
		g.share = append([]float64(nil), g.weight[0][:]...)
	}
}

// rounded is how far replicates may differ by rounding alone, as a share.
const rounded = 1e-13

// settle gives the replicates of a pixel one mean where theirs differ by rounding alone, so that light without grain shows none.
func (b *block) settle(sums []float64, stride, p int) {
	for c := range 3 {
		var sum, n, least, most float64
		least, most = math.Inf(1), math.Inf(-1)
		for at := p; at < len(b.counts); at += blockPixels {
			if k := float64(b.counts[at]); k > 0 {
				v := sums[stride*at+c]
				sum, n, least, most = sum+v, n+k, min(least, v/k), max(most, v/k)
			}
		}
		if !(most-least <= rounded*max(most, -least)) {
			continue
		}
		for at := p; at < len(b.counts); at += blockPixels {
			sums[stride*at+c] = sum / n * float64(b.counts[at])
		}
	}
}

func rescale(sums []exact, scale float64) {
	for c := range sums {
		v := sums[c].value(1)
		sums[c] = exact{}
		sums[c].units(scale * v)
	}
}
