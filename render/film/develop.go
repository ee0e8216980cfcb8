package film

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat/distuv"

	"catchlight/scene/colour"
)

// Picture is what a film has gathered: slices of width times height values, row by row from the top left.
type Picture struct {
	Width, Height int
	Mean          []colour.RGB // linear Rec. 709, W/(m^2 sr); zero where there is no sample
	Error         []colour.RGB // standard error of Mean, of one standard deviation; NaN with fewer than two replicates
	Fourth        []colour.RGB // sum of the fourth powers of what the replicates add to Mean, less their share of it; see Interval
	Alpha         []float64    // share of samples that met an object, in [0, 1]
	Samples       []uint32     // samples that Mean holds
	Dropped       uint64       // samples left out of the whole picture because they were not finite
	Freedom       int          // degrees of freedom of Error in the pixels with most replicates: their number less 1

	// Alike is how far the errors of pixels in a row go together: the correlation of those 0, 1, 2 ... pixels apart; see Filter.alike. Nil where
	// pixels are independent.
	Alike []float64
}

// Grain returns how many pixels a grain has: the error of a mean over n pixels, many and about equally noisy, is that of n/Grain
// independent ones. It is 1 where pixels are independent; for few pixels it says too much, and too little for straight edges along rows or columns, as
// samples have the same places in all pixels.
func (p *Picture) Grain() float64 { return grain(p.Alike) }

// Grain is that of the film's pictures.
func (f *Film) Grain() float64 { return grain(f.alike) }

// GrainAttr is the attribute of picture files that holds Grain, where it is above 1.
const GrainAttr = "grain"

// GrainText is the value of GrainAttr, empty where pixels are independent.
func (f *Film) GrainText() string {
	if f.splat == nil || f.reach == 0 {
		return ""
	}
	return fmt.Sprintf("%.4g pixels: they share samples, and their errors go together", f.Grain())
}

// GrainOf reads GrainText; 1 where nothing is said.
func GrainOf(text string) float64 {
	number, _, _ := strings.Cut(text, " ")
	g, err := strconv.ParseFloat(number, 64)
	if err != nil || !(g >= 1 && g <= 1e4) {
		return 1
	}
	return g
}

func grain(alike []float64) float64 {
	sum := 1.0
	for i, r := range alike {
		if i > 0 {
			sum += 2 * r
		}
	}
	return sum * sum
}

// Develop puts the replicates together, in order, into the picture. A pixel's mean is the mean over its samples, and
// the error comes from the spread of the replicates' means, each weighted by its share of samples.
func (f *Film) Develop() Picture { return f.Rows(0, f.height) }

// Rows is Develop for rows y0 <= y < y1 alone.
func (f *Film) Rows(y0, y1 int) Picture { return f.develop(y0, y1, -1) }

// develop puts rows of the picture together, or with layer >= 0 of that layer.
func (f *Film) develop(y0, y1, layer int) Picture {
	n := f.width * (y1 - y0)
	p := Picture{
		Width: f.width, Height: y1 - y0,
		Mean: make([]colour.RGB, n), Error: make([]colour.RGB, n), Fourth: make([]colour.RGB, n), Alpha: make([]float64, n), Samples: make([]uint32, n),
	}
	p.Alike = f.alike
	most := 1
	f.each(y0, y1, func(h *Held, x, y int) {
		b, at := h.block, h.At(x, y)
		i := (y-y0)*f.width + x
		sums, stride := b.sums, 4
		if layer >= 0 {
			sums, stride = b.layers[layer], 3
		}
		q := b.pixel(sums, stride, at)
		p.Mean[i], p.Error[i], p.Fourth[i], p.Alpha[i], p.Samples[i] = q.mean, q.err, q.fourth, q.alpha, q.samples
		most = max(most, q.used)
		p.Dropped += uint64(b.dropped[at])
	})
	p.Freedom = most - 1
	return p
}

// each calls do for all pixels of rows y0 <= y < y1, tile by tile; what a tile holds is there during the call.
func (f *Film) each(y0, y1 int, do func(h *Held, x, y int)) { f.inTiles(y0, y1, false, do) }

