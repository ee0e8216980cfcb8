// Package asset is what a file of meshes brings, whatever its format. Packages gltfio and meshio fill it; whoever reads it
// need not know where it came from.
//
//	Asset     all that a file shows: its nodes, and notes for people on what was odd or left out
//	Node      one named mesh in world coordinates
//	Material  the look that the file gives it: base colour, roughness, metal, glass, coat, and their maps
//
// Named finds nodes by name, Merge makes one mesh of several, Finish makes missing normals and mends winding. Unit,
// UnitQuestion, ShortEye and the lengths beside it serve files that state no unit: the length of an eye is known.
//
// Lengths are in mm, with normals that point outward and texture coordinates that run down. Colours are linear Rec. 709;
// roughness is perceptual, alpha = roughness^2.
//
// Source of the material's fields: Khronos Group, glTF 2.0 Specification, with the extensions named beside them.
package asset

import (
	"catchlight/scene/colour"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Asset is what a file shows in its default scene.
type Asset struct {
	Nodes []Node   // one a primitive, in the order of the tree; never empty
	Notes []string // warnings, for people

	Targets []string // names of morph targets, each once
}

// Node is one primitive of the scene.
type Node struct {
	Name     string     // of the node; with #2, #3, ... behind it from its second primitive on
	Mesh     *mesh.Mesh // world coordinates, mm; N is always there, UV where the file has it; no unused vertices
	Material Material

	Colour []colour.RGB // of the vertices, linear, one each; nil where the file has none. What is rendered does not have them.
}

// AlphaMode says what the coverage of a material means.
//
// Source: glTF 2.0, section 3.9.4.
type AlphaMode uint8

// The modes.
const (
	Opaque  AlphaMode = iota
	Masked            // all or nothing, by a cutoff
	Blended           // the share of light that is stopped
)

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
	Coat                float64 // strength of a clear coat, 0 to 1 (KHR_materials_clearcoat)
	CoatRoughness       float64 // of the coat, perceptual, 0 to 1

	Alpha     float64        // factor of coverage, 0 to 1; 1 where AlphaMode is opaque
	AlphaMode AlphaMode      // what coverage means
	Cutoff    float64        // Masked: the mesh is there where coverage is at least this
	AlphaMap  *texture.Image // one channel, coverage; nil where nothing of it varies

	BaseMap     *texture.Image // linear
	NormalMap   *texture.Image // tangent space, values as in the file: 0 to 1 for -1 to 1, +Y up
	RoughMap    *texture.Image // one channel
	NormalScale float64        // of the slopes of NormalMap
	Wrap        texture.Wrap   // of the maps
}
