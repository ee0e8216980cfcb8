package render

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"catchlight/render/film"
	"catchlight/render/view"
	"catchlight/scene"
)

// Target is a named standard error of the display signal, as a share of its range.
type Target struct {
	Name  string
	Error float64
}

// Targets are the named errors, in 8-bit levels: two, three quarters, and two fifths.
var Targets = []Target{{"draft", 2.0 / 255}, {"final", 0.75 / 255}, {"print", 0.4 / 255}}

// ParseTarget returns the error of a target's name, or of a number in (0, 0.5].
func ParseTarget(s string) (float64, error) {
	for _, t := range Targets {
		if t.Name == s {
			return t.Error, nil
		}
	}
	e, err := strconv.ParseFloat(s, 64)
	if err != nil || !(e > 0 && e <= 0.5) {
		return 0, fmt.Errorf("%q is none of draft, final, print, and no number in (0, 0.5]", s)
	}
	return e, nil
}

// TargetSPP is the most samples per pixel of a render that has a target and no bound of its own.
const TargetSPP = 4096

// leastSPP is how many samples every pixel gets before its tile may stop.
const leastSPP = 6 * film.Replicates

// barrier reports whether a tile may stop after n samples: after six in each replicate, then steps of about
// half. They never depend on a render's own bounds, so a render that goes on decides as one that never paused.
//
// Noise of light is skewed: where rare bright samples have not come yet, a tile seems less noisy and is darker too. A tile
// that may stop whenever its error reads low stops darker than the truth. The first barrier counts most for that, as few
// rare samples have come by then. Measured against each tile's own expectation, 24 seeds of the lidded ferry keeper at 64 x 48
// pixels, 16 to 64 samples: -0.19 % +- 0.04 at worst over all targets with the first barrier at 16 samples, 0.01 % +- 0.01
// where it is at 48; of single noise-like tiles (a test) -0.6 % and -0.03 % where the first barrier ends most of them, and
// -0.2 % both ways where later ones do.
func barrier(n int) bool {
	if n < leastSPP {
		return false
	}
	for b := 2 * film.Replicates; b <= n; b *= 2 {
		if n == b || n == b+b/2 {
			return true
		}
	}
	return false
}

// poolRadius is the reach of the window that errors are pooled over, in pixels: 7 x 7 of them, cut at the tile's edge,
// so that even a corner has 16 pixels of 7 degrees of freedom.
const poolRadius = 3

// displayError fills the pooled error of one tile into out, which has the tile's pixels in rows of film.TileSize, and returns the
// largest.
func displayError(f *film.Film, v *view.View, tile int, out []float64) float64 {
	if !f.Has(tile) {
		for i := range out {
			out[i] = math.NaN()
		}
		return math.NaN()
	}
	h := f.Hold(tile)
	defer h.Release()
	return heldError(&h, v, out)
}

// ownError is displayError as a pure function of the tile's own samples, which others' don't change: where pixels share samples, the part of a filter
// that lies in other tiles counts as being as noisy as the part in this one.
func ownError(f *film.Film, v *view.View, tile int) float64 {
	if !f.Has(tile) {
		return math.NaN()
	}
	h := f.HoldAlone(tile)
	defer h.Release()
	return heldError(&h, v, nil)
}

func heldError(h *film.Held, v *view.View, out []float64) float64 {
	var square [film.TileSize * film.TileSize]float64
	for y := h.Y0; y < h.Y1; y++ {
		for x := h.X0; x < h.X1; x++ {
			mean, err := h.Pixel(h.At(x, y))
			err = err.Scale(math.Sqrt(h.Share(h.At(x, y))))
			s := v.Spread(mean, err)
			square[h.At(x, y)] = (s[0]*s[0] + s[1]*s[1] + s[2]*s[2]) / 3
		}
	}
	worst := 0.0
	for y := h.Y0; y < h.Y1; y++ {
		for x := h.X0; x < h.X1; x++ {
			sum, n := 0.0, 0
			for v := max(h.Y0, y-poolRadius); v < min(h.Y1, y+poolRadius+1); v++ {
				for u := max(h.X0, x-poolRadius); u < min(h.X1, x+poolRadius+1); u++ {
					sum += square[h.At(u, v)]
					n++
				}
			}
			e := math.Sqrt(sum / float64(n))
			if out != nil {
				out[h.At(x, y)] = e
			}
			if !(e <= worst) {
				worst = e
			}
		}
	}
	return worst
}

