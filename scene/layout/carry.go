package layout

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// Carry takes maps of a shell from its coordinates to others. Both meshes have the same triangles in the same order; From's may wind
// the other way where To is its mirror image.
type Carry struct {
	From, To *mesh.Mesh
	Mirror   bool
	Tile     []int // of each triangle of To; nil for all in tile 0
	Over     func(tile int, p geom.Vec) (geom.UV, bool)

	from, to *mesh.Tangents
}

// Ratio says how many texels a target has for one of the source, by area of the shell: along the direction in which it has the fewest.
type Ratio struct {
	Low, Median float64 // of the 5th and the 50th part in a hundred
}

// most is the largest number of samples a side that a texel takes.
const most = 16

// patch is a triangle in the target's texels.
type patch struct {
	x, y [3]float64 // texels of the target
	u, v [3]float64 // coordinates in the source
	tri  int
	over bool // beyond the seam
}

// patches lists the triangles of a tile: its own, then those beyond its seam.
func (c *Carry) patches(tile int, w, h float64) []patch {
	var own, over []patch
	for i, t := range c.To.Tri {
		f := c.From.Tri[i]
		if c.Mirror { // corner for corner
			f[1], f[2] = f[2], f[1]
		}
		p := patch{tri: i}
		for k := range 3 {
			q := c.From.UV[f[k]]
			p.u[k], p.v[k] = q.U, q.V
		}
		if c.Tile == nil || c.Tile[i] == tile {
			for k := range 3 {
				q := c.To.UV[t[k]]
				p.x[k], p.y[k] = (q.U-float64(tile))*w, q.V*h
			}
			own = append(own, p)
		}
		if c.Over == nil {
			continue
		}
		ok := true
		for k := range 3 {
			q, in := c.Over(tile, c.From.P[f[k]])
			ok = ok && in
			p.x[k], p.y[k] = (q.U-float64(tile))*w, q.V*h
		}
		if ok {
			p.over = true
			over = append(over, p)
		}
	}
	return append(own, over...)
}

// Map carries one map into a tile of w by h texels.
func (c *Carry) Map(s *Source, tile, w, h int) *Picture {
	if s.Kind == Normal && c.to == nil {
		c.from, c.to = mesh.MakeTangents(c.From), mesh.MakeTangents(c.To)
	}
	first := s.First()
	out := &Picture{W: w, H: h, C: first.C, Pix: make([]float32, w*h*first.C), Names: first.Names}
	list := c.patches(tile, float64(w), float64(h))
	const band = 16
	bands := (h + band - 1) / band
	rows := make([][]int32, bands)
	for i := range list {
		p := &list[i]
		lo, hi := int(math.Floor(min(p.y[0], p.y[1], p.y[2])-1)), int(math.Ceil(max(p.y[0], p.y[1], p.y[2])+1))
		for b := max(0, lo/band); b <= min(bands-1, hi/band); b++ {
			rows[b] = append(rows[b], int32(i))
		}
	}
	full := make([]uint8, w*h) // 2 an own texel, 1 one beyond the seam
	deep := make([]float32, w*h)
	parallel.Runs(bands, 1, func(b0, b1 int) {
		k := carrier{c: c, s: s, out: out, full: full, deep: deep}
		for b := b0; b < b1; b++ {
			for _, i := range rows[b] {
				k.draw(&list[i], b*band, min(h, (b+1)*band))
			}
		}
	})
	pad(out, full)
	return out
}

// carrier draws triangles into rows.
type carrier struct {
	c    *Carry
	s    *Source
	out  *Picture
	full []uint8
	deep []float32 // height of what a texel shows: where triangles overlap, the front one counts
	v    [4]float64
}

