package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"catchlight/scene/geom"
)

// standing is a vertex that stands off its neighbours' surface.
type standing struct {
	vertex int     // of the part's mesh, as the file numbers it
	off    float64 // mm, outward
	dir    geom.Vec
}

// spikes finds vertices of an iris, between its lip and its root, that stand off the surface about them: small sets of them, where all
// others at the same distance from the axis lie as one. What goes all round, as a fold does, is the shape's. It is made once for a part.
func (r *Run) spikes(p *Part) []standing {
	if list, ok := r.stands[p]; ok {
		return list
	}
	var list []standing
	e, m := r.Subject.Eye, p.Mesh
	if p.Role == Inner && e != nil && e.Limbus.Held && len(m.P) < 500_000 {
		list = r.spikesIn(p)
	}
	if r.stands == nil {
		r.stands = map[*Part][]standing{}
	}
	r.stands[p] = list
	return list
}

// spikesIn looks at the iris.
func (r *Run) spikesIn(p *Part) []standing {
	e, m := r.Subject.Eye, p.Mesh
	type place struct {
		v        int
		s, h, az float64 // distance from the axis; height along it; toward which hour
	}
	var list []place
	var middle geom.Vec // an iris that lies aside is round about its pupil
	if e.Hole.Open {
		middle = geom.Vec{X: e.Hole.Offset[0], Y: e.Hole.Offset[1]}
	}
	for i, q := range m.P {
		l := e.Frame.Local(q.Sub(e.Centre))
		aside := math.Hypot(l.X, l.Y)
		l = l.Sub(middle)
		rho := math.Hypot(l.X, l.Y)
		// Within the limbus, and of the iris between its lip and its root: where walls and folds are, heights are many.
		if l.Z < 0 || max(rho, aside) > 0.82*e.Limbus.V || rho < e.Pupil.V+0.25*(e.Limbus.V-e.Pupil.V) {
			continue
		}
		list = append(list, place{i, rho, l.Z, math.Atan2(l.Y, l.X)})
	}
	const window = 32
	if len(list) < 3*window {
		return nil
	}
	slices.SortStableFunc(list, func(a, b place) int { return cmp.Compare(a.s, b.s) })
	least := r.Limit("mesh.spike_share") * r.Subject.Radius()
	h, off := make([]float64, 0, window), make([]float64, 0, window)
	var found []place
	var out []standing
	for i, q := range list {
		i0 := min(max(0, i-window/2), len(list)-window)
		h, off = h[:0], off[:0]
		for _, o := range list[i0 : i0+window] {
			h = append(h, o.h)
		}
		slices.Sort(h)
		mid := (h[window/2-1] + h[window/2]) / 2
		for _, x := range h {
			off = append(off, math.Abs(x-mid))
		}
		slices.Sort(off)
		// 8 medians of the deviations are 5.4 standard deviations of a normal distribution: Huber, Robust Statistics (1981).
		if d := q.h - mid; math.Abs(d) > max(least, 8*off[window/2]) {
			found, out = append(found, q), append(out, standing{q.v, d, e.Frame.N})
		}
	}
	if len(found) > len(list)/4 {
		return nil
	}
	// What lies all round the clock at one distance is the shape's: of it two thirds lie further than 60 degrees from each.
	reach := 0.1 * r.Subject.Radius()
	var keep []standing
	for i, q := range found {
		near, far := 0, 0
		for _, o := range found {
			if math.Abs(o.s-q.s) > reach {
				continue
			}
			if near++; math.Abs(math.Remainder(o.az-q.az, 2*math.Pi)) > math.Pi/3 {
				far++
			}
		}
		if float64(far) < 0.6*float64(near) {
			keep = append(keep, out[i])
		}
	}
	// What reaches no further than twice the least, or takes many vertices, is relief.
	if len(keep) > 40 || !slices.ContainsFunc(keep, func(q standing) bool { return math.Abs(q.off) > 2*least }) {
		return nil
	}
	return keep
}

// standOut reports what stands off its neighbours, by the numbers of its vertices.
func (r *Run) standOut(p *Part) {
	if p.Role != Inner {
		return
	}
	list := slices.Clone(r.spikes(p))
	least := r.Limit("mesh.spike_share") * r.Subject.Radius()
	f := Finding{Code: "mesh.spike", Part: p.Name, Cause: true, Good: len(list) == 0, Range: AtMost(0, "own choice"), Count: len(list),
		Number: Held(float64(len(list)), "", fmt.Sprintf("vertices that stand more than %.2g mm, and 8 times the usual, off those at the same distance from the axis", least))}
	if !f.Good {
		slices.SortStableFunc(list, func(a, b standing) int { return cmp.Compare(math.Abs(b.off), math.Abs(a.off)) })
		for _, q := range list[:min(len(list), MaxPlaces)] {
			at := r.Subject.Place(p, p.Mesh.P[q.vertex])
			at.Size = math.Abs(q.off)
			f.Where = append(f.Where, at)
		}
		worst := list[0]
		slices.SortFunc(list, func(a, b standing) int { return cmp.Compare(a.vertex, b.vertex) })
		names := ""
		for i, q := range list {
			if i == 24 {
				names += fmt.Sprintf(" and %d more", len(list)-i)
				break
			}
			if i > 0 {
				names += ", "
			}
			names += fmt.Sprint(q.vertex)
		}
		f.Title = fmt.Sprintf("%d vertices stand out: %s", len(list), names)
		f.Shows = Shows{Px: r.Px(math.Abs(worst.off)), Text: "a spike or a dent that nothing about it explains"}
		f.Remedy.Step = fmt.Sprintf("lay these vertices (numbered from 0 in the part) on their neighbours; the furthest is %d: by %s mm", worst.vertex, triple(worst.dir.Mul(-worst.off), 2))
	}
	r.Add(f)
}
