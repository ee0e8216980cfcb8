package compare

import (
	"errors"
	"fmt"
	"image"
	"math"
	"math/rand/v2"
	"slices"

	"catchlight/render/imgcmp"
	"catchlight/scene/colour"
)

// Side is one of the two pictures. All slices hold the picture row by row from the top left.
type Side struct {
	Name    string       // in words
	File    string       // name of its files, without an ending
	Linear  []colour.RGB // scene light, W/(m^2 sr); nil where only what is seen is known, as of a photograph
	Error   []colour.RGB // standard errors of Linear; nil: none, or not known
	Grain   float64      // pixels of a grain, where errors of neighbours go together; 0 is 1
	Clean   []colour.RGB // scene light without its grain, where that is what is seen; else nil
	Display []colour.RGB // linear display light, white is 1
	Seen    *image.NRGBA // as shown, in 8 bits
}

// shown is the scene light that is seen.
func (s *Side) shown() []colour.RGB {
	if s.Clean != nil {
		return s.Clean
	}
	return s.Linear
}

// Region is a part of the picture to be judged by itself.
type Region struct {
	Name string
	Eye  string // of several eyes: which; empty for all together
	Mask imgcmp.Mask
	Kind int // index of its colour in the map of regions; -1 for none
}

// Pair is what is compared. Reference comes first.
type Pair struct {
	Title     string
	Width     int
	Height    int
	Reference Side
	Test      Side
	Regions   []Region
	// Shade turns scene light into display light as the side with error bars was; nil where that is not known. It is asked what
	// grain alone would do.
	Shade     func(linear []colour.RGB) ([]colour.RGB, error)
	PerDegree float64 // pixels in one degree of the observer's field
	Distance  float64 // in words of the page: m from a screen 0.7 m and 3840 px wide; 0 leaves it out
	Workers   int
	Notes     []string
}

// Number is a figure that can be missing.
type Number float64

// MarshalJSON writes null for what is not a number.
func (n Number) MarshalJSON() ([]byte, error) {
	if v := float64(n); !math.IsNaN(v) && !math.IsInf(v, 0) {
		return fmt.Appendf(nil, "%.6g", v), nil
	}
	return []byte("null"), nil
}

// Spread sums up a map over a region.
type Spread struct {
	Mean   Number `json:"mean"`
	Median Number `json:"median"`
	High   Number `json:"percentile_99"`
}

// Figures are the numbers of one region.
type Figures struct {
	Region     string    `json:"region"`
	Eye        string    `json:"eye,omitempty"`
	Pixels     int       `json:"pixels"`
	FLIP       Spread    `json:"flip"`
	Grain      Number    `json:"flip_of_grain"` // mean FLIP that the pictures' error bars alone would bring, about
	HDRFLIP    Spread    `json:"hdr_flip"`
	Colour     Spread    `json:"ciede2000"`
	Ratio      Number    `json:"mean_linear_ratio"`       // luminance of the test over the reference
	RatioError Number    `json:"mean_linear_ratio_error"` // standard error, an upper bound
	RatioRGB   [3]Number `json:"mean_linear_ratio_rgb"`
	SSIM       Number    `json:"ssim_mean"`
}

// Report is compare.json.
type Report struct {
	Title     string             `json:"title"`
	Reference string             `json:"reference"`
	Test      string             `json:"test"`
	Width     int                `json:"width"`
	Height    int                `json:"height"`
	PerDegree float64            `json:"pixels_per_degree"`
	Exposures *imgcmp.Exposures  `json:"hdr_flip_exposures_ev,omitempty"`
	Light     string             `json:"linear_ratio_of"` // what light the ratio is of
	Scales    map[string]float64 `json:"map_scales"`
	Regions   []Figures          `json:"regions"`
	Notes     []string           `json:"notes,omitempty"`
}

// Result is a finished comparison.
type Result struct {
	Report
	pair      *Pair
	flip, hdr []float64 // hdr is nil without scene light
	grain     []float64 // FLIP of grain alone; nil where no errors are known
	lighter   []float64 // L* of the test less that of the reference
	colours   []float64 // CIEDE2000
}

