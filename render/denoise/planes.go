package denoise

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// planes is an input as the inner loops read it: in single precision, a plane for each channel, in units of the picture's root mean
// square.
type planes struct {
	w, h     int
	colour   [2][3][]float32 // of either half
	variance [2][3][]float32 // mean of Var over 3 x 3 pixels
	trust    [2][]float32    // what a pixel of that half counts at most: less than 1 for stray bright samples
	features [][]float32     // scaled to a variance of one
	cover    [2][]float32    // Alpha less Covered; nil without coverage
	sure     []bool          // has no grain
	unit     float64         // what a value of 1 stands for
}

// largest keeps squares finite in single precision; no picture has that much of its own root mean square in a pixel.
const largest = 1e15

// Whole is what the filter reads of a picture as a whole. A picture that is filtered in parts needs that of all of it.
type Whole struct {
	n        float64
	square   float64
	features [maxDims][2]float64 // sums of values and of squares
}

// Add takes in rows [from, to) of an input; rows are added from top to bottom, each once.
func (a *Whole) Add(in *Input, from, to int) {
	for i := from * in.W; i < to*in.W; i++ {
		v := &in.Half[0][i]
		a.square += v[0]*v[0] + v[1]*v[1] + v[2]*v[2]
	}
	a.n += float64((to - from) * in.W)
	for k, f := range in.Features {
		s := &a.features[k]
		for _, v := range f[from*in.W : to*in.W] {
			s[0] += float64(v)
			s[1] += float64(v) * float64(v)
		}
	}
}

// unit returns the root mean square of the first half, or 1 of a black picture.
func (a *Whole) unit() float64 {
	if u := math.Sqrt(a.square / (3 * max(1, a.n))); u > 0 && !math.IsInf(u, 0) {
		return u
	}
	return 1
}

// inverse returns 1 over the deviation of a feature, or 0 of one that has none.
func (a *Whole) inverse(k int) float64 {
	s, n := a.features[k], max(1, a.n)
	if dev := math.Sqrt(max(0, s[1]/n-s[0]*s[0]/(n*n))); dev > 1e-6 {
		return 1 / dev
	}
	return 0
}

func newPlanes(in *Input, all *Whole, workers int) *planes {
	n := in.W * in.H
	p := &planes{w: in.W, h: in.H, unit: all.unit(), sure: make([]bool, n)}
	for range in.Features {
		p.features = append(p.features, make([]float32, n))
	}
	for k := range 2 {
		for c := range 3 {
			p.colour[k][c], p.variance[k][c] = make([]float32, n), make([]float32, n)
		}
		p.trust[k] = make([]float32, n)
		if len(in.Alpha[k]) > 0 {
			p.cover[k] = make([]float32, n)
		}
	}
	var gain [maxDims]float64
	for k := range in.Features {
		gain[k] = all.inverse(k)
	}
	parallel.With(in.H, workers, func() *spreader { return newSpreader(in) }, func(s *spreader, y int) { p.row(in, s, &gain, y) })
	return p
}

// row fills one row of every plane.
func (p *planes) row(in *Input, s *spreader, gain *[maxDims]float64, y int) {
	at := y * p.w
	one, square := 1/p.unit, 1/(p.unit*p.unit)
	for k := range in.Features {
		f, to := in.Features[k][at:at+p.w], p.features[k][at:at+p.w]
		for x, v := range f {
			to[x] = float32(float64(v) * gain[k])
		}
	}
	for x := range p.w {
		p.sure[at+x] = in.Half[0][at+x] == in.Half[1][at+x]
	}
	for k := range 2 {
		s.row(in.Var[k], y, 1)
		for x := range p.w {
			i := at + x
			v := s.mean(x, 1)
			p.sure[i] = p.sure[i] && v == colour.RGB{}
			for c := range 3 {
				p.colour[k][c][i] = float32(max(-largest, min(largest, in.Half[k][i][c]*one)))
				p.variance[k][c][i] = float32(min(largest*largest, v[c]*square))
			}
			if p.cover[k] != nil {
				p.cover[k][i] = float32(in.Alpha[k][i] - in.covered(i))
			}
		}
		// One that is far less sure than the other half knows its surroundings to be holds a stray bright sample.
		s.row(in.Var[1-k], y, around)
		for x := range p.w {
			v, own := s.mean(x, around), in.Var[k][at+x]
			t := 1.0
			if may, its := unsure*((v[0]+v[1]+v[2])*square+least), (own[0]+own[1]+own[2])*square; its > may {
				t = may / its
			}
			p.trust[k][at+x] = float32(max(leastTrust, t))
		}
	}
}

// spreader forms means of variances over square windows, row by row: few replicates tell a pixel's own to no better than a factor of
// two. A pixel with too few replicates to tell (NaN) is left out.
type spreader struct {
	w, h  int
	sum   []colour.RGB // of the window's columns
	count []float64
}

func newSpreader(in *Input) *spreader {
	return &spreader{in.W, in.H, make([]colour.RGB, in.W), make([]float64, in.W)}
}

func (s *spreader) row(of []colour.RGB, y, r int) {
	clear(s.sum)
	clear(s.count)
	for v := max(0, y-r); v <= min(s.h-1, y+r); v++ {
		for x, q := range of[v*s.w : (v+1)*s.w] {
			if !math.IsNaN(q[0] + q[1] + q[2]) {
				s.sum[x] = s.sum[x].Add(q)
				s.count[x]++
			}
		}
	}
}

func (s *spreader) mean(x, r int) colour.RGB {
	var sum colour.RGB
	n := 0.0
	for u := max(0, x-r); u <= min(s.w-1, x+r); u++ {
		sum = sum.Add(s.sum[u])
		n += s.count[u]
	}
	return sum.Scale(1 / max(1, n))
}
