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

// MaxBytes is the most that the sums of a film may take, in memory and on disk, unless Config says otherwise.
const MaxBytes = 1 << 38

// Resident is the most of it that stays in memory, unless Config says otherwise: a picture of 1600 x 1600 pixels.
const Resident = 3 << 28

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

// Pass is a layer that keeps one exact sum a pixel and no replicates, so that many cost little. Its sum does not depend on the
// order of samples (see exact).
type Pass struct {
	Layer
	Square bool // keeps the sum of squares too, for the error of the pass; see Film.Pass
}

// The parts of OpenEXR files with passes. Names of passes of lights begin with PassLight, those of the ways of light with PassPath.
const (
	PartPicture = "picture"
	PassLight   = "light."
	PassPath    = "path."
)

// Any in a Layer takes every light.
const Any = -1

// AllClasses in a Layer takes every class.
const AllClasses = math.MaxUint32

// MaxLayers is the most layers and passes of a film together.
const MaxLayers = 64

// Config is the shape of a film.
type Config struct {
	Width, Height int // pixels, in [1, 16384]
	SPP           int // samples per pixel planned, >= 1; there are min(8, SPP) replicates
	Layers        []Layer
	Passes        []Pass
	MaxBytes      int64 // of all sums, in memory and on disk; 0 is the package's MaxBytes

	// Resident is how many bytes may stay in memory, 0 the package's Resident. A film that has no room there as a whole keeps 268 MB of it
	// there, or less; the rest lies in a file without a name in the folder Scratch, that of temporary files without it.
	Resident int64
	Scratch  string

	// Splat lays each sample into all pixels that this filter reaches; see Spread. Nil: it counts for the pixel that it was drawn for alone.
	Splat *Filter

	// OneNet says that a pixel's replicates are the parts of one net; see netShare.
	OneNet bool

	// Record names what the bits depend on: scene, build, kernel. Films with different records do not merge.
	Record string
}

// Film holds the sums, in blocks of a tile each. Different workers may write to different tiles at once; everything else needs
// them at rest.
type Film struct {
	width, height int
	k             int
	oneNet        bool
	record        string
	splat         *Filter
	reach, side   int // pixels that samples reach beyond a tile, and the side of its block
	alike         []float64
	kept          float64 // what sharing leaves of a pixel's variance, were samples independent
	spare         spares
	layers        []Layer
	passes        []Pass
	squares       []int // by pass: place of its squares among all squares, -1 for none
	pick          picks
	pool          pool
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
	if n := len(c.Layers) + len(c.Passes); n > MaxLayers {
		errs = append(errs, fmt.Errorf("film: %d layers; at most %d are kept", n, MaxLayers))
	}
	if c.Splat != nil && c.Splat.Reach() > TileSize {
		errs = append(errs, fmt.Errorf("film: a filter of radius %g reaches beyond the neighbours of a tile of %d pixels", c.Splat.radius, TileSize))
	}
	names := map[string]bool{}
	for i, l := range c.all() {
		if names[l.Name] {
			errs = append(errs, fmt.Errorf("film: layer %d: the name %q is taken", i, l.Name))
		}
		names[l.Name] = true
		if l.Light < Any || l.Light >= maxLight || l.Classes == 0 {
			errs = append(errs, fmt.Errorf("film: layer %q: light %d, classes %#x pick nothing", l.Name, l.Light, l.Classes))
		}
	}
	return errors.Join(errs...)
}

// all returns the layers, and behind them those of the passes.
func (c *Config) all() []Layer {
	out := append([]Layer(nil), c.Layers...)
	for _, p := range c.Passes {
		out = append(out, p.Layer)
	}
	return out
}

// Bytes returns what all sums and counts take.
func (c *Config) Bytes() int64 {
	return int64(c.Width) * int64(c.Height) * c.pixelBytes()
}

