package adopt

import (
	"fmt"
	"math"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// cells is a grid over a picture: where it is painted, that is not of one colour.
type cells struct {
	w, h int
	lo   [][3]float32
	hi   [][3]float32
}

// newCells divides a picture into at most 64 x 64 cells of at least 4 texels each way.
func newCells(w, h int) *cells {
	g := &cells{w: max(1, min(64, w/4)), h: max(1, min(64, h/4))}
	g.lo, g.hi = make([][3]float32, g.w*g.h), make([][3]float32, g.w*g.h)
	for i := range g.lo {
		for k := range 3 {
			g.lo[i][k], g.hi[i][k] = math.MaxFloat32, -math.MaxFloat32
		}
	}
	return g
}

// add takes a texel at x, y (0 to 1) into account.
func (g *cells) add(x, y float64, c [3]float32) {
	i := g.cell(geom.UV{U: x, V: y})
	for k := range 3 {
		g.lo[i][k], g.hi[i][k] = min(g.lo[i][k], c[k]), max(g.hi[i][k], c[k])
	}
}

// cell returns the cell at uv, in a picture that repeats.
func (g *cells) cell(uv geom.UV) int {
	x, y := uv.U-math.Floor(uv.U), uv.V-math.Floor(uv.V)
	return min(g.h-1, int(y*float64(g.h)))*g.w + min(g.w-1, int(x*float64(g.w)))
}

// painted says whether a cell has more than one colour; steps of 8 bits alone are none.
func (g *cells) painted(i int) bool {
	for k := range 3 {
		if g.hi[i][k]-g.lo[i][k] > 2.5/255 {
			return true
		}
	}
	return false
}

// cover is how a part of a shell lies on a picture.
type cover struct {
	on    float64 // share of the part that lies on painted cells
	of    float64 // share of the painted cells that the part lies on
	cells []bool
}

func (c *cover) score() float64 { return c.on * c.of }

// covers lays the part of a shell for which keep is true, of the middles of triangles, on a picture.
func (g *cells) covers(m *mesh.Mesh, keep func(q geom.Vec) bool) cover {
	c := cover{cells: make([]bool, g.w*g.h)}
	var all, on float64
	for _, t := range m.Tri {
		p := [3]geom.Vec{m.P[t[0]], m.P[t[1]], m.P[t[2]]}
		if !keep(geom.Mix(p[0], p[1], p[2], 1.0/3, 1.0/3)) {
			continue
		}
		area := p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Len()
		a, b, e := m.UV[t[0]], m.UV[t[1]], m.UV[t[2]]
		// As fine as the cells, so that no cell within is missed.
		reach := max(math.Abs(b.U-a.U), math.Abs(e.U-a.U), math.Abs(e.U-b.U), math.Abs(b.V-a.V), math.Abs(e.V-a.V), math.Abs(e.V-b.V))
		n := max(1, min(64, int(math.Ceil(2*reach*float64(max(g.w, g.h))))))
		hit, of := 0, 0
		for i := range n {
			for j := range n - i {
				u, v := (float64(i)+1.0/3)/float64(n), (float64(j)+1.0/3)/float64(n)
				k := g.cell(geom.UV{U: a.U + u*(b.U-a.U) + v*(e.U-a.U), V: a.V + u*(b.V-a.V) + v*(e.V-a.V)})
				c.cells[k] = true
				of++
				if g.painted(k) {
					hit++
				}
			}
		}
		all, on = all+area, on+area*float64(hit)/float64(of)
	}
	painted, met := 0, 0
	for k, there := range c.cells {
		if g.painted(k) {
			painted++
			if there {
				met++
			}
		}
	}
	if all > 0 && painted > 0 {
		c.on, c.of = on/all, float64(met)/float64(painted)
	}
	return c
}

// alike is the share of cells that both cover of those that one covers.
func (c *cover) alike(d *cover) float64 {
	both, one := 0, 0
	for k := range c.cells {
		if c.cells[k] && d.cells[k] {
			both++
		}
		if c.cells[k] || d.cells[k] {
			one++
		}
	}
	return float64(both) / float64(max(1, one))
}

// laidOn guesses from where the paint of a colour map lies which shell's texture coordinates it was painted on, and says so
// in its finding. The inner shell has the iris, so a picture of iris and white in one, and an iris that would fit either, are
// taken to be its own. outer and inner are in the file's numbers.
func (p *Proposal) laidOn(m *Mapped, outer, inner *mesh.Mesh, shared bool, f *Finding) {
	if strings.Contains(m.File, "{tile}") || m.Look.cells == nil || !strings.HasSuffix(m.Slot, ".colour") || outer == nil || outer.UV == nil {
		return
	}
	iris := m.Slot == "iris.colour"
	if inner == nil || inner.UV == nil {
		if !iris && m.Shell == "" {
			m.Shell, f.Grade = "outer", max(f.Grade, Unsure)
			f.Word = f.Grade.String()
			f.Reason += "; taken to be painted on the outer shell, as the inner one has no texture coordinates"
		}
		return
	}
	keep := func(q geom.Vec) bool {
		q = q.Mul(p.Scale).Sub(p.Globe.Centre)
		z := q.Dot(p.Globe.Axis)
		return z > 0 && (shared || (q.Mad(-z, p.Globe.Axis).Len() < p.Globe.Limbus) == iris)
	}
	in, out := m.Look.cells.covers(inner, keep), m.Look.cells.covers(outer, keep)
	told := fmt.Sprintf("%.0f %% of the inner shell's part lies on paint, and has %.0f %% of all paint; of the outer shell's %.0f and %.0f %%",
		100*in.on, 100*in.of, 100*out.on, 100*out.of)
	const clear = 2 // times the other's score
	switch {
	case m.Shell == "outer": // by its name
		if in.score() > clear*out.score() {
			f.Grade = Question
			f.Reason += "; its name says the outer shell, its paint the inner one: " + told
		}
	case in.score() == 0 && out.score() == 0:
	case out.score() > clear*in.score():
		m.Shell = "outer"
		f.Grade = max(f.Grade, Unsure)
		f.Reason += "; painted on the outer shell: " + told
	case in.score() > clear*out.score() || in.alike(&out) > 0.8 || shared:
		f.Reason += "; painted on the inner shell: " + told
	case iris:
		f.Grade = max(f.Grade, Unsure)
		f.Reason += "; taken to be painted on the inner shell, though the outer one fits too: " + told
	default:
		f.Grade = Question
		f.Reason += "; painted on the inner shell (as it stands here) or on the outer one (shell: outer)? Both fit: " + told
	}
	f.Word = f.Grade.String()
}
