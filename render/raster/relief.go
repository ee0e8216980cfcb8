package raster

import (
	"math"

	"catchlight/render/frozen"
	"catchlight/render/raster/cover"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// relief is the front of an eye's inner shell under the cornea as maps over the plane across its axis, looked down on from the cornea:
// what a game would bake from the fine mesh. Lengths are in mm of the eye's frame.
type relief struct {
	reach    float64 // half the side of the square
	n        int
	z        []float32   // height along the axis; the pit of the pupil lies pitDepth below its margin
	open     []float32   // 1 on tissue, 0 where light is swallowed
	slopes   texture.Map // x and y of the normal over its z, and the share of diffuse light that crevices let in
	top, low float64     // range of z
	steps    int         // down the range before a crossing is closed in on; 0: reliefSteps
}

// newRelief bakes the relief in n x n texels.
func newRelief(s *frozen.Scene, e *frozen.Eye, n int, occlusion bool, workers int) *relief {
	b := &s.Objects[e.Inner]
	m := b.Mesh
	r := &relief{reach: e.LimbusRadius + e.LimbusWidth, n: n, z: make([]float32, n*n), open: make([]float32, n*n), top: math.Inf(-1), low: math.Inf(1)}
	box := m.Bounds()
	f := geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}
	pass := cover.NewPass(cover.Flat(f, geom.Vec{Z: box.Hi.Z + 1}, float64(n)/2, float64(n)/2, 2*r.reach/float64(n), n, n, 0.5, box.Hi.Z-box.Lo.Z+2))
	pass.Add(m.P, m.Tri, 0, cover.Front, workers)
	buf := pass.Draw(1, workers)
	slopes := make([]float32, 3*n*n)
	backs := func(p uint32) bool { return m.Part != nil && m.Part[p] == mesh.Backing }
	for i, id := range buf.ID {
		if id == cover.None {
			continue
		}
		pl := pass.At(id, float64(i%n)+0.5, float64(i/n)+0.5)
		if backs(pl.Prim) {
			continue
		}
		sf := s.Surface(geom.Ray{}, &frozen.Hit{Object: e.Inner, Prim: pl.Prim, U: pl.U, V: pl.V})
		r.z[i], r.open[i] = float32(b.ToLocal.Point(sf.P).Z), 1
		ns := sf.Ns
		if e.InnerNormal.Valid() {
			ns = s.MappedNormal(&sf, &e.InnerNormal, e.InnerNormalGain)
		}
		l := b.ToLocal.Vector(ns).Unit()
		k := 1 / max(0.05, l.Z)
		slopes[3*i], slopes[3*i+1], slopes[3*i+2] = float32(l.X*k), float32(l.Y*k), 1
		r.top, r.low = max(r.top, float64(r.z[i])), min(r.low, float64(r.z[i]))
	}
	if r.top < r.low { // no tissue in sight: all is open
		r.top, r.low = 0, 0
	}
	// What is open lies level with the lowest tissue beside it: seen from above that is the narrowest ring of the margin, and rays that
	// pass it are swallowed.
	pit := math.Inf(1)
	texel := 2 * r.reach / float64(n)
	for i := n; i < n*(n-1); i++ {
		x, y := (float64(i%n)-float64(n)/2)*texel, (float64(i/n)-float64(n)/2)*texel
		if x*x+y*y < e.LimbusRadius*e.LimbusRadius && r.open[i] == 1 && r.open[i-1]+r.open[i+1]+r.open[i-n]+r.open[i+n] < 4 {
			pit = min(pit, float64(r.z[i]))
		}
	}
	for i := range r.z {
		if r.open[i] == 0 {
			r.z[i] = float32(min(pit, r.top))
		}
	}
	if occlusion {
		for i, o := range r.crevices(workers) {
			slopes[3*i+2] = o
		}
	}
	r.slopes = texture.FromImage(texture.NewImage(n, n, 3, slopes), texture.Clamp)
	return r
}

// baseSide is the side of the smooth form of a relief.
const baseSide = 64

// smooth returns the relief's form without its strands, about 0.6 mm across, with the pupil bridged at the height of its surroundings.
func (r *relief) smooth() *relief {
	b := &relief{reach: r.reach, n: baseSide, z: make([]float32, baseSide*baseSide), top: r.top, low: r.low, steps: smoothSteps}
	known := make([]float32, len(b.z)) // share of each cell that is tissue
	for i, z := range r.z {
		if r.open[i] == 1 {
			c := i/r.n*baseSide/r.n*baseSide + i%r.n*baseSide/r.n
			b.z[c] += z
			known[c]++
		}
	}
	for i := range b.z {
		if known[i] > 0 {
			b.z[i] /= known[i]
			known[i] = 1
		}
	}
	// Cells without tissue take the mean of their neighbours, from the margin inward; then the whole is blurred.
	pass := func(fill bool) {
		z, k := append([]float32(nil), b.z...), append([]float32(nil), known...)
		for y := range baseSide {
			for x := range baseSide {
				if fill && k[y*baseSide+x] > 0 {
					continue
				}
				var sum, weight float32
				for j := max(0, y-1); j <= min(baseSide-1, y+1); j++ {
					for i := max(0, x-1); i <= min(baseSide-1, x+1); i++ {
						w := k[j*baseSide+i]
						sum, weight = sum+w*z[j*baseSide+i], weight+w
					}
				}
				if weight > 0 {
					b.z[y*baseSide+x], known[y*baseSide+x] = sum/weight, 1
				}
			}
		}
	}
	for range baseSide {
		pass(true)
	}
	for range 2 {
		pass(false)
	}
	return b
}

