package grown

import (
	"math"

	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/lids"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
	"catchlight/scene/strand"
	"catchlight/scene/texture"
)

// Head is a grown pair of eyes in their lids, or one eye: what a file of a head is written from. Its frame is the lids': the origin
// half-way between the eyes, +X to the person's left, +Y up, +Z out of the face, lengths in mm.
type Head struct {
	Eyes    []*eye.Eye // the right one first
	Looks   [][2]gltfio.Look
	Centres []geom.Vec
	Sides   []string
	Lids    *lids.Lids
}

// GrowHead grows the lids about eyes that look straight ahead. spacing is the distance between two eyes, 0 for one.
func GrowHead(p lids.Params, eyes []*eye.Eye, sides []string, looks [][2]gltfio.Look) (*Head, error) {
	h := &Head{Eyes: eyes, Sides: sides, Looks: looks}
	var sockets []lids.Socket
	for i, e := range eyes {
		t, err := near.New(e.Outer)
		if err != nil {
			return nil, err
		}
		sockets = append(sockets, lids.Socket{Left: sides[i] == "left", Axis: geom.Vec{Z: 1}, Far: func(d geom.Vec) float64 {
			if q, ok := t.Ray(geom.Vec{}, d, 0.3*e.Params.GlobeRadius, math.Inf(1), -1); ok {
				return q.T
			}
			return e.Params.GlobeRadius
		}})
		at := geom.Vec{}
		if p.Spacing > 0 {
			at.X = p.Spacing / 2
			if sides[i] != "left" {
				at.X = -at.X
			}
		}
		h.Centres = append(h.Centres, at)
	}
	var err error
	h.Lids, err = lids.Build(p, sockets)
	return h, err
}

// Parts are the meshes of a head's file, with their looks.
func (h *Head) Parts() ([]gltfio.Part, error) {
	var out []gltfio.Part
	for i, e := range h.Eyes {
		name := "eye"
		if len(h.Eyes) > 1 {
			name = "eye_" + h.Sides[i]
		}
		for k, m := range []*mesh.Mesh{e.Outer, e.Inner} {
			q := &mesh.Mesh{P: make([]geom.Vec, len(m.P)), N: m.N, UV: m.UV, Tri: m.Tri}
			for j, v := range m.P {
				q.P[j] = v.Add(h.Centres[i])
			}
			out = append(out, gltfio.Part{Name: name + [2]string{"_outer", "_inner"}[k], Mesh: q, Look: h.Looks[i][k]})
		}
	}
	l := h.Lids
	add := func(name string, m *mesh.Mesh, im *texture.Image, look gltfio.Look) error {
		if m == nil || len(m.Tri) == 0 {
			return nil
		}
		if im != nil && m.UV != nil {
			png, err := coded(im)
			if err != nil {
				return err
			}
			look.BaseMap, look.BaseColour = png, [3]float64{1, 1, 1}
		}
		out = append(out, gltfio.Part{Name: name, Mesh: m, Look: look})
		return nil
	}
	if err := add("face", l.Skin, l.Complexion(1, 1), gltfio.Look{BaseColour: [3]float64{0.45, 0.295, 0.225}, Roughness: 0.48}); err != nil {
		return nil, err
	}
	if err := add("corner", l.Corner, l.Pink, gltfio.Look{BaseColour: [3]float64{0.5, 0.27, 0.24}, Roughness: 0.25}); err != nil {
		return nil, err
	}
	if err := add("tear_line", l.Tears, nil, gltfio.Look{BaseColour: [3]float64{1, 1, 1}, IOR: 1.336, Transmission: 1}); err != nil {
		return nil, err
	}
	for _, q := range l.Hair {
		if q.Name == "down" { // too fine for tubes
			continue
		}
		if err := add(q.Name, strand.Tubes(q.Set, tubeSides), nil, gltfio.Look{BaseColour: [3]float64{0.022, 0.015, 0.011}, Roughness: 0.5}); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// tubeSides is the number of sides of a hair: four facets show half of it.
const tubeSides = 5

// Placed are parts under a map of the numbers that their file is to hold; they are written as metres of a thousand.
func Placed(parts []gltfio.Part, to geom.Affine) []gltfio.Part {
	out := make([]gltfio.Part, len(parts))
	for i, p := range parts {
		m := &mesh.Mesh{P: make([]geom.Vec, len(p.Mesh.P)), N: make([]geom.Vec, len(p.Mesh.N)), UV: p.Mesh.UV, Tri: p.Mesh.Tri}
		for j, v := range p.Mesh.P {
			m.P[j] = to.Point(v)
		}
		inv := to.Inverse()
		for j, n := range p.Mesh.N {
			m.N[j] = inv.Normal(n).Unit()
		}
		if to.Det() < 0 {
			m.Tri = append([][3]uint32(nil), m.Tri...)
			m.TurnOver()
		}
		p.Mesh = m
		out[i] = p
	}
	return out
}

// coded is a linear picture as a PNG in sRGB.
func coded(im *texture.Image) ([]byte, error) {
	w, h, _ := im.Size()
	pix := make([]uint8, 3*w*h)
	for i := range w * h {
		for c := range 3 {
			pix[3*i+c] = uint8(255*max(0, min(1, colour.EncodeSRGB(im.At(i%w, i/w, c)))) + 0.5)
		}
	}
	return imageio.EncodePNG(w, h, 3, pix)
}
