package imgcmp

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"catchlight/scene/colour"
	"catchlight/scene/parallel"
)

// PixelsPerDegree returns how many pixels one degree of a viewer's field holds: distance from the screen and width of the
// screen in one unit, and how many pixels that width has.
func PixelsPerDegree(distance, width, pixels float64) float64 {
	return distance * pixels / width * math.Pi / 180
}

// DeskViewing is the number of pixels per degree that FLIP's authors take: 0.7 m before a screen 0.7 m and 3840 px wide.
var DeskViewing = PixelsPerDegree(0.7, 0.7, 3840)

// FLIP returns for each pixel how strongly an observer who blinks between a picture and the reference sees a difference there,
// from 0 (none) to 1. a and b are linear display light in [0, 1] (white is 1), rows of width pixels; perDegree is the number
// of pixels in one degree of the observer's field, in [1, 1000]. It is symmetric in a and b. Beyond the edge a picture goes on
// with its outermost pixels.
//
// Source: Andersson, Nilsson, Akenine-Möller, Oskarsson, Åström and Fairchild, FLIP: A Difference Evaluator for Alternating
// Images, Proc. ACM Comput. Graph. Interact. Tech. 3(2), 2020.
func FLIP(a, b []colour.RGB, width int, perDegree float64) ([]float64, error) {
	k, err := newFlip(a, b, width, perDegree)
	if err != nil {
		return nil, err
	}
	return k.compare(a, b), nil
}

// Source of the numbers: the FLIP paper, sections 4 and 5; they were also read in the authors' code of 2020.
const (
	colourPower   = 0.7
	featurePower  = 0.5
	kneeFrom      = 0.4   // share of the largest colour difference ...
	kneeTo        = 0.95  // ... that takes this share of the scale
	featureDegree = 0.082 // peak to trough of the eye's edge detector
)

// gaussian is a term a sqrt(pi/b) exp(-pi^2 x^2/b) of a contrast sensitivity filter over degrees.
type gaussian struct{ a, b float64 }

// sensitivity are the filters of the channels: brightness, red to green, blue to yellow.
var sensitivity = [3][]gaussian{{{1, 0.0047}}, {{1, 0.0053}}, {{34.1, 0.04}, {13.5, 0.025}}}

// flipper holds the filters of one viewing distance; it is read-only.
type flipper struct {
	w, h     int
	colour   [3][]term // a sum of separable filters for each channel
	edge     []float64 // lobes sum to 1 and -1
	point    []float64
	across   []float64 // sums to 1
	greatest float64   // difference of green and blue, to the power
}

// term is a filter that is the same along both axes; weights of all terms of a channel sum to 1.
type term struct {
	weight float64
	kernel []float64 // sums to 1
}

func newFlip(a, b []colour.RGB, width int, perDegree float64) (*flipper, error) {
	var errs []error
	if !(perDegree >= 1 && perDegree <= 1000) {
		errs = append(errs, fmt.Errorf("imgcmp: %g pixels per degree is outside [1, 1000]", perDegree))
	}
	if width < 1 || len(a) == 0 || len(a)%max(width, 1) != 0 || len(b) != len(a) {
		errs = append(errs, fmt.Errorf("imgcmp: %d and %d pixels in rows of %d", len(a), len(b), width))
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	k := &flipper{w: width, h: len(a) / width}
	reach := int(math.Ceil(3 * math.Sqrt(0.04/(2*math.Pi*math.Pi)) * perDegree))
	for c, terms := range sensitivity {
		total := 0.0
		for _, g := range terms {
			line := make([]float64, 2*reach+1)
			sum := 0.0
			for i := range line {
				x := float64(i-reach) / perDegree
				line[i] = math.Exp(-math.Pi * math.Pi * x * x / g.b)
				sum += line[i]
			}
			for i := range line {
				line[i] /= sum
			}
			weight := g.a * math.Sqrt(math.Pi/g.b) * sum * sum
			total += weight
			k.colour[c] = append(k.colour[c], term{weight, line})
		}
		for i := range k.colour[c] {
			k.colour[c][i].weight /= total
		}
	}
	sd := 0.5 * featureDegree * perDegree
	reach = int(math.Ceil(3 * sd))
	n := 2*reach + 1
	k.edge, k.point, k.across = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		x := float64(i - reach)
		g := math.Exp(-x * x / (2 * sd * sd))
		k.across[i], k.edge[i], k.point[i] = g, -x*g, (x*x/(sd*sd)-1)*g
	}
	lobes(k.across)
	lobes(k.edge)
	lobes(k.point)
	k.greatest = math.Pow(apart(hunt(colour.RGB{0, 1, 0}), hunt(colour.RGB{0, 0, 1})), colourPower)
	return k, nil
}

