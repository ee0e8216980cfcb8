package gltfio

import (
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"

	"github.com/qmuntal/gltf"
)

// largeSample opens one of the standard's sample assets that are too large to keep here. CATCHLIGHT_GLTF_SAMPLES names
// the folder of the sample set.
func largeSample(t *testing.T, name string) *Asset {
	t.Helper()
	folder := os.Getenv("CATCHLIGHT_GLTF_SAMPLES")
	if folder == "" {
		t.Skip("CATCHLIGHT_GLTF_SAMPLES does not name the folder of the standard's sample assets (2.3 MB are needed)")
	}
	a, err := Read(filepath.Join(folder, name, name+".glb"))
	if err != nil {
		t.Fatal(err)
	}
	return a
}

// Nodes, pictures, extensions and materials of the two large samples against an independent reader, and the attributes
// of their primitives, taken from the files' JSON text.
func TestLargeSampleFacts(t *testing.T) {
	for _, row := range []string{
		"NormalTangentTest	7774	1	2	-1.11	-1.2	-0.01	1.11	0.95	0.0805	PNG 2048x2048;PNG 2048x2048;PNG 2048x2048	-	-	1",
		"TransmissionRoughnessTest	77792	9	10	-1	-0.45	-0.15	1	0.45	0.35	PNG 512x512;PNG 64x64;PNG 64x64;PNG 256x256;PNG 256x256	KHR_materials_transmission;KHR_materials_ior;KHR_materials_volume	-	9",
	} {
		f := strings.Split(row, "\t")
		for _, n := range largeSample(t, f[0]).Nodes {
			if len(n.Mesh.N) != len(n.Mesh.P) || len(n.Mesh.UV) != len(n.Mesh.P) {
				t.Errorf("%s, %s: %d vertices, %d normals, %d texture coordinates", f[0], n.Name, len(n.Mesh.P), len(n.Mesh.N), len(n.Mesh.UV))
			}
		}
		file := filepath.Join(os.Getenv("CATCHLIGHT_GLTF_SAMPLES"), f[0], f[0]+".glb")
		doc, err := gltf.Open(file)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range doc.Meshes {
			for _, p := range m.Primitives {
				if got := slices.Sorted(maps.Keys(p.Attributes)); !slices.Equal(got, []string{"NORMAL", "POSITION", "TEXCOORD_0"}) {
					t.Errorf("%s, %s: attributes %v", f[0], m.Name, got)
				}
			}
		}
		sampleFacts(t, file, f)
	}
}

// The facts of an independent reader: 77792 triangles, 9 primitives, the box; and the indices in the nodes' names.
func TestTransmissionRoughness(t *testing.T) {
	a := largeSample(t, "TransmissionRoughnessTest")
	triangles, box := 0, geom.EmptyBox()
	for _, n := range a.Nodes {
		triangles += len(n.Mesh.Tri)
		box = box.Union(n.Mesh.Bounds())
	}
	if triangles != 77792 || len(a.Nodes) != 9 {
		t.Errorf("%d triangles in %d primitives", triangles, len(a.Nodes))
	}
	near(t, "box", box.Lo.Sub(geom.Vec{X: -1000, Y: -450, Z: -150}).Len()+box.Hi.Sub(geom.Vec{X: 1000, Y: 450, Z: 350}).Len(), 0, 0.01)
	for name, ior := range map[string]float64{"IOR_1.0": 1, "IOR_1.33": 1.33, "IOR_1.50": 1.5, "IOR_1.76": 1.76, "IOR_2.42": 2.42} {
		m := find(t, a, name).Material
		if m.IOR != ior || m.Transmission != 1 || m.RoughMap == nil {
			t.Errorf("%s: index %v, transmission %v", name, m.IOR, m.Transmission)
		}
	}
	if m := find(t, a, "Opaque").Material; m.Transmission != 0 {
		t.Errorf("the opaque row transmits %v", m.Transmission)
	}
}

