// Package gltfio reads meshes and materials from glTF 2.0 files, as .glb or as .gltf with its buffers and pictures
// beside it or embedded. It is the only place that knows the format.
//
// What it returns is flat: one Node for each primitive of the scene, in world coordinates and millimetres. Nothing
// outside the folder of the asset is opened and no address is fetched. Every count of the file is checked against the
// bytes that are there, and against the limits below, before memory is taken for it.
//
// Morph targets are shown at the file's weights or at given ones (ReadMorphed), skins in the pose of their nodes.
//
// Vertex colours are read and not rendered. Not read: animation, emission, more than one set of texture coordinates a material; a note
// says so where a file has them. Cameras, lights, tangents and occlusion maps are passed over: package mesh makes the
// tangents that the standard asks for where a file has none, on the mesh as it is rendered.
//
// Source: Khronos Group, glTF 2.0 Specification.
package gltfio

import "catchlight/scene/asset"

// Limits of what is read. A file that asks for more is an error.
const (
	MaxFile      = 1 << 30 // bytes of a file: the asset, or a buffer or picture beside it
	MaxNodes     = 1 << 17
	MaxDepth     = 256     // of the tree of nodes
	MaxVertices  = 1 << 24 // in all instances together
	MaxTriangles = 1 << 24 // in all instances together
	MaxTexels    = 1 << 28 // in all pictures together
	MaxProblems  = 20      // reported of one file
	maxValues    = 1 << 27 // decoded from buffers, in all
)

// What Read fills; package asset says what each field means.
type (
	Asset    = asset.Asset
	Node     = asset.Node
	Material = asset.Material
)
