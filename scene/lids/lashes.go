package lids

import (
	"math"
	"math/rand/v2"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// How many lashes of each lid at density 1, and the tubes' make.
const (
	upperLashes = 120
	lowerLashes = 75 // some of them too fine and short to show
	lashSides   = 5
	lashRings   = 9
)

// lashes grows hairs from the outer edge of the rims in uneven clusters, or nothing.
func (s *socket) lashes() *mesh.Mesh {
	var m *mesh.Mesh
	r := rand.New(rand.NewPCG(s.seed, 0x1a54e5))
	for _, upper := range []bool{true, false} {
		length, count := s.p.LowerLash, lowerLashes
		if upper {
			length, count = s.p.UpperLash, upperLashes
		}
		n := int(math.Round(float64(count) * s.p.LashDensity))
		if length <= 0 || n == 0 {
			continue
		}
		line := s.o.side(upper)
		for i := 0; i < n; {
			// A cluster: neighbours that lean toward each other's tips.
			k := min(n-i, 1+r.IntN(5))
			lean := 1.3 * r.NormFloat64()
			mid := (float64(i) + float64(k)/2) / float64(n)
			for j := range k {
				f := (float64(i+j) + 0.5 + 0.45*(2*r.Float64()-1)) / float64(n)
				gather := (mid - f) * float64(n) / max(1, float64(k))
				at := 0.035 + 0.86*f
				if !upper {
					at = 0.03 + 0.74*f + 0.08*f*f*f // sparse toward the nose
				}
				m = join(m, s.lash(line, at, upper, length, lean, gather, r))
			}
			i += k
		}
	}
	return m
}

// side returns the stations of one lid from the outer corner to the inner one.
func (o *opening) side(upper bool) []*station {
	a, b := 0, 0
	for i := range o.s {
		if o.s[i].x > o.s[a].x {
			a = i
		}
		if o.s[i].x < o.s[b].x {
			b = i
		}
	}
	n := len(o.s)
	var out []*station
	step := n - 1 // backward: over the upper lid from the outer corner
	if !upper {
		step = 1
	}
	for i := b; i != a; i = (i + step) % n {
		out = append(out, &o.s[i])
	}
	return out
}

// lash grows one hair at the share f of a lid's length from the outer corner.
func (s *socket) lash(line []*station, f float64, upper bool, length, lean, gather float64, r *rand.Rand) *mesh.Mesh {
	q := line[min(len(line)-1, int(f*float64(len(line))))]
	u := [6]float64{}
	for i := range u {
		u[i] = 2*r.Float64() - 1
	}
	// Rows: roots stand in two or three uneven lines on the outer edge.
	x, y := q.ray(0.32 + 0.3*u[0] - q.lean()*(s.p.Rim-0.3))
	up := q.up
	root := s.g.point(x, y, 0).Mad(s.p.Gap+s.p.Rim-0.3+0.08*u[0], up)
	side := up.Cross(q.away) // along the rim
	if side.X > 0 {
		side = side.Neg() // toward the temple
	}
	// Shorter toward the inner corner, longest at two thirds outward.
	l := length * (0.55 + 0.45*math.Sin(math.Pi*min(1, 0.18+0.75*f))) * (1 - 0.4*geom.Smoothstep(0.65, 0.95, f)) * (1 + 0.16*u[1])
	if u[5] > 0.86 || !upper && u[4] > 0.2 {
		l *= 0.6 // one that has just grown
	}
	fan := 0.55 - 1.05*f + 0.16*lean + 0.1*u[2] // outward at the temple, inward at the nose
	// Angle in the plane of "out of the face" and "away from the opening".
	a0, a1 := geom.Radians(-12+9*u[3]), geom.Radians(76+14*u[4]+8*lean)
	if !upper {
		a0, a1 = geom.Radians(8+10*u[3]), geom.Radians(40+16*u[4]+8*lean)
	}
	out := up.Mul(0.55).Add(geom.Vec{Z: 0.6}).Unit()
	away := q.away.Mad(-q.away.Dot(out), out).Unit()
	pts := make([]geom.Vec, lashRings+1)
	pts[0] = root.Mad(-0.35, out)
	p := root
	for i := range lashRings {
		t := (float64(i) + 0.5) / lashRings
		sin, cos := math.Sincos(a0 + (a1-a0)*math.Pow(t, 0.85))
		d := out.Mul(cos).Mad(sin, away).Mad(fan+gather*0.85*t, side).Unit()
		if i == 0 {
			pts[0] = root.Mad(-0.35, d)
		}
		p = p.Mad(l/lashRings, d)
		pts[i+1] = p
	}
	width := s.p.LashWidth / 2 * (1 + 0.15*u[5])
	if !upper {
		width *= 0.7 * (1 - 0.4*geom.Smoothstep(0.5, 0.85, f)) // finer, and finest toward the nose
		if u[4] > 0.2 {
			width *= 0.75
		}
	}
	return s.tube(pts, width)
}

// tube makes a closed tapered tube along points.
func (s *socket) tube(pts []geom.Vec, radius float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	n := len(pts)
	ref := geom.Vec{X: 0.3, Y: 0.2, Z: -0.9}
	for i, p := range pts {
		d := pts[min(i+1, n-1)].Sub(pts[max(i-1, 0)]).Unit()
		a := ref.Mad(-ref.Dot(d), d).Unit()
		b := d.Cross(a)
		t := float64(i) / float64(n-1)
		rad := radius * (1 - 0.9*math.Pow(t, 1.6))
		for k := range lashSides {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / lashSides)
			v := a.Mul(cos).Mad(sin, b)
			m.P, m.N, m.UV = append(m.P, s.head(p.Mad(rad, v))), append(m.N, s.turned(v)), append(m.UV, geom.UV{})
		}
	}
	at := func(i, k int) uint32 { return uint32(i*lashSides + k%lashSides) }
	for i := range n - 1 {
		for k := range lashSides {
			m.Tri = append(m.Tri, s.wind(at(i, k), at(i, k+1), at(i+1, k)), s.wind(at(i, k+1), at(i+1, k+1), at(i+1, k)))
		}
	}
	for k := 1; k < lashSides-1; k++ {
		m.Tri = append(m.Tri, s.wind(at(0, 0), at(0, k+1), at(0, k)), s.wind(at(n-1, 0), at(n-1, k), at(n-1, k+1)))
	}
	return m
}

// turned takes a direction of a right eye's socket into the head's frame.
func (s *socket) turned(v geom.Vec) geom.Vec {
	if s.left {
		v.X = -v.X
	}
	return v
}