// displayErrors returns the pooled error of each pixel of rows y0 <= y < y1, row by row.
func displayErrors(f *film.Film, v *view.View, y0, y1 int) []float64 {
	w, _ := f.Size()
	out := make([]float64, w*(y1-y0))
	var errs [film.TileSize * film.TileSize]float64
	for t := range f.Tiles() {
		tx0, ty0, tx1, ty1 := f.Tile(t)
		if ty1 <= y0 || ty0 >= y1 {
			continue
		}
		displayError(f, v, t, errs[:])
		for y := max(y0, ty0); y < min(y1, ty1); y++ {
			copy(out[(y-y0)*w+tx0:(y-y0)*w+tx1], errs[(y-ty0)*film.TileSize:])
		}
	}
	return out
}

// Achieved sums up how good a picture is, in the display signal from 0 to 1.
type Achieved struct {
	Target    float64 `json:"target"`                     // 0 where none was asked for
	RMS       float64 `json:"rms"`                        // over the picture
	Worst     float64 `json:"worst"`                      // of the pixels, each pooled over its window
	ShareOver float64 `json:"share_over_target"`          // of the pixels; 0 without a target
	Freedom   int     `json:"degrees_of_freedom"`         // of a pixel's own error
	Sigma3    float64 `json:"three_sigma_factor"`         // a pixel's interval of 99.73 % reaches so many of its errors to either side
	SPPLeast  int     `json:"samples_least"`              //
	SPPMost   int     `json:"samples_most"`               //
	SPPMean   float64 `json:"samples_mean"`               //
	Tiles     []int   `json:"tiles_by_samples,omitempty"` // tiles that stopped at spp_steps[i] samples
	Steps     []int   `json:"samples_steps,omitempty"`
}

// sigma3 is the share of a normal law within three standard deviations.
var sigma3 = math.Erf(3 / math.Sqrt2)

// achieved measures a film.
func achieved(f *film.Film, d *scene.Description, v *view.View) Achieved {
	a := Achieved{Target: d.Picture.Error, SPPLeast: math.MaxInt}
	count := map[int]int{}
	over, total, n, known := 0, 0, 0, 0
	var errs [film.TileSize * film.TileSize]float64
	for t := range f.Tiles() {
		a.Worst = worse(a.Worst, displayError(f, v, t, errs[:]))
		if !f.Has(t) { // of another part of the samples
			x0, y0, x1, y1 := f.Tile(t)
			count[0]++
			n, over, a.SPPLeast = n+(x1-x0)*(y1-y0), over+(x1-x0)*(y1-y0), 0
			continue
		}
		h := f.Hold(t)
		count[h.Started(0)]++
		for y := h.Y0; y < h.Y1; y++ {
			for x := h.X0; x < h.X1; x++ {
				s, e := h.Started(h.At(x, y)), errs[h.At(x, y)]
				total += s
				n++
				a.SPPLeast, a.SPPMost = min(a.SPPLeast, s), max(a.SPPMost, s)
				if math.IsNaN(e) {
					over++
					continue
				}
				known++
				a.RMS += e * e
				if e > a.Target {
					over++
				}
			}
		}
		h.Release()
	}
	a.RMS = math.Sqrt(a.RMS / float64(max(1, known)))
	a.SPPMean = float64(total) / float64(n)
	if a.Target > 0 {
		a.ShareOver = float64(over) / float64(n)
		for s := range count {
			a.Steps = append(a.Steps, s)
		}
		slices.Sort(a.Steps)
		for _, s := range a.Steps {
			a.Tiles = append(a.Tiles, count[s])
		}
	}
	a.Freedom = min(film.Replicates, a.SPPMost) - 1
	if a.Freedom >= 1 {
		a.Sigma3 = film.Quantile(sigma3, a.Freedom)
	}
	if math.IsNaN(a.Worst) { // JSON has no such number
		a.Worst = 1
	}
	return a
}

func worse(a, b float64) float64 {
	if !(b <= a) {
		return b
	}
	return a
}
