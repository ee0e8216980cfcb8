package relight

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"runtime"
	"slices"
	"sort"
	"strings"

	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
	"catchlight/scene/parallel"
)

// Change says how one light, or one side of an environment, is to shine. The zero value leaves it as it is.
type Change struct {
	EV     float64    // stops brighter
	Colour colour.RGB // times this, linear Rec. 709; zero for as it is
	Kelvin float64    // as white balance: neutral light becomes that of a black body of this temperature; 0 for as it is
	Off    bool
}

// Gain returns what the light is multiplied by.
func (c Change) Gain() (colour.RGB, error) {
	if c.Off {
		return colour.RGB{}, nil
	}
	if !(math.Abs(c.EV) <= 40) {
		return colour.RGB{}, fmt.Errorf("%g stops are outside [-40, 40]", c.EV)
	}
	g := colour.Grey(math.Exp2(c.EV))
	if c.Colour != (colour.RGB{}) {
		for _, v := range c.Colour {
			if !(v >= 0 && v <= 1e6) {
				return colour.RGB{}, fmt.Errorf("the colour %v is outside [0, 1e6]", c.Colour)
			}
		}
		g = g.Mul(c.Colour)
	}
	if c.Kelvin != 0 {
		w, err := colour.BlackBody(c.Kelvin)
		if err != nil {
			return colour.RGB{}, err
		}
		g = g.Mul(w)
	}
	return g, nil
}

// Set is a picture in passes of its lights, in memory.
type Set struct {
	W, H  int
	Names []string          // of the lights, sides of environments by themselves (marsh.left)
	Attrs map[string]string // of the picture
	Noise bool              // the passes have their errors

	light [][3][]float32 // [name]: what it adds
	noise [][3][]float32 // [name]: standard error of that
	error [3][]float32   // of the picture
	reach [3][]float32   // three sigma of it, as film.Picture.Interval
	count []float32      // samples of each pixel
	alpha []float32
	total []float64 // [name]: mean luminance
}

// most bounds the pixels of a set in memory, times its planes.
const most = 1 << 29

