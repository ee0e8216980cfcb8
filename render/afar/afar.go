package afar

import (
	"fmt"
	"math"
	"slices"

	"catchlight/render/imgcmp"
	"catchlight/scene/colour"
)

// Light is a picture of linear light before tone mapping, row by row from the top left, with its coverage.
type Light struct {
	W, H  int
	Mean  []colour.RGB
	Alpha []float64
}

// PerPixel returns how many mm a pixel holds at a distance in mm for an observer with so many pixels per degree.
func PerPixel(distance, perDegree float64) float64 {
	return 2 * distance * math.Tan(math.Pi/360) / perDegree
}

// Resample returns the picture with pixels k >= 1 times as wide: each is the mean of the light that falls on it, by area. What is
// left over at the edges falls away evenly on both sides.
func (l *Light) Resample(k float64) *Light {
	w, h := max(1, int(float64(l.W)/k)), max(1, int(float64(l.H)/k))
	out := &Light{W: w, H: h, Mean: make([]colour.RGB, w*h), Alpha: make([]float64, w*h)}
	x0, y0 := max(0, (float64(l.W)-float64(w)*k)/2), max(0, (float64(l.H)-float64(h)*k)/2)
	rows, columns := spans(y0, k, h, l.H), spans(x0, k, w, l.W)
	for y := range h {
		for x := range w {
			var sum colour.RGB
			alpha, all := 0.0, 0.0
			for _, r := range rows[y] {
				for _, c := range columns[x] {
					a := r.share * c.share
					i := r.at*l.W + c.at
					sum, alpha, all = sum.Add(l.Mean[i].Scale(a)), alpha+a*l.Alpha[i], all+a
				}
			}
			out.Mean[y*w+x], out.Alpha[y*w+x] = sum.Scale(1/all), alpha/all
		}
	}
	return out
}

// part is a pixel and how much of it lies in a wider one.
type part struct {
	at    int
	share float64
}

// spans lists the pixels of n that each of m wider ones covers.
func spans(from, k float64, m, n int) [][]part {
	out := make([][]part, m)
	for i := range out {
		a, b := from+float64(i)*k, from+float64(i+1)*k
		for p := max(0, int(a)); p < n && float64(p) < b; p++ {
			if s := min(b, float64(p+1)) - max(a, float64(p)); s > 1e-9 {
				out[i] = append(out[i], part{p, s})
			}
		}
		if out[i] == nil {
			out[i] = []part{{min(n-1, int(a)), 1}}
		}
	}
	return out
}

// Noticed is the FLIP at which a difference is taken to be seen: what FLIP says of two even greys that are 2.3 units of L* apart,
// the least difference that observers notice (Mahy, Van Eycken and Oosterlinck, Color Res. Appl. 19 (1994), 105; from memory).
const Noticed = 0.102

// Pair is two pictures whose difference is looked for in a part of them.
type Pair struct {
	Name string
	A, B *Light
	Mask []float64                   // share of each pixel that counts
	Show func(l *Light) []colour.RGB // as seen on a display, linear
}

// Step is what is seen from one distance.
type Step struct {
	Metres float64 `json:"metres"`
	FLIP   float64 `json:"flip_99"` // of the part: 99 of 100 pixels differ less
}

// At returns the pictures as they are from further away, k times as coarse, and their FLIP.
func (p *Pair) At(k, perDegree float64) (a, b *Light, flip []float64, err error) {
	a, b = p.A.Resample(k), p.B.Resample(k)
	flip, err = imgcmp.FLIP(p.Show(b), p.Show(a), a.W, perDegree)
	return a, b, flip, err
}

// Score is the FLIP that 99 of 100 pixels of the part stay below, k times as coarse; of a part of less than a hundred pixels, that
// of the one that differs most: thin vessels cover little of the white. A pixel counts that lies in it by half; where none does, the one that lies in it most.
func (p *Pair) Score(k, perDegree float64) (float64, error) {
	_, _, flip, err := p.At(k, perDegree)
	if err != nil {
		return 0, err
	}
	mask := (&Light{W: p.A.W, H: p.A.H, Mean: make([]colour.RGB, len(p.Mask)), Alpha: p.Mask}).Resample(k).Alpha
	var in []float64
	most := 0
	for i, m := range mask {
		if m > mask[most] {
			most = i
		}
		if m >= 0.5 {
			in = append(in, flip[i])
		}
	}
	if mask[most] <= 0 {
		return 0, fmt.Errorf("%s: the picture shows none of it", p.Name)
	}
	if in == nil {
		return flip[most], nil
	}
	slices.Sort(in)
	return in[min(len(in)-1, int(0.99*float64(len(in))))], nil
}

// Reach is from where on a difference is no longer seen.
type Reach struct {
	Name   string  `json:"name"`
	Metres float64 `json:"metres"`           // the furthest from which it is seen; 0: from nowhere that the picture resolves
	Beyond bool    `json:"beyond,omitempty"` // it is still seen from Furthest
	Steps  []Step  `json:"steps"`
	Grain  float64 `json:"grain_metres"` // the furthest from which grain alone is seen in the same part
	Doubt  bool    `json:"may_be_grain"` // grain alone is seen from as far, to one Further
}

// Further is from one distance that is looked at to the next, as a factor.
var Further = math.Cbrt(2)

// Against marks what is not seen from clearly further, by one Further, than grain alone in the same part: a detail of no light
// would be seen so far.
func (r *Reach) Against(grain Reach) {
	r.Grain = grain.Metres
	r.Doubt = r.Metres > 0 && (grain.Beyond || grain.Metres*Further >= r.Metres)
}

// Furthest is the last distance that is looked at, m.
const Furthest = 40.0

// Reach finds from where on a difference is not seen. mm is how wide a pixel of the pictures is; the nearest distance is the one
// at which an observer resolves that, or least metres where that is further.
func (p *Pair) Reach(mm, perDegree, least float64) (Reach, error) {
	near := mm / PerPixel(1000, perDegree)
	r := Reach{Name: p.Name}
	for d := max(near, least); d <= Furthest*1.001; d *= Further {
		s, err := p.Score(max(1, d/near), perDegree)
		if err != nil {
			return r, err
		}
		r.Steps = append(r.Steps, Step{d, s})
	}
	for i := len(r.Steps) - 1; i >= 0; i-- {
		if r.Steps[i].FLIP < Noticed {
			continue
		}
		r.Metres, r.Beyond = r.Steps[i].Metres, i == len(r.Steps)-1
		if !r.Beyond {
			// Between two steps by straight lines over the logarithm.
			a, b := r.Steps[i], r.Steps[i+1]
			r.Metres *= math.Pow(b.Metres/a.Metres, (a.FLIP-Noticed)/(a.FLIP-b.FLIP))
		}
		break
	}
	return r, nil
}

// String says it in words.
func (r Reach) String() string {
	if r.Doubt {
		r.Doubt = false
		return r.String() + ", or grain"
	}
	switch {
	case r.Beyond:
		return fmt.Sprintf("still seen from %g m", Furthest)
	case r.Metres == 0 && len(r.Steps) > 0:
		return fmt.Sprintf("not seen, even from %.2g m", r.Steps[0].Metres)
	}
	return fmt.Sprintf("seen up to %.2g m", r.Metres)
}

// Grey returns the picture with the pixels of a part turned grey, of the luminance that they have.
func (l *Light) Grey(mask []float64) *Light {
	out := *l
	out.Mean = slices.Clone(l.Mean)
	for i, m := range mask {
		out.Mean[i] = colour.Lerp(l.Mean[i], colour.Grey(l.Mean[i].Luminance()), m)
	}
	return &out
}
