package prepare

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/render/frozen"
	"catchlight/scene/asset"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// cutAt drops what of a mesh lies behind a plane of z: triangles with a corner there.
func cutAt(m *mesh.Mesh, z float64) *mesh.Mesh {
	q := *m
	q.Tri = nil
	for _, t := range m.Tri {
		if min(m.P[t[0]].Z, m.P[t[1]].Z, m.P[t[2]].Z) >= z {
			q.Tri = append(q.Tri, t)
		}
	}
	return mesh.Weld(&q, 0)
}

// A front part of a globe has the whole one's frame, so its cornea bends light: the licensed eye cut 3 mm behind its centre, 2 and
// 5 mm before it. Set one radius before its own back such a shell lay behind the origin, where all is white, and no
// light was bent.
func TestFrontOfAGlobeBends(t *testing.T) {
	a, err := meshio.Read(soundEye, "")
	require.NoError(t, err)
	whole, err := takeShells(t, assetEye(soundEye, outerNode, innerNode))
	require.NoError(t, err)
	apex := whole.outer.Bounds().Hi.Z
	var parts [2]*mesh.Mesh
	for i, n := range []string{outerNode, innerNode} {
		parts[i] = asset.Merge(a.Named(n))
	}
	box := parts[0].Bounds()
	for _, z := range []float64{-3, 2, 5} {
		file := filepath.Join(t.TempDir(), "front.glb")
		at := box.Hi.Z - apex + z
		require.NoError(t, gltfio.Write(file, []gltfio.Part{{Name: "outer", Mesh: cutAt(parts[0], at)}, {Name: "inner", Mesh: cutAt(parts[1], at)}}))
		s, err := takeShells(t, assetEye(file, "outer", "inner"))
		require.NoError(t, err)
		e := frozen.Eye{LimbusRadius: 5.4, LimbusWidth: 1}
		top := s.outer.Bounds().Hi.Z
		t.Logf("cut at %g: front pole at %.3f mm, of the whole globe %.3f", z, top, apex)
		assert.InDelta(t, apex, top, 0.8, "cut at %g", z) // this eye is no sphere: its white fits one of another centre
		cap, bends := 0, 0
		for _, p := range s.outer.P {
			if math.Hypot(p.X, p.Y) < 4.5 && p.Z > top-3 {
				cap++
				if e.Zone(p) == 1 {
					bends++
				}
			}
		}
		assert.Positive(t, cap)
		assert.Equal(t, cap, bends, "cut at %g: vertices of the cornea that bend light", z)
		assert.Contains(t, strings.Join(s.notes, "\n"), "it has no back", "cut at %g", z)
	}
}