func (k *carrier) draw(p *patch, y0, y1 int) {
	w := k.out.W
	det := (p.x[1]-p.x[0])*(p.y[2]-p.y[0]) - (p.x[2]-p.x[0])*(p.y[1]-p.y[0])
	if math.Abs(det) < 1e-12 {
		return
	}
	x0, x1 := max(0, int(math.Floor(min(p.x[0], p.x[1], p.x[2])-0.5))), min(w-1, int(math.Ceil(max(p.x[0], p.x[1], p.x[2]))))
	y0, y1 = max(y0, int(math.Floor(min(p.y[0], p.y[1], p.y[2])-0.5))), min(y1-1, int(math.Ceil(max(p.y[0], p.y[1], p.y[2]))))
	// Barycentrics of corners 1 and 2 as they grow with x and y.
	bx, by := (p.y[2]-p.y[0])/det, -(p.x[2]-p.x[0])/det
	cx, cy := -(p.y[1]-p.y[0])/det, (p.x[1]-p.x[0])/det
	du1, du2, dv1, dv2 := p.u[1]-p.u[0], p.u[2]-p.u[0], p.v[1]-p.v[0], p.v[2]-p.v[0]
	first := k.s.First()
	sw, sh := float64(first.W), float64(first.H)
	j := [4]float64{sw * (du1*bx + du2*cx), sw * (du1*by + du2*cy), sh * (dv1*bx + dv2*cx), sh * (dv1*by + dv2*cy)}
	n := 1
	if big := singular(j); big > 1.0001 && k.s.Kind != IDs { // of numbers that in the middle counts
		n = min(most, int(math.Ceil(big)))
	}
	t := k.c.To.Tri[p.tri]
	z := [3]float64{k.c.To.P[t[0]].Z, k.c.To.P[t[1]].Z, k.c.To.P[t[2]].Z}
	const edge = 1e-9
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			ex, ey := float64(x)+0.5-p.x[0], float64(y)+0.5-p.y[0]
			b, c := bx*ex+by*ey, cx*ex+cy*ey
			if b < -edge || c < -edge || b+c > 1+edge {
				continue
			}
			at := y*w + x
			deep := float32(z[0] + b*(z[1]-z[0]) + c*(z[2]-z[0]))
			rank := uint8(2)
			if p.over {
				rank = 1
			}
			if k.full[at] > rank || k.full[at] == rank && k.deep[at] >= deep {
				continue
			}
			if k.texel(p, b, c, n, [4]float64{bx, by, cx, cy}, at) {
				k.full[at], k.deep[at] = rank, deep
			}
		}
	}
}

// singular is the largest singular value of a matrix (a, b; c, d).
func singular(m [4]float64) float64 {
	e, f, g := m[0]*m[0]+m[2]*m[2], m[0]*m[1]+m[2]*m[3], m[1]*m[1]+m[3]*m[3]
	return math.Sqrt(((e + g) + math.Sqrt((e-g)*(e-g)+4*f*f)) / 2)
}

// texel takes the mean of n by n samples about the barycentrics (b, c); d says how these grow with x and y.
func (k *carrier) texel(p *patch, b, c float64, n int, d [4]float64, at int) bool {
	var sum [4]float64
	got := 0
	for i := range n {
		for j := range n {
			ox, oy := (float64(i)+0.5)/float64(n)-0.5, (float64(j)+0.5)/float64(n)-0.5
			sb, sc := b+d[0]*ox+d[1]*oy, c+d[2]*ox+d[3]*oy
			u := p.u[0] + sb*(p.u[1]-p.u[0]) + sc*(p.u[2]-p.u[0])
			v := p.v[0] + sb*(p.v[1]-p.v[0]) + sc*(p.v[2]-p.v[0])
			pic, x, y := k.s.at(u, v)
			if pic == nil || pic.C != k.out.C {
				continue
			}
			switch k.s.Kind {
			case IDs:
				k.s.nearest(pic, x, y, k.v[:])
			case Normal:
				k.s.cubic(pic, x, y, k.v[:])
				if !k.turned(p, sb, sc) {
					continue
				}
			default:
				k.s.cubic(pic, x, y, k.v[:])
			}
			for q := range k.out.C {
				sum[q] += k.v[q]
			}
			got++
		}
	}
	if got == 0 {
		return false
	}
	px := k.out.Pix[at*k.out.C : (at+1)*k.out.C]
	if k.s.Kind == Normal {
		v := geom.Vec{X: sum[0], Y: sum[1], Z: float64(got)}.Unit()
		px[0], px[1], px[2] = float32(0.5+0.5*v.X), float32(0.5+0.5*k.s.Green*v.Y), float32(0.5+0.5*v.Z)
		return true
	}
	for q := range px {
		px[q] = float32(sum[q] / float64(got))
	}
	return true
}

