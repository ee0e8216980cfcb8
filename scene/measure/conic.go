package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"

	"catchlight/scene/geom"
)

// Cornea is the conicoid of revolution that fits the cap of a shell:
// rho^2 + (1+Q) s^2 - 2 R s = 0, s the depth below its apex, rho the distance from its axis.
type Cornea struct {
	Radius   Value    // apical radius of curvature R
	Q        Value    // asphericity, the conic constant
	Apex     geom.Vec // its apex, in the space of the points
	ApexSE   float64  // along the axis
	Aperture float64  // half chord out to which the shell was looked at
	Spread   float64  // standard deviation of the points from it, robust
	Steady   bool     // radius and Q do not change with a smaller aperture, beyond their errors

	cov *mat.SymDense // of R, Q, apex along x, y and the axis; R and lengths in units of size
	loc [3]float64    // apex in the frame
}

// Bars under which a conic is held: standard errors of R as a share, and of Q. Own choice: the Q of people's corneas
// spreads by 0.18 (Kiely et al., Optica Acta 29 (1982), 1027; from memory), and a Q must tell at least that.
const (
	heldRadius = 0.02
	heldQ      = 0.1
)

// FitCornea fits a conicoid about the direction f.N to the points of a shell's front within the half chord aperture of
// the line through foot. Five unknowns: R, Q and the apex. The tilt is not free: on a cap it trades with the apex' place.
//
// The residual is the distance, by two steps of F/|grad F|. Source of one step: Sampson, Computer Graphics and Image
// Processing 18 (1982), 97; the conic as in Navarro et al., JOSA A 2 (1985), 1273.
func FitCornea(pts []Point, foot geom.Vec, f geom.Frame, aperture float64) Cornea {
	c := fitCap(pts, foot, f, aperture)
	if c.Radius.Held {
		// A conic has one R and one Q however much of it is looked at.
		small := fitCap(pts, foot, f, 0.75*aperture)
		far := func(a, b Value, floor float64) bool {
			return math.Abs(a.V-b.V) > floor+2*math.Hypot(a.SE, b.SE)
		}
		c.Steady = small.Radius.N > 20 && !far(c.Radius, small.Radius, 0.02*c.Radius.V) && !far(c.Q, small.Q, 0.1)
	}
	return c
}

// Long: the fit and its error share the sums over points.
func fitCap(pts []Point, foot geom.Vec, f geom.Frame, aperture float64) Cornea {
	const byR, byQ = "apical radius of the conic through the cap", "asphericity of the conic through the cap"
	c := Cornea{Aperture: aperture}
	no := func(format string, a ...any) Cornea {
		c.Radius, c.Q = none(byR, format, a...), none(byQ, format, a...)
		return c
	}
	// In units of the aperture.
	var list []geom.Vec
	for _, q := range pts {
		v := f.Local(q.P.Sub(foot)).Mul(1 / aperture)
		if v.Z > 0 && math.Hypot(v.X, v.Y) < 1 && q.N.Dot(f.N) > 0.2 {
			list = append(list, v)
		}
	}
	if len(list) < 20 {
		return no("%d vertices lie on the cap", len(list))
	}
	// Start: z = a + b rho^2 by least squares.
	var s0, s1, s2, t0, t1 float64
	for _, v := range list {
		r2 := v.X*v.X + v.Y*v.Y
		s0, s1, s2, t0, t1 = s0+1, s1+r2, s2+r2*r2, t0+v.Z, t1+r2*v.Z
	}
	det := s0*s2 - s1*s1
	b := (s0*t1 - s1*t0) / det
	if !(det > 0) || !(b < -1e-6) {
		return no("the cap is flat or hollow")
	}
	R, Q, x, y, z := -1/(2*b), 0.0, 0.0, 0.0, (s2*t0-s1*t1)/det
	rows := make([]row, len(list))
	fill := func() bool {
		for i, v := range list {
			// Two steps to the foot of the point on the conic; the derivatives are taken there, where the noise of the
			// point itself has no part in them.
			dx, dy, s, e := v.X-x, v.Y-y, z-v.Z, 0.0
			var g float64
			for range 2 {
				gs := (1+Q)*s - R
				r2 := dx*dx + dy*dy
				if g = math.Sqrt(r2 + gs*gs); !(g > 0) {
					return false
				}
				d := (r2 + (1+Q)*s*s - 2*R*s) / (2 * g)
				e += d
				dx, dy, s = dx-d*dx/g, dy-d*dy/g, s-d*gs/g
			}
			gs := (1+Q)*s - R
			g = 2 * math.Sqrt(dx*dx+dy*dy+gs*gs)
			rows[i] = row{e: e, w: 1, j: [5]float64{-2 * s / g, s * s / g, -2 * dx / g, -2 * dy / g, 2 * gs / g},
				patch: int(math.Floor((math.Atan2(v.Y, v.X)/math.Pi+1)*8)) + 17*int(4*(v.X*v.X+v.Y*v.Y))}
		}
		return true
	}
	res := make([]float64, len(rows))
	cut := math.Inf(1)
	for i := range 60 {
		if !fill() {
			return no("no conic fits the cap")
		}
		if i > 3 {
			for k := range rows {
				res[k] = rows[k].e
			}
			cut = max(1e-12, efficient*spread(res))
		}
		d, good := step(rows, 5, cut)
		if !good {
			return no("its points do not determine a conic")
		}
		// No step may turn the conic over.
		k := 1.0
		for R+k*d[0] < 0.3*R || math.Abs(k*d[1]) > 2 {
			k /= 2
		}
		R, Q, x, y, z = R+k*d[0], Q+k*d[1], x+k*d[2], y+k*d[3], z+k*d[4]
		if math.IsNaN(R) || R > 1e3 {
			return no("the cap is flat")
		}
		if i > 6 && math.Abs(d[0])+math.Abs(d[1])+math.Abs(d[4]) < 1e-10 {
			break
		}
	}
	fill()
	for k := range rows {
		res[k] = rows[k].e
	}
	c.Spread = spread(res) * aperture
	cov, used, good := covariance(rows, 5, cut)
	if !good {
		return no("its points do not determine a conic")
	}
	c.cov, c.loc = cov, [3]float64{x * aperture, y * aperture, z * aperture}
	c.Apex = foot.Add(f.World(geom.Vec{X: x, Y: y, Z: z}.Mul(aperture)))
	c.ApexSE = math.Sqrt(cov.At(4, 4)) * aperture
	c.Radius = Value{V: R * aperture, SE: math.Sqrt(cov.At(0, 0)) * aperture, By: byR, N: used, Held: true}
	c.Q = Value{V: Q, SE: math.Sqrt(cov.At(1, 1)), By: byQ, N: used, Held: true}
	if c.Radius.SE > heldRadius*c.Radius.V {
		c.Radius.Held, c.Radius.Why = false, "the cap is too small or too rough: its error is "+short(100*c.Radius.SE/c.Radius.V)+" %"
	}
	if c.Q.SE > heldQ {
		c.Q.Held, c.Q.Why = false, "the cap is too small or too rough: its error is "+short(c.Q.SE)
	}
	return c
}

