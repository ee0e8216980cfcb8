package gltfio

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

func raw(v any) []byte {
	var b bytes.Buffer
	binary.Write(&b, binary.LittleEndian, v)
	return b.Bytes()
}

// square is a file of one square of the unit side in the plane z = 0, facing +Z: four positions, texture coordinates,
// six indices. Parts of the JSON can be replaced.
func square(replace ...string) string {
	data := append(raw([]float32{0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0}), raw([]float32{0, 1, 1, 1, 1, 0, 0, 0})...)
	data = append(data, raw([]uint16{0, 1, 2, 0, 2, 3})...)
	s := `{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],
"nodes":[{"mesh":0,"name":"marsh"}],
"meshes":[{"primitives":[{"attributes":{"POSITION":0,"TEXCOORD_0":1},"indices":2}]}],
"accessors":[{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3"},{"bufferView":1,"componentType":5126,"count":4,"type":"VEC2"},{"bufferView":2,"componentType":5123,"count":6,"type":"SCALAR"}],
"bufferViews":[{"buffer":0,"byteLength":48},{"buffer":0,"byteOffset":48,"byteLength":32},{"buffer":0,"byteOffset":80,"byteLength":12}],
"buffers":[{"byteLength":92,"uri":"data:application/octet-stream;base64,` + base64.StdEncoding.EncodeToString(data) + `"}]}`
	for i := 0; i < len(replace); i += 2 {
		if !strings.Contains(s, replace[i]) {
			panic("the test's file does not hold " + replace[i])
		}
		s = strings.Replace(s, replace[i], replace[i+1], 1)
	}
	return s
}