// inTiles is each, with begun only for tiles that may hold samples.
func (f *Film) inTiles(y0, y1 int, begun bool, do func(h *Held, x, y int)) {
	across := (f.width + TileSize - 1) / TileSize
	for t := y0 / TileSize * across; t < f.Tiles(); t++ {
		if begun && !f.pool.has(t) {
			continue
		}
		h := f.Hold(t)
		if h.Y0 >= y1 {
			h.Release()
			break
		}
		for y := max(y0, h.Y0); y < min(y1, h.Y1); y++ {
			for x := h.X0; x < h.X1; x++ {
				do(&h, x, y)
			}
		}
		h.Release()
	}
}

// pixelSums is what the replicates of a pixel say together; used is the number of those that hold samples.
type pixelSums struct {
	mean, err, fourth colour.RGB
	alpha             float64
	samples           uint32
	used              int
}

// pixel puts the replicates of a pixel together.
func (b *block) pixel(sums []float64, stride, at int) (p pixelSums) {
	var total float64
	var sum [3]float64
	for c := at; c < len(b.counts); c += blockPixels {
		if b.counts[c] == 0 {
			continue
		}
		p.used++
		total += float64(b.counts[c])
		p.alpha += b.sums[c*4+3]
		for j := range sum {
			sum[j] += sums[c*stride+j]
		}
	}
	if p.used == 0 {
		p.err = colour.Grey(math.NaN())
		return p
	}
	p.samples = uint32(total)
	p.alpha /= total
	for j := range sum {
		p.mean[j] = sum[j] / total
	}
	if p.used < 2 {
		p.err = colour.Grey(math.NaN())
		return p
	}
	var q [3]float64
	for c := at; c < len(b.counts); c += blockPixels {
		if b.counts[c] == 0 {
			continue
		}
		// The replicate's sum less its share of the whole: n_r (m_r - m).
		for j := range q {
			d := (sums[c*stride+j] - float64(b.counts[c])*p.mean[j]) / total
			q[j] += d * d
			p.fourth[j] += d * d * d * d
		}
	}
	share := 1.0
	if b.oneNet && p.used == Replicates {
		share = netShare
	}
	for j := range q {
		p.err[j] = math.Sqrt(q[j] * share * float64(p.used) / float64(p.used-1))
		p.fourth[j] *= share * share
	}
	return p
}

// PassRows returns the mean of pass i over rows y0 <= y < y1 and, where it keeps squares, the standard error as of independent
// samples, else nil. Samples that are spread more evenly than by chance, as those of a render, make a smaller error than that.
func (f *Film) PassRows(i, y0, y1 int) (mean, err []colour.RGB) {
	mean = make([]colour.RGB, f.width*(y1-y0))
	if f.squares[i] >= 0 {
		err = make([]colour.RGB, len(mean))
	}
	f.each(y0, y1, func(h *Held, x, y int) {
		at := h.At(x, y)
		j := (y-y0)*f.width + x
		n := 0.0
		for c := at; c < len(h.block.counts); c += blockPixels {
			n += float64(h.block.counts[c])
		}
		if n == 0 {
			return
		}
		for c, e := range h.block.passes[i][3*at : 3*at+3] {
			mean[j][c] = e.value(unit) / n
		}
		if err == nil {
			return
		}
		for c, e := range h.block.squares[f.squares[i]][3*at : 3*at+3] {
			// The mean of squares less the square of the mean, over n-1.
			err[j][c] = math.NaN()
			if n > 1 {
				err[j][c] = math.Sqrt(max(0, e.value(squareUnit)/n-mean[j][c]*mean[j][c]) * f.kept / (n - 1))
			}
		}
	})
	return mean, err
}

// netShare is the variance of a pixel's mean over what the spread of its replicates tells, where these are the eight parts of one
// net: their errors cancel in part, which no spread of theirs can tell. Measured with 64 samples as the display signal's variance
// between seeds, over the same of nets of their own: a bare eye 0.81, in lids 0.81, in a room with a window 0.72, a
// heron's 0.87. Where nets gain nothing, intervals of 95 % hold the truth in about 94 %.
const netShare = 0.85

// Outliers counts single replicates that outshine the rest of their pixel. Nothing is taken out of the
// picture; this says how much of it rests on rare bright samples.
type Outliers struct {
	Pixels int     `json:"pixels"`           // whose brightest replicate holds more than half of the pixel's light
	Share  float64 `json:"share_of_light"`   // of the whole picture's light that those replicates bring above the mean of the others
	Taken  float64 `json:"share_taken_away"` // always 0: no sample is clamped
}

