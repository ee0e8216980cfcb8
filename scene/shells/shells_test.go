package shells

import (
	"errors"
	"math"
	"strings"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// none is for shells that are not subdivided: no ray is asked for.
func none(*mesh.Mesh) (Rays, error) { return nil, errors.New("no rays") }

// An eye that looks along any axis of its file is the same eye.
func TestAssetAxis(t *testing.T) {
	for _, axis := range []geom.Vec{{X: 1}, {X: -2}, {Y: 1}, {Y: -1}, {Z: 3}, {Z: -1}, {X: 1, Y: 2, Z: -3}} {
		f, err := Frame(axis)
		require.NoError(t, err)
		assert.InDelta(t, 0, f.Vector(axis.Unit()).Sub(geom.Vec{Z: 1}).Len(), 1e-12)
		assert.InDelta(t, 1, f.Det(), 1e-12, "a turn, not a mirror")
	}
	for _, axis := range []geom.Vec{{}, {X: math.NaN()}, {Z: math.Inf(1)}} {
		_, err := Frame(axis)
		assert.ErrorContains(t, err, "asset.axis")
	}
}

// A leaf of one triangle is no shell.
func TestLeaf(t *testing.T) {
	open := &mesh.Mesh{P: []geom.Vec{{}, {X: 1}, {Y: 1, Z: 1}}, N: []geom.Vec{{Z: 1}, {Z: 1}, {Z: 1}}, Tri: [][3]uint32{{0, 1, 2}}}
	_, _, err := Take(open, &Source{What: "inner", Node: "leaf", Factor: 1, FacetError: 0.01, Turn: geom.Identity()}, none)
	assert.ErrorContains(t, err, "the inner shell encloses no volume, with caps over its 1 holes")
}

// An inner shell without its back is capped: the volume is closed, the cap absorbs, and a note says so.
func TestOpenInnerShellIsCapped(t *testing.T) {
	m := &mesh.Mesh{}
	const n = 24
	for i := 0; i <= n; i++ { // a bowl: three quarters of a sphere
		for j := range n {
			a, b := 0.75*math.Pi*(float64(i)+0.2)/n, 2*math.Pi*float64(j)/n
			m.P = append(m.P, geom.Vec{X: 10 * math.Sin(a) * math.Cos(b), Y: 10 * math.Sin(a) * math.Sin(b), Z: 10 * math.Cos(a)})
			if i < n {
				p, q := uint32(i*n+j), uint32(i*n+(j+1)%n)
				m.Tri = append(m.Tri, [3]uint32{p, p + n, q + n}, [3]uint32{p, q + n, q})
			}
		}
	}
	mesh.Normals(m)
	zero := 0
	out, notes, err := Take(m, &Source{What: "inner", Node: "bowl", Factor: 1, FacetError: 0.01, Subdivide: &zero, Turn: geom.Identity()}, none)
	require.NoError(t, err)
	open, odd := mesh.Closed(out)
	assert.Zero(t, open+odd)
	assert.Positive(t, out.Volume())
	assert.Contains(t, strings.Join(notes, "\n"), "open at 2 rims; caps that absorb close them")
}
