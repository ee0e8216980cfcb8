package prepare

import (
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// coordinates writes a picture whose red is u and whose green is v.
func coordinates(t *testing.T, n int) string {
	t.Helper()
	pix := make([]float32, 0, 3*n*n)
	for y := range n {
		for x := range n {
			pix = append(pix, (float32(x)+0.5)/float32(n), (float32(y)+0.5)/float32(n), 0.5)
		}
	}
	path := filepath.Join(t.TempDir(), "coordinates.pfm")
	require.NoError(t, imageio.WritePFM(path, n, n, 3, pix))
	return path
}

const laidEye = `
picture: {width: 8, height: 8, samples: 64}
camera: {kind: orthographic, width: 4, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, map_size: 512, asset: {file: %q, outer: ` + outerNode + `, inner: ` + innerNode + `, subdivide: 0},
  limbus: {radius: 5.4, width: 1}, iris: {colour: %s%s}, sclera: {colour: %s}}]
`

// misses returns the median distance between the colours in front of the vertices of a shell, in a zone, and their
// texture coordinates changed by turn. Vertices on seams have two of these, so a few may be off.
func misses(p *Prepared, m *mesh.Mesh, iris bool, turn func(uv geom.UV) geom.UV) float64 {
	e := &p.Scene.Eyes[0]
	var off []float64
	for i, q := range m.P {
		w, r := e.TissueZone(q), math.Hypot(q.X, q.Y)
		if q.Z < 2 || iris && (w < 1 || r < 2) || !iris && w > 0 || m.N[i].Dot(q) < 0 {
			continue
		}
		c, uv := e.Tissue.Colour.At(q), turn(m.UV[i])
		off = append(off, math.Hypot(c[0]-uv.U, c[1]-uv.V))
	}
	slices.Sort(off)
	return off[len(off)/2]
}

func same(uv geom.UV) geom.UV   { return uv }
func mirror(uv geom.UV) geom.UV { return geom.UV{U: 1 - uv.U, V: uv.V} }

// A picture on the outer shell colours the tissue behind it: in front of each vertex of the outer shell lies the texel of
// its own texture coordinates, wherever the inner shell's lie.
func TestColourOnTheOuterShell(t *testing.T) {
	file := coordinates(t, 256)
	on := fmt.Sprintf("{file: %q, space: linear, tiling: clamp%%s}", file)
	p := prepared(t, fmt.Sprintf(laidEye, soundEye, fmt.Sprintf(on, ""), "", fmt.Sprintf(on, ", shell: outer")))
	e := &p.Scene.Eyes[0]
	outer, inner := p.Scene.Objects[e.Outer].Mesh, p.Scene.Objects[e.Inner].Mesh
	assert.Less(t, misses(p, outer, false, same), 0.01)
	assert.Less(t, misses(p, inner, true, same), 0.01)
	p = prepared(t, fmt.Sprintf(laidEye, soundEye, fmt.Sprintf(on, ""), "", fmt.Sprintf(on, "")))
	assert.Less(t, misses(p, inner, false, same), 0.01, "without the key the inner shell's")
}

// twoSets writes the licensed eye with a second set of texture coordinates on its inner shell: u mirrored.
func twoSets(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(soundEye)
	require.NoError(t, err)
	// A header of 12 bytes, then chunks: length, type, data (glTF 2.0, section 4.4).
	n := binary.LittleEndian.Uint32(data[12:])
	text, bin := data[20:20+n], slices.Clone(data[20+n+8:])
	var doc map[string]any
	require.NoError(t, json.Unmarshal(text, &doc))
	list := func(key string) []any { return doc[key].([]any) }
	block := func(key string, i any) map[string]any { return list(key)[int(i.(float64))].(map[string]any) }
	number := func(v any) int {
		f, _ := v.(float64)
		return int(f)
	}
	for _, v := range list("nodes") {
		node := v.(map[string]any)
		if node["name"] != innerNode {
			continue
		}
		attributes := block("meshes", node["mesh"])["primitives"].([]any)[0].(map[string]any)["attributes"].(map[string]any)
		uv := block("accessors", attributes["TEXCOORD_0"])
		view := block("bufferViews", uv["bufferView"])
		require.EqualValues(t, 5126, uv["componentType"], "float32")
		from := number(uv["byteOffset"]) + number(view["byteOffset"])
		step := max(8, number(view["byteStride"]))
		start, count := len(bin), number(uv["count"])
		for i := range count {
			u := math.Float32frombits(binary.LittleEndian.Uint32(bin[from+i*step:]))
			bin = binary.LittleEndian.AppendUint32(bin, math.Float32bits(1-u))
			bin = append(bin, bin[from+i*step+4:from+i*step+8]...)
		}
		doc["bufferViews"] = append(list("bufferViews"), map[string]any{"buffer": 0, "byteOffset": start, "byteLength": 8 * count})
		attributes["TEXCOORD_1"] = len(list("accessors"))
		doc["accessors"] = append(list("accessors"), map[string]any{"bufferView": len(list("bufferViews")) - 1, "componentType": 5126, "count": count, "type": "VEC2"})
	}
	doc["buffers"] = []any{map[string]any{"byteLength": len(bin), "uri": "data:application/octet-stream;base64," + base64.StdEncoding.EncodeToString(bin)}}
	text, err = json.Marshal(doc)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "two_sets.gltf")
	require.NoError(t, os.WriteFile(path, text, 0o666))
	return path
}