// Outliers looks at pixels with eight replicates. A replicate's fair share of its pixel is an eighth. dropped is how many samples of
// the whole picture were left out because they were not finite.
func (f *Film) Outliers() (o Outliers, dropped uint64) {
	var all, above float64
	f.inTiles(0, f.height, true, func(h *Held, x, y int) {
		b := h.block
		var sum, top float64
		used := 0
		dropped += uint64(b.dropped[h.At(x, y)])
		for c := h.At(x, y); c < len(b.counts); c += blockPixels {
			if b.counts[c] == 0 {
				continue
			}
			used++
			l := (colour.RGB{b.sums[c*4], b.sums[c*4+1], b.sums[c*4+2]}).Luminance() / float64(b.counts[c])
			sum += l
			top = max(top, l)
		}
		all += sum
		if used == Replicates && top > sum/2 {
			o.Pixels++
			above += top - (sum-top)/float64(used-1)
		}
	})
	if all > 0 {
		o.Share = above / all
	}
	return o, dropped
}

// Interval returns how far the truth may lie to either side of each pixel's mean with a confidence in (0, 1), channel by
// channel. Its variance is the mean of those of the pixel and its eight neighbours, 63 degrees of freedom (28 in a corner),
// and Student's t does the rest; of pixels that share samples fewer, as their errors go together. A pixel's own error has 7 alone, and with few samples a pixel that met no rare bright path
// believes itself too good: over its own errors intervals of 99.73 % held 95 to 99 % of pixels in a trial, over these 99.4
// to 99.9 %.
// Where rare bright paths make the replicates heavy-tailed the variance counts with fewer degrees of freedom.
func (p *Picture) Interval(confidence float64) []colour.RGB {
	out := make([]colour.RGB, len(p.Mean))
	reach := map[int]float64{}
	for i := range out {
		x0, y0 := i%p.Width, i/p.Width
		var sum, fourth colour.RGB
		n := 0
		across, down := min(p.Width-1, x0+1)-max(0, x0-1)+1, min(p.Height-1, y0+1)-max(0, y0-1)+1
		for y := max(0, y0-1); y <= min(p.Height-1, y0+1); y++ {
			for x := max(0, x0-1); x <= min(p.Width-1, x0+1); x++ {
				e := p.Error[y*p.Width+x]
				sum = sum.Add(e.Mul(e))
				fourth = fourth.Add(p.Fourth[y*p.Width+x])
				n++
			}
		}
		for c := range sum {
			nu := p.freedom(float64(n)/(together(p.Alike, across)*together(p.Alike, down)), n, sum[c], fourth[c])
			if reach[nu] == 0 {
				reach[nu] = Quantile(confidence, nu)
			}
			out[i][c] = reach[nu] * math.Sqrt(sum[c]/float64(n))
		}
	}
	return out
}

// together returns how many of n pixels in a row are as good as one, for their mean variance: that of two normal values of correlation r goes
// together by r squared.
func together(alike []float64, n int) float64 {
	sum := 1.0
	for j := 1; j < min(n, len(alike)); j++ {
		sum += 2 * float64(n-j) / float64(n) * alike[j] * alike[j]
	}
	return sum
}

// freedom returns the degrees of freedom of the mean variance of n pixels, as good as so many independent ones, given the sums of their squared errors and of
// their fourth powers. Rare bright replicates make a variance less sure: of 2/nu + k/m relative variance
// instead of 2/nu, k being the excess of the kurtosis and m the number of replicates.
//
// Source: Box, Non-Normality and Tests on Variances, Biometrika 40 (1953), 318; the kurtosis of what is left after a mean of r values
// is taken off is by own algebra ((1-1/r)^4 + (r-1)/r^4)/(1-1/r)^2 times that of the values.
func (p *Picture) freedom(independent float64, n int, square, fourth float64) int {
	nu := max(1, int(independent*float64(p.Freedom)))
	if p.Freedom < 1 || !(square > 0) || !(fourth > 0) {
		return nu
	}
	r := float64(p.Freedom + 1)
	square *= (r - 1) / r // of deviations
	m := float64(n) * r
	a := 1 - 1/r
	k := (fourth*m/(square*square) - 3) / ((a*a*a*a + (r-1)/(r*r*r*r)) / (a * a))
	if !(k > 0) {
		return nu
	}
	return max(min(nu, leastFreedom), int(float64(nu)*2/(2+k)))
}

