package sampler

// Stream is a plain generator for as many numbers as a walk may need: a Weyl sequence through a hash. Its 16 bytes
// are held by value; copies run on independently of each other.
//
// Source: Steele, Lea and Flood, Fast Splittable Pseudorandom Number Generators, OOPSLA 2014. Each stream has its own
// start and its own increment.
type Stream struct {
	state, step uint64
}

// Stream returns the generator of a slot. It does not depend on any set of the same slot.
func (s *Sampler) Stream(vertex int, p Purpose, salt uint32) Stream {
	h := s.slot(vertex, p, salt) + (uint64(s.coset)<<32|uint64(s.index))*0xd1342543de82ef95
	return Stream{mix(h ^ 0xa0761d6478bd642f), mix(h) | 1}
}

// Uint64 returns the next 64 bits.
func (s *Stream) Uint64() uint64 {
	s.state += s.step
	return mix(s.state)
}

// Float64 returns the next number in (0, 1): an odd multiple of 2^-53, so never 0 and never 1.
func (s *Stream) Float64() float64 { return open(s.Uint64()) }

// open maps 64 bits to (0, 1).
func open(x uint64) float64 { return float64(x>>11|1) * (1.0 / (1 << 53)) }