// Open reads the passes of lights of an OpenEXR file that a render left.
func Open(path string) (*Set, error) {
	f, err := imageio.OpenEXR(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	s := &Set{W: f.W, H: f.H}
	picture := f.Part(film.PartPicture)
	var parts []int
	for i, p := range f.Parts {
		if name, ok := strings.CutPrefix(p.Name, film.PassLight); ok {
			s.Names, parts = append(s.Names, name), append(parts, i)
		}
	}
	if picture < 0 || len(parts) == 0 {
		return nil, fmt.Errorf("%s: it holds no passes of lights; render it with --passes lights (or lights,errors)", path)
	}
	s.Attrs, s.Noise = f.Parts[picture].Attrs, f.Channel(parts[0], "error.R") >= 0
	if in, _, other := strings.Cut(s.Attrs["primaries"], ":"); other {
		return nil, fmt.Errorf("%s: its colours are in %s, and lights are changed in Rec. 709; render it with --set picture.primaries=rec709", path, in)
	}
	planes := 3 * len(parts)
	if s.Noise {
		planes *= 2
	}
	if n := int64(f.W) * int64(f.H) * int64(planes); n > most {
		return nil, fmt.Errorf("%s: %d lights of %d x %d pixels are %d values; at most %d are taken into memory", path, len(parts), f.W, f.H, n, most)
	}
	s.light, s.noise, s.total = make([][3][]float32, len(parts)), make([][3][]float32, len(parts)), make([]float64, len(parts))
	errs := make([]error, len(parts)+1)
	parallel.Each(len(parts)+1, runtime.GOMAXPROCS(0), func(i int) {
		if i == len(parts) {
			errs[i] = s.picture(f, picture)
			return
		}
		errs[i] = s.pass(f, i, parts[i])
	})
	return s, errors.Join(errs...)
}

// picture reads coverage and error of the picture.
func (s *Set) picture(f *imageio.EXRFile, part int) error {
	rows, err := f.Rows(part, 0, f.H)
	if err != nil {
		return err
	}
	for c, n := range []string{"R", "G", "B"} {
		if k := f.Channel(part, "error."+n); k >= 0 {
			s.error[c] = rows[k]
		}
		if k := f.Channel(part, "interval."+n); k >= 0 {
			s.reach[c] = rows[k]
		}
	}
	if k := f.Channel(part, "samples"); k >= 0 {
		s.count = rows[k]
	}
	if k := f.Channel(part, "A"); k >= 0 {
		s.alpha = rows[k]
	}
	return nil
}

// pass reads light i.
func (s *Set) pass(f *imageio.EXRFile, i, part int) error {
	rows, err := f.Rows(part, 0, f.H)
	if err != nil {
		return err
	}
	var sum colour.RGB
	for c, n := range []string{"R", "G", "B"} {
		k, e := f.Channel(part, n), f.Channel(part, "error."+n)
		if k < 0 || s.Noise && e < 0 {
			return fmt.Errorf("part %q lacks the channel %s or its error", f.Parts[part].Name, n)
		}
		s.light[i][c] = rows[k]
		if s.Noise {
			s.noise[i][c] = rows[e]
		}
		for _, v := range rows[k] {
			sum[c] += float64(v)
		}
	}
	s.total[i] = sum.Luminance() / float64(f.W*f.H)
	return nil
}

// Share returns which part of the picture's light a light adds.
func (s *Set) Share(i int) float64 {
	all := 0.0
	for _, t := range s.total {
		all += t
	}
	if all == 0 {
		return 0
	}
	return s.total[i] / all
}

// Lights returns how many lights the passes are of: the sides of an environment are one.
func (s *Set) Lights() int {
	lights := map[string]bool{}
	for _, n := range s.Names {
		if name, side, ok := strings.Cut(n, "."); ok && slices.Contains(frozen.SideNames[:], side) {
			n = name
		}
		lights[n] = true
	}
	return len(lights)
}

// Grain returns the standard error of the picture as it was rendered over its light, in the mean over the picture; ok says whether it is known.
func (s *Set) Grain() (share float64, ok bool) {
	light := 0.0
	for _, t := range s.total {
		light += t
	}
	var noise colour.RGB
	for c, plane := range s.error {
		if plane == nil {
			return 0, false
		}
		for _, e := range plane {
			if e == e {
				noise[c] += float64(e)
			}
		}
	}
	if !(light > 0) {
		return 0, false
	}
	return noise.Luminance() / float64(s.W*s.H) / light, true
}

// Gains returns the gain of each light. A change of an environment is one of all its sides; sides may be changed besides.
func (s *Set) Gains(changes map[string]Change) ([]colour.RGB, error) {
	out := make([]colour.RGB, len(s.Names))
	for i := range out {
		out[i] = colour.Grey(1)
	}
	for _, name := range slices.Sorted(maps.Keys(changes)) {
		g, err := changes[name].Gain()
		if err != nil {
			return nil, fmt.Errorf("light %s: %w", name, err)
		}
		found := false
		for i, n := range s.Names {
			if n == name || strings.HasPrefix(n, name+".") {
				out[i], found = out[i].Mul(g), true
			}
		}
		if !found {
			return nil, fmt.Errorf("no light %q; there are %s", name, strings.Join(s.Names, ", "))
		}
	}
	return out, nil
}

// Picture is a picture in other light, row by row from the top left.
type Picture struct {
	W, H  int
	Mean  []colour.RGB // W/(m^2 sr), linear
	Error []colour.RGB // one standard error of it at most; nil where the file does not tell
	Alpha []float64

	// Interval is three sigma of it, pooled over 3 x 3 pixels, with the degrees of freedom that the picture had; Samples are its samples. Both nil
	// where Error is, or where the file does not tell.
	Interval []colour.RGB
	Samples  []float32
}

// Mix returns the sum of the lights, each times its gain, and its standard error where the passes have theirs, or where all
// gains are the same.
//
// The lights of a pixel share their paths, so their errors are not independent. With any g the picture is g times the old one and the
// lights times what their gains differ from g, so its error is at most |g| times the old one's and the sum of the lights' times |gain - g|
// (the triangle inequality of standard deviations). That g is taken, for each channel, with which this is least over the whole picture.
func (s *Set) Mix(gains []colour.RGB) *Picture {
	n := s.W * s.H
	p := &Picture{W: s.W, H: s.H, Mean: make([]colour.RGB, n), Alpha: make([]float64, n)}
	even := !slices.ContainsFunc(gains, func(g colour.RGB) bool { return g != gains[0] })
	known := s.error[0] != nil && s.error[1] != nil && s.error[2] != nil && (s.Noise || even)
	if known {
		p.Error = make([]colour.RGB, n)
	}
	var about [3]float64
	for c := range about {
		if about[c] = gains[0][c]; known && !even {
			about[c] = s.about(gains, c)
		}
	}
	parallel.Each(s.H, runtime.GOMAXPROCS(0), func(y int) {
		for c := range 3 {
			for i := range gains {
				g := gains[i][c]
				for k, v := range s.light[i][c][y*s.W : (y+1)*s.W] {
					p.Mean[y*s.W+k][c] += g * float64(v)
				}
			}
			if !known {
				continue
			}
			for k, v := range s.error[c][y*s.W : (y+1)*s.W] {
				p.Error[y*s.W+k][c] = math.Abs(about[c]) * float64(v)
			}
			if even {
				continue
			}
			for i := range gains {
				g := math.Abs(gains[i][c] - about[c])
				for k, v := range s.noise[i][c][y*s.W : (y+1)*s.W] {
					p.Error[y*s.W+k][c] += g * float64(v)
				}
			}
		}
		for k := y * s.W; k < (y+1)*s.W; k++ {
			if p.Alpha[k] = 1; s.alpha != nil {
				p.Alpha[k] = float64(s.alpha[k])
			}
		}
	})
	s.intervals(p)
	return p
}

// intervals fills in the intervals of a mix: its error, pooled, times the quantile that the picture's own interval has of its own.
func (s *Set) intervals(p *Picture) {
	if p.Error == nil || s.count == nil || s.reach[0] == nil || s.reach[1] == nil || s.reach[2] == nil {
		return
	}
	p.Interval, p.Samples = make([]colour.RGB, len(p.Error)), s.count
	parallel.Each(s.H, runtime.GOMAXPROCS(0), func(y int) {
		for x := range s.W {
			i := y*s.W + x
			for c := range 3 {
				var was, is float64
				for v := max(0, y-1); v <= min(s.H-1, y+1); v++ {
					for u := max(0, x-1); u <= min(s.W-1, x+1); u++ {
						e, m := float64(s.error[c][v*s.W+u]), p.Error[v*s.W+u][c]
						was, is = was+e*e, is+m*m
					}
				}
				if p.Interval[i][c] = float64(s.reach[c][i]); was > 0 {
					p.Interval[i][c] *= math.Sqrt(is / was)
				}
			}
		}
	})
}

// about returns the gain of channel c about which the error of the mix is least: the sum of |g| a and of |gain - g| b over the lights is
// least at a weighted median of 0 and the gains.
func (s *Set) about(gains []colour.RGB, c int) float64 {
	type weight struct{ g, w float64 }
	mean := func(v []float32) (sum float64) {
		for _, x := range v {
			if x == x {
				sum += float64(x)
			}
		}
		return sum
	}
	list := []weight{{0, mean(s.error[c])}}
	for i := range gains {
		list = append(list, weight{gains[i][c], mean(s.noise[i][c])})
	}
	sort.Slice(list, func(i, j int) bool { return list[i].g < list[j].g })
	total, sum := 0.0, 0.0
	for _, l := range list {
		total += l.w
	}
	for _, l := range list {
		if sum += l.w; sum >= total/2 {
			return l.g
		}
	}
	return 1
}
