package film

import (
	"errors"
	"fmt"
	"math"

	"catchlight/scene/colour"
)

// TileSize is the edge of a tile in pixels.
const TileSize = 16

// Replicates is the number of replicates of a pixel that has at least as many samples.
const Replicates = 8

// MaxBytes is the most that New allocates unless Config says otherwise.
const MaxBytes = 6 << 30

// limit is the largest magnitude of a sample; what lies above counts as not finite, so that sums stay finite.
const limit = 1e100

// Class says what kind of path brought a contribution. The integrator defines the classes, from 0 to 31.
type Class uint8

// Layer picks contributions for a picture of their own.
type Layer struct {
	Name    string // for messages and files; unique
	Light   int    // index of the light; Any for all
	Classes uint32 // bit c set takes class c; AllClasses for all
}

// Any in a Layer takes every light.
const Any = -1

// AllClasses in a Layer takes every class.
const AllClasses = math.MaxUint32

// Config is the shape of a film.
type Config struct {
	Width, Height int // pixels, in [1, 16384]
	SPP           int // samples per pixel planned, >= 1; there are min(8, SPP) replicates
	Layers        []Layer
	MaxBytes      int64 // 0 is the package's MaxBytes
	OneNet        bool  // a pixel's replicates are the parts of one net; see netShare

	// Record names what the bits depend on: scene, build, kernel. Films with different records do not merge.
	Record string
}

// Film holds the sums. Different workers may write to different pixels at once; everything else needs them at rest.
type Film struct {
	width, height int
	k             int
	oneNet        bool
	record        string
	sums          []float64 // [pixel][replicate]: red, green, blue, alpha
	counts        []uint32  // [pixel][replicate]: samples in the sums
	dropped       []uint32  // [pixel]: samples that were not finite
	layers        []Layer
	layerSums     [][]float64 // [layer][pixel][replicate]: red, green, blue
}

// check reports everything wrong with the shape.
func (c *Config) check() error {
	var errs []error
	if c.Width < 1 || c.Width > 1<<14 || c.Height < 1 || c.Height > 1<<14 {
		errs = append(errs, fmt.Errorf("film: size %d x %d pixels is outside [1, 16384]", c.Width, c.Height))
	}
	if c.SPP < 1 {
		errs = append(errs, fmt.Errorf("film: %d samples per pixel; at least 1 is needed", c.SPP))
	}
	names := map[string]bool{}
	for i, l := range c.Layers {
		if names[l.Name] {
			errs = append(errs, fmt.Errorf("film: layer %d: the name %q is taken", i, l.Name))
		}
		names[l.Name] = true
		if l.Light < Any || l.Classes == 0 {
			errs = append(errs, fmt.Errorf("film: layer %q: light %d, classes %#x pick nothing", l.Name, l.Light, l.Classes))
		}
	}
	return errors.Join(errs...)
}

// bytes returns what the sums and counts take.
func (c *Config) bytes() int64 {
	k := int64(min(Replicates, c.SPP))
	return int64(c.Width) * int64(c.Height) * (k*(4*8+4) + 4 + int64(len(c.Layers))*k*3*8)
}

// New returns an empty film, or an error before it allocates anything too large.
func New(c Config) (*Film, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	k := min(Replicates, c.SPP)
	pixels := c.Width * c.Height
	most := c.MaxBytes
	if most == 0 {
		most = MaxBytes
	}
	if need := c.bytes(); need > most {
		return nil, fmt.Errorf("film: %d x %d pixels with %d replicates and %d layers need %.3g GB; the limit is %.3g GB",
			c.Width, c.Height, k, len(c.Layers), float64(need)/1e9, float64(most)/1e9)
	}
	f := &Film{
		width: c.Width, height: c.Height, k: k, oneNet: c.OneNet, record: c.Record,
		sums:    make([]float64, pixels*k*4),
		counts:  make([]uint32, pixels*k),
		dropped: make([]uint32, pixels),
		layers:  append([]Layer(nil), c.Layers...),
	}
	for range f.layers {
		f.layerSums = append(f.layerSums, make([]float64, pixels*k*3))
	}
	return f, nil
}

// Size returns the picture's width and height in pixels.
func (f *Film) Size() (width, height int) { return f.width, f.height }

// Record returns what Config.Record was.
func (f *Film) Record() string { return f.record }

// Place returns the replicate that sample i of a pixel belongs to, and its index there.
func (f *Film) Place(i int) (replicate, sample uint32) { return uint32(i % f.k), uint32(i / f.k) }

// Started returns how many samples of a pixel were begun, those left out included.
func (f *Film) Started(pixel int) int {
	n := int(f.dropped[pixel])
	for _, c := range f.counts[pixel*f.k : (pixel+1)*f.k] {
		n += int(c)
	}
	return n
}

// Dropped returns how many samples of a pixel were left out because they were not finite.
func (f *Film) Dropped(pixel int) int { return int(f.dropped[pixel]) }