// An opaque outer shell with a picture of its own colours the sclera behind it, where the inner shell brings none.
func TestPictureOfTheOuterShell(t *testing.T) {
	a, err := meshio.Read(soundEye, "")
	require.NoError(t, err)
	const n = 256
	pix := make([]byte, 0, 3*n*n)
	for y := range n {
		for x := range n {
			pix = append(pix, byte(x), byte(y), 128)
		}
	}
	dir := t.TempDir()
	require.NoError(t, imageio.WritePNG(filepath.Join(dir, "a.png"), n, n, 3, pix, nil))
	png, err := os.ReadFile(filepath.Join(dir, "a.png"))
	require.NoError(t, err)
	grey := gltfio.Look{BaseColour: [3]float64{1, 1, 1}, Roughness: 1}
	painted := grey
	painted.BaseMap = png
	file := filepath.Join(dir, "painted.glb")
	require.NoError(t, gltfio.Write(file, []gltfio.Part{
		{Name: outerNode, Mesh: asset.Merge(a.Named(outerNode)), Look: painted}, {Name: innerNode, Mesh: asset.Merge(a.Named(innerNode)), Look: grey}}))
	p := prepared(t, fmt.Sprintf(strings.Replace(laidEye, "iris: {colour: %s%s}, sclera: {colour: %s}", "globe: {radius: 12}", 1), file))
	linear := func(uv geom.UV) geom.UV { return geom.UV{U: colour.DecodeSRGB(uv.U), V: colour.DecodeSRGB(uv.V)} }
	assert.Less(t, misses(p, p.Scene.Objects[p.Scene.Eyes[0].Outer].Mesh, false, linear), 0.01)
}

// Colours and the normal map of one shell each find the set of texture coordinates that they name; without a name the
// file's own. A set that is not there is an error which lists those that are.
func TestSetsOfTextureCoordinates(t *testing.T) {
	eye, file := twoSets(t), coordinates(t, 256)
	on := fmt.Sprintf("{file: %q, space: linear, tiling: clamp%%s}", file)
	p := prepared(t, fmt.Sprintf(laidEye, eye, fmt.Sprintf(on, ", uv_set: 1"), "", fmt.Sprintf(on, "")))
	inner := p.Scene.Objects[p.Scene.Eyes[0].Inner].Mesh
	assert.Less(t, misses(p, inner, true, mirror), 0.01)
	assert.Less(t, misses(p, inner, false, same), 0.01)

	bump := fmt.Sprintf(", normal: {file: %q, uv_set: 1}", file)
	p = prepared(t, fmt.Sprintf(laidEye, eye, fmt.Sprintf(on, ""), bump, fmt.Sprintf(on, ", uv_set: 1")))
	inner = p.Scene.Objects[p.Scene.Eyes[0].Inner].Mesh
	assert.Less(t, misses(p, inner, false, same), 0.01, "the shell itself has the normal map's set")
	assert.Less(t, misses(p, inner, true, mirror), 0.01, "colours without a set have the file's own")

	for _, c := range []struct{ iris, more, want string }{
		{", uv_set: 2", "", "it has no TEXCOORD_2, but TEXCOORD_0, TEXCOORD_1"},
		{"", fmt.Sprintf(", normal: {file: %q, uv_set: 1}, height: {file: %q, scale: 0.1}", file, file), "one uv_set for both"},
	} {
		_, err := preparedOr(fmt.Sprintf(laidEye, eye, fmt.Sprintf(on, c.iris), c.more, fmt.Sprintf(on, "")))
		assert.ErrorContains(t, err, c.want)
	}
}

// A picture with too few texels over the iris or the white is told with numbers. A flat disc of 5.4 mm, the iris to the middle
// of the limbus, in 74 % of 16 x 16 texels would have 1.44 a mm; the real one is sloped.
func TestTooFewTexels(t *testing.T) {
	said := func(n int) []string {
		on := fmt.Sprintf("{file: %q, space: linear, tiling: clamp}", coordinates(t, n))
		return warnings(prepared(t, fmt.Sprintf(laidEye, soundEye, on, "", on)), "texels a mm")
	}
	low := said(16)
	require.Len(t, low, 2, low)
	assert.Contains(t, low[0], "iris.colour: 1.3 texels a mm over the iris, which takes 74 % of the 16 x 16 picture")
	assert.Contains(t, low[1], "sclera.colour: ")
	assert.Empty(t, said(512))
}