// sag returns the depth of a conic at half chord r, NaN beyond its rim.
func sag(R, Q, r float64) float64 { return r * r / (R + math.Sqrt(R*R-(1+Q)*r*r)) }

// Root returns the half chord at which the conic meets a sphere of radius globe about foot: the geometric root of the
// cornea. globeSE is the standard error of the sphere's radius there.
//
// The error follows from those of R, Q, apex and globe to first order.
func (c *Cornea) Root(globe, globeSE float64) Value {
	const by = byRoot
	if c.cov == nil {
		return none(by, "the cornea is not held: %s", c.Radius.Why)
	}
	a := c.Aperture
	solve := func(R, Q, x, y, z, G float64) float64 {
		// Mean over azimuth of the half chord, about the globe's axis.
		const turns = 8
		sum := 0.0
		for k := range turns {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / turns)
			height := func(r float64) float64 {
				return z - sag(R, Q, math.Hypot(r*cos-x, r*sin-y)) - math.Sqrt(G*G-r*r)
			}
			lo, hi := 0.0, math.NaN()
			if !(height(0) > 0) {
				return math.NaN()
			}
			for i := 1; i <= 200; i++ {
				r := G * float64(i) / 200
				h := height(r)
				if math.IsNaN(h) {
					// The conic has turned under before it meets the globe: its rim.
					break
				}
				if h <= 0 {
					hi = r
					break
				}
				lo = r
			}
			if math.IsNaN(hi) {
				return math.NaN()
			}
			for range 50 {
				if mid := (lo + hi) / 2; height(mid) > 0 {
					lo = mid
				} else {
					hi = mid
				}
			}
			sum += lo / turns
		}
		return sum
	}
	R, Q := c.Radius.V, c.Q.V
	p := []float64{R, Q, c.loc[0], c.loc[1], c.loc[2], globe}
	at := func(p []float64) float64 { return solve(p[0], p[1], p[2], p[3], p[4], p[5]) }
	v := at(p)
	if math.IsNaN(v) {
		return none(by, "they do not meet")
	}
	unit := []float64{a, 1, a, a, a, a}
	var g [6]float64
	for i := range p {
		h := 1e-4 * unit[i]
		up, down := slices.Clone(p), slices.Clone(p)
		up[i] += h
		down[i] -= h
		if g[i] = (at(up) - at(down)) / (2 * h) * unit[i]; math.IsNaN(g[i]) {
			return none(by, "they hardly meet")
		}
	}
	s := 0.0
	for i := range 5 {
		for k := range 5 {
			s += g[i] * c.cov.At(i, k) * g[k]
		}
	}
	s += g[5] * g[5] / (a * a) * globeSE * globeSE
	out := Value{V: v, SE: math.Sqrt(s), By: by, N: c.Radius.N, Held: true}
	if out.SE > 0.1*v {
		out.Held, out.Why = false, "its error is "+short(out.SE)
	}
	return out
}