// lobes scales the positive weights to sum 1 and the negative ones to -1.
func lobes(k []float64) {
	var up, down float64
	for _, v := range k {
		up, down = up+max(v, 0), down-min(v, 0)
	}
	for i, v := range k {
		if v > 0 {
			k[i] = v / up
		} else if v < 0 {
			k[i] = v / down
		}
	}
}

// planes are three channels of a picture, each row by row.
type planes [3][]float64

func (k *flipper) compare(a, b []colour.RGB) []float64 {
	oa, ob := k.opponent(a), k.opponent(b)
	ea, pa := k.features(oa[0])
	eb, pb := k.features(ob[0])
	fa, fb := k.seen(oa), k.seen(ob)
	out := make([]float64, len(a))
	knee := kneeFrom * k.greatest
	for i := range out {
		c := math.Pow(apart(fa[i], fb[i]), colourPower)
		if c < knee {
			c *= kneeTo / knee
		} else {
			c = kneeTo + (c-knee)/(k.greatest-knee)*(1-kneeTo)
		}
		f := math.Pow(max(math.Abs(ea[i]-eb[i]), math.Abs(pa[i]-pb[i]))/math.Sqrt2, featurePower)
		out[i] = math.Pow(c, 1-f)
	}
	return out
}

// opponent brings pixels to the linear opponent space YCxCz.
func (k *flipper) opponent(pix []colour.RGB) planes {
	var out planes
	for c := range out {
		out[c] = make([]float64, len(pix))
	}
	for i, p := range pix {
		for c, v := range p { // what a screen can show
			if !(v > 0) {
				v = 0
			}
			p[c] = min(v, 1)
		}
		x := toXYZ.Apply(p)
		out[0][i], out[1][i], out[2][i] = 116*x[1]-16, 500*(x[0]-x[1]), 200*(x[1]-x[2])
	}
	return out
}

// toXYZ gives tristimulus values over those of white, D65. Source: the FLIP paper's choice of numbers for sRGB; the rows
// sum to 1.
var toXYZ = func() colour.Matrix {
	m := colour.Matrix{
		{10135552.0 / 24577794, 8788810.0 / 24577794, 4435075.0 / 24577794},
		{2613072.0 / 12288897, 8788810.0 / 12288897, 887015.0 / 12288897},
		{1425312.0 / 73733382, 8788810.0 / 73733382, 70074185.0 / 73733382},
	}
	for i, r := range m {
		m[i] = r.Scale(1 / (r[0] + r[1] + r[2]))
	}
	return m
}()

var fromXYZ = func() colour.Matrix {
	m, err := toXYZ.Inverse()
	if err != nil {
		panic(err) // of constants
	}
	return m
}()

// seen filters opponent channels by what the eye resolves, and brings them to Hunt-adjusted L*a*b*.
func (k *flipper) seen(o planes) []colour.RGB {
	var f planes
	spare, part := make([]float64, len(o[0])), make([]float64, len(o[0]))
	for c := range f {
		f[c] = make([]float64, len(o[0]))
		for _, t := range k.colour[c] {
			k.along(spare, o[c], t.kernel)
			k.down(part, spare, t.kernel)
			for i, v := range part {
				f[c][i] += t.weight * v
			}
		}
	}
	out := make([]colour.RGB, len(o[0]))
	for i := range out {
		y := (f[0][i] + 16) / 116
		p := fromXYZ.Apply(colour.RGB{y + f[1][i]/500, y, y - f[2][i]/200})
		for c, v := range p {
			p[c] = min(max(v, 0), 1)
		}
		out[i] = hunt(p)
	}
	return out
}

