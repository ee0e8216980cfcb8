package raster

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// Each block holds the least of its numbers, at sides that blocks don't divide too.
func TestBlocksHoldTheLeast(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, n := range []int{1, 8, 20} {
		v := make([]float32, n*n)
		for i := range v {
			v[i] = float32(r.NormFloat64())
		}
		b := newBlocks(v, n, 8)
		least := make([]float32, b.n*b.n)
		for i := range least {
			least[i] = float32(math.Inf(1))
		}
		for i, q := range v {
			k := i/n/8*b.n + i%n/8
			least[k] = min(least[k], q)
		}
		require.Equal(t, least, b.least)
	}
}

// Where a rectangle of a shadow map is said to be clear, no position in it is hidden; and it is said of most of the clear ones.
func TestClearHidesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	const n = 48
	said, free := 0, 0
	for round := range 600 {
		s := &shadow{n: n, dist: make([]float32, n*n), flat: round%2 == 0}
		for i := range s.dist {
			s.dist[i] = float32(math.Inf(1))
		}
		for range r.IntN(9) { // casters of some texels
			x, y, d := r.IntN(n-6), r.IntN(n-6), 3+10*r.Float32()
			for i := range 36 {
				s.dist[(y+i/6)*n+x+i%6] = d
			}
		}
		s.blocks = newBlocks(s.dist, n, 8)
		q := plane{0.02 * r.NormFloat64(), 0.02 * r.NormFloat64(), 10, true}
		if !s.flat {
			q = plane{q.a / 100, q.b / 100, 0.1, false}
		}
		x0, y0 := r.Float64()*70-10, r.Float64()*70-10
		x1, y1 := x0+r.Float64()*20, y0+r.Float64()*20
		clear, hidden := s.clear(&q, x0, y0, x1, y1), false
		for range 400 {
			hidden = hidden || s.hides(&q, x0+r.Float64()*(x1-x0), y0+r.Float64()*(y1-y0))
		}
		require.False(t, clear && hidden, "round %d", round)
		if clear {
			said++
		}
		if !hidden {
			free++
		}
	}
	require.Greater(t, said, free/2)
	require.Less(t, free, 590, "something is hidden in some rounds")
}
