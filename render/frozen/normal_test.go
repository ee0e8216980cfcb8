package frozen

import (
	"math"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// A texel that leans by 3:4 toward growing u, or toward up in the picture, tilts a plane's normal by just that, whether
// the picture is mirrored or not, and wherever the object is turned or mirrored in space. Closed form.
func TestMappedNormal(t *testing.T) {
	for _, mirror := range []float64{1, -1} {
		m := &mesh.Mesh{
			P:   []geom.Vec{{}, {X: 1}, {Y: 1}},
			N:   []geom.Vec{{Z: 1}, {Z: 1}, {Z: 1}},
			UV:  []geom.UV{{U: 0, V: 1}, {U: mirror, V: 1}, {U: 0, V: 0}},
			Tri: [][3]uint32{{0, 1, 2}},
		}
		for name, to := range map[string]geom.Affine{
			"at rest": geom.Identity(), "turned and scaled": geom.Scale(2).Then(geom.RotateX(0.7)).Then(geom.RotateZ(1.1)),
			"mirrored": {M: [3]geom.Vec{{X: -1}, {Y: 1}, {Z: 1}}},
		} {
			s := &Scene{Objects: []Object{{Shape: Mesh, Mesh: m, ToWorld: to, ToLocal: to.Inverse(), Tangents: mesh.MakeTangents(m)}}}
			sf := Surface{Ns: to.Vector(geom.Vec{Z: 1}).Unit(), U: 0.2, V: 0.3}
			for _, c := range []struct {
				texel colour.RGB
				want  geom.Vec
			}{
				{colour.RGB{0.8, 0.5, 0.9}, geom.Vec{X: 0.6 * mirror, Z: 0.8}}, {colour.RGB{0.5, 0.8, 0.9}, geom.Vec{Y: 0.6, Z: 0.8}},
			} {
				im := texture.Constant(c.texel)
				got := s.MappedNormal(&sf, &im, 1)
				if d := got.Sub(to.Vector(c.want).Unit()).Len(); !(d < 1e-12) {
					t.Errorf("%s, mirror %v, texel %v: off by %g", name, mirror, c.texel, d)
				}
				flat := s.MappedNormal(&sf, &im, 0)
				if d := flat.Sub(sf.Ns).Len(); !(d < 1e-12) || math.IsNaN(d) {
					t.Errorf("%s: strength 0 tilts by %g", name, d)
				}
			}
		}
	}
}