func mustRead(t *testing.T, file string) *Asset {
	t.Helper()
	a, err := readAsset("marsh.gltf", []byte(file), nil)
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func TestSquare(t *testing.T) {
	a := mustRead(t, square())
	m := a.Nodes[0].Mesh
	if len(a.Notes) != 0 || a.Nodes[0].Name != "marsh" || len(m.P) != 4 || len(m.Tri) != 2 {
		t.Fatalf("notes %q, %d vertices, %d triangles", a.Notes, len(m.P), len(m.Tri))
	}
	near(t, "metres to mm", m.P[2].Sub(geom.Vec{X: 1000, Y: 1000}).Len(), 0, 0)
	near(t, "made normals", m.N[0].Z, 1, 1e-15)
	near(t, "v runs down", m.UV[0].V, 1, 0)
	d := a.Nodes[0].Material
	if d.BaseColour != colour.Grey(1) || d.Roughness != 1 || d.Metallic != 1 || d.IOR != 1.5 || !math.IsInf(d.AttenuationDistance, 1) {
		t.Errorf("the default material is %+v", d)
	}
}

// Transforms: order of scale, rotation, translation; matrices by columns; children; mirrors. By hand.
func TestTransforms(t *testing.T) {
	node := `"mesh":0,"name":"marsh"`
	h := math.Sqrt(0.5)
	for _, c := range []struct {
		name, with string
		corner     geom.Vec // where vertex 1, (1, 0, 0) m, goes
		normal     geom.Vec
	}{
		{"translation", `"translation":[1,2,3]`, geom.Vec{X: 2000, Y: 2000, Z: 3000}, geom.Vec{Z: 1}},
		{"rotation about Y", fmt.Sprintf(`"rotation":[0,%v,0,%v]`, h, h), geom.Vec{Z: -1000}, geom.Vec{X: 1}},
		{"all", fmt.Sprintf(`"translation":[0,0,1],"rotation":[0,0,%v,%v],"scale":[2,3,4]`, h, h), geom.Vec{Y: 2000, Z: 1000}, geom.Vec{Z: 1}},
		{"matrix", `"matrix":[0,2,0,0, -1,0,0,0, 0,0,1,0, 5,6,7,1]`, geom.Vec{X: 5000, Y: 8000, Z: 7000}, geom.Vec{Z: 1}},
		{"mirror", `"scale":[-1,1,1]`, geom.Vec{X: -1000}, geom.Vec{Z: 1}},
		{"mirror of the normal", `"scale":[1,1,-1]`, geom.Vec{X: 1000}, geom.Vec{Z: -1}},
	} {
		a := mustRead(t, square(node, node+","+c.with))
		m := a.Nodes[0].Mesh
		near(t, c.name+", corner", m.P[1].Sub(c.corner).Len(), 0, 1e-9)
		tri := m.Tri[0]
		n := m.P[tri[1]].Sub(m.P[tri[0]]).Cross(m.P[tri[2]].Sub(m.P[tri[0]])).Unit()
		near(t, c.name+", winding", n.Sub(c.normal).Len(), 0, 1e-9)
		near(t, c.name+", normal", m.N[0].Sub(c.normal).Len(), 0, 1e-9)
	}
	a := mustRead(t, square(`"nodes":[{`, `"nodes":[{"children":[1,2],"scale":[2,2,2]},{"mesh":0,"translation":[1,0,0]},{`))
	if len(a.Nodes) != 2 || a.Nodes[0].Name != "node 1" {
		t.Fatalf("%d nodes, the first %q", len(a.Nodes), a.Nodes[0].Name)
	}
	near(t, "child", a.Nodes[0].Mesh.P[1].X, 4000, 1e-9)
	// A normal goes by the inverse transpose: on a plane tilted by scaling it stays upright.
	tilted := append(raw([]float32{0, 0, 0, 1, 0, -1, 1, 1, -1, 0, 1, 0}), raw([]float32{1, 0, 1, 1, 0, 1, 1, 0, 1, 1, 0, 1})...)
	a = mustRead(t, square(`"TEXCOORD_0":1`, `"NORMAL":1`, `"componentType":5126,"count":4,"type":"VEC2"`, `"componentType":5126,"count":4,"type":"VEC3"`,
		`"byteOffset":48,"byteLength":32`, `"byteOffset":48,"byteLength":48`, `"byteOffset":80`, `"byteOffset":96`, `"byteLength":92`, `"byteLength":108`,
		base64Of(square()), base64.StdEncoding.EncodeToString(append(tilted, raw([]uint16{0, 1, 2, 0, 2, 3})...)), node, node+`,"scale":[3,1,1]`))
	m := a.Nodes[0].Mesh
	near(t, "given normal", m.N[0].Sub(geom.Vec{X: 1, Z: 3}.Unit()).Len(), 0, 1e-12)
	near(t, "given normal is upright", m.N[0].Dot(m.P[1].Sub(m.P[0])), 0, 1e-9)
}

func base64Of(file string) string {
	_, rest, _ := strings.Cut(file, "base64,")
	s, _, _ := strings.Cut(rest, `"`)
	return s
}

// Strips and fans give the same two triangles' area and winding; lists without indices too; a sparse or missing part
// does not.
func TestModes(t *testing.T) {
	for _, c := range []struct {
		name, mode string
		index      []uint16
	}{
		{"fan", `"mode":6,`, []uint16{0, 1, 2, 3}}, {"strip", `"mode":5,`, []uint16{0, 1, 3, 2}},
	} {
		data, _ := base64.StdEncoding.DecodeString(base64Of(square()))
		data = append(data[:80], raw(c.index)...)
		a := mustRead(t, square(`{"attributes"`, `{`+c.mode+`"attributes"`, `"count":6`, `"count":4`, `"byteLength":92`, `"byteLength":88`,
			`"byteLength":12`, `"byteLength":8`, base64Of(square()), base64.StdEncoding.EncodeToString(data)))
		m := a.Nodes[0].Mesh
		if len(m.Tri) != 2 {
			t.Fatalf("%s: %d triangles", c.name, len(m.Tri))
		}
		for _, tri := range m.Tri {
			n := m.P[tri[1]].Sub(m.P[tri[0]]).Cross(m.P[tri[2]].Sub(m.P[tri[0]]))
			near(t, c.name, n.Sub(geom.Vec{Z: 1e6}).Len(), 0, 1e-6)
		}
	}
	// Points are passed over with a note; a scene of nothing else is empty.
	if _, err := readAsset("x", []byte(square(`{"attributes"`, `{"mode":0,"attributes"`)), nil); err == nil || !strings.Contains(err.Error(), "no triangles") {
		t.Errorf("points: %v", err)
	}
	// Vertices that no triangle uses go: a triangle of vertices 1, 2, 3 only.
	data, _ := base64.StdEncoding.DecodeString(base64Of(square()))
	a := mustRead(t, square(`"count":6`, `"count":3`, base64Of(square()), base64.StdEncoding.EncodeToString(append(data[:80], raw([]uint16{1, 2, 3, 0, 0, 0})...))))
	if m := a.Nodes[0].Mesh; len(m.P) != 3 || len(m.UV) != 3 || m.P[0].X != 1000 || m.UV[0].U != 1 {
		t.Errorf("unused vertices: %v, %v", m.P, m.UV)
	}
}

// Whole numbers as positions and texture coordinates (KHR_mesh_quantization); normalised they end at 1 and -1.
func TestQuantised(t *testing.T) {
	data := append(raw([]int16{0, 0, 0, 0, 32767, 0, 0, 0, 32767, -32768, 0, 0, 0, -32768, 0, 0}), raw([]uint8{0, 255, 255, 255, 255, 0, 0, 51})...)
	data = append(data, raw([]uint16{0, 2, 1, 0, 3, 2})...)
	a := mustRead(t, square(`"asset"`, `"extensionsUsed":["KHR_mesh_quantization"],"extensionsRequired":["KHR_mesh_quantization"],"asset"`,
		`"componentType":5126,"count":4,"type":"VEC3"`, `"componentType":5122,"normalized":true,"count":4,"type":"VEC3"`,
		`"componentType":5126,"count":4,"type":"VEC2"`, `"componentType":5121,"normalized":true,"count":4,"type":"VEC2"`,
		`{"buffer":0,"byteLength":48}`, `{"buffer":0,"byteLength":32,"byteStride":8}`, `"byteOffset":48,"byteLength":32`, `"byteOffset":32,"byteLength":8`,
		`"byteOffset":80`, `"byteOffset":40`, `"byteLength":92`, `"byteLength":52`, base64Of(square()), base64.StdEncoding.EncodeToString(data)))
	m := a.Nodes[0].Mesh
	near(t, "position", m.P[2].Sub(geom.Vec{X: 1000, Y: -1000}).Len(), 0, 1e-9)
	near(t, "texture coordinate", m.UV[3].V, 0.2, 1e-7)
	near(t, "normal", m.N[0].Z, 1, 1e-12)
}

// dot returns a PNG of one texel as a data URI.
func dot(c color.Color) string {
	m := image.NewNRGBA(image.Rect(0, 0, 1, 1))
	m.Set(0, 0, c)
	var b bytes.Buffer
	png.Encode(&b, m)
	return "data:image/png;base64," + base64.StdEncoding.EncodeToString(b.Bytes())
}

func TestMaterial(t *testing.T) {
	with := func(material, more string) *Asset {
		return mustRead(t, square(`"indices":2`, `"indices":2,"material":0`, `"asset"`, `"materials":[`+material+`],`+more+`"asset"`))
	}
	maps := `"images":[{"uri":"` + dot(color.NRGBA{188, 128, 64, 255}) + `"},{"uri":"` + dot(color.NRGBA{0, 51, 102, 255}) + `"}],
"textures":[{"source":0,"sampler":0},{"source":1,"sampler":0}],"samplers":[{"wrapS":33648,"wrapT":33648}],`
	a := with(`{"name":"tide","pbrMetallicRoughness":{"baseColorFactor":[0.1,0.2,0.3,1],"baseColorTexture":{"index":0},"metallicFactor":0.5,
"roughnessFactor":0.7,"metallicRoughnessTexture":{"index":1}},"normalTexture":{"index":1,"scale":0.25},
"extensions":{"KHR_materials_ior":{"ior":1.38},"KHR_materials_transmission":{"transmissionFactor":0.9},
"KHR_materials_volume":{"attenuationDistance":0.004,"attenuationColor":[0.5,0.6,0.7]}}}`, maps)
	var one bytes.Buffer
	png.Encode(&one, image.NewGray(image.Rect(0, 0, 1, 1)))
	grey := "data:image/png;base64," + base64.StdEncoding.EncodeToString(one.Bytes())
	m := a.Nodes[0].Material
	if len(a.Notes) != 0 {
		t.Errorf("notes %q", a.Notes)
	}
	if m.Name != "tide" || m.BaseColour != (colour.RGB{0.1, 0.2, 0.3}) || m.Roughness != 0.7 || m.IOR != 1.38 || m.Transmission != 0.9 ||
		m.NormalScale != 0.25 || m.Wrap != texture.Mirror || m.AttenuationColour != (colour.RGB{0.5, 0.6, 0.7}) {
		t.Errorf("%+v", m)
	}
	near(t, "attenuation distance in mm", m.AttenuationDistance, 4, 1e-12)
	near(t, "base colour is decoded from sRGB", m.BaseMap.At(0, 0, 0), 0.502886, 1e-6)
	near(t, "roughness is green, as it is", m.RoughMap.At(0, 0, 0), 0.2, 1e-7)
	near(t, "metallic is the factor times blue", m.Metallic, 0.5*0.4, 1e-7)
	near(t, "normals are as they are", m.NormalMap.At(0, 0, 2), 0.4, 1e-7)

	// Coverage is the fourth channel times the factor, its numbers as they are (glTF 2.0, 3.9.4); opaque materials have none.
	alpha := `"images":[{"uri":"` + dot(color.NRGBA{188, 128, 64, 51}) + `"}],"textures":[{"source":0}],`
	pbr := `"pbrMetallicRoughness":{"baseColorFactor":[1,1,1,0.5],"baseColorTexture":{"index":0}}`
	m = with(`{"alphaMode":"BLEND",`+pbr+`}`, alpha).Nodes[0].Material
	if m.AlphaMode != asset.Blended || m.Alpha != 0.5 {
		t.Errorf("mode %v, factor %v", m.AlphaMode, m.Alpha)
	}
	near(t, "coverage", m.AlphaMap.At(0, 0, 0), 0.2, 1e-6)
	m = with(`{"alphaMode":"MASK","alphaCutoff":0.3,`+pbr+`}`, alpha).Nodes[0].Material
	if m.AlphaMode != asset.Masked || m.Cutoff != 0.3 {
		t.Errorf("mode %v, cutoff %v", m.AlphaMode, m.Cutoff)
	}
	if m = with(`{`+pbr+`}`, alpha).Nodes[0].Material; m.AlphaMode != asset.Opaque || m.Alpha != 1 || m.AlphaMap != nil {
		t.Errorf("opaque: %v %v", m.AlphaMode, m.Alpha)
	}

	m = with(`{"extensions":{"KHR_materials_clearcoat":{"clearcoatFactor":0.5,"clearcoatRoughnessFactor":0.1}}}`, "").Nodes[0].Material
	if m.Coat != 0.5 || m.CoatRoughness != 0.1 {
		t.Errorf("clear coat %v, roughness %v", m.Coat, m.CoatRoughness)
	}
	for _, c := range []struct{ name, material, more, want string }{
		{"clear coat", `{"extensions":{"KHR_materials_clearcoat":{"clearcoatFactor":0.5,"clearcoatRoughnessFactor":0.1}}}`, "", "clear coat is not rendered"},
		{"map of a clear coat", `{"extensions":{"KHR_materials_clearcoat":{"clearcoatTexture":{"index":0}}}}`, "", "maps of the clear coat"},
		{"another set of coordinates", `{"pbrMetallicRoughness":{"baseColorTexture":{"index":0},"metallicRoughnessTexture":{"index":1,"texCoord":1}}}`, maps, "other texture coordinates"},
		{"texture 7", `{"normalTexture":{"index":7}}`, maps, "texture 7"},
		{"no picture", `{"normalTexture":{"index":0}}`, `"textures":[{}],`, "no picture"},
		{"damaged picture", `{"normalTexture":{"index":0}}`, `"textures":[{"source":0}],"images":[{"uri":"data:image/png;base64,iVBORw0KGgo="}],`, "PNG"},
		{"emission", `{"emissiveFactor":[1,0,0]}`, "", "emission"},
		{"alpha of an opaque picture", `{"alphaMode":"BLEND","pbrMetallicRoughness":{"baseColorTexture":{"index":0}}}`, `"textures":[{"source":0}],"images":[{"uri":"` + grey + `"}],`, "its picture has none"},
	} {
		a := with(c.material, c.more)
		if said := strings.Join(a.Notes, "; "); !strings.Contains(said, c.want) {
			t.Errorf("%s: notes %q, want one about %q", c.name, said, c.want)
		}
	}
}

// The texCoord of KHR_texture_transform takes precedence over that of the texture, and the second set is moved as it says.
func TestTextureTransformSet(t *testing.T) {
	a := mustRead(t, square(`"TEXCOORD_0":1`, `"TEXCOORD_1":1`, `"indices":2`, `"indices":2,"material":0`, `"asset"`,
		`"materials":[{"pbrMetallicRoughness":{"baseColorTexture":{"index":0,"texCoord":0,"extensions":{"KHR_texture_transform":{"texCoord":1,"offset":[0.25,0],"scale":[2,1]}}}}}],
"textures":[{"source":0}],"images":[{"uri":"`+dot(color.White)+`"}],"asset"`))
	uv := a.Nodes[0].Mesh.UV
	if len(uv) != 4 || len(a.Notes) != 0 {
		t.Fatalf("%d texture coordinates, notes %q", len(uv), a.Notes)
	}
	near(t, "u of vertex 1: 2 x 1 + 0.25", uv[1].U, 2.25, 1e-12)
}

func TestErrors(t *testing.T) {
	for _, c := range []struct {
		name, file, want string
	}{
		{"version 1", square(`"version":"2.0"`, `"version":"1.0"`), `"1.0"`},
		{"minimal version", square(`"version":"2.0"`, `"version":"2.0","minVersion":"2.1"`), `"2.1"`},
		{"wrong kind", square(`"scene":0`, `"scene":"zero"`), "scene"},
		{"scene 5", square(`"scene":0`, `"scene":5`), "scene 5"},
		{"null node", square(`"nodes":[{`, `"nodes":[null,{`), "nodes[0]"},
		{"node 9", square(`"nodes":[0]`, `"nodes":[9]`), "node 9"},
		{"negative node", square(`"nodes":[0]`, `"nodes":[-1]`), "node -1"},
		{"two parents", square(`"nodes":[0]`, `"nodes":[0,0]`), "trees"},
		{"mesh 3", square(`"mesh":0`, `"mesh":3`), "mesh 3"},
		{"material 3", square(`"indices":2`, `"indices":2,"material":3`), "material 3"},
		{"mode 9", square(`"indices":2`, `"indices":2,"mode":9`), "mode 9"},
		{"no position", square(`"POSITION":0,`, ``), "POSITION"},
		{"accessor 8", square(`"POSITION":0`, `"POSITION":8`), "accessor 8"},
		{"wrong type", square(`"POSITION":0`, `"POSITION":1`), "VEC2"},
		{"unknown component", square(`"componentType":5126`, `"componentType":5130`), "componentType"},
		{"whole positions", square(`"componentType":5126,"count":4,"type":"VEC3"`, `"componentType":5125,"count":4,"type":"VEC3"`), "UNSIGNED_INT"},
		{"float indices", square(`"componentType":5123`, `"componentType":5126`), "unsigned"},
		{"count 0", square(`"count":4`, `"count":0`), "count 0"},
		{"count -4", square(`"count":4`, `"count":-4`), "count -4"},
		{"count too large for its view", square(`"count":4`, `"count":5`), "do not fit"},
		{"fewer coordinates than vertices", square(`"count":4,"type":"VEC2"`, `"count":3,"type":"VEC2"`), "3 values for 4"},
		{"five corners", square(`"count":6`, `"count":5`), "multiple of 3"},
		{"buffer 4", square(`"buffer":0,"byteLength":48`, `"buffer":4,"byteLength":48`), "buffer 4"},
		{"negative offset", square(`"byteOffset":48`, `"byteOffset":-48`), "-48"},
		{"offset near the top of the range", square(`"byteOffset":48`, `"byteOffset":9223372036854775807`), "9223372036854775807"},
		{"stride too small", square(`"byteLength":48`, `"byteLength":48,"byteStride":4`), "byteStride 4"},
		{"stride too large", square(`"byteLength":48`, `"byteLength":48,"byteStride":256`), "byteStride 256"},
		{"short buffer", square(`"byteLength":92`, `"byteLength":93`), "93"},
		{"bad base64", square(`base64,`, `base64,!`), "base64"},
		{"data without base64", square(`;base64,`, `,`), "base64"},
		{"backslash", square(`"byteLength":92,"uri":"data:application/octet-stream;base64,`+base64Of(square())+`"`, `"byteLength":92,"uri":"..\\x.bin"`), "leaves"},
		{"two slashes", square(`"byteLength":92,"uri":"data:application/octet-stream;base64,`+base64Of(square())+`"`, `"byteLength":92,"uri":"//example.invalid/x.bin"`), "address"},
		{"matrix with perspective", square(`"mesh":0`, `"mesh":0,"matrix":[1,0,0,1,0,1,0,0,0,0,1,0,0,0,0,1]`), "last row"},
		{"rotation of length 0", square(`"mesh":0`, `"mesh":0,"rotation":[0,0,0,0]`), "rotation"},
		{"scale beyond all numbers", square(`"mesh":0`, `"mesh":0,"scale":[1e300,1e300,1e300]`), "not finite"},
		{"colour 2", square(`"indices":2`, `"indices":2,"material":0`, `"asset"`, `"materials":[{"pbrMetallicRoughness":{"baseColorFactor":[2,0,0,1]}}],"asset"`), "red factor 2"},
		{"index of refraction", square(`"indices":2`, `"indices":2,"material":0`, `"asset"`, `"materials":[{"extensions":{"KHR_materials_ior":{"ior":0.5}}}],"asset"`), "0.5"},
		{"clear coat", square(`"indices":2`, `"indices":2,"material":0`, `"asset"`, `"materials":[{"extensions":{"KHR_materials_clearcoat":{"clearcoatFactor":1.5}}}],"asset"`), "clear coat factor 1.5"},
		{"sparse out of order", square(`{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3"}`,
			`{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3","sparse":{"count":2,"indices":{"bufferView":2,"componentType":5121},"values":{"bufferView":0}}}`), "rise"},
	} {
		_, err := readAsset("marsh.gltf", []byte(c.file), nil)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "marsh.gltf: glTF: ") {
			t.Errorf("%s: got %v, want an error about %q", c.name, err, c.want)
		}
	}
	deep := `"nodes":[`
	for i := range MaxDepth + 1 {
		deep += fmt.Sprintf(`{"children":[%d]},`, i+1)
	}
	if _, err := readAsset("x", []byte(square(`"nodes":[{`, deep+`{`)), nil); err == nil || !strings.Contains(err.Error(), "deeper") {
		t.Errorf("a deep tree: %v", err)
	}
}