// hunt returns L*, and a* and b* scaled by L*/100: colours of dark things look less colourful.
func hunt(c colour.RGB) colour.RGB {
	x := toXYZ.Apply(c)
	for i, t := range x {
		if t > 216.0/24389 {
			x[i] = math.Cbrt(t)
		} else {
			x[i] = (24389.0/27*t + 16) / 116
		}
	}
	l := 116*x[1] - 16
	return colour.RGB{l, 0.01 * l * 500 * (x[0] - x[1]), 0.01 * l * 200 * (x[1] - x[2])}
}

// apart is the HyAB distance. Source: Abasi, Tehran and Fairchild, Distance Metrics for Very Large Color Differences, Color
// Res. Appl. 45, 2020.
func apart(a, b colour.RGB) float64 {
	return math.Abs(a[0]-b[0]) + math.Hypot(a[1]-b[1], a[2]-b[2])
}

// features returns how strong edges and points are at each pixel of the channel Y.
func (k *flipper) features(y []float64) (edges, points []float64) {
	grey := make([]float64, len(y))
	for i, v := range y {
		grey[i] = (v + 16) / 116
	}
	spare, other := make([]float64, len(y)), make([]float64, len(y))
	find := func(kernel []float64) []float64 {
		out := make([]float64, len(y))
		k.along(spare, grey, kernel)
		k.down(out, spare, k.across)
		k.along(spare, grey, k.across)
		k.down(other, spare, kernel)
		for i, v := range other {
			out[i] = math.Hypot(out[i], v)
		}
		return out
	}
	return find(k.edge), find(k.point)
}

// along filters rows. dst and src must not be the same.
func (k *flipper) along(dst, src, kernel []float64) {
	r := len(kernel) / 2
	for y := range k.h {
		in, out := src[y*k.w:(y+1)*k.w], dst[y*k.w:(y+1)*k.w]
		for x := range out {
			sum := 0.0
			if x >= r && x+r < k.w {
				for i, v := range in[x-r : x+r+1] {
					sum += kernel[i] * v
				}
			} else {
				for i, v := range kernel {
					sum += v * in[min(max(x+i-r, 0), k.w-1)]
				}
			}
			out[x] = sum
		}
	}
}

// down filters columns.
func (k *flipper) down(dst, src, kernel []float64) {
	r := len(kernel) / 2
	for y := range k.h {
		out := dst[y*k.w : (y+1)*k.w]
		clear(out)
		for i, v := range kernel {
			at := min(max(y+i-r, 0), k.h-1)
			for x, s := range src[at*k.w : (at+1)*k.w] {
				out[x] += v * s
			}
		}
	}
}

// Exposures are the stops at which HDR-FLIP looks at a pair of pictures.
type Exposures struct {
	Start float64 `json:"start"` // EV
	Stop  float64 `json:"stop"`
	Count int     `json:"count"` // evenly spaced, both ends among them
}

// At returns exposure i, in EV.
func (e Exposures) At(i int) float64 {
	if i >= e.Count-1 {
		return e.Stop
	}
	return e.Start + float64(i)*(e.Stop-e.Start)/float64(e.Count-1)
}

// MostExposures bounds the work on pictures with an enormous range; the first MostExposures-1 stops below Stop then count.
const MostExposures = 32

