package gltfio

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"

	"github.com/qmuntal/gltf"
)

const samples = "../../testdata/gltf/"

// Triangles, primitives and world boxes of the standard's sample assets against an independent reader. TextureEncodingTest
// writes a quarter turn as (0, 0, 0.707, 0.707), not quite of length 1: we bring it to length 1, that reader does not,
// which moves a corner 3 m away by 2 (1/2 - 0.707^2) 3 m = 0.9 mm.
func TestSamples(t *testing.T) {
	table, err := os.ReadFile(samples + "expected.tsv")
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range strings.Split(strings.TrimSpace(string(table)), "\n")[1:] {
		f := strings.Split(row, "\t")
		a, err := Read(samples + f[0])
		if err != nil {
			t.Error(err)
			continue
		}
		sampleFacts(t, samples+f[0], f)
		triangles, box := 0, geom.EmptyBox()
		for _, n := range a.Nodes {
			triangles += len(n.Mesh.Tri)
			box = box.Union(n.Mesh.Bounds())
			if len(n.Mesh.N) != len(n.Mesh.P) {
				t.Errorf("%s, %s: %d normals for %d vertices", f[0], n.Name, len(n.Mesh.N), len(n.Mesh.P))
			}
		}
		if strconv.Itoa(triangles) != f[1] || strconv.Itoa(len(a.Nodes)) != f[2] {
			t.Errorf("%s: %d triangles in %d primitives, want %s in %s", f[0], triangles, len(a.Nodes), f[1], f[2])
		}
		tol := 0.01
		if strings.HasPrefix(f[0], "TextureEncoding") {
			tol = 0.92
		}
		for i := range 3 {
			for j, got := range []float64{box.Lo.At(i), box.Hi.At(i)} {
				want, _ := strconv.ParseFloat(f[4+3*j+i], 64)
				near(t, f[0]+" box in mm", got, 1000*want, tol)
			}
		}
	}
}

// sampleFacts compares nodes, pictures with their sizes, extensions and materials of a file with a row of the table.
func sampleFacts(t *testing.T, file string, f []string) {
	t.Helper()
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	r := &reader{dir: filepath.Dir(file), asset: &Asset{}, said: map[string]bool{}}
	text, err := r.unpack(data)
	if err == nil {
		if err = r.parse(text); err == nil {
			err = r.loadBuffers()
		}
	}
	if err != nil {
		t.Fatal(err)
	}
	var pictures []string
	for i, src := range r.doc.Images {
		im, err := r.decodePicture(i, true)
		if err != nil {
			t.Fatal(err)
		}
		w, h, _ := im.Size()
		kind := "PNG"
		if src.MimeType == "image/jpeg" {
			kind = "JPEG"
		}
		pictures = append(pictures, fmt.Sprintf("%s %dx%d", kind, w, h))
	}
	list := func(s []string) string {
		if len(s) == 0 {
			return "-"
		}
		return strings.Join(s, ";")
	}
	got := []string{strconv.Itoa(len(r.doc.Nodes)), list(pictures), list(r.doc.ExtensionsUsed), list(r.doc.ExtensionsRequired), strconv.Itoa(len(r.doc.Materials))}
	for i, want := range []string{f[3], f[10], f[11], f[12], f[13]} {
		if got[i] != want {
			t.Errorf("%s: %s are %q, want %q", f[0], []string{"nodes", "pictures", "extensions used", "extensions required", "materials"}[i], got[i], want)
		}
	}
}

func find(t *testing.T, a *Asset, name string) *Node {
	t.Helper()
	for i := range a.Nodes {
		if a.Nodes[i].Name == name {
			return &a.Nodes[i]
		}
	}
	t.Fatalf("no node %q", name)
	return nil
}

// Mirrored nodes stay right side out: the same volume as their straight twins, triangles and normals outward.
func TestNegativeScale(t *testing.T) {
	a, err := Read(samples + "NegativeScaleTest/NegativeScaleTest.glb")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"Shiny", "NotShiny", "Dark"} {
		plus, minus := find(t, a, name+"1").Mesh, find(t, a, name+"Minus1").Mesh
		if v := plus.Volume(); !(v > 0) {
			t.Errorf("%s1: volume %v", name, v)
		}
		near(t, name+" mirrored volume", minus.Volume()/plus.Volume(), 1, 1e-9)
		for _, m := range []*mesh.Mesh{plus, minus} {
			against := 0
			for _, tri := range m.Tri {
				n := m.P[tri[1]].Sub(m.P[tri[0]]).Cross(m.P[tri[2]].Sub(m.P[tri[0]]))
				if n.Dot(m.N[tri[0]]) < 0 {
					against++
				}
			}
			if against > 0 {
				t.Errorf("%s: %d of %d triangles wind against their normals", name, against, len(m.Tri))
			}
		}
	}
}

// uvToWorld solves for the world position of a texture coordinate on a flat quad.
func uvToWorld(m *mesh.Mesh, uv geom.UV) geom.Vec {
	t := m.Tri[0]
	a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
	bu, bv, cu, cv, du, dv := b.U-a.U, b.V-a.V, c.U-a.U, c.V-a.V, uv.U-a.U, uv.V-a.V
	det := bu*cv - bv*cu
	return geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], (du*cv-dv*cu)/det, (bu*dv-bv*du)/det)
}

