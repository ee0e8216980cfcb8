package bake

import (
	"encoding/json"

	"catchlight/scene/geom"
)

// MM is a place in mm, which files have as a list of three.
type MM geom.Vec

// MarshalJSON implements json.Marshaler.
func (p MM) MarshalJSON() ([]byte, error) { return json.Marshal([3]float64{p.X, p.Y, p.Z}) }

// UnmarshalJSON implements json.Unmarshaler.
func (p *MM) UnmarshalJSON(data []byte) error {
	var v [3]float64
	err := json.Unmarshal(data, &v)
	*p = MM{X: v[0], Y: v[1], Z: v[2]}
	return err
}

// ReportName is the report's file in the folder of the maps.
const ReportName = "bake.json"

// Report says what the maps of a folder hold. Lengths are in mm.
type Report struct {
	Program string   `json:"program"`
	Low     Input    `json:"low"`
	High    Input    `json:"high"`
	Size    int      `json:"size_px"`
	Samples int      `json:"samples_per_texel"`
	Motion  *Motion  `json:"motion,omitempty"` // that --align proposes for the high mesh
	Applied bool     `json:"motion_applied"`
	Sets    []Cast   `json:"sets"`
	Files   []File   `json:"files"`
	IDs     []ID     `json:"ids,omitempty"`
	Proof   []Proof  `json:"proof,omitempty"`
	Notes   []string `json:"notes"`
}

// Input is a file of meshes.
type Input struct {
	File      string `json:"file"`
	Sum       string `json:"sha256"`
	Parts     int    `json:"parts"`
	Triangles int    `json:"triangles"`
}

// Cast is what was cast on what.
type Cast struct {
	Name     string   `json:"name,omitempty"`
	Low      []string `json:"low_parts"`
	High     []string `json:"high_parts"`
	Why      string   `json:"high_parts_found"`
	Blockers []string `json:"blockers"`
	Tiles    []int    `json:"tiles"`
	Lie      *Lie     `json:"lie"`
	Cage     float64  `json:"cage_used_mm"`
	Against  string   `json:"heights_against"`
	Covered  int      `json:"covered_texels"`
	Missed   int      `json:"missed_texels"` // on the low mesh, filled from their neighbours
	Back     float64  `json:"rays_past_a_back_share"`
}

// ID is one id of the maps ids and masks.
type ID struct {
	ID     int    `json:"id"`
	Name   string `json:"name"`
	Colour string `json:"colour"` // in the map ids
	Set    string `json:"set,omitempty"`
}

// PartNames are those of parts.
func PartNames(parts []Part) (out []string) {
	for i := range parts {
		out = append(out, parts[i].Name)
	}
	return out
}

// Proof is how the low mesh of a set with its maps looks beside the high one, in one light. FLIP is a mean over what shows the low mesh.
type Proof struct {
	Set         string  `json:"set,omitempty"`
	Light       string  `json:"light"`
	Edge        float64 `json:"cut_to_mm"` // the low mesh is cut so finely that it can show what its maps say
	Maps        float64 `json:"flip_with_all_maps"`
	Grain       float64 `json:"flip_of_grain"` // the high mesh with another seed
	NormalAlone float64 `json:"flip_with_the_normal_map_alone"`
	NormalExact float64 `json:"flip_with_exact_normals"`
	HeightExact float64 `json:"flip_with_exact_heights"`
	BothExact   float64 `json:"flip_with_both_exact"`
	Blame       string  `json:"to_blame"`
	NormalRMS   float64 `json:"normal_rms_degrees"`
	NormalMost  float64 `json:"normal_most_degrees"`
	NormalAt    Place   `json:"normal_most_at"`
	HeightRMS   float64 `json:"height_rms_mm"`
	HeightMost  float64 `json:"height_most_mm"`
	HeightAt    Place   `json:"height_most_at"`
	Missed      int     `json:"vertices_missed"`
	Worst       []Place `json:"worst"`
}

// Place is a place of the low mesh.
type Place struct {
	MM    MM      `json:"mm"`
	Tile  int     `json:"tile"`
	Texel [2]int  `json:"texel"` // from the top left
	Pixel [2]int  `json:"pixel"` // of the proof's pictures
	Flip  float64 `json:"flip"`
}
