package accel

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"catchlight/scene/geom"
)

// A hierarchy that was refitted meets what the plain twin in double precision meets on the moved triangles, and the one it came from still
// meets the old ones. Places outside the old bounds are refused.
func TestRefitAgainstBrute(t *testing.T) {
	eachKernel(t, func(t *testing.T) {
		r := rand.New(rand.NewPCG(7, 11))
		p, tri := soup(r, 300, 10, geom.Vec{X: 3})
		b := mustBuild(t, p, tri)
		mid := b.Bounds().Centre()
		moved := slices.Clone(p)
		for i, q := range p {
			moved[i] = mid.Add(q.Sub(mid).Mul(0.6)).Add(randVec(r, 0.5))
		}
		c, ok := b.Refit(moved)
		if !ok {
			t.Fatal("refused")
		}
		size := b.Bounds().Size().Len()
		for k, what := range []struct {
			b *BVH
			p []geom.Vec
		}{{c, moved}, {b, p}} {
			sc := NewScratch()
			met := 0
			for range 2000 {
				o := randVec(r, 30)
				d := mid.Add(randVec(r, 4)).Sub(o).Unit()
				want := brute(what.p, tri, o, d, 0, math.Inf(1))
				if doubtful(what.p, tri, o, d, 0, math.Inf(1), want.T, size) {
					continue
				}
				var got Hit
				hit := what.b.Closest(sc, o, d, 0, math.Inf(1), &got)
				if hit != want.ok || hit && math.Abs(got.T-want.T) > 1e-6*(size+want.T) {
					t.Fatalf("mesh %d: %v %+v, not %v %+v", k, hit, got, want.ok, want.Hit)
				}
				if hit {
					met++
				}
			}
			if met < 100 {
				t.Fatalf("only %d rays met anything", met)
			}
		}
		moved[0] = geom.Vec{X: 1e3}
		if _, ok := b.Refit(moved); ok && slices.ContainsFunc(tri, func(t [3]uint32) bool { return slices.Contains(t[:], 0) }) {
			t.Fatal("places outside the old bounds are taken")
		}
		if _, ok := b.Refit(moved[1:]); ok {
			t.Fatal("other places are taken")
		}
	})
}
