package denoise

import "catchlight/scene/colour"

// Balance makes up for light that the filter took or added: stray samples that it trusts little are mostly bright, and where a fit
// is replaced light has no negative. What pixels lack beside the mean of their halves goes to all pixels about them, in proportion
// to what they show, so that the sum over the picture stays what was traced. The reach is wide, so that no grain comes back with it:
// sums of what lacks stand at nodes a few pixels apart, and pixels between nodes give to them and take from them in proportion to
// how near they are. Pixels that have no grain neither give nor take.
//
// The parts of a picture are added from top to bottom; Settle follows, and then Apply to each part.
type Balance struct {
	w, edge, nx, ny int
	raw, take       []colour.RGB // [node]
	gain            []colour.RGB // [node]
	lack, room      float64      // of the coverage
}

const (
	leastReach = 16 // how far light is given back at least, pixels to either side of one of two windows; else a sixth of the edge
	steps      = 4  // nodes in that reach
)

// NewBalance returns the balance of a picture of w x h pixels.
func NewBalance(w, h int) *Balance {
	b := &Balance{w: w, edge: max(leastReach, (w+h)/12) / steps}
	b.nx, b.ny = (w-1)/b.edge+2, (h-1)/b.edge+2
	b.raw, b.take = make([]colour.RGB, b.nx*b.ny), make([]colour.RGB, b.nx*b.ny)
	return b
}

// near is what a pixel has to do with the four nodes about it.
type near struct {
	node [4]int
	part [4]float64
}

func (b *Balance) near(x, y int) near {
	i, u := y/b.edge*b.nx+x/b.edge, float64(x%b.edge)/float64(b.edge)
	v := float64(y%b.edge) / float64(b.edge)
	return near{[4]int{i, i + 1, i + b.nx, i + b.nx + 1}, [4]float64{(1 - u) * (1 - v), u * (1 - v), (1 - u) * v, u * v}}
}

// Add takes in a part whose first filtered row is the picture's row y.
func (b *Balance) Add(f *Filter, y int) {
	for r := f.Top; r < f.H-f.Bottom; r++ {
		for x := range f.W {
			i := r*f.W + x
			if len(f.Cover) > 0 {
				b.addCoverage(f, x, r)
			}
			if f.planes.sure[i] {
				continue
			}
			raw := f.raw(i)
			n := b.near(x, y+r-f.Top)
			for k, p := range n.part {
				b.raw[n.node[k]] = b.raw[n.node[k]].Add(raw.Scale(p))
				b.take[n.node[k]] = b.take[n.node[k]].Add(f.Mean[i].Scale(p))
			}
		}
	}
}

// Settle ends the adding. It returns what the filter had taken off the mean of the picture's h rows.
func (b *Balance) Settle(h int) (taken colour.RGB) {
	about := b.blur(b.take)
	lack := make([]colour.RGB, len(b.take))
	var want, have colour.RGB
	for i, t := range b.take {
		want = want.Add(b.raw[i])
		taken = taken.Add(b.raw[i].Sub(t))
		for k := range 3 {
			if about[i][k] > 0 {
				lack[i][k] = (b.raw[i][k] - t[k]) / about[i][k]
			}
		}
	}
	b.gain = b.blur(lack)
	for i := range b.gain {
		for k := range 3 {
			b.gain[i][k] = max(0, 1+b.gain[i][k])
		}
		have = have.Add(b.gain[i].Mul(b.take[i]))
	}
	for i := range b.gain {
		for k := range 3 {
			if have[k] > 0 && want[k] > 0 {
				b.gain[i][k] *= want[k] / have[k]
			} else {
				b.gain[i][k] = 1
			}
		}
	}
	return taken.Scale(1 / float64(b.w*h))
}

// Gain returns what a pixel of the picture that has grain is to be multiplied with, once the balance is settled. It counts for
// every layer of the picture too.
func (b *Balance) Gain(x, y int) (g colour.RGB) {
	n := b.near(x, y)
	for k, p := range n.part {
		g = g.Add(b.gain[n.node[k]].Scale(p))
	}
	return g
}

// Apply gives a part back what it lacks; y is that of Add.
func (b *Balance) Apply(f *Filter, y int) {
	for r := f.Top; r < f.H-f.Bottom; r++ {
		for x := range f.W {
			if i := r*f.W + x; !f.planes.sure[i] {
				f.Mean[i] = f.Mean[i].Mul(b.Gain(x, y+r-f.Top))
			}
		}
	}
	b.applyCoverage(f)
}

// blur returns sums over windows that reach so many steps to either side, twice: a pyramid of weights. It is its own adjoint.
func (b *Balance) blur(a []colour.RGB) []colour.RGB {
	line := func(to, a []colour.RGB, at, step, n int) {
		for i := range n {
			var s colour.RGB
			for j := max(0, i-steps); j <= min(n-1, i+steps); j++ {
				s = s.Add(a[at+j*step])
			}
			to[at+i*step] = s
		}
	}
	a, t := append([]colour.RGB(nil), a...), make([]colour.RGB, len(a))
	for range 2 {
		for y := range b.ny {
			line(t, a, y*b.nx, 1, b.nx)
		}
		for x := range b.nx {
			line(a, t, x, b.nx, b.ny)
		}
	}
	return a
}

// Cover returns a coverage that the filter made after the balance is settled: edges take what the whole picture's gained or lost, most
// where they cover half of a pixel.
func (b *Balance) Cover(a float64) float64 {
	if b.room == 0 {
		return a
	}
	return max(0, min(1, a+b.lack/b.room*a*(1-a)))
}
