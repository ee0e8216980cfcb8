package lids

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// Over ages, gazes up and down and blinks, lids lie on the globe and their sheet is in order.
func TestSheet(t *testing.T) {
	for _, age := range []float64{0, 0.4, 1} {
		for i, gaze := range []float64{-30, 0, 30} {
			for j, blink := range []float64{0, 1, 0.5} {
				if age != 0.4 && i != j {
					continue // of a child and of the old a third of all
				}
				p := Defaults()
				p.Detail, p.Age, p.Blink = 0.3, age, blink
				s := sockets(t, p, ahead(gaze, 0))
				name := fmt.Sprintf("age %g gaze %g blink %g", age, gaze, blink)
				rests(t, name, s, plainEye(ahead(gaze, 0)))
				inOrder(t, name, s.sheet)
			}
		}
	}
}

// rests checks that lids lie on the globe: the foot of the rear lip is at most 0.05 mm off the eye but in the nasal 5 mm, and within
// 3 mm of the outer corner no part of the rear lip is more than 0.2 mm off. The eye's distance is in closed form.
func rests(t *testing.T, name string, s *socket, eye func(geom.Vec) float64) {
	n := s.sheet.n
	tip, out := s.o.corner(1).rim, s.o.corner(-1).rim
	for j, r := range s.sheet.rows {
		if r.part != rearLip {
			continue
		}
		for i := range n {
			v := s.sheet.at[j*n+i].p
			c := v.Len() - eye(v.Unit())
			if r.f == 0 && v.Sub(tip).Len() > 5.5 {
				require.LessOrEqual(t, c, 0.05, "%s at %v", name, v)
			}
			if v.Sub(out).Len() < 3 {
				require.LessOrEqual(t, c, 0.2, "%s outer %v", name, v)
			}
			require.Greater(t, c, 0.5*s.p.Gap, "%s at %v", name, v)
		}
	}
}

// inOrder checks that no triangle of the sheet is turned over, and that rows keep their distance: nowhere less than a fifth of its
// mean along the row.
func inOrder(t *testing.T, name string, sh *sheet) {
	n := sh.n
	for j, r := range sh.rows[:len(sh.rows)-2] {
		var mean float64
		least, at := math.Inf(1), 0
		for i := range n {
			a, b := sh.at[j*n+i].p, sh.at[(j+1)*n+i].p
			c, d := sh.at[j*n+(i+1)%n].p, sh.at[(j+1)*n+(i+1)%n].p
			// The distance of the rows: area of the two triangles over the mean of their lengths, as of a trapezoid.
			area := b.Sub(a).Cross(c.Sub(a)).Len()/2 + b.Sub(d).Cross(c.Sub(d)).Len()/2
			gap := area * 2 / (c.Sub(a).Len() + d.Sub(b).Len())
			mean += gap / float64(n)
			if gap < least {
				least, at = gap, i
			}
			// Turned over: a facet that looks away from the middle of its corners' own normals.
			up := sh.at[j*n+i].up.Add(sh.at[(j+1)*n+i].up).Add(sh.at[j*n+(i+1)%n].up).Add(sh.at[(j+1)*n+(i+1)%n].up)
			for _, q := range [2][3]geom.Vec{{a, b, c}, {c, b, d}} {
				f := q[1].Sub(q[0]).Cross(q[2].Sub(q[0]))
				require.Greater(t, f.Dot(up), 0.0, "%s row %d (part %d) column %d at %v", name, j, r.part, i, a)
			}
		}
		require.GreaterOrEqual(t, least, 0.2*mean, "%s row %d (part %d e %.2f) at %v", name, j, r.part, r.e, sh.at[j*n+at].p)
	}
}

