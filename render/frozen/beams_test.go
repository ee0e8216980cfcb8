package frozen

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The facets of a triangle tile it: each point of a fine grid lies in one facet, the one that FacetAt names, and their corners
// have its winding.
func TestFacetsTile(t *testing.T) {
	for _, m := range []int{1, 2, 3, 7} {
		b := &Beams{parts: m}
		area := 0.0
		for id := range int32(m * m) {
			f := b.Facet(5*int32(m*m) + id)
			assert.EqualValues(t, 5, f.Prim)
			area += ((f.U[1]-f.U[0])*(f.V[2]-f.V[0]) - (f.U[2]-f.U[0])*(f.V[1]-f.V[0])) / 2
		}
		assert.InDelta(t, 0.5, area, 1e-12, "parts %d", m)
		const n = 97
		for j := range n {
			for i := range n - j {
				u, v := (float64(i)+0.31)/(n+1), (float64(j)+0.37)/(n+1)
				in := 0
				for id := range int32(m * m) {
					f := b.Facet(5*int32(m*m) + id)
					if f.Holds(u, v) {
						in++
						assert.Equal(t, 5*int32(m*m)+id, b.FacetAt(5, u, v), "parts %d, %g %g", m, u, v)
					}
				}
				assert.Equal(t, 1, in, "parts %d, %g %g", m, u, v)
			}
		}
	}
}

// A table that was not made lists nothing, anywhere.
func TestEmptyBeams(t *testing.T) {
	var b Beams
	for _, x := range []float64{0, 1, -1, math.Inf(1)} {
		_, ok := b.At(b.lo.Mad(x, b.inv))
		assert.False(t, ok)
	}
	share, bytes := b.Listed()
	assert.Zero(t, share)
	assert.Zero(t, bytes)
}