// The sample for KHR_texture_transform holds a picture of an arrow along the diagonal of the texture; moved as the
// material says, it must point from its quad's corner at the little quad with the tick and not at the others.
func TestTextureTransform(t *testing.T) {
	a, err := Read(samples + "TextureTransformTest/TextureTransformTest.gltf")
	if err != nil {
		t.Fatal(err)
	}
	middle := func(name string) geom.Vec { v := find(t, a, name).Mesh.Bounds().Centre(); v.Z = 0; return v }
	tip := geom.UV{U: 88. / 128, V: 88. / 128} // of the arrow, in the picture
	for _, name := range []string{"Rotation", "Scale", "All"} {
		q := find(t, a, name)
		start, end := uvToWorld(q.Mesh, geom.UV{}), uvToWorld(q.Mesh, tip)
		along := end.Sub(start).Unit()
		to := func(other string) float64 { return along.Cross(middle(other).Sub(start).Unit()).Len() }
		if d := to(name + " - Correct"); d > 0.09 {
			t.Errorf("%s: the arrow misses the tick by a sine of %.3f", name, d)
		}
		if name == "Rotation" && (to("Rotation - Error") < 0.3 || to("Rotation - Not Supported") < 0.3) {
			t.Error("the arrow points at a mark that stands for a fault")
		}
		if q.Material.BaseMap == nil || q.Material.Wrap != texture.Clamp {
			t.Errorf("%s: no map, or wrap %v", name, q.Material.Wrap)
		}
	}
	for name, quadrant := range map[string]geom.UV{"Offset U": {U: 0.5}, "Offset V": {V: 0.5}, "Offset UV": {U: 0.5, V: 0.5}} {
		for _, uv := range find(t, a, name).Mesh.UV {
			if uv.U < quadrant.U || uv.U > quadrant.U+0.5 || uv.V < quadrant.V || uv.V > quadrant.V+0.5 {
				t.Errorf("%s: %v is outside its quarter of the picture", name, uv)
			}
		}
	}
}

// The sample's rows hold one look each: first by factors, then by PNG files with different gamma and colour-profile tags,
// which must be ignored. So each map means its row's factor: base colour decoded from sRGB, roughness as it is.
func TestTextureEncoding(t *testing.T) {
	a, err := Read(samples + "TextureEncodingTest/TextureEncodingTest.glb")
	if err != nil {
		t.Fatal(err)
	}
	colour, rough := find(t, a, "node 1").Material, find(t, a, "node 9").Material
	for i := 2; i <= 4; i++ {
		m := find(t, a, "node "+strconv.Itoa(i)).Material
		for c := range 3 {
			near(t, m.Name+" colour", m.BaseColour[c]*m.BaseMap.Mean()[c], colour.BaseColour[c], 1e-7)
		}
		m = find(t, a, "node "+strconv.Itoa(i+8)).Material
		near(t, m.Name+" roughness", m.Roughness*m.RoughMap.Mean()[0], rough.Roughness, 1e-7)
		near(t, m.Name+" metallic", m.Metallic, rough.Metallic, 1e-7)
	}
	if colour.BaseMap != nil || rough.RoughMap != nil || colour.BaseColour[1] < 0.2 || rough.Roughness > 0.6 {
		t.Error("the first of a row is not the one by factors")
	}
}

// A flat height field with one vertex moved by sparse values (the sample's three peaks): positions in metres.
func TestSparse(t *testing.T) {
	a, err := Read(samples + "SimpleSparseAccessor/SimpleSparseAccessor.gltf")
	if err != nil {
		t.Fatal(err)
	}
	want := []geom.Vec{{X: 1, Y: 2}, {X: 3, Y: 3}, {X: 5, Y: 4}}
	for _, w := range want {
		best := math.Inf(1)
		for _, p := range a.Nodes[0].Mesh.P {
			best = min(best, p.Sub(w.Mul(1000)).Len())
		}
		near(t, "peak", best, 0, 1e-6)
	}
}

// The sample's own tangents, made by its author's tools, against ours, on six square sides. They belong to its second
// set of texture coordinates: by hand, dP/du of the first runs the other way on the sides +X, -X and -Z.
func TestTangentsAgreeWithFile(t *testing.T) {
	data, err := os.ReadFile(samples + "MultiUVTest/MultiUVTest.glb")
	if err != nil {
		t.Fatal(err)
	}
	r := &reader{asset: &Asset{}, said: map[string]bool{}, pictures: map[pictureKey]*picture{}}
	text, err := r.unpack(data)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.parse(text); err != nil {
		t.Fatal(err)
	}
	if err := r.loadBuffers(); err != nil {
		t.Fatal(err)
	}
	given, err := r.floats(r.doc.Meshes[0].Primitives[0].Attributes["TANGENT"], gltf.AccessorVec4)
	if err != nil {
		t.Fatal(err)
	}
	m, err := r.primitive(r.doc.Meshes[0].Primitives[0], &instance{set: plainSet(1), world: geom.Identity()})
	if err != nil {
		t.Fatal(err)
	}
	if len(given) != 4*len(m.P) {
		t.Fatalf("%d tangents for %d vertices", len(given)/4, len(m.P))
	}
	f := mesh.MakeTangents(m)
	for i, tri := range m.Tri {
		for k, v := range tri {
			id := f.Corner[i][k]
			want := geom.Vec{X: float64(given[4*v]), Y: float64(given[4*v+1]), Z: float64(given[4*v+2])}
			if d := f.T[id].Sub(want).Len(); d > 1e-5 || float32(f.Sign[id]) != given[4*v+3] {
				t.Errorf("triangle %d corner %d: %v sign %d, the file has %v sign %v (uv %v)", i, k, f.T[id], f.Sign[id], want, given[4*v+3], m.UV[v])
			}
		}
	}
}