// leastFreedom is the least that heavy tails leave: less would make intervals of three sigma a hundred sigma wide.
const leastFreedom = 4

// Quantile returns how many standard errors an interval reaches to either side of the mean so that it holds the truth
// with the given confidence in (0, 1), when the error was estimated with freedom >= 1 degrees of freedom
// (Student's t). For 7 degrees and 0.95 it is 2.365.
func Quantile(confidence float64, freedom int) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(freedom)}
	return t.Quantile(0.5 + confidence/2)
}

// Halves returns the means of the even and of the odd replicates, and the variance of each mean estimated from that half's own
// replicates, of the whole picture less layer i, and of layer i; i < 0 takes nothing away and leaves layer empty. Where a half has
// fewer than two replicates, all of them tell the variance of both halves; a pixel with fewer than two in all has NaN.
func (f *Film) Halves(i int) (rest, layer Halved) { return f.HalvesRows(i, 0, f.height) }

// HalvesRows is Halves for rows y0 <= y < y1 alone.
func (f *Film) HalvesRows(i, y0, y1 int) (rest, layer Halved) {
	n := f.width * (y1 - y0)
	for _, h := range []*Halved{&rest, &layer} {
		for k := range 2 {
			h.Mean[k], h.Var[k] = make([]colour.RGB, n), make([]colour.RGB, n)
		}
	}
	f.each(y0, y1, func(held *Held, x, y int) {
		b, at, p := held.block, held.At(x, y), (y-y0)*f.width+x
		rest.put(p, b, at, func(c int) (v colour.RGB) {
			copy(v[:], b.sums[4*c:4*c+3])
			if i >= 0 {
				for j := range v {
					v[j] -= b.layers[i][3*c+j]
				}
			}
			return v
		})
		layer.put(p, b, at, func(c int) (v colour.RGB) {
			if i >= 0 {
				copy(v[:], b.layers[i][3*c:3*c+3])
			}
			return v
		})
	})
	return rest, layer
}

// put fills in pixel p, which stands at a place of a block; each gives a replicate's sum.
func (h *Halved) put(p int, b *block, at int, each func(c int) colour.RGB) {
	var total, used [2]float64
	var q, sum colour.RGB
	for c := at; c < len(b.counts); c += blockPixels {
		if b.counts[c] == 0 {
			continue
		}
		k := c / blockPixels & 1
		v := each(c)
		used[k]++
		total[k] += float64(b.counts[c])
		h.Mean[k][p] = h.Mean[k][p].Add(v)
		sum = sum.Add(v)
	}
	all := total[0] + total[1]
	if total[0] == 0 || total[1] == 0 {
		h.Var[0][p], h.Var[1][p] = colour.Grey(math.NaN()), colour.Grey(math.NaN())
		if all > 0 { // one half alone stands in for both
			m := sum.Scale(1 / all)
			h.Mean[0][p], h.Mean[1][p] = m, m
		}
		return
	}
	h.Mean[0][p], h.Mean[1][p] = h.Mean[0][p].Scale(1/total[0]), h.Mean[1][p].Scale(1/total[1])
	mean := sum.Scale(1 / all)
	own := min(used[0], used[1]) > 1
	for c := at; c < len(b.counts); c += blockPixels {
		if b.counts[c] == 0 {
			continue
		}
		n, k := float64(b.counts[c]), c/blockPixels&1
		if own {
			d := each(c).Sub(h.Mean[k][p].Scale(n)).Scale(1 / total[k])
			h.Var[k][p] = h.Var[k][p].Add(d.Mul(d).Scale(used[k] / (used[k] - 1)))
		} else {
			d := each(c).Sub(mean.Scale(n)).Scale(1 / all)
			q = q.Add(d.Mul(d))
		}
	}
	if !own {
		q = q.Scale(2 * (used[0] + used[1]) / (used[0] + used[1] - 1))
		h.Var[0][p], h.Var[1][p] = q, q
	}
}

// Halved is a picture in two independent halves.
type Halved struct {
	Mean [2][]colour.RGB
	Var  [2][]colour.RGB // of each mean
}
