package bake

import (
	"fmt"
	"math"
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// IDSource is what tells places of a high mesh apart.
type IDSource string

// The sources of ids.
const (
	ByPart     IDSource = "part"
	ByMaterial IDSource = "material"
	ByColour   IDSource = "colour" // of vertices, to 8 bits
)

// identities are the ids of a solid, from 1.
type identities struct {
	names  []string
	vertex []uint16 // one a vertex, or
	part   []uint16 // one a part
}

// identify numbers what the source tells apart.
func (s *Solid) identify(by IDSource) (*identities, error) {
	out := &identities{}
	id := map[string]uint16{}
	of := func(name string) uint16 {
		if id[name] == 0 {
			out.names = append(out.names, name)
			id[name] = uint16(len(out.names))
		}
		return id[name]
	}
	switch by {
	case ByPart, "":
		for i := range s.Part {
			out.part = append(out.part, of(s.Part[i].Name))
		}
	case ByMaterial:
		for i := range s.Part {
			name := s.Part[i].Look.Name
			if name == "" {
				name = "default material"
			}
			out.part = append(out.part, of(name))
		}
	case ByColour:
		if s.colour == nil {
			return nil, fmt.Errorf("ids by colour: no part of the high mesh has vertex colours")
		}
		seen := map[[3]uint8]uint16{}
		var list [][3]uint8
		for _, c := range s.colour {
			k := coded(c)
			if _, ok := seen[k]; !ok {
				if seen[k] = 0; len(seen) > mostMasks {
					return nil, fmt.Errorf("ids by colour: there are more than %d vertex colours (to 8 bits); ids want flat colours", mostMasks)
				}
				list = append(list, k)
			}
		}
		// In the order of the colours, so that ids don't depend on that of the vertices.
		slices.SortFunc(list, func(a, b [3]uint8) int { return slices.Compare(a[:], b[:]) })
		for _, k := range list {
			seen[k] = of(fmt.Sprintf("#%02x%02x%02x", k[0], k[1], k[2]))
		}
		out.vertex = make([]uint16, len(s.colour))
		for i, c := range s.colour {
			out.vertex[i] = seen[coded(c)]
		}
	default:
		return nil, fmt.Errorf("ids by %q: must be part, material or colour", by)
	}
	if len(out.names) > mostMasks {
		return nil, fmt.Errorf("%d ids, at most %d are kept apart", len(out.names), mostMasks)
	}
	return out, nil
}

// coded is a linear colour in 8 bits of sRGB.
func coded(c colour.RGB) (out [3]uint8) {
	for i, v := range c {
		out[i] = uint8(math.Round(255 * colour.EncodeSRGB(max(0, min(1, v)))))
	}
	return out
}

// id is that of a place: of vertex colours the nearest corner's.
func (b *Bake) id(q *Spot) uint16 {
	if b.ids.part != nil {
		return b.ids.part[b.High.Of[q.Tri]]
	}
	t := b.High.Mesh.Tri[q.Tri]
	w := 1 - q.U - q.V
	switch {
	case w >= q.U && w >= q.V:
		return b.ids.vertex[t[0]]
	case q.U >= q.V:
		return b.ids.vertex[t[1]]
	}
	return b.ids.vertex[t[2]]
}

// majority is the id that most of a texel's samples have, of several the least.
func (b *Bake) majority(k *Brush) uint16 {
	k.ids = k.ids[:0]
	for i := range k.spots {
		k.ids = append(k.ids, b.id(&k.spots[i]))
	}
	slices.Sort(k.ids)
	best, most, run := uint16(0), 0, 0
	for i, v := range k.ids {
		if i > 0 && k.ids[i-1] == v {
			run++
		} else {
			run = 1
		}
		if run > most {
			best, most = v, run
		}
	}
	return best
}

// shares are those of the ids over a texel's samples, or, of soft masks, over places about it in the tangent plane.
func (b *Bake) shares(k *Brush, x, y int) {
	k.share = k.share[:0]
	for range b.ids.names {
		k.share = append(k.share, 0)
	}
	n := 0.0
	count := func(q *Spot) {
		k.share[b.id(q)-1]++
		n++
	}
	if b.Soft == 0 {
		for i := range k.spots {
			count(&k.spots[i])
		}
	} else {
		p := &k.places[0]
		_, o, d, at := b.Low.ray(p.Tri, p.U, p.V)
		f := geom.NewFrame(d)
		turn, _ := shift(b.Seed, x, y, purposeSoft)
		sin, cos := math.Sincos(2 * math.Pi * unit(turn))
		for _, q := range b.softly {
			s := f.World(geom.Vec{X: q[0]*cos - q[1]*sin, Y: q[0]*sin + q[1]*cos})
			if r, ok, _ := b.High.nearest(&k.scratch, o.Add(s), d, at, at+b.Low.Depth+b.Soft); ok {
				count(&r)
			}
		}
		if n == 0 {
			count(&k.spots[0])
		}
	}
	for i := range k.share {
		k.share[i] /= n
	}
}
