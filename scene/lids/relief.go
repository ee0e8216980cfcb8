package lids

import (
	"catchlight/scene/geom"
	"catchlight/scene/half"
	"catchlight/scene/noise"
	"catchlight/scene/texture"
)

// Relief is the fine relief of skin beside its mesh: lines, wrinkles and pores. The mesh is raised and sunk by what its facets resolve; the
// maps hold the slopes that are left, so that both together are one relief. They lie over the texture coordinates of the skin.
type Relief struct {
	Tilt   *texture.Image // slope in the head's frame, mm per mm: the normal is that of the mesh less it, in the tangent plane
	Square *texture.Image // square of its length
	Sheen  *texture.Image // one texel a vertex: mean square slope of lines and pores about there; oil, 0 to 1; what multiplies roughness
}

// pixels are those of the maps of several sheets, one above the other.
type pixels struct {
	w, vw        int
	tilt, square []uint16
	sheen, stain []float32
}

// relief carves the sheet of skin, n vertices to a row and the first one again at its end, that at lists; it moves the vertices out and
// in, and adds the maps of the rest.
func (s *socket) relief(p []geom.Vec, normals []geom.Vec, n int, spots []spot, out *pixels) {
	w := n + 1
	if s.p.Lines == 0 && s.p.Age == 0 {
		s.smooth(p, normals, w, spots, out)
		return
	}
	g := newGrain(n, len(p)/w, s.seed, func(i, j int) (geom.Vec, *spot) { return p[j*w+i], &spots[j*n+i] })
	fine, deep := make([]float32, len(g.p)), make([]float32, len(g.p))
	if s.p.Lines > 0 {
		plates := g.newNet()
		g.lines(plates, fine, s.p.Lines*(0.75+0.6*s.p.Age))
		g.creases(fine, s.p.Lines)
		g.pores(plates, fine, s.p.Pores)
	}
	if s.p.Age > 0 {
		g.wrinkles(deep, s.p.Age)
	}
	square := g.squares(fine)
	low := make([]float64, n*g.vh)
	for j := range g.vh {
		for i := range n {
			k := j*n + i
			q := &spots[k]
			// Facets longer than a line take nothing of it.
			edge := max(float64(g.du[k])*acrossTexels, float64(g.dv[k])*downTexels)
			keep := geom.Smoothstep(0.26, 0.14, edge)
			f, d := g.block(fine, i, j), g.block(deep, i, j)
			low[k] = q.skin * (keep*f + d)
		}
	}
	for i := range fine {
		q := g.spotAt(i%g.w, i/g.w)
		fine[i] = float32(q.skin) * (fine[i] + deep[i])
	}
	g.slopes(fine, low, out)
	out.w = g.w
	s.carve(p, normals, w, spots, low)
	s.sheen(p, w, spots, square, out)
}

// smooth is relief for skin without lines: it swells, and its map of slopes is one texel without any.
func (s *socket) smooth(p []geom.Vec, normals []geom.Vec, w int, spots []spot, out *pixels) {
	out.w, out.tilt, out.square = 1, make([]uint16, 3), make([]uint16, 1)
	none := make([]float64, len(spots))
	s.carve(p, normals, w, spots, none)
	s.sheen(p, w, spots, none, out)
}

// carve moves the vertices of a sheet out by the heights, and as it swells.
func (s *socket) carve(p []geom.Vec, normals []geom.Vec, w int, spots []spot, height []float64) {
	for i, h := range p {
		k := i/w*(w-1) + i%w%(w-1)
		edge := p[(i+w)%len(p)].Sub(h).Len()
		p[i] = h.Mad(height[k]+s.swell(h, &spots[k], edge), normals[i])
	}
}

// swell returns the height of what is wider than a millimetre: fat and muscle under the skin. Facets of a longer edge take less of it.
func (s *socket) swell(h geom.Vec, q *spot, edge float64) float64 {
	sd := s.p.Seed
	v := 0.012*geom.Smoothstep(0.35, 0.2, edge)*noise.Space(sd+13, h.X*1.3, h.Y*1.3, h.Z*1.3) + 0.02*noise.Space(sd+14, h.X*0.6, h.Y*0.6, h.Z*0.6) + 0.05*(0.35+0.8*s.p.Age)*noise.Space(sd+16, h.X*0.24, h.Y*0.24, h.Z*0.24)
	return q.skin * geom.Smoothstep(0.2, 2.5, q.d) * v
}

// block returns the mean height of the texels about a vertex.
func (g *grain) block(height []float32, i, j int) float64 {
	sum := float32(0)
	for y := j * downTexels; y < (j+1)*downTexels; y++ {
		for x := i * acrossTexels; x < (i+1)*acrossTexels; x++ {
			sum += height[y*g.w+x]
		}
	}
	return float64(sum) / (acrossTexels * downTexels)
}

// gradient returns the slope of a height at texel (x, y) in the tangent plane of the texels.
func (g *grain) gradient(height []float32, x, y int) geom.Vec {
	l, r := y*g.w+(x+g.w-1)%g.w, y*g.w+(x+1)%g.w
	a, b := max(y-1, 0)*g.w+x, min(y+1, g.h-1)*g.w+x
	return slope(g.place(r).Sub(g.place(l)), g.place(b).Sub(g.place(a)), float64(height[r]-height[l]), float64(height[b]-height[a]))
}

