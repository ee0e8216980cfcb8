package gltfio

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/qmuntal/gltf"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
)

// All maps of a look are wired as glTF 2.0 has it: occlusion and roughness name one picture, which is stored once and shared by
// both parts, and a node says what it is told to.
func TestWriteMaps(t *testing.T) {
	png := func(v ...uint8) []byte {
		b, err := imageio.EncodePNG(1, 1, 3, v)
		require.NoError(t, err)
		return b
	}
	deep, err := imageio.EncodePNG16(1, 1, 3, []uint16{32768, 32768, 65535})
	require.NoError(t, err)
	packed := png(128, 64, 0)
	m := &mesh.Mesh{P: []geom.Vec{{}, {X: 1}, {Y: 1}}, N: []geom.Vec{{Z: 1}, {Z: 1}, {Z: 1}}, UV: []geom.UV{{}, {U: 1}, {V: 1}}, Tri: [][3]uint32{{0, 1, 2}}}
	path := filepath.Join(t.TempDir(), "a.glb")
	require.NoError(t, Write(path, []Part{
		{Name: "outer", Mesh: m, Look: Look{BaseColour: [3]float64{1, 1, 1}, Roughness: 1, RoughMap: packed, Transmission: 1}, Extras: map[string]any{"nose": "+X"}},
		{Name: "inner", Mesh: m, Look: Look{BaseColour: [3]float64{1, 1, 1}, Roughness: 1, BaseMap: png(9, 9, 9), NormalMap: deep, RoughMap: packed, OcclusionMap: packed}},
	}))
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	doc := new(gltf.Document)
	require.NoError(t, gltf.NewDecoder(f).Decode(doc))
	require.Len(t, doc.Images, 3)
	outer, inner := doc.Materials[0], doc.Materials[1]
	require.Equal(t, outer.PBRMetallicRoughness.MetallicRoughnessTexture.Index, inner.PBRMetallicRoughness.MetallicRoughnessTexture.Index)
	require.Equal(t, inner.PBRMetallicRoughness.MetallicRoughnessTexture.Index, *inner.OcclusionTexture.Index)
	require.Nil(t, outer.OcclusionTexture)
	require.NotEqual(t, inner.PBRMetallicRoughness.BaseColorTexture.Index, *inner.NormalTexture.Index)
	require.Equal(t, map[string]any{"nose": "+X"}, doc.Nodes[0].Extras)
	// On a flat triangle whose picture stands upright (u to the right, v down) the tangent is +X and green points up.
	up := *m
	up.UV = []geom.UV{{V: 1}, {U: 1, V: 1}, {}}
	require.Equal(t, [4]float32{1, 0, 0, 1}, tangents(&up)[0])
	require.Equal(t, [4]float32{1, 0, 0, -1}, tangents(m)[0], "mirrored")
	a, err := Read(path)
	require.NoError(t, err)
	require.InDelta(t, 64/255.0, a.Nodes[1].Material.RoughMap.Mean()[0], 1e-3, "roughness is green")
	require.NotNil(t, a.Nodes[1].Material.NormalMap)
}