func TestNotes(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"no scene", square(`"scene":0,"scenes":[{"nodes":[0]}],`, ""), "no scene"},
		{"no default scene", square(`"scene":0,`, ""), "no default scene"},
		{"animation", square(`"asset"`, `"animations":[{"channels":[],"samplers":[]}],"asset"`), "animations"},
		{"vertex colours", square(`"TEXCOORD_0":1`, `"TEXCOORD_0":1,"COLOR_0":0`), "vertex colours are read"},
		{"odd vertex colours", square(`"TEXCOORD_0":1`, `"TEXCOORD_0":1,"COLOR_0":1`), "vertex colours are left out: COLOR_0"},
		{"scaled to nothing", square(`"nodes":[0]`, `"nodes":[0,1]`, `"nodes":[{`, `"nodes":[{"mesh":0,"scale":[0,1,1]},{`), "scaled to nothing"},
		{"tiny", square(`"mesh":0`, `"mesh":0,"scale":[1e-4,1e-4,1e-4]`), "scale right"},
		{"byte-order mark", "\xef\xbb\xbf" + square(), "byte-order mark"},
	} {
		a, err := readAsset("marsh.gltf", []byte(c.file), nil)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if said := strings.Join(a.Notes, "; "); !strings.Contains(said, c.want) {
			t.Errorf("%s: notes %q, want one about %q", c.name, said, c.want)
		}
	}
}