// The sample holds 15 domes with smooth normals and, 320 mm to the right of each, a flat square whose normal map shows
// the same dome; the squares' texture coordinates are turned in many ways. Through our tangents the squares must give
// the domes' normals. Measured: half of the points within 0.24 degrees, all within 1.5.
func TestNormalTangent(t *testing.T) {
	a := largeSample(t, "NormalTangentTest")
	m := a.Nodes[0].Mesh
	b := m.Bounds()
	if len(m.Tri) != 7774 || len(a.Nodes) != 1 {
		t.Errorf("%d triangles in %d primitives", len(m.Tri), len(a.Nodes))
	}
	near(t, "box", b.Lo.Sub(geom.Vec{X: -1110, Y: -1200, Z: -10}).Len()+b.Hi.Sub(geom.Vec{X: 1110, Y: 950, Z: 80.5}).Len(), 0, 0.05)
	f := mesh.MakeTangents(m)
	bump := texture.FromImage(a.Nodes[0].Material.NormalMap, a.Nodes[0].Material.Wrap)
	var domes [][3]uint32
	for _, tri := range m.Tri {
		if m.P[tri[0]].Y > -960 && !flatSquare(m, tri) {
			domes = append(domes, tri)
		}
	}
	var off []float64
	squares := 0
	for i, tri := range m.Tri {
		if m.P[tri[0]].Y < -960 || !flatSquare(m, tri) {
			continue
		}
		squares++
		for k := range 100 {
			u, v := (float64(k%10)+0.5)/10, (float64(k/10)+0.5)/10
			if u+v > 1 {
				u, v = 1-u, 1-v
			}
			p := geom.Mix(m.P[tri[0]], m.P[tri[1]], m.P[tri[2]], u, v)
			uv := geom.UV{U: (1-u-v)*m.UV[tri[0]].U + u*m.UV[tri[1]].U + v*m.UV[tri[2]].U, V: (1-u-v)*m.UV[tri[0]].V + u*m.UV[tri[1]].V + v*m.UV[tri[2]].V}
			q := bump.Normal(uv, 0)
			got := f.Decode(m, uint32(i), u, v, q.X, q.Y, q.Z).Unit()
			if want, ok := normalAbove(m, domes, p.X-320, p.Y); ok {
				off = append(off, geom.Degrees(math.Acos(min(1, got.Dot(want)))))
			}
		}
	}
	slices.Sort(off)
	if n := len(off); squares != 30 || n < 2900 || off[n/2] > 0.4 || off[n-1] > 2 {
		t.Errorf("%d flat triangles, %d points: median %.2f, worst %.2f degrees", squares, n, off[n/2], off[n-1])
	}
}

// flatSquare reports whether a triangle is half of a square of 300 mm in the plane z = 0.
func flatSquare(m *mesh.Mesh, t [3]uint32) bool {
	a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
	return math.Abs(b.Sub(a).Cross(c.Sub(a)).Len()-300*300) < 100
}

// normalAbove returns the normal of the highest of the triangles over a point of the plane z = 0.
func normalAbove(m *mesh.Mesh, tris [][3]uint32, x, y float64) (n geom.Vec, ok bool) {
	top := math.Inf(-1)
	for _, t := range tris {
		a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		det := (b.X-a.X)*(c.Y-a.Y) - (b.Y-a.Y)*(c.X-a.X)
		u := ((x-a.X)*(c.Y-a.Y) - (y-a.Y)*(c.X-a.X)) / det
		v := ((b.X-a.X)*(y-a.Y) - (b.Y-a.Y)*(x-a.X)) / det
		if !(u >= 0 && v >= 0 && u+v <= 1) {
			continue
		}
		if z := geom.Mix(a, b, c, u, v).Z; z > top {
			top, ok = z, true
			n = geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], u, v).Unit()
		}
	}
	return n, ok
}
