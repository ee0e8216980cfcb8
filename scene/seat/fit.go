package seat

import (
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

// profile is how far a globe reaches in each direction about its own axis straight ahead, as modelled.
type profile struct {
	ahead, left, up geom.Vec
	n, m            int // steps of angle from ahead, and round
	r               []float64
	plain           float64
}

// profileReach is the angle from straight ahead, in radians, within which a globe's own shape counts; beyond it is a ball.
const profileReach = 130 * math.Pi / 180

func newProfile(g Globe, workers int) (*profile, error) {
	t, err := near.New(g.Shell)
	if err != nil {
		return nil, err
	}
	p := &profile{ahead: g.Ahead, plain: g.Radius, n: 131, m: 144}
	f := geom.NewFrame(g.Ahead)
	p.left, p.up = f.S, f.T
	p.r = make([]float64, p.n*p.m)
	parallel.Each(p.n, workers, func(i int) {
		st, ct := math.Sincos(profileReach * float64(i) / float64(p.n-1))
		for j := range p.m {
			sp, cp := math.Sincos(2 * math.Pi * float64(j) / float64(p.m))
			d := p.ahead.Mul(ct).Mad(st*cp, p.left).Mad(st*sp, p.up)
			p.r[i*p.m+j] = g.Radius
			if h, ok := t.Ray(g.Centre, d, 0.5*g.Radius, 1.6*g.Radius, -1); ok {
				p.r[i*p.m+j] = h.T
			}
		}
	})
	return p, nil
}

// at returns how far the globe reaches along d (unit), bilinearly.
func (p *profile) at(d geom.Vec) float64 {
	a := math.Acos(max(-1, min(1, d.Dot(p.ahead)))) / profileReach * float64(p.n-1)
	if a >= float64(p.n-1) {
		return p.plain
	}
	b := math.Atan2(d.Dot(p.up), d.Dot(p.left)) / (2 * math.Pi) * float64(p.m)
	if b < 0 {
		b += float64(p.m)
	}
	i, j := int(a), int(b)%p.m
	fa, fb := a-float64(i), b-math.Floor(b)
	k := (j + 1) % p.m
	lo := p.r[i*p.m+j]*(1-fb) + p.r[i*p.m+k]*fb
	hi := p.r[(i+1)*p.m+j]*(1-fb) + p.r[(i+1)*p.m+k]*fb
	return lo*(1-fa) + hi*fa
}

// turn is the turn of the globe that looks azimuth toward the left and elevation up from straight ahead, without rolling.
func (s *socket) turn(gaze [2]float64) geom.Affine {
	se, ce := math.Sincos(geom.Radians(gaze[1]))
	sa, ca := math.Sincos(geom.Radians(gaze[0]))
	left := s.up.Cross(s.g.Ahead)
	return geom.Turn(s.g.Ahead, s.g.Ahead.Mul(ce*ca).Mad(ce*sa, left).Mad(se, s.up))
}

// clearance returns the distances from the globe, moved and turned back by back, to the inner and the outer face along a look.
func (s *socket) clearance(l *look, move geom.Vec, back *geom.Affine) (in, out float64) {
	v := l.d.Mul(l.in).Sub(move)
	k := v.Len()
	r := s.far.at(back.Vector(v.Mul(1 / k)))
	return k - r, k - r + l.out - l.in
}

// fit measures the globe moved by move over gazes.
func (s *socket) fit(move geom.Vec, gazes [][2]float64) (f Fit) {
	const sectors = 72
	made := make([]Fit, len(gazes))
	parallel.Each(len(gazes), s.o.Workers, func(i int) {
		back := s.turn(gazes[i]).Inverse()
		f := &made[i]
		var gap [sectors]float64
		var at [sectors]*look
		for k := range s.looks {
			l := &s.looks[k]
			if l.in > near1*s.g.Radius {
				continue
			}
			in, out := s.clearance(l, move, &back)
			if -out > f.Clip.MM {
				f.Clip = s.worst(l, -out, gazes[i])
			}
			if out >= 0 && -in > f.Rub.MM {
				f.Rub = s.worst(l, -in, gazes[i])
			}
			if l.rim >= 0 && !s.inCorner(l) {
				c := int(math.Floor((l.clock/(2*math.Pi)+0.5)*sectors)) % sectors
				if at[c] == nil || in < gap[c] {
					gap[c], at[c] = in, l
				}
			}
		}
		sum, n := 0.0, 0
		for c, l := range at {
			if l == nil {
				continue
			}
			sum, n = sum+max(0, gap[c]), n+1
			if gap[c] > f.Gap.MM {
				f.Gap = s.worst(l, gap[c], gazes[i])
			}
		}
		f.Mean = sum / float64(max(1, n))
	})
	f.Mean = made[0].Mean
	for i := range made {
		for _, q := range []struct{ a, b *Worst }{{&f.Gap, &made[i].Gap}, {&f.Clip, &made[i].Clip}, {&f.Rub, &made[i].Rub}} {
			if q.b.MM > q.a.MM {
				*q.a = *q.b
			}
		}
	}
	return f
}

// inCorner says whether a look lies where the lids leave the globe for the inner corner.
func (s *socket) inCorner(l *look) bool {
	a := l.clock
	if s.g.Nose.Dot(s.up.Cross(s.g.Ahead)) < 0 { // the nose is on the person's right
		a -= math.Pi
	}
	return math.Cos(a) > math.Cos(geom.Radians(corner))
}

func (s *socket) worst(l *look, mm float64, gaze [2]float64) Worst {
	h := 3 - l.clock*6/math.Pi // the person's left is on the right of who looks at the face
	if h <= 0.5 {
		h += 12
	}
	return Worst{MM: mm, At: s.g.Centre.Mad(l.in, l.d), Clock: h, Beyond: max(0, l.rim) * math.Pi / 180 * s.g.Radius, Gaze: gaze}
}

// chart maps the worst over gazes: the deepest clip or rub, else the widest gap.
func (s *socket) chart(gazes [][2]float64) Map {
	m := Map{N: s.n, Cell: s.o.Cell, MM: make([]float64, s.n*s.n), Out: make([]bool, s.n*s.n)}
	for i := range m.MM {
		m.MM[i] = math.NaN()
	}
	for _, g := range gazes {
		back := s.turn(g).Inverse()
		for k := range s.looks {
			l := &s.looks[k]
			in, out := s.clearance(l, geom.Vec{}, &back)
			i := l.y*s.n + l.x
			if was := m.MM[i]; math.IsNaN(was) || in < 0 && in < was || was >= 0 && in > was {
				m.MM[i] = in
			}
			m.Out[i] = m.Out[i] || out < 0
		}
	}
	return m
}

// best seeks the move that seats the globe best: the gaps beside the rim, of each sector the least, come near snug, and what reaches
// into a lid counts four times. Steps of weighted least squares, since a move along d lessens a gap there by its length.
func (s *socket) best(gazes [][2]float64) (move geom.Vec) {
	const sectors = 36
	for range 12 {
		var a [3][3]float64
		var b [3]float64
		for _, g := range gazes {
			back := s.turn(g).Inverse()
			var gap [sectors]float64
			var at [sectors]*look
			for k := range s.looks {
				l := &s.looks[k]
				if l.rim < 0 || l.in > near1*s.g.Radius || s.inCorner(l) {
					continue
				}
				in, _ := s.clearance(l, move, &back)
				c := int(math.Floor((l.clock/(2*math.Pi)+0.5)*sectors)) % sectors
				if at[c] == nil || in < gap[c] {
					gap[c], at[c] = in, l
				}
			}
			for c, l := range at {
				if l == nil {
					continue
				}
				w := 1.0
				if gap[c] < 0 {
					w = 4
				}
				d := [3]float64{l.d.X, l.d.Y, l.d.Z}
				for i := range 3 {
					b[i] += w * d[i] * (gap[c] - snug)
					for j := range 3 {
						a[i][j] += w * d[i] * d[j]
					}
				}
			}
		}
		step, ok := solve3(a, b)
		if !ok {
			return move
		}
		move = move.Add(step)
		if l := move.Len(); l > furthest {
			move = move.Mul(furthest / l)
		}
		if step.Len() < 1e-3 {
			break
		}
	}
	return move
}

// solve3 solves a x = b by Cramer's rule, with a little held to a where it is nearly singular.
func solve3(a [3][3]float64, b [3]float64) (geom.Vec, bool) {
	for i := range 3 {
		a[i][i] += 1e-3 * (a[0][0] + a[1][1] + a[2][2])
	}
	m := geom.Affine{M: [3]geom.Vec{{X: a[0][0], Y: a[0][1], Z: a[0][2]}, {X: a[1][0], Y: a[1][1], Z: a[1][2]}, {X: a[2][0], Y: a[2][1], Z: a[2][2]}}}
	if !(math.Abs(m.Det()) > 0) {
		return geom.Vec{}, false
	}
	return m.Inverse().Vector(geom.Vec{X: b[0], Y: b[1], Z: b[2]}), true
}
