package inspect

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
)

// grid is a picture of the layout, of cells a side.
const grid = 2048

// raster draws the layout into a picture: where two places share a texel, and how near islands lie to each other. A texel belongs
// to a triangle where its middle lies strictly inside.
func (r *Run) raster(l *layout) {
	l.islands()
	owner := make([]int32, grid*grid)
	twice, shown := make([]bool, grid*grid), make([]bool, grid*grid)
	both, cover, in := 0, 0, 0
	var where []Place
	apart := r.Limit("coordinates.overlap_mm")
	for i := range l.tri {
		q := &l.tri[i]
		if !(math.Abs(q.uv) > 0) || q.outside || !finite(q.uv) {
			continue
		}
		c := l.m.Tri[i]
		each(l.m.UV[c[0]], l.m.UV[c[1]], l.m.UV[c[2]], func(k int) {
			if owner[k] == 0 {
				owner[k] = int32(i) + 1
				cover++
				return
			}
			if !twice[k] {
				twice[k] = true
				both++
			}
			// It shows only where two that are in view share; a texel belongs to one in view before all others.
			if !q.view {
				return
			}
			if !l.tri[owner[k]-1].view {
				owner[k] = int32(i) + 1
				return
			}
			if shown[k] || l.tri[owner[k]-1].at.Sub(q.at).Len() < apart || !r.visible(l, int32(i)) {
				return
			}
			if !r.visible(l, owner[k]-1) {
				owner[k] = int32(i) + 1
				return
			}
			shown[k] = true
			if in++; len(where) < MaxPlaces && (in-1)%997 == 0 {
				at := r.Subject.Place(l.p, q.at)
				at.UV = &[2]float64{(float64(k%grid) + 0.5) / grid, (float64(k/grid) + 0.5) / grid}
				where = append(where, at)
			}
		})
	}
	limit := r.Limit("coordinates.overlap_share")
	share := float64(both) / (grid * grid) // of which what is not in view, or shares a place, is no fault
	f := Finding{Code: "coordinates.overlap", Part: l.p.Name, Number: Held(float64(both), "", fmt.Sprintf("of %d x %d texels lie in two triangles or more, %.2g %%; %d of them in two that are in view and lie apart", grid, grid, 100*share, in)), Range: AtMost(limit*grid*grid, "own choice; of those in view and apart"), Where: where, Count: both, Good: float64(in) <= limit*grid*grid}
	if !f.Good {
		f.Remedy.Step = "lay overlapping islands apart; what is meant to share, such as two sides of a wall, may stay"
		f.Shows.Text = "what is painted on one place shows on the other"
		// How wide the shared place is on the surface, by the mean scale.
		if in > 0 {
			var scale, n float64
			for i := range l.tri {
				if q := &l.tri[i]; q.view && q.long > 0 {
					scale, n = scale+math.Sqrt(q.long*q.short), n+1
				}
			}
			f.Shows.Px = r.Px(math.Sqrt(float64(in)) / grid * scale / max(1, n))
		}
		if r.bare(l.p) {
			f.Most = Warning
		}
	}
	r.Add(f)
	r.padding(l, owner)
}

// bare reports whether no map lies on the part.
func (r *Run) bare(p *Part) bool {
	for _, m := range r.Subject.Maps {
		if m.Role == p.Role {
			return false
		}
	}
	return true
}

// each calls f for the cells whose middles lie strictly inside a triangle of the picture.
func each(a, b, c geom.UV, f func(k int)) {
	area := (b.U-a.U)*(c.V-a.V) - (c.U-a.U)*(b.V-a.V)
	if area < 0 {
		b, c, area = c, b, -area
	}
	if !(area > 0) {
		return
	}
	lo := func(x, y, z float64) int { return max(0, int(math.Floor(min(x, y, z)*grid-0.5))) }
	hi := func(x, y, z float64) int { return min(grid-1, int(math.Ceil(max(x, y, z)*grid))) }
	side := func(p, q geom.UV, u, v float64) float64 { return (q.U-p.U)*(v-p.V) - (u-p.U)*(q.V-p.V) }
	for y := lo(a.V, b.V, c.V); y <= hi(a.V, b.V, c.V); y++ {
		v := (float64(y) + 0.5) / grid
		for x := lo(a.U, b.U, c.U); x <= hi(a.U, b.U, c.U); x++ {
			u := (float64(x) + 0.5) / grid
			if side(a, b, u, v) > 0 && side(b, c, u, v) > 0 && side(c, a, u, v) > 0 {
				f(y*grid + x)
			}
		}
	}
}

// islands numbers what hangs together in the picture: triangles that share two corners with their coordinates, which are vertices of
// the welded mesh.
func (l *layout) islands() {
	up := make([]int32, len(l.m.P))
	for i := range up {
		up[i] = int32(i)
	}
	find := func(i int32) int32 {
		for up[i] != i {
			up[i] = up[up[i]]
			i = up[i]
		}
		return i
	}
	for _, c := range l.m.Tri {
		a := find(int32(c[0]))
		for _, v := range c[1:] {
			if b := find(int32(v)); b != a {
				up[b] = a
			}
		}
	}
	l.island = make([]int32, len(l.m.Tri))
	for i, c := range l.m.Tri {
		l.island[i] = find(int32(c[0]))
	}
}

// padding looks for islands that lie close to each other, up to eight cells.
func (r *Run) padding(l *layout, owner []int32) {
	const reach = 8
	best, at := reach+1, -1
	for k, o := range owner {
		if o == 0 {
			continue
		}
		x, y := k%grid, k/grid
		// Only from an island's rim, to the sides and down; the ways up are others' ways down.
		own := l.island[o-1]
		same := func(k int) bool { return owner[k] > 0 && l.island[owner[k]-1] == own }
		if x > 0 && same(k-1) && x+1 < grid && same(k+1) && y+1 < grid && same(k+grid) {
			continue
		}
		for dy := 0; dy < best && y+dy < grid; dy++ {
			for dx := -best + 1; dx < best; dx++ {
				if x+dx < 0 || x+dx >= grid || dy == 0 && dx <= 0 {
					continue
				}
				q := owner[k+dy*grid+dx]
				if q == 0 || l.island[q-1] == own || !l.tri[q-1].view && !l.tri[o-1].view {
					continue
				}
				if d := max(dx, -dx, dy) - 1; d < best {
					best, at = d, k
				}
			}
		}
	}
	if at < 0 {
		r.Add(Finding{Code: "coordinates.padding", Part: l.p.Name, Good: true, Number: Held(float64(reach)*l.side/grid, "texels", "or more between islands, at full size"), Range: AtLeast(r.Limit("coordinates.padding"), "bilinear look-up")})
		return
	}
	// Where the picture is shown smaller by 2^k it takes 1.5 x 2^k texels.
	texels := float64(best) * l.side / grid
	need := r.Limit("coordinates.padding")
	f := Finding{Code: "coordinates.padding", Part: l.p.Name, Number: Held(texels, "texels", fmt.Sprintf("between islands of which one is in view, at %g px, to %g", l.side, l.side/grid)), Range: AtLeast(need, "bilinear look-up takes 1.5 x 2^k texels at mip level k"),
		Where: []Place{AtUV(l.p.Name, geom.UV{U: (float64(at%grid) + 0.5) / grid, V: (float64(at/grid) + 0.5) / grid})}, Good: texels >= need, Most: Note}
	if !f.Good {
		f.Title = "too little room between islands"
		f.Remedy.Step = "lay the islands further apart, and fill the room with the nearest colours"
	}
	r.Add(f)
}
