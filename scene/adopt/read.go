package adopt

import (
	"fmt"

	"catchlight/scene/gltfio"
)

// Read reads an asset and returns what Propose wants to know of it.
func Read(asset, folder, side string, names Names) (Input, error) {
	in := Input{Asset: asset, Folder: folder, Side: side, Names: names, Metres: true}
	a, err := gltfio.Read(asset)
	if err != nil {
		return in, err
	}
	in.Notes = a.Notes
	for _, n := range a.Nodes {
		in.Parts = append(in.Parts, Part{Name: n.Name, Material: n.Material.Name, Mesh: n.Mesh, ownColour: n.Material.BaseMap != nil, ownNormal: n.Material.NormalMap != nil})
	}
	return in, nil
}

// own says which pictures the part's material brings.
func (p *Part) own(kind string) string {
	if kind == "colour" && p.ownColour || kind == "normal" && p.ownNormal {
		return fmt.Sprintf("the picture of material %q", p.Material)
	}
	return ""
}
