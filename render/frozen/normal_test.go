package frozen

import (
	"math"
	"testing"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
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

// mapped returns what a body's normal map of one texel gives at a point of a triangle.
func mapped(m *mesh.Mesh, f *mesh.Tangents, tri int, u, v float64, texel geom.Vec) geom.Vec {
	at := geom.Identity()
	s := &Scene{Objects: []Object{{Shape: Mesh, Mesh: m, ToWorld: at, ToLocal: at, Tangents: f}}}
	t := m.Tri[tri]
	sf := Surface{Prim: uint32(tri), U: u, V: v, Ns: geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], u, v).Unit()}
	im := texture.Constant(colour.RGB{0.5 + texel.X/2, 0.5 + texel.Y/2, 0.5 + texel.Z/2})
	return s.MappedNormal(&sf, &im, 1)
}

// degreesBetween of two unit vectors, also of nearly equal ones.
func degreesBetween(a, b geom.Vec) float64 {
	return geom.Degrees(math.Atan2(a.Cross(b).Len(), a.Dot(b)))
}

// The licensed eye, as it is in its file, with normals that lean by 30 degrees all round: what comes out is the standard's
// (glTF 2.0, 3.7.2.1 and 3.9.3): bitangent = cross(normal, tangent.xyz) w at each vertex, then the three
// interpolated and summed. Frames made square at each point lie up to 10 degrees beside it.
func TestMappedNormalIsTheStandards(t *testing.T) {
	a, err := meshio.Read("../../testdata/eye/ict_right_eye_axial24mm.glb", "")
	if err != nil {
		t.Fatal(err)
	}
	for _, node := range a.Nodes {
		m := node.Mesh
		f := mesh.MakeTangents(m)
		worst := 0.0
		for i, tri := range m.Tri {
			for k := range 16 {
				sin, cos := math.Sincos(2 * math.Pi * float64(k) / 16)
				texel := geom.Vec{X: 0.5 * cos, Y: 0.5 * sin, Z: math.Sqrt(0.75)}
				u, v := [3]float64{0.2, 0.6, 1. / 3}[k%3], [3]float64{0.2, 0.3, 1. / 3}[k%3]
				var tangent, bitangent, normal geom.Vec
				for c, w := range [3]float64{1 - u - v, u, v} {
					id := f.Corner[i][c]
					n := m.N[tri[c]]
					tangent, normal = tangent.Mad(w, f.T[id]), normal.Mad(w, n)
					bitangent = bitangent.Mad(w*float64(f.Sign[id]), n.Cross(f.T[id]))
				}
				want := tangent.Mul(texel.X).Mad(texel.Y, bitangent).Mad(texel.Z, normal).Unit()
				worst = max(worst, degreesBetween(want, mapped(m, f, i, u, v, texel)))
			}
		}
		t.Logf("%s: %.2g degrees at most", node.Name, worst)
		if !(worst < 1e-6) {
			t.Errorf("%s: %.3g degrees from the standard", node.Name, worst)
		}
	}
}

// A sphere of few segments, its true normals baked by the inverse of the standard's decode (rows B x N, N x T, T x B): they come
// back. Closed form.
func TestMappedNormalRoundTrip(t *testing.T) {
	for _, n := range []int{8, 16} {
		m := &mesh.Mesh{}
		for j := range n/2 + 1 {
			for i := range n + 1 {
				sl, cl := math.Sincos(2 * math.Pi * float64(i) / float64(n))
				sb, cb := math.Sincos(math.Pi * (2*float64(j)/float64(n) - 0.5) * 0.9)
				p := geom.Vec{X: cb * sl, Y: sb, Z: cb * cl}
				m.P, m.N = append(m.P, p), append(m.N, p)
				m.UV = append(m.UV, geom.UV{U: float64(i) / float64(n), V: 1 - 2*float64(j)/float64(n)})
				if i < n && j < n/2 {
					a := uint32(j*(n+1) + i)
					w := uint32(n + 1)
					m.Tri = append(m.Tri, [3]uint32{a, a + 1, a + w + 1}, [3]uint32{a, a + w + 1, a + w})
				}
			}
		}
		f := mesh.MakeTangents(m)
		worst := 0.0
		for i, tri := range m.Tri {
			for _, q := range [][2]float64{{0.2, 0.2}, {0.6, 0.3}, {1. / 3, 1. / 3}, {0.05, 0.9}} {
				u, v := q[0], q[1]
				want := geom.Mix(m.P[tri[0]], m.P[tri[1]], m.P[tri[2]], u, v).Unit()
				want = want.Add(geom.Vec{X: 0.1, Y: -0.2, Z: 0.1}).Unit() // with relief
				ft, fb, fn := f.Decode(m, uint32(i), u, v, 1, 0, 0), f.Decode(m, uint32(i), u, v, 0, 1, 0), geom.Mix(m.N[tri[0]], m.N[tri[1]], m.N[tri[2]], u, v)
				texel := geom.Vec{X: fb.Cross(fn).Dot(want), Y: fn.Cross(ft).Dot(want), Z: ft.Cross(fb).Dot(want)}
				if ft.Cross(fb).Dot(fn) < 0 {
					texel = texel.Neg()
				}
				worst = max(worst, degreesBetween(want, mapped(m, f, i, u, v, texel.Unit())))
			}
		}
		if !(worst < 1e-6) {
			t.Errorf("%d segments: %.3g degrees", n, worst)
		}
	}
}