// ExposuresOf returns the exposures from the one that leaves the reference's brightest pixel just below white to the one that
// does so for its median. Black pixels are left out of the median, so that a backdrop of nothing doesn't drive it to no end;
// the authors' median takes all. ok is false for a reference without light.
//
// Source: Andersson, Nilsson, Shirley and Akenine-Möller, Visualizing Errors in Rendered High Dynamic Range Images,
// Eurographics 2021 short papers, section 3.
func ExposuresOf(reference []colour.RGB) (e Exposures, ok bool) {
	var lum []float64
	for _, p := range reference {
		if l := p.Luminance(); l > 0 && !math.IsInf(l, 0) {
			lum = append(lum, l)
		}
	}
	if len(lum) == 0 {
		return e, false
	}
	// The light that the curve takes to 0.85.
	const t = 0.85
	p, q := (curve[1]-curve[3]*t)/(curve[0]-curve[2]*t), -curve[4]*t/(curve[0]-curve[2]*t)
	x := -p/2 + math.Sqrt(p*p/4-q)
	e.Start, e.Stop = math.Log2(x/slices.Max(lum)), math.Log2(x/middle(lum))
	e.Count = int(max(2, math.Ceil(e.Stop-e.Start)))
	if e.Count > MostExposures {
		e.Count, e.Start = MostExposures, e.Stop-(MostExposures-1)
	}
	return e, true
}

// curve holds the coefficients of (k0 x^2 + k1 x)/(k2 x^2 + k3 x + k4), the tone curve of HDR-FLIP.
//
// Source: Narkowicz, ACES Filmic Tone Mapping Curve, web note, 2016, with 0.6 as its own exposure as in HDR-FLIP.
var curve = [5]float64{0.36 * 2.51, 0.6 * 0.03, 0.36 * 2.43, 0.6 * 0.59, 0.14}

func expose(pix []colour.RGB, ev float64) []colour.RGB {
	out, s := make([]colour.RGB, len(pix)), math.Exp2(ev)
	for i, p := range pix {
		for c, x := range p {
			if x *= s; !(x > 0) {
				x = 0
			}
			x = min(x, 1e15)
			out[i][c] = min(1, (curve[0]*x*x+curve[1]*x)/(curve[2]*x*x+curve[3]*x+curve[4]))
		}
	}
	return out
}

// hugePicture is how many pixels a picture has whose exposures HDRFLIP takes one after the other: each takes some 200 bytes a
// pixel.
const hugePicture = 4 << 20

// HDRFLIP is FLIP between pictures of any range: for each pixel the largest FLIP over the exposures of the reference, and the
// exposure in EV that it is found at. a and reference are linear light, >= 0; see FLIP for the rest. The maps are all 0 where
// the reference holds no light. It uses up to workers goroutines; their number changes nothing.
//
// Source: as ExposuresOf.
func HDRFLIP(a, reference []colour.RGB, width int, perDegree float64, workers int) (worst, at []float64, e Exposures, err error) {
	k, err := newFlip(a, reference, width, perDegree)
	if err != nil {
		return nil, nil, e, err
	}
	worst, at = make([]float64, len(a)), make([]float64, len(a))
	e, ok := ExposuresOf(reference)
	if !ok {
		return worst, at, e, nil
	}
	for i := range at {
		at[i] = e.Start
	}
	if len(a) > hugePicture {
		workers = 1
	}
	var mutex sync.Mutex
	parallel.Each(e.Count, workers, func(n int) {
		ev := e.At(n)
		m := k.compare(expose(a, ev), expose(reference, ev))
		mutex.Lock()
		defer mutex.Unlock()
		for i, v := range m {
			// Of equal ones the lowest exposure counts, whichever is ready first.
			if v > worst[i] || v == worst[i] && v > 0 && ev < at[i] {
				worst[i], at[i] = v, ev
			}
		}
	})
	return worst, at, e, nil
}

// middle returns the median of values, which it sorts; of an even number the mean of the two in the middle; NaN of none.
func middle(v []float64) float64 {
	slices.Sort(v)
	n := len(v)
	if n == 0 {
		return math.NaN()
	}
	return (v[(n-1)/2] + v[n/2]) / 2
}
