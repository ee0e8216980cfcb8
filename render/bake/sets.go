package bake

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/atlas"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
)

// Grouping says which low parts share a picture.
type Grouping string

// The groupings. Auto has parts of one material share one, unless they lie on each other in it.
const (
	Auto  Grouping = "auto"
	Apart Grouping = "apart"
	One   Grouping = "one"
)

// NewSets groups low parts, and finds what of the high mesh belongs to each: what pairs says, else parts of the same name but for low and
// high, else those that lie nearest. Each is darkened by what it is cast on alone, unless blockers says more.
func NewSets(low, high []Part, by Grouping, pairs, blockers Pairs) ([]*Set, error) {
	for i := range low {
		if low[i].Mesh.UV == nil {
			return nil, fmt.Errorf("%s: the low mesh has no texture coordinates, so there is nothing to bake onto; lay it out first", low[i].Name)
		}
	}
	sets := group(low, by)
	if err := named(sets, pairs, blockers); err != nil {
		return nil, err
	}
	if err := match(sets, high, pairs); err != nil {
		return nil, err
	}
	for _, s := range sets {
		s.Blockers = s.High
		for i := range s.Low {
			list, ok := blockers[s.Low[i].Name]
			if !ok {
				continue
			}
			q, err := byName(high, list)
			if err != nil {
				return nil, fmt.Errorf("blockers of %s: %w", s.Low[i].Name, err)
			}
			s.Blockers = q
		}
	}
	return sets, nil
}

// named refuses names that are no low part's.
func named(sets []*Set, lists ...Pairs) error {
	var have []string
	for _, s := range sets {
		for i := range s.Low {
			have = append(have, s.Low[i].Name)
		}
	}
	for _, p := range lists {
		for n := range p {
			if !slices.Contains(have, n) {
				return fmt.Errorf("the low mesh has no part %q; there are %s", n, strings.Join(have, ", "))
			}
		}
	}
	return nil
}

// group makes the sets.
func group(low []Part, by Grouping) (sets []*Set) {
	at := map[string]*Set{}
	for i := range low {
		key := ""
		switch by {
		case Apart:
			key = fmt.Sprint(i)
		case Auto:
			key = low[i].Look.Name
		}
		if at[key] == nil {
			at[key] = &Set{}
			sets = append(sets, at[key])
		}
		at[key].Low = append(at[key].Low, low[i])
	}
	if by == Auto {
		for k := 0; k < len(sets); k++ {
			if s := sets[k]; len(s.Low) > 1 && lieOnEachOther(s.Low) {
				var apart []*Set
				for i := range s.Low {
					apart = append(apart, &Set{Low: s.Low[i : i+1], Notes: []string{fmt.Sprintf("%s lies on other parts in the picture, and has one of its own", s.Low[i].Name)}})
				}
				sets = slices.Replace(sets, k, k+1, apart...)
				k += len(apart) - 1
			}
		}
	}
	if len(sets) > 1 {
		used := map[string]bool{}
		for _, s := range sets {
			name := FileName(s.Low[0].Name)
			if len(s.Low) > 1 && s.Low[0].Look.Name != "" {
				name = FileName(s.Low[0].Look.Name)
			}
			for n := 2; used[name] || name == ""; n++ {
				name = fmt.Sprintf("%s_%d", FileName(s.Low[0].Name), n)
			}
			used[name], s.Name = true, name
		}
	}
	return sets
}

// lieOnEachOther reports whether parts share places of the picture: more than one in a thousand of those that are covered.
func lieOnEachOther(parts []Part) bool {
	const n = 256
	type texel struct{ tile, at int }
	owner := map[texel]int{}
	both, all := 0, 0
	var b atlas.Block
	for i := range parts {
		tiles, err := atlas.Tiles(parts[i].Mesh)
		if err != nil {
			return false // told later
		}
		for _, tile := range tiles {
			s := atlas.NewSheet(parts[i].Mesh, tile, n, n, 1)
			for k := range s.Blocks() {
				s.Draw(k, &b)
				for y := b.Y0; y < b.Y1; y++ {
					for x := b.X0; x < b.X1; x++ {
						if b.Texel(x, y)[0].Tri == atlas.None {
							continue
						}
						all++
						q := texel{tile, y*n + x}
						if o, ok := owner[q]; ok && o != i {
							both++
						}
						owner[q] = i
					}
				}
			}
		}
	}
	return both*1000 > all
}

// match finds the high parts of each set.
func match(sets []*Set, high []Part, pairs Pairs) error {
	given := false
	for _, s := range sets {
		for i := range s.Low {
			if list, ok := pairs[s.Low[i].Name]; ok {
				q, err := byName(high, list)
				if err != nil {
					return fmt.Errorf("the high mesh of %s: %w", s.Low[i].Name, err)
				}
				s.High, s.Why, given = append(s.High, q...), "as told", true
			}
		}
	}
	if given {
		for _, s := range sets {
			if len(s.High) == 0 {
				return fmt.Errorf("no high part is told for %s; with one pair given, give all", s.Low[0].Name)
			}
		}
		return nil
	}
	if len(sets) == 1 {
		sets[0].High, sets[0].Why = high, "all of it"
		return nil
	}
	if matchNames(sets, high) {
		return nil
	}
	return matchPlaces(sets, high)
}

// matchNames goes by names; each set must find some.
func matchNames(sets []*Set, high []Part) bool {
	found := make([][]Part, len(sets))
	for k, s := range sets {
		for i := range s.Low {
			n := plainName(s.Low[i].Name)
			for j := range high {
				if n != "" && plainName(high[j].Name) == n {
					found[k] = append(found[k], high[j])
				}
			}
		}
		if len(found[k]) == 0 {
			return false
		}
	}
	for k, s := range sets {
		s.High, s.Why = found[k], "by name"
	}
	return true
}

