package sampler

import "testing"

var sink float64

func BenchmarkD4(b *testing.B) {
	s := New(1)
	i := uint32(0)
	for b.Loop() {
		if i&15 == 0 {
			s.Start(uint64(i>>8), i&7, i>>4&255)
		}
		u := s.D4(int(i&15), BSDF, 0)
		sink += u[0] + u[3]
		i++
	}
}

func BenchmarkD2(b *testing.B) {
	s := New(1)
	i := uint32(0)
	for b.Loop() {
		if i&15 == 0 {
			s.Start(uint64(i>>8), i&7, i>>4&255)
		}
		u, v := s.D2(int(i&15), Light, i)
		sink += u + v
		i++
	}
}

func BenchmarkD1(b *testing.B) {
	s := New(1)
	i := uint32(0)
	for b.Loop() {
		if i&15 == 0 {
			s.Start(uint64(i>>8), i&7, i>>4&255)
		}
		sink += s.D1(int(i&15), Roulette, 0)
		i++
	}
}

func BenchmarkStream(b *testing.B) {
	s := New(1)
	r := s.Stream(0, Walk, 0)
	for b.Loop() {
		sink += r.Float64()
	}
}

func BenchmarkStreamStart(b *testing.B) {
	s := New(1)
	i := uint32(0)
	for b.Loop() {
		r := s.Stream(int(i&15), Walk, 0)
		sink += r.Float64()
		i++
	}
}