// Rows of the skin are level sets of the distance from the front lip: each place lies as far from it as its row says, along
// straight lines on a plane face. Far out they are evened out on purpose, which costs up to 6 in a
// hundred. The march is checked there against the distance in closed form, over a lens of an opening.
func TestMarchIsDistance(t *testing.T) {
	p := Defaults()
	g := newGround(&p, 31.5, newGlobe(plainEye(geom.Vec{Z: 1})))
	g.bake()
	for i := range g.z.v {
		g.z.v[i] = 0.75 * (g.z.x + float64(i%g.z.w)*g.z.step) // a plane: lengths across grow by 1.25
	}
	const n = 600
	x, y := make([]float64, n), make([]float64, n)
	var first []geom.Vec
	for i := range x {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		x[i], y[i] = 12*c, 4.5*s
		first = append(first, geom.Vec{X: x[i], Y: y[i], Z: 0.75 * x[i]})
	}
	rows := g.march(x, y, []float64{0.5, 2, 5, 8}, n/2)
	for _, l := range rows[1:] {
		worst := 0.0
		for i := range l.x {
			best := math.Inf(1)
			for _, q := range first {
				best = min(best, geom.Vec{X: l.x[i], Y: l.y[i], Z: l.z[i]}.Sub(q).Len())
			}
			worst = max(worst, math.Abs(best-l.e))
		}
		t.Logf("%g mm: off by at most %.3f", l.e, worst)
		assert.Less(t, worst, 0.04+0.055*l.e, "%g mm", l.e)
	}
}

// Closed lids leave no gap: every one of a fan of rays from outside that would meet the globe meets skin first.
func TestClosedLidsAreTight(t *testing.T) {
	p := Defaults()
	p.Detail, p.Blink, p.UpperLash, p.LowerLash = 0.3, 1, 0, 0
	for _, gaze := range []float64{-30, 0, 30} {
		l := one(t, p, ahead(gaze, 0))
		rim := l.Rims[0]
		rays := 0
		for i := 0; i < len(rim)/2; i += len(rim) / 60 {
			aim := rim[i]
			if math.Hypot(aim.X, aim.Y) > 11 {
				continue
			}
			for _, el := range []float64{-60, -30, -10, 0, 10, 30, 60} {
				d := ahead(el, 10)
				from := aim.Mad(60, d)
				first := math.Inf(1)
				for _, q := range l.Skin.Tri {
					if h, ok := meets(from, d.Neg(), l.Skin.P[q[0]], l.Skin.P[q[1]], l.Skin.P[q[2]]); ok {
						first = min(first, h)
					}
				}
				require.Less(t, first, 60.0, "gaze %g: a ray from %g degrees to %v passes", gaze, el, aim)
				rays++
			}
		}
		require.Greater(t, rays, 100)
	}
}

// meets returns where along a ray it meets a triangle.
func meets(o, d, a, b, c geom.Vec) (float64, bool) {
	e, f := b.Sub(a), c.Sub(a)
	p := d.Cross(f)
	det := e.Dot(p)
	if det == 0 {
		return 0, false
	}
	s := o.Sub(a)
	u := s.Dot(p) / det
	q := s.Cross(e)
	v := d.Dot(q) / det
	h := f.Dot(q) / det
	return h, u >= 0 && v >= 0 && u+v <= 1 && h > 0
}

// A place is found again by its way round and its distance from the rear lip.
func TestFind(t *testing.T) {
	p := Defaults()
	p.Detail = 0.3
	s := sockets(t, p, geom.Vec{Z: 1})
	for _, d := range []float64{-3, 0.5, 1.8, 4, 9} {
		for _, way := range []float64{0.02, 0.2, 0.45, 0.55, 0.7, 0.98} {
			v := s.sheet.find(way, d)
			assert.InDelta(t, way, v.way, 2e-3, "way %g d %g", way, d)
			assert.InDelta(t, d, v.d, 0.05, "way %g d %g", way, d)
			assert.InDelta(t, 1, v.up.Len(), 1e-9)
			assert.InDelta(t, 0, v.up.Dot(v.along), 1e-9)
			if d > 8 {
				assert.Greater(t, v.up.Z, 0.0)
			}
		}
	}
}
