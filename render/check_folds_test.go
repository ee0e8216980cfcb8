package render

import (
	"math"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/geom"
)

// plane is a receiving rectangle about a point of an eye's frame in a plane of constant z: n x m cells in rows from the top left,
// pitch mm.
type plane struct {
	x, y, z float64
	n, m    int
	pitch   float64
}

// thrown is light of irradiance 1 from direction l (unit, the eye's frame) thrown forward through an eye's outer shell onto
// a plane: mean irradiance of each cell. Each triangle of the shell is cut into parts x parts beams; Snell's law at a beam's
// corners, with normals that run straight between the triangle's corners, says where it lands, and its light is spread evenly
// there, on a grid of sub x sub points a cell. What the shell itself keeps off, on the way in or to the plane, is left out. It
// shares nothing with the solver: no seeds, no Newton, no weights, no random numbers.
//
// Source: Watt, Light-Water Interaction using Backward Beam Tracing, SIGGRAPH 1990 (from memory).
func thrown(s *frozen.Scene, l geom.Vec, g plane, parts, sub int) []float64 {
	e := &s.Eyes[0]
	b := &s.Objects[e.Outer]
	in := s.Objects[e.Inner].BVH
	shell := b.Mesh
	sc := accel.NewScratch()
	w, h := g.n*sub, g.m*sub
	step := g.pitch / float64(sub)
	fine := make([]float64, w*h)
	col := func(x float64) float64 { return (x-g.x)/step + float64(w-1)/2 }
	row := func(y float64) float64 { return float64(h-1)/2 - (y-g.y)/step }
	type ray struct {
		p, d geom.Vec
		at   geom.UV
		pass float64
		ok   bool
	}
	k := parts + 1
	rays := make([]ray, k*k)
	for _, t := range shell.Tri {
		a, bb, c := shell.P[t[0]], shell.P[t[1]], shell.P[t[2]]
		cross := bb.Sub(a).Cross(c.Sub(a))
		if cross.Dot(l) <= 0 || max(a.Z, bb.Z, c.Z) < g.z {
			continue
		}
		up := cross.Unit()
		for j := range k {
			for i := range k - j {
				u, v := float64(i)/float64(parts), float64(j)/float64(parts)
				r := &rays[j*k+i]
				*r = ray{p: geom.Mix(a, bb, c, u, v)}
				nn := geom.Mix(shell.N[t[0]], shell.N[t[1]], shell.N[t[2]], u, v).Unit()
				cos := nn.Dot(l)
				if cos <= 0 {
					cos = 0 // goes along the surface, and nothing passes
				}
				q := math.Sqrt(1 - (1-cos*cos)/(e.Index*e.Index))
				r.d = l.Mul(-1/e.Index).Mad(nn.Dot(l)/e.Index-q, nn).Unit()
				rs, rp := (cos-e.Index*q)/(cos+e.Index*q), (q-e.Index*cos)/(q+e.Index*cos)
				r.pass = 1 - (rs*rs+rp*rp)/2
				if cos == 0 {
					r.pass = 0
				}
				z := (g.z - r.p.Z) / r.d.Z
				r.ok = z > 0
				hit := r.p.Mad(z, r.d)
				r.at = geom.UV{U: hit.X, V: hit.Y}
			}
		}
		beam := func(x, y, z *ray) {
			if !x.ok || !y.ok || !z.ok {
				return
			}
			flux := cross.Dot(l) / 2 / float64(parts*parts) * (x.pass + y.pass + z.pass) / 3
			q := [3]geom.UV{x.at, y.at, z.at}
			area := ((q[1].U-q[0].U)*(q[2].V-q[0].V) - (q[2].U-q[0].U)*(q[1].V-q[0].V)) / 2
			if flux <= 0 || area == 0 {
				return
			}
			x0, x1 := max(0, int(math.Ceil(col(min(q[0].U, q[1].U, q[2].U))))), min(w-1, int(math.Floor(col(max(q[0].U, q[1].U, q[2].U)))))
			y0, y1 := max(0, int(math.Ceil(row(max(q[0].V, q[1].V, q[2].V))))), min(h-1, int(math.Floor(row(min(q[0].V, q[1].V, q[2].V)))))
			if x0 > x1 || y0 > y1 {
				return
			}
			seen := func(y, x geom.Vec) bool {
				if b.BVH.Occluded(sc, y.Mad(1e-4, up), l, 0, math.Inf(1)) {
					return false
				}
				from := y.Mad(-1e-4, up)
				way := x.Sub(from)
				return !b.BVH.Occluded(sc, from, way, 0, 1) && !in.Occluded(sc, from, way, 0, 1)
			}
			for yy := y0; yy <= y1; yy++ {
				for xx := x0; xx <= x1; xx++ {
					px, py := (float64(xx)-float64(w-1)/2)*step+g.x, (float64(h-1)/2-float64(yy))*step+g.y
					u := ((px-q[0].U)*(q[2].V-q[0].V) - (q[2].U-q[0].U)*(py-q[0].V)) / (2 * area)
					v := ((q[1].U-q[0].U)*(py-q[0].V) - (px-q[0].U)*(q[1].V-q[0].V)) / (2 * area)
					if u >= 0 && v >= 0 && u+v <= 1 && seen(geom.Mix(x.p, y.p, z.p, u, v), geom.Vec{X: px, Y: py, Z: g.z}) {
						fine[yy*w+xx] += flux / math.Abs(area)
					}
				}
			}
		}
		for j := range parts {
			for i := range parts - j {
				beam(&rays[j*k+i], &rays[j*k+i+1], &rays[(j+1)*k+i])
				if i+j+1 < parts {
					beam(&rays[j*k+i+1], &rays[(j+1)*k+i+1], &rays[(j+1)*k+i])
				}
			}
		}
	}
	out := make([]float64, g.n*g.m)
	for i, v := range fine {
		out[i/w/sub*g.n+i%w/sub] += v / float64(sub*sub)
	}
	return out
}
