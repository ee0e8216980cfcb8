package asset

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Normals that point inward on a closed mesh wound outward are turned, and the triangles stay; a mesh wound inward with
// normals outward has its triangles turned, and the normals stay. Either way the message says which.
func TestNegatedNormals(t *testing.T) {
	box := func() *mesh.Mesh {
		m := &mesh.Mesh{
			P:   []geom.Vec{{X: -1, Y: -1, Z: -1}, {X: 1, Y: -1, Z: 1}, {X: 1, Y: 1, Z: -1}, {X: -1, Y: 1, Z: 1}},
			Tri: [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}},
		}
		mesh.Normals(m)
		return m
	}
	for _, negate := range []bool{false, true} {
		for _, flip := range []bool{false, true} {
			m := box()
			for i := range m.N {
				if negate {
					m.N[i] = m.N[i].Neg()
				}
			}
			for i, q := range m.Tri {
				if flip {
					m.Tri[i] = [3]uint32{q[0], q[2], q[1]}
				}
			}
			var notes []string
			Finish(m, "reed", func(format string, a ...any) { notes = append(notes, fmt.Sprintf(format, a...)) })
			said := strings.Join(notes, "; ")
			if negate == flip {
				require.Empty(t, said) // both: consistent, and whoever needs it outward turns it whole
				continue
			}
			require.Greater(t, m.Volume(), 0.0)
			require.Less(t, m.N[0].Dot(geom.Vec{X: 1, Y: 1, Z: 1}), 0.0, "outward at its first corner")
			if negate {
				require.Contains(t, said, "normals are negated")
			} else {
				require.Contains(t, said, "wind clockwise")
			}
		}
	}
}
