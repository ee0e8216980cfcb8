package render

import (
	"bytes"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/pupil"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// dressedEye writes the sound eye anew as a .gltf with a normal map on both shells (slopes scaled by 0.5 and 2) and with
// a morph target "wide" of the inner shell, which moves the pupil's margin 0.6 mm outward. It returns the file and the map.
func dressedEye(t *testing.T) (file, bump string) {
	t.Helper()
	glb, err := os.ReadFile(soundEye)
	require.NoError(t, err)
	n := binary.LittleEndian.Uint32(glb[12:])
	doc := map[string]any{}
	require.NoError(t, json.Unmarshal(glb[20:20+n], &doc))
	bin := bytes.Clone(glb[28+n:])

	part := func(v any, keys ...any) map[string]any {
		for _, k := range keys {
			switch k := k.(type) {
			case string:
				v = v.(map[string]any)[k]
			case int:
				v = v.([]any)[k]
			}
		}
		return v.(map[string]any)
	}
	view, count := part(doc, "bufferViews", 4), int(part(doc, "accessors", 4)["count"].(float64))
	at, start := int(view["byteOffset"].(float64)), len(bin)
	for i := range count {
		var p [3]float32
		for k := range p {
			p[k] = math.Float32frombits(binary.LittleEndian.Uint32(bin[at+12*i+4*k:]))
		}
		x, y := float64(p[0]), float64(p[1])
		move := 0.0
		if r := math.Hypot(x, y); r > 0 && p[2] > 0 {
			move = 0.6e-3 / r * math.Exp(-math.Pow(max(0, r-2e-3)/1e-3, 2))
		}
		for _, v := range []float32{float32(x * move), float32(y * move), 0} {
			bin = binary.LittleEndian.AppendUint32(bin, math.Float32bits(v))
		}
	}
	doc["bufferViews"] = append(doc["bufferViews"].([]any), map[string]any{"buffer": 0, "byteOffset": start, "byteLength": 12 * count})
	doc["accessors"] = append(doc["accessors"].([]any), map[string]any{"bufferView": 8, "componentType": 5126, "count": count, "type": "VEC3"})
	part(doc, "meshes", 1, "primitives", 0)["targets"] = []any{map[string]any{"POSITION": 8}}
	part(doc, "meshes", 1)["extras"] = map[string]any{"targetNames": []any{"wide"}}

	im := image.NewNRGBA(image.Rect(0, 0, 8, 8))
	for y := range 8 {
		for x := range 8 {
			im.Set(x, y, color.NRGBA{uint8(128 + 10*x - 35), uint8(140 - 4*y), 240, 255})
		}
	}
	var picture bytes.Buffer
	require.NoError(t, png.Encode(&picture, im))
	dir := t.TempDir()
	file, bump = filepath.Join(dir, "tern.gltf"), filepath.Join(dir, "bump.png")
	require.NoError(t, os.WriteFile(bump, picture.Bytes(), 0o666))
	doc["images"] = []any{map[string]any{"uri": "bump.png"}}
	doc["textures"] = []any{map[string]any{"source": 0}}
	for i, scale := range []float64{0.5, 2} {
		part(doc, "materials", i)["normalTexture"] = map[string]any{"index": 0, "scale": scale}
	}
	doc["buffers"] = []any{map[string]any{"byteLength": len(bin), "uri": "data:application/octet-stream;base64," + base64.StdEncoding.EncodeToString(bin)}}
	text, err := json.Marshal(doc)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, text, 0o666))
	return file, bump
}

// The normal maps that an eye's file brings do what the same picture does when the scene names it, and the scene's own
// takes precedence over them. A normal map's scale multiplies its x and y (glTF 2.0, 3.9.3): our strength.
func TestFilesNormalMapsAreUsed(t *testing.T) {
	file, bump := dressedEye(t)
	text := assetScene(file)
	named := strings.Replace(assetScene(soundEye), "asset: {", fmt.Sprintf("cornea: {normal: {file: %s, strength: 0.5}}, iris: {normal: {file: %s, strength: 2}}, asset: {", bump, bump), 1)
	a, b := prepare(t, text), prepare(t, named)
	ea, eb := &a.Scene.Eyes[0], &b.Scene.Eyes[0]
	assert.Equal(t, 0.5, ea.NormalGain)
	assert.Equal(t, 2.0, ea.InnerNormalGain)
	for i := range 64 {
		uv := geom.UV{U: (float64(i%8) + 0.5) / 8, V: (float64(i/8) + 0.5) / 8}
		assert.Less(t, ea.Normal.Normal(uv, 0).Sub(eb.Normal.Normal(uv, 0)).Len(), 0.01)
		assert.Less(t, ea.InnerNormal.Normal(uv, 0).Sub(eb.InnerNormal.Normal(uv, 0)).Len(), 0.01)
	}
	assert.Greater(t, ea.Normal.Normal(geom.UV{U: 0.94, V: 0.5}, 0).X, 0.2, "the map is not flat")
	assert.NotNil(t, a.Scene.Objects[ea.Outer].Tangents)
	assert.NotNil(t, a.Scene.Objects[ea.Inner].Tangents)
	own := prepare(t, strings.Replace(text, "asset: {", fmt.Sprintf("cornea: {normal: {file: %s, strength: 3}}, asset: {", bump), 1))
	assert.Equal(t, 3.0, own.Scene.Eyes[0].NormalGain)
}

// A morph target that widens the pupil by 0.6 mm all round does so in the shell and in the picture: the dark disc under
// an even sky grows.
func TestMorphedPupilIsWider(t *testing.T) {
	file, _ := dressedEye(t)
	dark := func(w float64) (radius float64, n int) {
		text := strings.Replace(assetScene(file), "asset: {", fmt.Sprintf("asset: {morph: [{target: wide, weight: %v}], ", w), 1)
		p := prepare(t, text, "effects.tear_film=false", "picture.width=24", "picture.height=24", "camera.width=8")
		inner := p.Scene.Objects[p.Scene.Eyes[0].Inner].Mesh
		hole := pupil.Find(inner, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, 5.4)
		pic := finish(t, p).Film.Develop()
		for i := range pic.Mean {
			if x, y := float64(i%24)-11.5, float64(i/24)-11.5; math.Hypot(x, y) < 9 && pic.Mean[i][1] < 0.02 {
				n++
			}
		}
		return hole.Radius, n
	}
	r0, n0 := dark(0)
	r1, n1 := dark(1)
	t.Logf("pupil's radius %.3f and %.3f mm, %d and %d dark pixels of 1/9 mm^2", r0, r1, n0, n1)
	assert.InDelta(t, 0.6, r1-r0, 0.12)
	assert.InDelta(t, r1*r1/(r0*r0), float64(n1)/float64(n0), 0.35)
}
