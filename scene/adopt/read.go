package adopt

import (
	"fmt"
	"path/filepath"
	"strings"

	"catchlight/scene/meshio"
	"catchlight/scene/texture"
)

// Read reads an asset and returns what Propose wants to know of it.
func Read(asset, folder, side string, names Names) (Input, error) {
	in := Input{Asset: asset, Folder: folder, Side: side, Names: names, Metres: true}
	unit := ""
	if end := strings.ToLower(filepath.Ext(asset)); end == ".obj" || end == ".ply" || end == ".stl" {
		unit, in.Metres = "mm", false // the numbers as they are
	}
	a, err := meshio.Read(asset, unit)
	if err != nil {
		return in, err
	}
	in.Notes, in.Targets = a.Notes, a.Targets
	for _, n := range a.Nodes {
		p := Part{Name: n.Name, Material: n.Material.Name, Look: n.Material, Mesh: n.Mesh, opaque: n.Material.Transmission == 0, ownColour: n.Material.BaseMap != nil, ownNormal: n.Material.NormalMap != nil}
		if p.ownColour {
			p.picture = texture.FromImage(n.Material.BaseMap, n.Material.Wrap)
		}
		in.Parts = append(in.Parts, p)
	}
	return in, in.grownReport()
}

// own says which pictures the part's material brings.
func (p *Part) own(kind string) string {
	if kind == "colour" && p.ownColour || kind == "normal" && p.ownNormal {
		return fmt.Sprintf("the picture of material %q", p.Material)
	}
	return ""
}
