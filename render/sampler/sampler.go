package sampler

import (
	"math/bits"

	"catchlight/render/invariant"
)

// Purpose names what a set of numbers is drawn for. The values are part of every picture's bits: append, never
// renumber.
type Purpose uint8

// The dimension slots. One slot holds up to four numbers at one vertex; salt tells apart sets that share a slot
// (the index of a light, of a step).
const (
	Pixel        Purpose = 1  // offset in the pixel: 2
	Lens         Purpose = 2  // point on the aperture: 2
	_            Purpose = 3  // reserved
	_            Purpose = 4  // reserved
	Lobe         Purpose = 8  // which lobe of a surface, reflection or transmission: 1
	BSDF         Purpose = 9  // direction from a lobe: 2, and 2 to spare
	_            Purpose = 10 // reserved
	Coat         Purpose = 11 // direction from a coat: 2
	LightPick    Purpose = 16 // which light: 1
	Light        Purpose = 17 // point or direction on a light: 2; salt is the light
	_            Purpose = 18 // reserved
	Connection   Purpose = 19 // connection through an interface: 4; salt is the light
	Roulette     Purpose = 24 // Russian roulette: 1
	Spare        Purpose = 25 // Russian roulette before an expensive step: 1
	WalkStart    Purpose = 32 // first step below a surface: channel, direction 2, distance
	Walk         Purpose = 33 // later steps, as a Stream
	WalkExit     Purpose = 34 // direction out of a surface: 2
	WalkRoulette Purpose = 35 // Russian roulette in a walk: 1
	Flight       Purpose = 36 // flight through a medium, and direction after a collision: channel, distance, direction 2
	Steps        Purpose = 37 // the first flights of a walk: channel and distance, kind, direction 2; salt holds the flight
	Opacity      Purpose = 38 // what begins the numbers by which masks stop rays: 1
	_            Purpose = 40 // reserved; 41, 42 and 48 too
	Test         Purpose = 255
)

// Sampler is the state of one sample of one pixel: a key and an index, to be held by value by a worker.
// The zero value is usable and equals New(0) before Start.
type Sampler struct {
	seed    uint64
	key     uint64 // of seed, pixel and net
	coset   uint32 // the part of the net that the replicate is
	index   uint32
	reverse uint32                                   // index with its bits reversed
	watch   func(vertex int, p Purpose, salt uint32) // set by Watch, under the tag invariants alone
}

// New returns a sampler for a picture; different seeds give independent pictures.
func New(seed uint64) Sampler {
	s := Sampler{seed: mix(seed + 0x9e3779b97f4a7c15)}
	s.Start(0, 0, 0)
	return s
}

// Start moves to one sample. pixel is any number that names the pixel (row times width plus column), sample the point inside
// the replicate. Eight replicates, from a multiple of eight on, are the parts of one net, which is complete after a power of two
// of samples in each, counted from 0; other eights are independent scrambles. Up to 2^16 samples per replicate the sets are
// padded by independent shuffles, above that blocks of 2^16 follow each other in order.
func (s *Sampler) Start(pixel uint64, replicate, sample uint32) {
	k := mix(s.seed ^ pixel)
	s.key = mix(k + uint64(replicate/Cosets)*0xd1342543de82ef95)
	s.coset = replicate % Cosets
	s.index = sample
	s.reverse = bits.Reverse32(sample)
}

// slot packs the place in a path into the key. vertex is in [0, 2^24).
func (s *Sampler) slot(vertex int, p Purpose, salt uint32) uint64 {
	if invariant.On && s.watch != nil {
		s.watch(vertex, p, salt)
	}
	return mix(s.key + (uint64(vertex)<<40|uint64(p)<<32|uint64(salt))*0x9e3779b97f4a7c15)
}

// second derives 64 more hash bits from a mixed word.
func second(h uint64) uint64 {
	h *= 0xd6e8feb86659fd93
	return h ^ h>>32
}

// shuffle returns the scrambled index of the point in its set.
func (s *Sampler) shuffle(seed uint32) uint32 {
	return bits.Reverse32(permute(s.reverse, seed))&0xffff | s.index&^0xffff
}

// unit maps 32 bits to the middle of their cell of (0, 1).
func unit(x uint32) float64 { return (float64(x) + 0.5) * (1.0 / (1 << 32)) }

// D4 returns one point of a four-dimensional scrambled Sobol set, in (0, 1)^4. It does not allocate.
func (s *Sampler) D4(vertex int, p Purpose, salt uint32) [4]float64 {
	h := s.slot(vertex, p, salt)
	g := second(h)
	i, c := s.place(h, g)
	r := sobol(i)
	return [4]float64{
		unit(bits.Reverse32(permute(i^c[0], uint32(h)))),
		unit(bits.Reverse32(permute(r[0]^c[1], uint32(h>>32)))),
		unit(bits.Reverse32(permute(r[1]^c[2], uint32(g)))),
		unit(bits.Reverse32(permute(r[2]^c[3], uint32(g>>32)))),
	}
}

// D2 returns the first two numbers of the same set as D4.
func (s *Sampler) D2(vertex int, p Purpose, salt uint32) (u0, u1 float64) {
	h := s.slot(vertex, p, salt)
	g := second(h)
	i, c := s.place(h, g)
	return unit(bits.Reverse32(permute(i^c[0], uint32(h)))),
		unit(bits.Reverse32(permute(sobol1(i)^c[1], uint32(h>>32))))
}

// D1 returns the first number of the same set as D4.
func (s *Sampler) D1(vertex int, p Purpose, salt uint32) float64 {
	h := s.slot(vertex, p, salt)
	g := second(h)
	i, c := s.place(h, g)
	return unit(bits.Reverse32(permute(i^c[0], uint32(h))))
}
