package prepare

import (
	"fmt"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// tileNotes says which tiles of the map the mesh lies on that have no file; what lies on them has the colour of the
// nearest tile that has one.
func tileNotes(key string, m *mesh.Mesh, t *texture.Map) []string {
	set := t.Tiles()
	if set == nil || m == nil || m.UV == nil {
		return nil
	}
	// The middles of triangles: a corner on the edge between two tiles belongs to neither.
	points := make([]geom.UV, len(m.Tri))
	for i, t := range m.Tri {
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		points[i] = geom.UV{U: (a.U + b.U + c.U) / 3, V: (a.V + b.V + c.V) / 3}
	}
	missing := set.Missing(points)
	if len(missing) == 0 {
		return nil
	}
	var names []string
	for _, n := range missing {
		if n == 0 {
			names = append(names, "outside all tiles")
		} else {
			names = append(names, fmt.Sprint(n))
		}
	}
	return []string{fmt.Sprintf("%s: the surface lies on tiles that have no file: %s; they show the nearest of those that are there (%s)",
		key, strings.Join(names, ", "), strings.Trim(fmt.Sprint(set.Numbers()), "[]"))}
}