// A file whose every node is scaled to nothing says that, not only that nothing is shown.
func TestAllScaledToNothing(t *testing.T) {
	_, err := readAsset("marsh.gltf", []byte(square(`"mesh":0`, `"mesh":0,"scale":[0,0,0]`)), nil)
	if err == nil || !strings.Contains(err.Error(), "marsh is scaled to nothing (a scale of zero)") {
		t.Errorf("error %v", err)
	}
}

// Nothing outside the folder is opened: not by name, not by a link; a file in a folder below is, with its name coded.
func TestFolder(t *testing.T) {
	data, _ := base64.StdEncoding.DecodeString(base64Of(square()))
	top := t.TempDir()
	dir := filepath.Join(top, "asset")
	os.MkdirAll(filepath.Join(dir, "salt marsh"), 0o777)
	os.WriteFile(filepath.Join(top, "secret.bin"), data, 0o666)
	os.WriteFile(filepath.Join(dir, "salt marsh", "eye.bin"), data, 0o666)
	if err := os.Symlink("../secret.bin", filepath.Join(dir, "link.bin")); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "a.gltf")
	for uri, ok := range map[string]bool{
		"salt%20marsh/eye.bin": true, "salt marsh/../salt marsh/eye.bin": true, "./salt%20marsh/eye.bin": true,
		"../secret.bin": false, "link.bin": false, "salt%20marsh": false, "%2e%2e/secret.bin": false, filepath.Join(top, "secret.bin"): false,
		"file://" + filepath.Join(top, "secret.bin"): false, "salt marsh/../../secret.bin": false,
	} {
		os.WriteFile(path, []byte(square("data:application/octet-stream;base64,"+base64Of(square()), uri)), 0o666)
		if a, err := Read(path); (err == nil) != ok {
			t.Errorf("%s: got %v, %v", uri, a, err)
		}
	}
}

