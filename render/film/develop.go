package film

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"catchlight/scene/colour"
)

// Picture is what a film has gathered: slices of width times height values, row by row from the top left.
type Picture struct {
	Width, Height int
	Mean          []colour.RGB // linear Rec. 709, W/(m^2 sr); zero where there is no sample
	Error         []colour.RGB // standard error of Mean, of one standard deviation; NaN with fewer than two replicates
	Alpha         []float64    // share of samples that met a body, in [0, 1]
	Samples       []uint32     // samples that Mean holds
	Dropped       uint64       // samples left out of the whole picture because they were not finite
	Freedom       int          // degrees of freedom of Error where all replicates have samples: K - 1
}

// Develop puts the replicates together, in order, into the picture. A pixel's mean is the mean over its samples, and
// the error comes from the spread of the replicates' means, each weighted by its share of samples.
func (f *Film) Develop() Picture { return f.develop(f.sums, 4) }

// DevelopLayer returns the picture of layer i alone; its alpha is that of the whole picture.
func (f *Film) DevelopLayer(i int) Picture { return f.develop(f.layerSums[i], 3) }

func (f *Film) develop(sums []float64, stride int) Picture {
	n := f.width * f.height
	p := Picture{
		Width: f.width, Height: f.height, Freedom: f.k - 1,
		Mean: make([]colour.RGB, n), Error: make([]colour.RGB, n), Alpha: make([]float64, n), Samples: make([]uint32, n),
	}
	for i := range p.Mean {
		var alpha, total float64
		var sum [3]float64
		used := 0
		for c := i * f.k; c < (i+1)*f.k; c++ {
			if f.counts[c] == 0 {
				continue
			}
			used++
			total += float64(f.counts[c])
			alpha += f.sums[c*4+3]
			for j := range sum {
				sum[j] += sums[c*stride+j]
			}
		}
		p.Dropped += uint64(f.dropped[i])
		if used == 0 {
			p.Error[i] = colour.Grey(math.NaN())
			continue
		}
		p.Samples[i] = uint32(total)
		p.Alpha[i] = alpha / total
		for j := range sum {
			p.Mean[i][j] = sum[j] / total
		}
		if used < 2 {
			p.Error[i] = colour.Grey(math.NaN())
			continue
		}
		var q [3]float64
		for c := i * f.k; c < (i+1)*f.k; c++ {
			if f.counts[c] == 0 {
				continue
			}
			// The replicate's sum less its share of the whole: n_r (m_r - m).
			for j := range q {
				d := (sums[c*stride+j] - float64(f.counts[c])*p.Mean[i][j]) / total
				q[j] += d * d
			}
		}
		for j := range q {
			p.Error[i][j] = math.Sqrt(q[j] * float64(used) / float64(used-1))
		}
	}
	return p
}

// Quantile returns how many standard errors an interval reaches to either side of the mean so that it holds the truth
// with the given confidence in (0, 1), when the error was estimated with freedom >= 1 degrees of freedom
// (Student's t). For 7 degrees and 0.95 it is 2.365.
func Quantile(confidence float64, freedom int) float64 {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(freedom)}
	return t.Quantile(0.5 + confidence/2)
}