// matchPlaces gives each high part, and where there is but one each of its islands, to the set that lies nearest.
func matchPlaces(sets []*Set, high []Part) error {
	if len(high) == 1 && high[0].Colour == nil {
		m := high[0].Mesh
		if list := mesh.Islands(mesh.Weld(m, 1e-7*m.Bounds().Size().MaxAbs()), 0); len(list) > 1 && len(list) < math.MaxUint16 {
			var parts []Part
			for i, q := range list {
				p := high[0]
				p.Name, p.Mesh = fmt.Sprintf("%s/%d", high[0].Name, i+1), q
				if p.Mesh.N == nil {
					mesh.Normals(p.Mesh)
				}
				parts = append(parts, p)
			}
			high = parts
		}
	}
	trees := make([]*near.Tree, len(sets))
	far := 0.0
	for k, s := range sets {
		m := s.Mesh()
		var err error
		if trees[k], err = near.New(m); err != nil {
			return fmt.Errorf("%s: %w", s.Low[0].Name, err)
		}
		far = max(far, m.Bounds().Size().Len())
	}
	for j := range high {
		best, least := 0, math.Inf(1)
		for k := range sets {
			if d := meanDistance(trees[k], high[j].Mesh, far); d < least {
				best, least = k, d
			}
		}
		sets[best].High, sets[best].Why = append(sets[best].High, high[j]), "as it lies nearest"
	}
	for _, s := range sets {
		if len(s.High) == 0 {
			return fmt.Errorf("no part of the high mesh lies nearest to %s; say which with --pair %s=HIGH", s.Low[0].Name, s.Low[0].Name)
		}
	}
	return nil
}

// meanDistance is that of some vertices from a tree's mesh.
func meanDistance(t *near.Tree, m *mesh.Mesh, far float64) float64 {
	const n = 400
	sum, count := 0.0, 0.0
	for i := 0; i < len(m.P); i += max(1, len(m.P)/n) {
		d := far
		if q, ok := t.Nearest(m.P[i], far); ok {
			d = math.Abs(q.D)
		}
		sum, count = sum+d, count+1
	}
	return sum / max(1, count)
}

// Sound says what of a low mesh is odd for a bake, in words: nothing of it ends the work.
func (s *Set) Sound(size int) (notes []string, err error) {
	m := s.Mesh()
	name := s.Low[0].Name
	open, odd := mesh.Closed(m)
	if open > 0 {
		notes = append(notes, fmt.Sprintf("%s: %d open edges: fine for a bake; rays near them may pass the high mesh by", name, open))
	}
	if odd > 0 {
		notes = append(notes, fmt.Sprintf("%s: %d edges of more than two triangles, or of two that wind against each other: normals are uncertain there", name, odd))
	}
	flat, empty, mirrored := 0, 0, 0
	for _, t := range m.Tri {
		if m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]])).Len2() == 0 {
			flat++
			continue
		}
		a, b, c := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		switch area := (b.U-a.U)*(a.V-c.V) - (a.V-b.V)*(c.U-a.U); {
		case area == 0:
			empty++
		case area < 0:
			mirrored++
		}
	}
	if flat > 0 {
		notes = append(notes, fmt.Sprintf("%s: %d triangles have no area and are left out", name, flat))
	}
	if empty > 0 {
		notes = append(notes, fmt.Sprintf("%s: %d of %d triangles have no area in the picture: they get no texel of their own", name, empty, len(m.Tri)))
	}
	if mirrored > 0 && mirrored < len(m.Tri) {
		notes = append(notes, fmt.Sprintf("%s: %d of %d triangles are mirrored in the picture: their normals are written for a frame of the other hand, as glTF has it", name, mirrored, len(m.Tri)))
	}
	tiles, err := atlas.Tiles(m)
	if err != nil {
		return notes, fmt.Errorf("%s: %w", name, err)
	}
	if len(tiles) == 0 || flat+empty == len(m.Tri) {
		return notes, fmt.Errorf("%s: no triangle has an area in the picture of its texture coordinates; lay it out first", name)
	}
	return append(notes, s.overlaps(m, tiles, size)...), nil
}

// overlaps says how much of the pictures two triangles share.
func (s *Set) overlaps(m *mesh.Mesh, tiles []int, size int) (notes []string) {
	var b atlas.Block
	twice, all := 0, 0
	var both [2]uint32
	var at geom.UV
	for _, tile := range tiles {
		q := atlas.NewSheet(m, tile, min(size, 2048), min(size, 2048), 1)
		for k := range q.Blocks() {
			q.Draw(k, &b)
			if b.Twice > 0 && twice == 0 {
				both, at = b.Both, b.At
			}
			twice += b.Twice
			for y := b.Y0; y < b.Y1; y++ {
				for x := b.X0; x < b.X1; x++ {
					if b.Texel(x, y)[0].Tri != atlas.None {
						all++
					}
				}
			}
		}
	}
	if twice > 0 {
		notes = append(notes, fmt.Sprintf("%s: %.2g %% of the covered texels lie in two triangles, first in %s and %s at u %.4f, v %.4f (up): the first of the file has them, and the other shows its maps",
			s.Low[0].Name, 100*float64(twice)/float64(max(1, all)), s.triangle(both[0]), s.triangle(both[1]), at.U, 1-at.V))
	}
	return notes
}

// triangle names one of the set's mesh.
func (s *Set) triangle(k uint32) string {
	n := int(k)
	for i := range s.Low {
		if n < len(s.Low[i].Mesh.Tri) {
			return fmt.Sprintf("triangle %d of %s", n, s.Low[i].Name)
		}
		n -= len(s.Low[i].Mesh.Tri)
	}
	return "none"
}
