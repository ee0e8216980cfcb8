package gltfio

import (
	"encoding/base64"
	"fmt"
	"math"
	"strings"
	"testing"

	"catchlight/scene/geom"
)

// bent is a file of one triangle (0,0,0) (1,0,0) (0,1,0), normals +Z, with two morph targets: "wide" moves every vertex
// by +x and tilts the normals by +x, "deep" (sparse, no buffer view of its own) moves vertex 2 by (0, 0, 2) only. Two
// joints, nodes 1 and 2, with inverse bind matrices; vertices 0 and 1 depend on joints 0 and 1, vertex 2 on both alike.
func bent(node, nodes, mesh string) string {
	data := raw([]float32{0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 0, 1, 0, 0, 1, 0, 0, 1}) // views 0, 1 at 0, 36
	data = append(data, raw([]float32{1, 0, 0, 1, 0, 0, 1, 0, 0})...)            // 2 at 72: target
	data = append(data, raw([]float32{0, 0, 2})...)                              // 3 at 108: sparse values
	data = append(data, 2, 0, 0, 0)                                              // 4 at 120: sparse index
	data = append(data, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0)                      // 5 at 124: joints
	data = append(data, raw([]float32{1, 0, 0, 0, 1, 0, 0, 0, 0.5, 0.5, 0, 0})...)
	inverse := []float32{1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, -1, 0, 0, 1}
	data = append(data, raw(inverse)...) // 6 at 136: weights; 7 at 184: matrices
	return fmt.Sprintf(`{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0,1]}],
"nodes":[{"mesh":0,"name":"heron"%s},%s],
"skins":[{"joints":[1,2],"inverseBindMatrices":6}],
"meshes":[{"primitives":[{"attributes":{"POSITION":0,"NORMAL":1,"JOINTS_0":4,"WEIGHTS_0":5},"targets":[{"POSITION":2,"NORMAL":2},{"POSITION":3}]}]%s}],
"accessors":[{"bufferView":0,"componentType":5126,"count":3,"type":"VEC3"},{"bufferView":1,"componentType":5126,"count":3,"type":"VEC3"},
{"bufferView":2,"componentType":5126,"count":3,"type":"VEC3"},
{"componentType":5126,"count":3,"type":"VEC3","sparse":{"count":1,"indices":{"bufferView":4,"componentType":5121},"values":{"bufferView":3}}},
{"bufferView":5,"componentType":5121,"count":3,"type":"VEC4"},{"bufferView":6,"componentType":5126,"count":3,"type":"VEC4"},
{"bufferView":7,"componentType":5126,"count":2,"type":"MAT4"}],
"bufferViews":[{"buffer":0,"byteLength":36},{"buffer":0,"byteOffset":36,"byteLength":36},{"buffer":0,"byteOffset":72,"byteLength":36},
{"buffer":0,"byteOffset":108,"byteLength":12},{"buffer":0,"byteOffset":120,"byteLength":1},{"buffer":0,"byteOffset":124,"byteLength":12},
{"buffer":0,"byteOffset":136,"byteLength":48},{"buffer":0,"byteOffset":184,"byteLength":128}],
"buffers":[{"byteLength":%d,"uri":"data:application/octet-stream;base64,%s"}]}`, node, nodes, mesh, len(data), base64.StdEncoding.EncodeToString(data))
}

const still = `{"children":[2]},{}`
const named = `,"extras":{"targetNames":["wide","deep"]}`

// The standard's rule by hand: base + sum of weight x displacement, for positions and normals (glTF 2.0, 3.7.2.2);
// weights asked for take precedence over the node's, those over the mesh's.
func TestMorph(t *testing.T) {
	for _, c := range []struct {
		name, node, mesh string
		asked            Weights
		wide, deep       float64
	}{
		{"none", "", "", nil, 0, 0},
		{"the mesh's", "", `,"weights":[0.5,0.25]`, nil, 0.5, 0.25},
		{"the node's", `,"weights":[1,0]`, `,"weights":[0.5,0.25]`, nil, 1, 0},
		{"by name", `,"weights":[1,0]`, named, Weights{"deep": 0.75}, 1, 0.75},
		{"by number", "", "", Weights{"0": -0.5, "1": 2}, -0.5, 2},
	} {
		a, err := readAsset("heron.gltf", []byte(bent(c.node, still, c.mesh)), c.asked)
		if err != nil {
			t.Fatal(err)
		}
		m := a.Nodes[0].Mesh
		for v, p := range []geom.Vec{{}, {X: 1}, {Y: 1}} {
			want := p.Add(geom.Vec{X: c.wide})
			if v == 2 {
				want.Z = 2 * c.deep
			}
			near(t, c.name+", place", m.P[v].Sub(want.Mul(1000)).Len(), 0, 1e-3)
			near(t, c.name+", normal", m.N[v].Sub(geom.Vec{X: c.wide, Z: 1}.Unit()).Len(), 0, 1e-6)
		}
	}
	for _, c := range []struct {
		mesh  string
		asked Weights
		want  []string
	}{
		{named, Weights{"pupil": 1}, []string{`no morph target "pupil"`, `"wide"`, `"deep"`}},
		{"", Weights{"7": 1}, []string{`"7"`, "0, 1"}},
		{`,"weights":[1]`, nil, []string{"1 weights for 2 morph targets"}},
		{"", Weights{"0": math.NaN()}, []string{"NaN"}},
	} {
		_, err := readAsset("heron.gltf", []byte(bent("", still, c.mesh)), c.asked)
		for _, want := range c.want {
			if err == nil || !strings.Contains(err.Error(), want) {
				t.Errorf("%v: got %v, want an error about %s", c.asked, err, want)
			}
		}
	}
	if _, err := readAsset("x.gltf", []byte(square()), Weights{"wide": 1}); err == nil || !strings.Contains(err.Error(), "has none") {
		t.Errorf("a file without targets: %v", err)
	}
}

