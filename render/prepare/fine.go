package prepare

import (
	"fmt"
	"math"

	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// Texels a mm below which a map of that part reads soft in a portrait; our own choice: at 2 the finest fibre of an iris, 0.1
// mm or less, is not drawn at all.
const (
	fewIris   = 2.0
	fewSclera = 1.0
)

// fine says when a picture has too few texels where it is seen: over the iris, or over the front of the sclera. That is how
// a map shows that was painted for the other shell or for other texture coordinates.
func fine(key string, d *scene.Eye, iris bool, on *chart, t *texture.Map) []string {
	if !t.Varies() || on.mesh.UV == nil {
		return nil
	}
	w, h, _ := t.Image().Size() // of a set of tiles, of its first
	part, least, zone := "front of the sclera", fewSclera, zoneWeight(d.Limbus)
	if iris {
		part, least = "iris", fewIris
	}
	m := on.mesh
	var area, share float64
	for _, c := range m.Tri {
		a, b, e := m.P[c[0]], m.P[c[1]], m.P[c[2]]
		q := geom.Mix(a, b, e, 1.0/3, 1.0/3)
		n := b.Sub(a).Cross(e.Sub(a))
		if q.Z <= 0 || n.Dot(q) <= 0 || (zone(q) > 0.5) != iris {
			continue
		}
		u, v, x := m.UV[c[0]], m.UV[c[1]], m.UV[c[2]]
		area += n.Len() / 2
		share += math.Abs((v.U-u.U)*(x.V-u.V)-(x.U-u.U)*(v.V-u.V)) / 2
	}
	if area == 0 {
		return nil
	}
	dense := math.Sqrt(share * float64(w) * float64(h) / area)
	if dense >= least {
		return nil
	}
	return []string{fmt.Sprintf("%s: %.2g texels a mm over the %s, which takes %.2g %% of the %d x %d picture by the %s shell's texture coordinates; below %g it reads soft: is the picture larger in the original, or painted for the other shell or another uv_set?",
		key, dense, part, 100*share, w, h, on.shell, least)}
}
