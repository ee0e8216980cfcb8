package film

import (
	"math"
	"math/bits"

	"catchlight/scene/colour"
)

// maxLight is the most lights that layers may tell apart.
const maxLight = 1 << 12

// picks says which layers and passes take a contribution: a bit each, layers first, by light and class. The last light
// stands for all that no layer names.
type picks [][32]uint64

func newPicks(all []Layer) picks {
	n := 0
	for _, l := range all {
		n = max(n, l.Light+1)
	}
	p := make(picks, n+1)
	for i, l := range all {
		for light := range p {
			for c := range p[light] {
				if (l.Light == Any || l.Light == light && light < n) && l.Classes>>c&1 == 1 {
					p[light][c] |= 1 << i
				}
			}
		}
	}
	return p
}

// of returns the bits for a light and a class.
func (p picks) of(light int, class Class) uint64 {
	if uint(light) >= uint(len(p)) {
		light = len(p) - 1
	}
	return p[light][class&31]
}

// Sample is one worker's access to the film. It is reused from sample to sample and holds no more than their sums, so
// that a sample reaches the film whole or not at all. It holds the tile of the last sample until another is begun or Release.
type Sample struct {
	Held
	cell  int // replicate * pixels of a block + pixel in the tile
	pixel int // in the tile
	alpha float64
	sum   colour.RGB
	used  uint64 // layers that something came to
	layer []colour.RGB

	spread    *Spread // of a sample that pixels share, which is the next four's too
	replicate int
	x, y      int // from the tile's first pixel
}

// Sample returns the access of one worker.
func (f *Film) Sample() Sample {
	return Sample{Held: Held{film: f}, layer: make([]colour.RGB, len(f.layers)+len(f.passes))}
}

// Begin starts a sample. pixel is row times width plus column; samples of a replicate must come in order of index.
func (s *Sample) Begin(pixel int, replicate uint32) {
	y := pixel / s.film.width
	x := pixel - y*s.film.width
	if s.block == nil || x < s.X0 || x >= s.X1 || y < s.Y0 || y >= s.Y1 {
		s.Release()
		s.Held = s.film.hold(s.film.TileOf(pixel), true)
	}
	s.pixel = (y-s.Y0)*TileSize + x - s.X0
	s.cell = int(replicate)*blockPixels + s.pixel
	s.begin()
}

// begin forgets the sample before.
func (s *Sample) begin() {
	s.sum, s.alpha = colour.RGB{}, 0
	for u := s.used; u != 0; u &= u - 1 {
		s.layer[bits.TrailingZeros64(u)] = colour.RGB{}
	}
	s.used = 0
}

// Add adds a contribution to the sample begun: value in W/(m^2 sr) (on an irradiance plate W/m^2), the light that it
// came from, and the class of its path.
func (s *Sample) Add(light int, class Class, value colour.RGB) {
	s.sum[0] += value[0]
	s.sum[1] += value[1]
	s.sum[2] += value[2]
	if len(s.layer) == 0 {
		return
	}
	u := s.film.pick.of(light, class)
	s.used |= u
	for ; u != 0; u &= u - 1 {
		l := &s.layer[bits.TrailingZeros64(u)]
		l[0] += value[0]
		l[1] += value[1]
		l[2] += value[2]
	}
}

// Cover adds to the sample's alpha: 1 where it met an object, 0 where it met the background.
func (s *Sample) Cover(alpha float64) { s.alpha += alpha }

// End puts the sample into the film. One that is not finite is left out and counted instead.
func (s *Sample) End() {
	b := s.block
	a := max(math.Abs(s.sum[0]), math.Abs(s.sum[1]), math.Abs(s.sum[2]), math.Abs(s.alpha))
	finite := a <= limit // NaN is not: max passes it on
	if s.spread != nil {
		if finite {
			s.splat()
		} else { // it counts as black
			b.dropped[(s.y+s.film.reach)*s.film.side+s.x+s.film.reach]++
		}
		return
	}
	if !finite {
		b.dropped[s.pixel]++
		return
	}
	b.counts[s.cell]++
	p := b.sums[s.cell*4 : s.cell*4+4 : s.cell*4+4]
	p[0] += s.sum[0]
	p[1] += s.sum[1]
	p[2] += s.sum[2]
	p[3] += s.alpha
	whole := len(s.film.layers)
	for u := s.used; u != 0; u &= u - 1 {
		i := bits.TrailingZeros64(u)
		v := &s.layer[i]
		if i < whole {
			q := b.layers[i][s.cell*3 : s.cell*3+3 : s.cell*3+3]
			q[0] += v[0]
			q[1] += v[1]
			q[2] += v[2]
			continue
		}
		i -= whole
		q := b.passes[i][s.pixel*3 : s.pixel*3+3 : s.pixel*3+3]
		for c := range q {
			q[c].add(v[c])
		}
		if j := s.film.squares[i]; j >= 0 {
			q := b.squares[j][s.pixel*3 : s.pixel*3+3 : s.pixel*3+3]
			for c := range q {
				q[c].addSquare(v[c])
			}
		}
	}
}