// Measure compares the pair. It fails where shapes do not agree.
func Measure(p *Pair) (*Result, error) {
	n := p.Width * p.Height
	var errs []error
	for _, s := range []*Side{&p.Reference, &p.Test} {
		if len(s.Display) != n || s.Linear != nil && len(s.Linear) != n || s.Error != nil && len(s.Error) != n || s.Clean != nil && len(s.Clean) != n {
			errs = append(errs, fmt.Errorf("compare: %s has %d pixels as seen and %d of light for %d x %d", s.Name, len(s.Display), len(s.Linear), p.Width, p.Height))
		} else if s.Seen == nil || s.Seen.Bounds() != image.Rect(0, 0, p.Width, p.Height) {
			errs = append(errs, fmt.Errorf("compare: %s has no picture of %d x %d", s.Name, p.Width, p.Height))
		}
	}
	for _, r := range p.Regions {
		if len(r.Mask) != n {
			errs = append(errs, fmt.Errorf("compare: a mask of %d for %d pixels", len(r.Mask), n))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return nil, err
	}
	a, b := &p.Reference, &p.Test
	r := &Result{pair: p}
	var err error
	if r.flip, err = imgcmp.FLIP(b.Display, a.Display, p.Width, p.PerDegree); err != nil {
		return nil, err
	}
	linear := a.Linear != nil && b.Linear != nil
	r.Report = Report{Title: p.Title, Reference: a.Name, Test: b.Name, Width: p.Width, Height: p.Height, PerDegree: p.PerDegree,
		Light: "display light", Scales: map[string]float64{}, Notes: p.Notes}
	if linear {
		var e imgcmp.Exposures
		if r.hdr, _, e, err = imgcmp.HDRFLIP(b.shown(), a.shown(), p.Width, p.PerDegree, p.Workers); err != nil {
			return nil, err
		}
		r.Exposures, r.Light = &e, "scene light"
	}
	if r.grain, err = grain(p); err != nil {
		return nil, err
	}
	ssim, err := imgcmp.SSIM(b.Display, a.Display, p.Width)
	if err != nil {
		return nil, err
	}
	r.colours, r.lighter = imgcmp.Colours(b.Display, a.Display), imgcmp.Lightness(b.Display, a.Display)
	ia, ib := imgcmp.Image{Width: p.Width, Height: p.Height, Pix: a.Display}, imgcmp.Image{Width: p.Width, Height: p.Height, Pix: b.Display}
	if linear {
		ia.Pix, ia.Error, ib.Pix, ib.Error = a.Linear, a.Error, b.Linear, b.Error
		ia.Grain, ib.Grain = a.Grain, b.Grain
	}
	spread := func(m []float64, mask imgcmp.Mask) Spread {
		mean, median, high, _ := imgcmp.Pool(m, mask)
		return Spread{Number(mean), Number(median), Number(high)}
	}
	for _, g := range append([]Region{{Name: "picture", Kind: -1}}, p.Regions...) {
		_, _, _, count := imgcmp.Pool(r.flip, g.Mask)
		if count == 0 {
			continue
		}
		f := Figures{Region: g.Name, Eye: g.Eye, Pixels: count, FLIP: spread(r.flip, g.Mask), Grain: spread(r.grain, g.Mask).Mean, HDRFLIP: spread(r.hdr, g.Mask), Colour: spread(r.colours, g.Mask),
			SSIM: spread(ssim, g.Mask).Mean}
		rgb, lum, e := imgcmp.Ratio(ib, ia, g.Mask)
		f.Ratio, f.RatioError = Number(lum), Number(e)
		if ia.Error == nil && ib.Error == nil {
			f.RatioError = Number(math.NaN()) // no error is known, which is not none
		}
		for c := range rgb {
			f.RatioRGB[c] = Number(rgb[c])
		}
		r.Regions = append(r.Regions, f)
	}
	r.Scales["lightness"], r.Scales["colour"] = scale(r.lighter), scale(r.colours)
	return r, nil
}

// normals returns a normal number for each pixel. With a grain above 1 they are weighted by a Gaussian along rows and columns that makes such
// grains: of weights w, the square of their sum over the sum of their squares.
func normals(w, h int, grain float64) []float64 {
	r := rand.New(rand.NewPCG(1, uint64(w)))
	out := make([]float64, w*h)
	for i := range out {
		out[i] = r.NormFloat64()
	}
	if !(grain > 1) {
		return out
	}
	var weight []float64
	reach := 0
	for lo, hi := 0.05, 10.0; hi-lo > 1e-6; { // its deviation in pixels
		s := (lo + hi) / 2
		reach = int(math.Ceil(3 * s))
		weight = make([]float64, 2*reach+1)
		sum, square := 0.0, 0.0
		for k := range weight {
			d := float64(k-reach) / s
			weight[k] = math.Exp(-d * d / 2)
			sum, square = sum+weight[k], square+weight[k]*weight[k]
		}
		if sum*sum/square < math.Sqrt(grain) {
			lo = s
		} else {
			hi = s
		}
	}
	along := func(from []float64, n, step int, start func(i int) int) []float64 {
		to := make([]float64, len(from))
		for line := range len(from) / n {
			for i := range n {
				sum, square := 0.0, 0.0 // at the edge fewer, of the same variance
				for k, v := range weight {
					if j := i + k - reach; j >= 0 && j < n {
						sum += v * from[start(line)+j*step]
						square += v * v
					}
				}
				to[start(line)+i*step] = sum / math.Sqrt(square)
			}
		}
		return to
	}
	out = along(out, w, 1, func(line int) int { return line * w })
	return along(out, h, w, func(line int) int { return line })
}

// grain returns FLIP between a side that has error bars and itself with noise of both sides' errors on it: one normal number
// for all channels of a pixel. Pictures that share a seed differ less. Of pictures without their grain it knows nothing.
func grain(p *Pair) ([]float64, error) {
	base, other := &p.Reference, &p.Test
	if base.Error == nil {
		base, other = other, base
	}
	if p.Shade == nil || base.Error == nil || base.Linear == nil || base.Clean != nil || other.Clean != nil {
		return nil, nil
	}
	normal := normals(p.Width, len(base.Linear)/p.Width, base.Grain)
	noisy := make([]colour.RGB, len(base.Linear))
	for i, c := range base.Linear {
		n := normal[i]
		for k := range c {
			e := base.Error[i][k]
			if other.Error != nil {
				e = math.Hypot(e, other.Error[i][k])
			}
			if !math.IsNaN(e) && !math.IsInf(e, 0) {
				c[k] = max(0, c[k]+n*e)
			}
		}
		noisy[i] = c
	}
	shown, err := p.Shade(noisy)
	if err != nil {
		return nil, err
	}
	return imgcmp.FLIP(shown, base.Display, p.Width, p.PerDegree)
}

// scale returns the end of a map's scale: what all but one in 200 values keep to, rounded up to a 1, 2 or 5, and at least 2.
func scale(m []float64) float64 {
	v := make([]float64, len(m))
	for i, x := range m {
		v[i] = math.Abs(x)
	}
	slices.Sort(v)
	want := max(2, v[(len(v)-1)*199/200])
	base := math.Pow(10, math.Floor(math.Log10(want)))
	for _, k := range []float64{1, 2, 5, 10} {
		if k*base >= want*(1-1e-9) {
			return k * base
		}
	}
	return 10 * base
}
