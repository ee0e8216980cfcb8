package eye

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/parallel"
)

// Repeat says how far an iris repeats itself round the pupil.
type Repeat struct {
	Lag         float64 `json:"lag_degrees"`     // at which the relief is most like itself
	Correlation float64 `json:"autocorrelation"` // there
	Bar         float64 `json:"bar"`             // what irises that do not repeat keep below
	Twin        float64 `json:"best_twin"`       // the most alike of all pairs of sectors, plain, mirrored and stretched
	Chance      float64 `json:"best_by_chance"`  // the same of copies with random phases, which have the same waves and no twins
}

// Repeats reports whether either test finds what an eye might see as copies.
func (r Repeat) Repeats() bool { return r.Correlation > r.Bar || r.Twin > r.Chance+0.1 }

// The polar map that is looked at: angles, distances, where from and to, and the harmonics below which it is broad form.
const (
	turns       = 720
	repeatRows  = 16
	repeatFrom  = 0.38
	repeatTo    = 0.88
	leastWaves  = 6
	mostWaves   = 180
	repeatBar   = 0.25 // own calibration: grown irises have 0.14, unrelated random fields 0.21 +- 0.03
	leastLag    = 4    // degrees
	sectorWidth = 15   // degrees
)

// Repetition measures the relief of the iris.
func (e *Eye) Repetition() Repeat {
	rows := make([][]float64, repeatRows)
	for j := range rows {
		rows[j] = make([]float64, turns)
		rho := repeatFrom + (repeatTo-repeatFrom)*(float64(j)+0.5)/repeatRows
		for i := range rows[j] {
			x, y := e.iris.planar(2*math.Pi*float64(i)/turns, rho)
			rows[j][i] = e.iris.tissue.sample(e.iris.tissue.h, x, y)
		}
	}
	return repetition(rows, e.Params.Seed)
}

// waves are the Fourier sums of a row, harmonics leastWaves to mostWaves.
func waves(row []float64) (re, im []float64) {
	re, im = make([]float64, mostWaves+1), make([]float64, mostWaves+1)
	for k := leastWaves; k <= mostWaves; k++ {
		for i, v := range row {
			sin, cos := math.Sincos(2 * math.Pi * float64(k*i%turns) / turns)
			re[k], im[k] = re[k]+v*cos*2/turns, im[k]+v*sin*2/turns
		}
	}
	return
}

// back sums them up again, each turned by a phase.
func back(re, im, phase []float64) []float64 {
	out := make([]float64, turns)
	for k := leastWaves; k <= mostWaves; k++ {
		for i := range out {
			sin, cos := math.Sincos(2*math.Pi*float64(k*i%turns)/turns + phase[k])
			out[i] += re[k]*cos + im[k]*sin
		}
	}
	return out
}

// repetition takes rows of equal angles: distances from the pupil.
func repetition(rows [][]float64, seed uint64) Repeat {
	const copies = 2
	maps := make([][][]float64, 1+copies)
	for m := range maps {
		maps[m] = make([][]float64, len(rows))
	}
	var phases [1 + copies][]float64
	rng := rand.New(rand.NewPCG(seed, 77))
	for m := range phases {
		phases[m] = make([]float64, mostWaves+1)
		for k := range phases[m] {
			if m > 0 {
				phases[m][k] = 2 * math.Pi * rng.Float64()
			}
		}
	}
	parallel.Each(len(rows), 2, func(j int) {
		re, im := waves(rows[j])
		for m := range maps {
			maps[m][j] = back(re, im, phases[m])
		}
	})
	r := Repeat{Bar: repeatBar}
	zero := 0.0
	for _, row := range maps[0] {
		for _, v := range row {
			zero += v * v
		}
	}
	for lag := leastLag * turns / 360; lag <= turns/2; lag++ {
		sum := 0.0
		for _, row := range maps[0] {
			for i, v := range row {
				sum += v * row[(i+lag)%turns]
			}
		}
		if c := sum / max(zero, 1e-300); c > r.Correlation {
			r.Correlation, r.Lag = c, float64(lag)*360/turns
		}
	}
	r.Twin = twin(maps[0])
	for _, m := range maps[1:] {
		r.Chance = max(r.Chance, twin(m))
	}
	return r
}

// twin is the largest correlation of a sector with a piece that does not overlap it, plain or mirrored, stretched by 0.8 to 1.25.
func twin(rows [][]float64) float64 {
	const wide = sectorWidth * turns / 360
	count := turns / wide
	best := make([]float64, count)
	parallel.Each(count, 2, func(s int) {
		var sector []float64
		norm := 0.0
		for _, row := range rows {
			for i := range wide {
				v := row[s*wide+i]
				sector = append(sector, v)
				norm += v * v
			}
		}
		for _, stretch := range []float64{0.8, 0.9, 1, 1.12, 1.25} {
			var at [wide]int
			for i := range at {
				at[i] = int(math.Round((float64(i) - wide/2) * stretch))
			}
			for lag := wide * 3 / 2; lag <= turns-wide*3/2; lag += 2 {
				mid := s*wide + wide/2 + lag
				var plain, turned, own float64
				for j, row := range rows {
					for i, d := range at {
						v := row[(mid+d+turns)%turns]
						plain += v * sector[j*wide+i]
						turned += v * sector[j*wide+wide-1-i]
						own += v * v
					}
				}
				best[s] = max(best[s], max(plain, turned)/math.Sqrt(max(1e-300, own*norm)))
			}
		}
	})
	top := 0.0
	for _, b := range best {
		top = max(top, b)
	}
	return top
}