// Tiles returns the number of tiles; they are numbered row by row from the top left.
func (f *Film) Tiles() int {
	return ((f.width + TileSize - 1) / TileSize) * ((f.height + TileSize - 1) / TileSize)
}

// Tile returns the pixels of tile i: x0 <= x < x1, y0 <= y < y1; it ends at the picture's edge.
func (f *Film) Tile(i int) (x0, y0, x1, y1 int) {
	n := (f.width + TileSize - 1) / TileSize
	x0, y0 = i%n*TileSize, i/n*TileSize
	return x0, y0, min(x0+TileSize, f.width), min(y0+TileSize, f.height)
}

// Sample is one worker's access to the film. It is reused from sample to sample and holds no more than their sums, so
// that a sample reaches the film whole or not at all.
type Sample struct {
	film  *Film
	cell  int // pixel * k + replicate
	pixel int
	alpha float64
	sum   colour.RGB
	layer []colour.RGB
}

// Sample returns the access of one worker.
func (f *Film) Sample() Sample { return Sample{film: f, layer: make([]colour.RGB, len(f.layers))} }

// Begin starts a sample. pixel is row times width plus column; samples of a replicate must come in order of index.
func (s *Sample) Begin(pixel int, replicate uint32) {
	s.pixel, s.cell = pixel, pixel*s.film.k+int(replicate)
	s.sum, s.alpha = colour.RGB{}, 0
	for i := range s.layer {
		s.layer[i] = colour.RGB{}
	}
}

// Add adds a contribution to the sample begun: value in W/(m^2 sr) (on an irradiance plate W/m^2), the light that it
// came from, and the class of its path.
func (s *Sample) Add(light int, class Class, value colour.RGB) {
	s.sum[0] += value[0]
	s.sum[1] += value[1]
	s.sum[2] += value[2]
	for i := range s.layer {
		l := &s.film.layers[i]
		if (l.Light == Any || l.Light == light) && l.Classes>>class&1 == 1 {
			s.layer[i][0] += value[0]
			s.layer[i][1] += value[1]
			s.layer[i][2] += value[2]
		}
	}
}

// Cover adds to the sample's alpha: 1 where it met an object, 0 where it met the background.
func (s *Sample) Cover(alpha float64) { s.alpha += alpha }

// End puts the sample into the film. One that is not finite is left out and counted instead.
func (s *Sample) End() {
	f := s.film
	a := max(math.Abs(s.sum[0]), math.Abs(s.sum[1]), math.Abs(s.sum[2]), math.Abs(s.alpha))
	if !(a <= limit) { // NaN too: max passes it on
		f.dropped[s.pixel]++
		return
	}
	f.counts[s.cell]++
	p := f.sums[s.cell*4 : s.cell*4+4 : s.cell*4+4]
	p[0] += s.sum[0]
	p[1] += s.sum[1]
	p[2] += s.sum[2]
	p[3] += s.alpha
	for i := range s.layer {
		q := f.layerSums[i][s.cell*3 : s.cell*3+3 : s.cell*3+3]
		q[0] += s.layer[i][0]
		q[1] += s.layer[i][1]
		q[2] += s.layer[i][2]
	}
}

// Merge takes over replicates that g has and f has not, pixel by pixel. Both must have the same shape, and no pixel
// may have the same replicate in both: replicates are never added up. On an error f is unchanged.
func (f *Film) Merge(g *Film) error {
	if f.width != g.width || f.height != g.height || f.k != g.k {
		return fmt.Errorf("film: merge of %d x %d pixels in %d replicates with %d x %d in %d",
			f.width, f.height, f.k, g.width, g.height, g.k)
	}
	if f.record != g.record {
		return fmt.Errorf("film: merge of a film recorded as %q with one recorded as %q", f.record, g.record)
	}
	if len(f.layers) != len(g.layers) {
		return fmt.Errorf("film: merge of %d layers with %d", len(f.layers), len(g.layers))
	}
	for i := range f.layers {
		if f.layers[i] != g.layers[i] {
			return fmt.Errorf("film: merge of layer %q with %q", f.layers[i].Name, g.layers[i].Name)
		}
	}
	for c := range f.counts {
		if f.counts[c] > 0 && g.counts[c] > 0 {
			p := c / f.k
			return fmt.Errorf("film: merge: replicate %d of pixel (%d, %d) is in both", c%f.k, p%f.width, p/f.width)
		}
	}
	for c, n := range g.counts {
		if n == 0 {
			continue
		}
		f.counts[c] = n
		copy(f.sums[c*4:c*4+4], g.sums[c*4:c*4+4])
		for i := range f.layerSums {
			copy(f.layerSums[i][c*3:c*3+3], g.layerSums[i][c*3:c*3+3])
		}
	}
	for p := range g.dropped {
		f.dropped[p] += g.dropped[p]
	}
	return nil
}