// normal returns the normal of the relief's form at (x, y) from differences over a cell.
func (r *relief) normal(x, y float64) geom.Vec {
	h := 2 * r.reach / float64(r.n)
	return geom.Vec{
		X: (r.read(r.z, x-h, y) - r.read(r.z, x+h, y)) / (2 * h),
		Y: (r.read(r.z, x, y-h) - r.read(r.z, x, y+h)) / (2 * h),
		Z: 1,
	}.Unit()
}

// uv returns where the maps hold the point (x, y).
func (r *relief) uv(x, y float64) geom.UV {
	return geom.UV{U: 0.5 + x/(2*r.reach), V: 0.5 - y/(2*r.reach)}
}

// read returns the bilinear value of a map at (x, y), held at its edge.
func (r *relief) read(pix []float32, x, y float64) float64 {
	n := float64(r.n)
	px, py := (0.5+x/(2*r.reach))*n-0.5, (0.5-y/(2*r.reach))*n-0.5
	px, py = max(0, min(n-1.001, px)), max(0, min(n-1.001, py))
	i, j := int(px), int(py)
	fx, fy := px-float64(i), py-float64(j)
	k := j*r.n + i
	a, b := float64(pix[k])+fx*float64(pix[k+1]-pix[k]), float64(pix[k+r.n])+fx*float64(pix[k+r.n+1]-pix[k+r.n])
	return a + fy*(b-a)
}

// shareSide is how many places a side tissueShare reads, over how many pixels.
const (
	shareSide = 6
	shareWide = 1.5
)

// tissueShare returns the share of a pixel about q that is tissue and not the pupil, and the middle of that tissue; dx and dy are
// the pixel's steps. Near places count more than far ones (a tent, as a picture's filter), so that the margin has no steps. At
// the margin q itself may lie in the pupil, where there is no colour: the middle does not.
func (r *relief) tissueShare(q, dx, dy geom.Vec) (share float64, middle geom.Vec) {
	var all float64
	for i := range shareSide * shareSide {
		a, b := (float64(i%shareSide)+0.5)/shareSide*2-1, (float64(i/shareSide)+0.5)/shareSide*2-1
		p := q.Mad(a*shareWide/2, dx).Mad(b*shareWide/2, dy)
		w := (1 - math.Abs(a)) * (1 - math.Abs(b))
		all += w
		w *= r.read(r.open, p.X, p.Y)
		share, middle = share+w, middle.Mad(w, p)
	}
	if share <= 0 {
		return 0, q
	}
	middle = middle.Mul(1 / share)
	middle.Z = q.Z
	if share < 0.999*all {
		middle.Z = r.read(r.z, middle.X, middle.Y)
	}
	return share / all, middle
}

// reliefSteps is the number of equal steps down the relief before the crossing is closed in on.
const reliefSteps = 24

// smoothSteps is that of a smooth form, which has no strands to step over.
const smoothSteps = 5

// meet returns where the ray o + t d of the eye's frame, which runs inward (d.Z < 0), meets the relief.
//
// Source: Policarpo, Oliveira and Comba, Real-Time Relief Mapping on Arbitrary Polygonal Surfaces, I3D 2005.
func (r *relief) meet(o, d geom.Vec) geom.Vec {
	at := func(t float64) (geom.Vec, float64) {
		p := o.Mad(t, d)
		return p, p.Z - r.read(r.z, p.X, p.Y)
	}
	k := -1 / min(d.Z, -1e-3)
	t0, t1 := max(0, (o.Z-r.top)*k), max(0, (o.Z-r.low)*k)
	last, h := at(t0)
	if h <= 0 {
		return last
	}
	steps := reliefSteps
	if r.steps > 0 {
		steps = r.steps
	}
	dt := (t1 - t0) / float64(steps)
	for t := t0; ; {
		p, q := at(t + dt)
		if q <= 0 {
			// Between t and t + dt: two steps of the secant.
			a, b, ha, hb := t, t+dt, h, q
			for range 3 {
				m := a + (b-a)*ha/(ha-hb)
				var hm float64
				if p, hm = at(m); hm > 0 {
					a, ha = m, hm
				} else {
					b, hb = m, hm
				}
			}
			return p
		}
		if t += dt; t >= t1+dt {
			return p
		}
		h = q
	}
}