// The standard's rule by hand (glTF 2.0, 3.7.3): a vertex goes to the weighted sum of joint matrix x inverse bind
// matrix x place; the place of the skinned node itself has no say. Joint 0 is at (0, 0, 3) m, joint 1 a quarter turn
// about Z at (10, 0, 3); it was bound at (1, 0, 0), where vertex 1 is.
func TestSkin(t *testing.T) {
	h := math.Sqrt(0.5)
	nodes := fmt.Sprintf(`{"children":[2],"translation":[0,0,3]},{"translation":[10,0,0],"rotation":[0,0,%v,%v]}`, h, h)
	a, err := readAsset("heron.gltf", []byte(bent(`,"skin":0,"translation":[5,5,5]`, nodes, "")), nil)
	if err != nil {
		t.Fatal(err)
	}
	m := a.Nodes[0].Mesh
	// Vertex 2, (0,1,0): joint 0 gives (0,1,3); joint 1 (-1,1,0) turned to (-1,-1,0), then (9,-1,3); the mean is (4.5,0,3).
	for v, want := range []geom.Vec{{Z: 3}, {X: 10, Z: 3}, {X: 4.5, Z: 3}} {
		near(t, "place", m.P[v].Sub(want.Mul(1000)).Len(), 0, 1e-2)
		near(t, "normal", m.N[v].Sub(geom.Vec{Z: 1}).Len(), 0, 1e-6)
	}
	// A second set of joints counts like the first; weights are shares of their sum. Here it hangs all on joint 0 (the 12
	// zero bytes of vertex 0 are its numbers): shares 1:0, 1:1 and 3:1 of joints 0 and 1.
	eight := strings.Replace(bent(`,"skin":0`, nodes, ""), `"WEIGHTS_0":5`, `"WEIGHTS_0":5,"JOINTS_1":7,"WEIGHTS_1":5`, 1)
	eight = strings.Replace(eight, `"count":2,"type":"MAT4"}`, `"count":2,"type":"MAT4"},{"bufferView":0,"componentType":5121,"count":3,"type":"VEC4"}`, 1)
	if a, err = readAsset("heron.gltf", []byte(eight), nil); err != nil {
		t.Fatal(err)
	}
	for v, want := range []geom.Vec{{Z: 3}, {X: 5.5, Z: 3}, {X: 2.25, Y: 0.5, Z: 3}} {
		near(t, "place by eight joints", a.Nodes[0].Mesh.P[v].Sub(want.Mul(1000)).Len(), 0, 1e-2)
	}
	// Morphed first, then bent.
	if a, err = readAsset("heron.gltf", []byte(bent(`,"skin":0`, nodes, "")), Weights{"0": 1}); err != nil {
		t.Fatal(err)
	}
	near(t, "morphed, then bent", a.Nodes[0].Mesh.P[1].Sub(geom.Vec{X: 10000, Y: 1000, Z: 3000}).Len(), 0, 1e-2)
	// A skin at its bind pose changes nothing.
	if a, err = readAsset("heron.gltf", []byte(bent(`,"skin":0`, `{"children":[2]},{"translation":[1,0,0]}`, "")), nil); err != nil {
		t.Fatal(err)
	}
	for v, want := range []geom.Vec{{}, {X: 1}, {Y: 1}} {
		near(t, "bind pose", a.Nodes[0].Mesh.P[v].Sub(want.Mul(1000)).Len(), 0, 1e-3)
	}
	for _, c := range []struct{ name, file, want string }{
		{"skin 3", bent(`,"skin":3`, nodes, ""), "skin 3"},
		{"joint outside the scene", strings.Replace(bent(`,"skin":0`, nodes, ""), `"children":[2],`, "", 1), "not in the scene"},
		{"joint 9", strings.Replace(bent(`,"skin":0`, nodes, ""), `"joints":[1,2]`, `"joints":[1,9]`, 1), "node 9"},
		{"too few joints", strings.Replace(bent(`,"skin":0`, nodes, ""), `"joints":[1,2]`, `"joints":[1]`, 1), "uses joint 1 of 1"},
		{"no joints at the vertices", strings.Replace(bent(`,"skin":0`, nodes, ""), `,"JOINTS_0":4,"WEIGHTS_0":5`, "", 1), "no JOINTS_0"},
		{"weights alone", strings.Replace(bent(`,"skin":0`, nodes, ""), `"JOINTS_0":4,`, "", 1), "together"},
		{"joints as floats", strings.Replace(bent(`,"skin":0`, nodes, ""), `"JOINTS_0":4`, `"JOINTS_0":5`, 1), "UNSIGNED"},
		{"no weight at all", strings.Replace(bent(`,"skin":0`, nodes, ""), `{"bufferView":6,"componentType":5126,"count":3,"type":"VEC4"}`,
			`{"componentType":5126,"count":3,"type":"VEC4","sparse":{"count":1,"indices":{"bufferView":4,"componentType":5121},"values":{"bufferView":6}}}`, 1), "vertex 0 is bound to no joint"},
	} {
		if _, err := readAsset("heron.gltf", []byte(c.file), nil); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error about %q", c.name, err, c.want)
		}
	}
}