// InMemory returns how much of it stays in memory.
func (c *Config) InMemory() int64 {
	n, resident := c.Bytes(), c.Resident
	if resident == 0 {
		resident = Resident
	}
	if n > resident {
		return min(resident, mostIdle)
	}
	return n
}

// pixelBytes is what a pixel takes: 292 bytes with eight replicates, 192 more for each layer and 48 for each pass, as much
// again with its squares.
func (c *Config) pixelBytes() int64 {
	k := int64(min(Replicates, c.SPP))
	n := k*(4*8+4) + 4 + int64(len(c.Layers))*k*3*8
	for _, p := range c.Passes {
		n += 3 * 16
		if p.Square {
			n += 3 * 16
		}
	}
	if c.Splat != nil {
		side := int64(TileSize + 2*c.Splat.Reach())
		n = (n - k*(8+4) + 2*8) * side * side / blockPixels
	}
	return n
}

// New returns an empty film, or an error where its sums would be too many. Memory is taken as tiles are begun.
func New(c Config) (*Film, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	most := c.MaxBytes
	if most == 0 {
		most = MaxBytes
	}
	if need := c.Bytes(); need > most {
		return nil, fmt.Errorf("film: %d x %d pixels with %d replicates, %d layers and %d passes need %.3g GB; the limit is %.3g GB",
			c.Width, c.Height, min(Replicates, c.SPP), len(c.Layers), len(c.Passes), float64(need)/1e9, float64(most)/1e9)
	}
	f := &Film{
		kept:  1,
		width: c.Width, height: c.Height, k: min(Replicates, c.SPP), oneNet: c.OneNet, record: c.Record,
		splat: c.Splat, layers: append([]Layer(nil), c.Layers...), passes: append([]Pass(nil), c.Passes...), pick: newPicks(c.all()),
	}
	if f.splat != nil {
		f.reach = f.splat.Reach()
		f.alike, f.kept = f.splat.alike()
	}
	f.side = TileSize + 2*f.reach
	n := 0
	for _, p := range f.passes {
		at := -1
		if p.Square {
			at = n
			n++
		}
		f.squares = append(f.squares, at)
	}
	f.pool.open(f, c.pixelBytes()*TileSize*TileSize, c.Resident, c.Scratch)
	return f, nil
}

// config is the shape that the film was made with.
func (f *Film) config() Config {
	return Config{Width: f.width, Height: f.height, SPP: f.k, Layers: f.layers, Passes: f.passes, Splat: f.splat, OneNet: f.oneNet, Record: f.record}
}

// Passes returns what the film keeps one sum of.
func (f *Film) Passes() []Pass { return f.passes }

// Size returns the picture's width and height in pixels.
func (f *Film) Size() (width, height int) { return f.width, f.height }

// Record returns what Config.Record was.
func (f *Film) Record() string { return f.record }

// Place returns the replicate that sample i of a pixel belongs to, and its index there.
func (f *Film) Place(i int) (replicate, sample uint32) { return uint32(i % f.k), uint32(i / f.k) }

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

// TileOf returns the tile that a pixel, row times width plus column, lies in.
func (f *Film) TileOf(pixel int) int {
	return pixel/f.width/TileSize*((f.width+TileSize-1)/TileSize) + pixel%f.width/TileSize
}

// Started returns how many samples of a pixel were begun, those left out included.
func (f *Film) Started(pixel int) int {
	h := f.Hold(f.TileOf(pixel))
	defer h.Release()
	return h.Started(h.at(pixel))
}

// Dropped returns how many samples of a pixel were left out because they were not finite.
func (f *Film) Dropped(pixel int) int {
	h := f.Hold(f.TileOf(pixel))
	defer h.Release()
	return h.Dropped(h.at(pixel))
}

// Pixel returns the mean of pixel i and its standard error, which is NaN with fewer than two replicates.
func (f *Film) Pixel(i int) (mean, err colour.RGB) {
	h := f.Hold(f.TileOf(i))
	defer h.Release()
	return h.Pixel(h.at(i))
}
