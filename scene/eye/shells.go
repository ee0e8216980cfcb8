package eye

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// The pit behind the pupil, mm: how far it flares behind the iris, over what depth, and how deep its floor lies.
const (
	marginRound = 0.12 // radius of the rounded pupil margin
	marginEdge  = 0.08 // depth of tissue visible behind the rounding
	pitFlare    = 0.35
	pitFlareAt  = 0.6
	pitDepth    = 1.6
)

// builder gathers rings of vertices, each ring stitched to the one before, from the front pole to the back.
type builder struct {
	m     mesh.Mesh
	start int // first vertex of the last ring
	count int // its number of vertices
}

// ring appends n vertices made by f at angles 2 pi i/n and stitches them to the last ring.
func (b *builder) ring(n int, part mesh.Part, f func(theta float64) (p, n geom.Vec)) {
	first := len(b.m.P)
	for i := range n {
		p, nv := f(2 * math.Pi * float64(i) / float64(n))
		b.m.P = append(b.m.P, p)
		b.m.N = append(b.m.N, nv)
	}
	switch {
	case b.count == 0:
	case b.count == 1:
		for i := range n {
			b.tri(part, b.start, first+i, first+(i+1)%n)
		}
	default:
		b.stitch(first, n, part)
	}
	b.start, b.count = first, n
}

// point appends a pole; at the end of the mesh it closes the last ring.
func (b *builder) point(p, n geom.Vec, part mesh.Part) {
	at := len(b.m.P)
	b.m.P = append(b.m.P, p)
	b.m.N = append(b.m.N, n)
	for i := 0; i < b.count; i++ {
		b.tri(part, b.start+i, at, b.start+(i+1)%b.count)
	}
	b.start, b.count = at, 1
}

func (b *builder) tri(part mesh.Part, i, j, k int) {
	b.m.Tri = append(b.m.Tri, [3]uint32{uint32(i), uint32(j), uint32(k)})
	b.m.Part = append(b.m.Part, part)
}

// stitch joins the last ring (a) to the ring of n vertices that begins at first (b), walking both by angle.
func (b *builder) stitch(first, n int, part mesh.Part) {
	na, nb := b.count, n
	for i, j := 0, 0; i < na || j < nb; {
		// The next edge is the one whose far end comes first; compare (i+1)/na with (j+1)/nb in integers.
		if j == nb || (i < na && (i+1)*nb <= (j+1)*na) {
			b.tri(part, b.start+i, first+j%nb, b.start+(i+1)%na)
			i++
		} else {
			b.tri(part, b.start+i%na, first+j, first+(j+1)%nb)
			j++
		}
	}
}

// shells holds what both shells are made from.
type shells struct {
	p    *Params
	prof *profile
	w    *wobble
	ir   *iris
	sts  []station // meridian from the lip backward
	segs []int     // vertices of each of its rings
}

func newShells(p *Params, prof *profile, w *wobble, ir *iris) *shells {
	s := &shells{p: p, prof: prof, w: w, ir: ir}
	s.sts, s.segs = s.scleraStations()
	return s
}

// surface returns the outer shell's point at a station and angle and its normal, both with wobble.
//
// The displaced surface is S + h n, whose normal is n - sum of (dh/de_i)/(1 + h k_i) e_i over the principal
// directions e_i with curvatures k_i (do Carmo, Differential Geometry of Curves and Surfaces, section 3).
func (s *shells) surface(st station, theta float64) (p, n geom.Vec) {
	sin, cos := math.Sincos(theta)
	base := geom.Vec{X: st.r * cos, Y: st.r * sin, Z: st.z}
	nv := geom.Vec{X: st.nr * cos, Y: st.nr * sin, Z: st.nz}
	em := geom.Vec{X: st.nz * cos, Y: st.nz * sin, Z: -st.nr} // along the meridian, away from the front pole
	ep := geom.Vec{X: -sin, Y: cos}
	h, g := s.w.at(base)
	return base.Mad(h, nv), nv.Mad(-g.Dot(em)/(1+h*st.km), em).Mad(-g.Dot(ep)/(1+h*st.kp), ep).Unit()
}

// segments returns the number of vertices of a ring of radius r at edge length l.
func segments(r, l float64) int { return max(8, int(math.Ceil(2*math.Pi*r/l))) }

// scleraStations returns the meridian from the lip to just before the back pole, and the segments of each ring. Edges
// grow toward the back, which is seldom seen: up to three times the length.
func (s *shells) scleraStations() (sts []station, segs []int) {
	l := s.p.MeshDetail
	for _, r := range spaced(s.prof, s.p.lipRadius(), s.prof.b, l) {
		sts = append(sts, s.prof.front(r))
		segs = append(segs, segments(r, l))
	}
	phi := math.Asin(s.prof.b / s.prof.globe)
	for {
		grow := 1 + 2*geom.Smoothstep(1.8, 2.6, phi)
		phi += l * grow / s.prof.globe
		if phi > math.Pi-0.6*l*grow/s.prof.globe {
			return sts, segs
		}
		st := s.prof.sphere(phi)
		sts = append(sts, st)
		segs = append(segs, segments(st.r, l*grow))
	}
}

