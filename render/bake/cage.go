package bake

import (
	"fmt"
	"math"

	"catchlight/render/accel"
)

// Within sets where rays begin by a cage that someone made: from each vertex along its way to the first surface of the cage, whatever mesh it
// was made for. Rays reach as far beneath the low mesh as the cage lies over it in the middle, or depth, where that is more. It says how many
// vertices the cage does not cover; they take the mean of the others.
func (b *Base) Within(cage []Part, depth float64) (bare int, err error) {
	s, err := NewSolid(cage, 0)
	if err != nil {
		return 0, err
	}
	far := s.bvh.Bounds().Size().Len()
	k := accel.NewScratch()
	sum, n := 0.0, 0
	for v, p := range b.Mesh.P {
		var h accel.Hit
		b.Cage[v] = math.NaN()
		if s.bvh.Closest(k, p, b.Way[v], 0, far, &h) {
			b.Cage[v] = h.T
			sum, n = sum+h.T, n+1
		}
	}
	if n*2 < len(b.Mesh.P) {
		return len(b.Mesh.P) - n, fmt.Errorf("the cage covers %d of %d vertices of the low mesh: it must lie outside it", n, len(b.Mesh.P))
	}
	mean := sum / float64(n)
	for v := range b.Cage {
		if math.IsNaN(b.Cage[v]) {
			b.Cage[v] = mean
			bare++
		}
	}
	b.Depth = max(mean, depth)
	return bare, nil
}