// container packs chunks as a .glb.
func container(chunks ...string) []byte {
	var b []byte
	for i := 0; i < len(chunks); i += 2 {
		b = append(b, raw(uint32(len(chunks[i+1])))...)
		b = append(b, chunks[i]+chunks[i+1]...)
	}
	return append(append([]byte("glTF"), raw([]uint32{2, uint32(12 + len(b))})...), b...)
}

func TestContainer(t *testing.T) {
	data, _ := base64.StdEncoding.DecodeString(base64Of(square()))
	text := square(`,"uri":"data:application/octet-stream;base64,`+base64Of(square())+`"`, "")
	sound := container("JSON", text, "BIN\x00", string(data), "MORE", "x")
	if _, err := readAsset("x.glb", sound, nil); err != nil {
		t.Error(err)
	}
	old := append([]byte(nil), sound...)
	old[4] = 1
	for _, c := range []struct {
		name string
		file []byte
		want string
	}{
		{"version 1", old, "version 1"},
		{"header only", sound[:12], "within its header"},
		{"cut", sound[:len(sound)-1], "ends after"},
		{"binary first", container("BIN\x00", string(data), "JSON", text), "JSON"},
		{"no binary", container("JSON", text), "no binary chunk"},
		{"chunk too long", append(container("JSON", text)[:12], append(raw(uint32(1<<31)), "JSON{}"...)...), "claims"},
	} {
		if c.name == "chunk too long" {
			copy(c.file[8:], raw(uint32(len(c.file))))
		}
		_, err := readAsset("x.glb", c.file, nil)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got %v, want an error about %q", c.name, err, c.want)
		}
	}
}

