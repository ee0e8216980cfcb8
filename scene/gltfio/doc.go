// Package gltfio reads meshes and materials from glTF 2.0 files, as .glb or as .gltf with its buffers and pictures
// beside it or embedded. It is the only place that knows the format.
//
// What it returns is flat: one Node for each primitive of the scene, in world coordinates and millimetres. Nothing
// outside the folder of the asset is opened and no address is fetched. Every count of the file is checked against the
// bytes that are there, and against the limits below, before memory is taken for it.
//
// Not read: skins, morph targets, animation, vertex colours, emission, alpha, more than one set of texture coordinates
// a material; a note says so where a file has them. Cameras, lights, tangents and occlusion maps are passed over.
//
// Source: Khronos Group, glTF 2.0 Specification.
package gltfio

import (
	"catchlight/scene/colour"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Limits of what is read. A file that asks for more is an error.
const (
	MaxFile      = 1 << 30 // bytes of a file: the asset, or a buffer or picture beside it
	MaxNodes     = 1 << 17
	MaxDepth     = 256     // of the tree of nodes
	MaxVertices  = 1 << 24 // in all instances together
	MaxTriangles = 1 << 24 // in all instances together
	MaxTexels    = 1 << 28 // in all pictures together
	maxValues    = 1 << 27 // decoded from buffers, in all
)

// Asset is what a file shows in its default scene.
type Asset struct {
	Nodes []Node   // one a primitive, in the order of the tree; never empty
	Notes []string // warnings, for people
}

// Node is one primitive of the scene.
type Node struct {
	Name     string     // of the node; with #2, #3, ... behind it from its second primitive on
	Mesh     *mesh.Mesh // world coordinates, mm; N is always there, UV where the file has it; no unused vertices
	Material Material
}

// Material is the look that the file gives to a primitive. A map multiplies the value beside it.
type Material struct {
	Name                string     // empty: the standard's default material
	BaseColour          colour.RGB // linear
	Roughness           float64    // perceptual, 0 to 1; alpha = roughness^2
	Metallic            float64    // 0 to 1, the mean over its map where there is one
	IOR                 float64    // default 1.5 (KHR_materials_ior)
	Transmission        float64    // 0 to 1 (KHR_materials_transmission)
	AttenuationDistance float64    // mm to attenuate to AttenuationColour, +Inf: clear (KHR_materials_volume)
	AttenuationColour   colour.RGB

	BaseMap     *texture.Image // linear
	NormalMap   *texture.Image // tangent space, values as in the file: 0 to 1 for -1 to 1, +Y up
	RoughMap    *texture.Image // one channel
	NormalScale float64        // of the slopes of NormalMap
	Wrap        texture.Wrap   // of the maps
}