// slope returns the vector in the plane of a and b along which a height rises by ha over a and by hb over b.
func slope(a, b geom.Vec, ha, hb float64) geom.Vec {
	aa, ab, bb := a.Len2(), a.Dot(b), b.Len2()
	det := aa*bb - ab*ab
	if !(det > 1e-6*aa*bb) {
		return geom.Vec{}
	}
	v := a.Mul((bb*ha-ab*hb)/det).Mad((aa*hb-ab*ha)/det, b)
	if l := v.Len(); l > 1.5 { // no fine relief is steeper than 56 degrees
		v = v.Mul(1.5 / l)
	}
	return v
}

// squares returns the mean square slope of a height about each vertex.
func (g *grain) squares(height []float32) []float64 {
	out := make([]float64, g.vw*g.vh)
	for j := range g.vh {
		for i := range g.vw {
			sum := 0.0
			for y := j * downTexels; y < (j+1)*downTexels; y += 2 {
				for x := i * acrossTexels; x < (i+1)*acrossTexels; x += 2 {
					sum += g.gradient(height, x, y).Len2()
				}
			}
			out[j*g.vw+i] = sum / (acrossTexels * downTexels / 4)
		}
	}
	// Over about a millimetre.
	for range 4 {
		for _, step := range [2]int{1, g.vw} {
			next := make([]float64, len(out))
			for k := range out {
				i, j := k%g.vw, k/g.vw
				a, b := max(j-1, 0)*g.vw+i, min(j+1, g.vh-1)*g.vw+i
				if step == 1 {
					a, b = j*g.vw+(i+g.vw-1)%g.vw, j*g.vw+(i+1)%g.vw
				}
				next[k] = 0.25*out[a] + 0.5*out[k] + 0.25*out[b]
			}
			out = next
		}
	}
	return out
}

// slopes adds the maps of a height's slope less that of the mesh, whose vertices were raised by low and whose normals are taken between them.
func (g *grain) slopes(height []float32, low []float64, out *pixels) {
	mesh := make([]geom.Vec, len(low))
	for j := range g.vh {
		for i := range g.vw {
			l, r := (i+g.vw-1)%g.vw, (i+1)%g.vw
			a, b := max(j-1, 0), min(j+1, g.vh-1)
			pl, _ := g.at(l, j)
			pr, _ := g.at(r, j)
			pa, _ := g.at(i, a)
			pb, _ := g.at(i, b)
			mesh[j*g.vw+i] = slope(pr.Sub(pl), pb.Sub(pa), low[j*g.vw+r]-low[j*g.vw+l], low[b*g.vw+i]-low[a*g.vw+i])
		}
	}
	for y := range g.h {
		j, f := g.down(y)
		for x := range g.w {
			i, k, e := g.across(x)
			a := geom.Lerp(mesh[j*g.vw+i], mesh[j*g.vw+k], e)
			b := geom.Lerp(mesh[(j+1)*g.vw+i], mesh[(j+1)*g.vw+k], e)
			v := g.gradient(height, x, y).Sub(geom.Lerp(a, b, f))
			out.tilt = append(out.tilt, half.FromFloat(float32(v.X)), half.FromFloat(float32(v.Y)), half.FromFloat(float32(v.Z)))
			out.square = append(out.square, half.FromFloat(float32(v.Len2())))
		}
	}
}

// sheen adds the map of how skin shines. Oil: the skin over the nose and beside it is oilier than that of the cheek, and thin lid skin
// is dry (Pierard-Franchimont and Pierard on sebum by region, from memory; numbers by eye). The rim is wet with the glands' oil.
func (s *socket) sheen(p []geom.Vec, w int, spots []spot, square []float64, out *pixels) {
	n := w - 1
	out.vw = n
	for k := range spots {
		q := &spots[k]
		h := p[k/n*w+k%n]
		lid := 1 - geom.Smoothstep(5, 13, q.d)
		oil := 0.85 - 0.12*lid + 0.15*geom.Smoothstep(0.6, 1, q.t)
		oil += 0.12*noise.Space(s.p.Seed+31, h.X*0.3, h.Y*0.3, h.Z*0.3) + 0.07*noise.Space(s.p.Seed+32, h.X*0.9, h.Y*0.9, h.Z*0.9)
		rim := 1 - geom.Smoothstep(0, 1.2, q.d)
		oil += (1 - oil) * rim
		out.sheen = append(out.sheen, float32(square[k]*q.skin), float32(max(0.3, min(1, oil))), float32(1-0.45*rim*rim))
	}
}

// images wraps the pixels of all sheets.
func (x *pixels) images() Relief {
	return Relief{
		Tilt:   texture.NewImage16(x.w, len(x.square)/x.w, 3, x.tilt, texture.Half),
		Square: texture.NewImage16(x.w, len(x.square)/x.w, 1, x.square, texture.Half),
		Sheen:  texture.NewImage(x.vw, len(x.sheen)/(3*x.vw), 3, x.sheen),
	}
}
