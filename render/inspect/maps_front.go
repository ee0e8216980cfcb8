package inspect

import (
	"cmp"
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/shells"
)

// front is a colour map as it lies on the front of a shell, seen along the axis: linear reflectance in square cells.
type front struct {
	cell float64 // mm
	n    int     // cells a side; the axis goes through the middle
	px   float64 // texels of the picture a mm of the iris; 0 where its coordinates do not lie flat
	sum  [][3]float64
	hits []int
}

// frontCells is how many cells go to the limbus' radius.
const frontCells = 100

// front lays a colour map on the front of the shell that it belongs to; nil where the eye has no measures to lay it by.
func (s *Subject) front(m *Map, p *picture) *front {
	part := s.Part(m.Role)
	if part == nil || part.Mesh.UV == nil || s.Eye == nil || !s.Eye.Limbus.Held || s.Eye.Limbus.V <= 0 {
		return nil
	}
	f := &front{cell: s.Eye.Limbus.V / frontCells}
	reach := min(0.95*s.Radius(), 2.2*s.Eye.Limbus.V)
	f.n = 2*int(reach/f.cell) + 1
	f.sum, f.hits = make([][3]float64, f.n*f.n), make([]int, f.n*f.n)
	e, g := s.Eye, part.Mesh
	if q, err := shells.FlatOf(g, e.Centre, e.Frame, e.Limbus.V); err == nil {
		f.px = q.PerMM(float64(p.w), float64(p.h))
	}
	for _, t := range g.Tri {
		var q [3]geom.Vec
		for k := range 3 {
			q[k] = e.Frame.Local(g.P[t[k]].Sub(e.Centre))
		}
		if q[0].Z+q[1].Z+q[2].Z <= 0 || min(math.Hypot(q[0].X, q[0].Y), math.Hypot(q[1].X, q[1].Y), math.Hypot(q[2].X, q[2].Y)) > reach {
			continue
		}
		// Only what is seen from in front: the cosine of the facet, in the mesh's own winding.
		if q[1].Sub(q[0]).Cross(q[2].Sub(q[0])).Z <= 0 {
			continue
		}
		long := max(q[1].Sub(q[0]).Len(), q[2].Sub(q[0]).Len(), q[2].Sub(q[1]).Len())
		n := max(1, min(400, int(math.Ceil(1.5*long/f.cell))))
		a, b, c := g.UV[t[0]], g.UV[t[1]], g.UV[t[2]]
		for i := range n {
			for j := range n - i {
				u, v := (float64(i)+1.0/3)/float64(n), (float64(j)+1.0/3)/float64(n)
				k := f.at(q[0].X+u*(q[1].X-q[0].X)+v*(q[2].X-q[0].X), q[0].Y+u*(q[1].Y-q[0].Y)+v*(q[2].Y-q[0].Y))
				if k < 0 {
					continue
				}
				x, y := p.at(geom.UV{U: a.U + u*(b.U-a.U) + v*(c.U-a.U), V: a.V + u*(b.V-a.V) + v*(c.V-a.V)})
				col := p.linear(x, y)
				for h := range 3 {
					f.sum[k][h] += col[h]
				}
				f.hits[k]++
			}
		}
	}
	return f
}

// at is the cell of a place, -1 outside.
func (f *front) at(x, y float64) int {
	i, j := int(math.Floor(x/f.cell+float64(f.n)/2)), int(math.Floor(y/f.cell+float64(f.n)/2))
	if i < 0 || j < 0 || i >= f.n || j >= f.n {
		return -1
	}
	return j*f.n + i
}

// place is the middle of a cell, mm from the axis.
func (f *front) place(k int) (x, y float64) {
	return (float64(k%f.n) + 0.5 - float64(f.n)/2) * f.cell, (float64(k/f.n) + 0.5 - float64(f.n)/2) * f.cell
}

// colour is the mean of a cell; ok where it has any.
func (f *front) colour(k int) (c [3]float64, ok bool) {
	if f.hits[k] == 0 {
		return c, false
	}
	for h := range 3 {
		c[h] = f.sum[k][h] / float64(f.hits[k])
	}
	return c, true
}

// zone collects the luminance of all cells whose distance from the axis keep takes.
func (f *front) zone(keep func(rho float64) bool) (v []float64) {
	for k := range f.hits {
		if c, ok := f.colour(k); ok {
			if x, y := f.place(k); keep(math.Hypot(x, y)) {
				v = append(v, luminance(c))
			}
		}
	}
	return v
}

// spots are the connected sets of cells that take finds, each as a list of cells.
func (f *front) spots(take func(k int) bool) (list [][]int) {
	seen := make([]bool, len(f.hits))
	for k := range f.hits {
		if seen[k] || f.hits[k] == 0 || !take(k) {
			continue
		}
		seen[k] = true
		spot := []int{k}
		for i := 0; i < len(spot); i++ {
			x, y := spot[i]%f.n, spot[i]/f.n
			for _, d := range [4][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
				if a, b := x+d[0], y+d[1]; a >= 0 && b >= 0 && a < f.n && b < f.n {
					if o := b*f.n + a; !seen[o] && f.hits[o] > 0 && take(o) {
						seen[o] = true
						spot = append(spot, o)
					}
				}
			}
		}
		list = append(list, spot)
	}
	return list
}

// ring is the mean luminance by distance from the axis in a sector of the clock, cell by cell; NaN where there is none.
func (f *front) ring(sector, sectors int) []float64 {
	out, hits := make([]float64, f.n/2), make([]int, f.n/2)
	mid := (float64(sector) + 0.5) / float64(sectors) * 2 * math.Pi
	half := math.Pi / float64(sectors)
	for i := range out {
		rho := (float64(i) + 0.5) * f.cell
		n := max(3, int(2*half*rho/f.cell))
		for j := range n {
			a := mid - half + 2*half*(float64(j)+0.5)/float64(n)
			if k := f.at(rho*math.Cos(a), rho*math.Sin(a)); k >= 0 {
				if c, ok := f.colour(k); ok {
					out[i] += luminance(c)
					hits[i]++
				}
			}
		}
		if hits[i] == 0 {
			out[i] = math.NaN()
			continue
		}
		out[i] /= float64(hits[i])
	}
	return out
}

// movePicture says by how many texels a picture is to be moved, and by which key. A round pupil or limbus does not hold a turn about the axis.
func (r *Run) movePicture(m *Map, f *front, dx, dy, scale float64) (texels, key string) {
	if f.px > 0 {
		texels = fmt.Sprintf(", which is %.3g texels", math.Hypot(dx, dy)*f.px)
	}
	s := r.Subject
	if !s.FromFile || m.Role != Inner {
		return texels, ""
	}
	key = fmt.Sprintf("asset.maps_shift=[%.3g,%.3g]", s.MapsShift[0]+dx, s.MapsShift[1]+dy)
	if scale != 1 {
		key += " and " + r.key(fmt.Sprintf("asset.maps_scale=%.4g", cmp.Or(s.MapsScale, 1)*scale))
	}
	return texels, r.key(key)
}