// turned brings the normal that was read into the frame of the target: first into space, as the renderer does with the old
// coordinates, then by the exact inverse with the new ones. It leaves slopes.
func (k *carrier) turned(p *patch, b, c float64) bool {
	x, y, z := 2*k.v[0]-1, k.s.Green*(2*k.v[1]-1), 2*k.v[2]-1
	b, c = min(1, max(0, b)), min(1, max(0, c))
	if b+c > 1 {
		b, c = b/(b+c), c/(b+c)
	}
	fb, fc := b, c
	if k.c.Mirror {
		fb, fc = c, b
	}
	n := k.c.from.Decode(k.c.From, uint32(p.tri), fb, fc, x, y, z)
	if k.c.Mirror {
		n.X = -n.X
	}
	tri := uint32(p.tri)
	tx, ty, tz := k.c.to.Decode(k.c.To, tri, b, c, 1, 0, 0), k.c.to.Decode(k.c.To, tri, b, c, 0, 1, 0), k.c.to.Decode(k.c.To, tri, b, c, 0, 0, 1)
	det := tx.Dot(ty.Cross(tz))
	if math.Abs(det) < 1e-12 {
		return false
	}
	v := geom.Vec{X: n.Dot(ty.Cross(tz)), Y: n.Dot(tz.Cross(tx)), Z: n.Dot(tx.Cross(ty))}.Mul(1 / det)
	if !(v.Z > 1e-3*v.Len()) {
		v.Z = max(1e-6, 1e-3*v.Len())
	}
	k.v[0], k.v[1], k.v[2] = v.X/v.Z, v.Y/v.Z, 1
	return true
}

// pad gives texels that no triangle covers the values of the nearest one that is covered, by two sweeps that hand on the nearest place.
func pad(p *Picture, full []uint8) {
	w, h := p.W, p.H
	near := make([]int32, w*h)
	for i := range near {
		near[i] = -1
		if full[i] > 0 {
			near[i] = int32(i)
		}
	}
	far := func(at, from int) int {
		dx, dy := at%w-from%w, at/w-from/w
		return dx*dx + dy*dy
	}
	try := func(x, y, ox, oy int) {
		i, j := x+ox, y+oy
		if i < 0 || j < 0 || i >= w || j >= h || near[j*w+i] < 0 {
			return
		}
		at, o := y*w+x, near[j*w+i]
		if near[at] < 0 || far(at, int(o)) < far(at, int(near[at])) {
			near[at] = o
		}
	}
	for pass := range 2 {
		for yy := range h {
			y, s := yy, -1
			if pass == 1 {
				y, s = h-1-yy, 1
			}
			for x := range w {
				try(x, y, 0, s)
				try(x, y, -1, s)
				try(x, y, 1, s)
				try(x, y, -1, 0)
			}
			for x := w - 1; x >= 0; x-- {
				try(x, y, 1, 0)
			}
		}
	}
	for i, o := range near {
		if full[i] == 0 && o >= 0 {
			copy(p.Pix[i*p.C:(i+1)*p.C], p.Pix[int(o)*p.C:(int(o)+1)*p.C])
		}
	}
}

// Density compares a target of w by h texels a tile with a source of sw by sh, over the triangles that keep takes.
func (c *Carry) Density(w, h, sw, sh float64, keep func(tri int) bool) Ratio {
	var list []weighed
	all := 0.0
	for _, p := range c.every(w, h) {
		if !keep(p.tri) {
			continue
		}
		det := (p.x[1]-p.x[0])*(p.y[2]-p.y[0]) - (p.x[2]-p.x[0])*(p.y[1]-p.y[0])
		t := c.To.Tri[p.tri]
		area := c.To.P[t[1]].Sub(c.To.P[t[0]]).Cross(c.To.P[t[2]].Sub(c.To.P[t[0]])).Len()
		if math.Abs(det) < 1e-12 || area == 0 {
			continue
		}
		bx, by, cx, cy := (p.y[2]-p.y[0])/det, -(p.x[2]-p.x[0])/det, -(p.y[1]-p.y[0])/det, (p.x[1]-p.x[0])/det
		du1, du2, dv1, dv2 := p.u[1]-p.u[0], p.u[2]-p.u[0], p.v[1]-p.v[0], p.v[2]-p.v[0]
		big := singular([4]float64{sw * (du1*bx + du2*cx), sw * (du1*by + du2*cy), sh * (dv1*bx + dv2*cx), sh * (dv1*by + dv2*cy)})
		if big > 0 {
			list = append(list, weighed{1 / big, area})
			all += area
		}
	}
	return Ratio{share(list, 0.05*all), share(list, 0.5*all)}
}

// every lists the own triangles of all tiles.
func (c *Carry) every(w, h float64) []patch {
	plain := *c
	plain.Over = nil
	out := plain.patches(0, w, h)
	if c.Tile != nil {
		out = append(out, plain.patches(1, w, h)...)
	}
	return out
}