func FuzzRead(f *testing.F) {
	data, _ := base64.StdEncoding.DecodeString(base64Of(square()))
	text := square(`,"uri":"data:application/octet-stream;base64,`+base64Of(square())+`"`, "")
	f.Add([]byte(square()))
	f.Add(container("JSON", text, "BIN\x00", string(data)))
	f.Add([]byte(square(`"indices":2`, `"indices":2,"material":0`, `"asset"`, `"materials":[{"normalTexture":{"index":0}}],"textures":[{"source":0}],"images":[{"uri":"`+dot(color.White)+`"}],"asset"`)))
	f.Add([]byte(bent(`,"skin":0,"weights":[0.5,1]`, still, named)))
	dir := f.TempDir() // empty: whatever a file refers to is not there
	f.Fuzz(func(t *testing.T, file []byte) {
		a, err := readAsset(filepath.Join(dir, "x"), file, nil)
		if err != nil {
			return
		}
		if len(a.Nodes) == 0 {
			t.Fatal("an asset without nodes")
		}
		for _, n := range a.Nodes {
			if len(n.Mesh.N) != len(n.Mesh.P) || n.Mesh.UV != nil && len(n.Mesh.UV) != len(n.Mesh.P) {
				t.Fatalf("%d vertices, %d normals, %d texture coordinates", len(n.Mesh.P), len(n.Mesh.N), len(n.Mesh.UV))
			}
			for _, tri := range n.Mesh.Tri {
				for _, v := range tri {
					if int(v) >= len(n.Mesh.P) || !n.Mesh.P[v].Finite() {
						t.Fatalf("corner %d of %d vertices", v, len(n.Mesh.P))
					}
				}
			}
		}
	})
}

// Read is ReadMorphed with morph targets at rest.
func Read(path string) (*Asset, error) { return ReadMorphed(path, nil) }
