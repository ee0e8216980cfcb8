package bake

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