// spaced returns half chords from r0 to r1, both included, about l apart along the meridian.
func spaced(f *profile, r0, r1, l float64) []float64 {
	rs := []float64{r0}
	for r := r0; ; {
		_, d1, _ := f.at(r)
		r += l / math.Sqrt(1+d1*d1)
		if r > r1-0.5*l {
			return append(rs, r1)
		}
		rs = append(rs, r)
	}
}

// lay gives a mesh its texture coordinates.
func lay(m *mesh.Mesh, c *chart) *mesh.Mesh {
	m.UV = make([]geom.UV, len(m.P))
	for i, p := range m.P {
		m.UV[i] = c.uv(p)
	}
	return m
}

// outer builds the outer shell from the corneal apex back.
func (s *shells) outer(c *chart) *mesh.Mesh {
	var b builder
	pole, pn := s.surface(s.prof.front(0), 0)
	b.point(pole, pn, mesh.Tissue)
	l := s.p.MeshDetail
	for _, r := range spaced(s.prof, 0.8*l, s.p.lipRadius(), l) {
		if r < s.p.lipRadius() {
			st := s.prof.front(r)
			b.ring(segments(r, l), mesh.Tissue, func(t float64) (geom.Vec, geom.Vec) { return s.surface(st, t) })
		}
	}
	for i, st := range s.sts {
		b.ring(s.segs[i], mesh.Tissue, func(t float64) (geom.Vec, geom.Vec) { return s.surface(st, t) })
	}
	back, bn := s.surface(s.prof.sphere(math.Pi), 0)
	b.point(back, bn, mesh.Tissue)
	b.m.Part = nil
	return lay(&b.m, c)
}

// inner builds the inner shell from the floor of the pit forward, over the margin and the iris, up the wall and back
// round the globe.
func (s *shells) inner(c *chart) *mesh.Mesh {
	var b builder
	ir := s.ir
	edge := s.p.MeshDetail / 8
	n := max(96, int(math.Ceil(2*math.Pi*0.65*ir.root/edge/32))*32)

	rows := ir.rows(edge, n)
	if s.p.PupilClosed {
		rows = s.closed(&b, rows)
	} else {
		s.pit(&b, n)
	}
	// The edge of the margin, its rounding, the iris, the wall. Up to the lip normals come from the faces.
	for _, rw := range rows {
		b.ring(rw.n, mesh.Tissue, func(t float64) (geom.Vec, geom.Vec) { return s.at(rw, t), up })
	}
	faces := len(b.m.P)
	for i, st := range s.sts {
		b.ring(s.segs[i], mesh.Tissue, func(t float64) (geom.Vec, geom.Vec) {
			p, nv := s.surface(st, t)
			return p.Mad(-s.p.ShellGap, nv), nv
		})
	}
	back, bn := s.surface(s.prof.sphere(math.Pi), 0)
	b.point(back.Mad(-s.p.ShellGap, bn), bn, mesh.Tissue)
	faceNormals(&b.m, faces)
	return lay(&b.m, c)
}

var up = geom.Vec{Z: 1}

// pit starts the mesh with what lies behind the pupil: floor, cylinder and flare, all of which absorb. n is the
// number of vertices round the margin.
func (s *shells) pit(b *builder, n int) {
	ir := s.ir
	floor := ir.z - pitDepth
	b.point(geom.Vec{X: ir.cx, Y: ir.cy, Z: floor}, up, mesh.Backing)
	for _, k := range []float64{0.1, 0.3, 0.6, 0.85} {
		b.ring(max(16, int(float64(n)*k*0.5)), mesh.Backing, func(t float64) (geom.Vec, geom.Vec) {
			x, y := ir.margin(t, pitFlare)
			return geom.Vec{X: ir.cx + k*(x-ir.cx), Y: ir.cy + k*(y-ir.cy), Z: floor}, up
		})
	}
	wall := func(n int, d, z float64) {
		b.ring(n, mesh.Backing, func(t float64) (geom.Vec, geom.Vec) {
			x, y := ir.margin(t, d)
			return geom.Vec{X: x, Y: y, Z: z}, up
		})
	}
	wall(n/2, pitFlare, floor)
	wall(n/2, pitFlare, 0.5*(floor+ir.z-pitFlareAt))
	wall(n/2, pitFlare, ir.z-pitFlareAt)
	wall(n, 0.4*pitFlare, ir.z-0.4*pitFlareAt-0.6*(marginRound+marginEdge))
}

// closed starts the mesh with a disc of tissue over the pupil and returns the rows that are left to do.
func (s *shells) closed(b *builder, rows []row) []row {
	ir := s.ir
	at := func(k, t float64) geom.Vec {
		x, y := ir.margin(t, 0)
		x, y = ir.cx+k*(x-ir.cx), ir.cy+k*(y-ir.cy)
		return geom.Vec{X: x, Y: y, Z: ir.front(x, y, 0)}
	}
	b.point(at(0, 0), up, mesh.Tissue)
	steps := max(4, int(ir.pupil/s.p.MeshDetail))
	for i := 1; i <= steps; i++ {
		k := float64(i) / float64(steps)
		b.ring(segments(k*ir.pupil, s.p.MeshDetail), mesh.Tissue, func(t float64) (geom.Vec, geom.Vec) { return at(k, t), up })
	}
	for rows[0].rho == 0 {
		rows = rows[1:]
	}
	return rows
}
