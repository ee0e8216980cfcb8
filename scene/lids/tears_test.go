package lids

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// An arc that touches the globe at height h and meets the wall at angle theta: its points are as far from one centre, and what it
// turns by is what the two ends ask for. Radius and foot of a height of 0.25 mm by hand: h/cos(theta), and radius less the
// root of radius^2 - h^2.
func TestMeniscus(t *testing.T) {
	m := newMeniscus(0.25)
	assert.InDelta(t, 0.32635, m.r, 1e-5)
	assert.InDelta(t, 0.11658, m.foot(), 1e-5)
	s, n := m.at(0)
	assert.Equal(t, [2]float64{}, [2]float64{s, n})
	s, n = m.at(m.end())
	assert.InDelta(t, m.h, s, 1e-12)
	assert.InDelta(t, m.foot(), n, 1e-12)
	for a := range 11 {
		s, n := m.at(m.end() * float64(a) / 10)
		assert.InDelta(t, m.r, math.Hypot(s, n-m.r), 1e-12)
	}
	// The surface's own direction at the wall stands at theta to a wall that runs out along n.
	s0, n0 := m.at(m.end() - 1e-6)
	assert.InDelta(t, math.Pi/2-contactAngle, math.Atan2(n-n0, s-s0), 1e-5)
}

// strip is the tears' strip of an eye that reaches so far along each direction, as rows of arcs: vertices and normals by row and
// station.
func strip(t testing.TB, p Params, far func(geom.Vec) float64) (s *socket, rows [][]geom.Vec, normals [][]geom.Vec) {
	s = sockets(t, p, geom.Vec{Z: 1})
	g := newGround(&p, s.g.far, newGlobe(far))
	s = &socket{p: &p, g: g, seed: p.Seed, box: s.box}
	s.around(openings([]*Params{&p}, []*ground{g}, []float64{0}, s.box)[0])
	m := s.tears()
	w := len(s.o.s) + 1
	for j := 0; j+w <= len(m.P); j += w {
		rows, normals = append(rows, m.P[j:j+w]), append(normals, m.N[j:j+w])
	}
	return s, rows, normals
}

// The strip is whole: from corner to corner its height is nowhere nothing and changes slowly, round the loop's end too; its arcs
// have vertices at most 0.03 mm apart, and normals that the surface itself has.
func TestTearsUnbroken(t *testing.T) {
	p := Defaults()
	s, rows, normals := strip(t, p, plainEye(geom.Vec{Z: 1}))
	n, length := len(s.o.s), s.o.length()
	low, high := 0, 0
	for i := range s.o.s {
		q := &s.o.s[i]
		h, next := s.tearHeight(q, length), s.tearHeight(&s.o.s[(i+1)%n], length)
		require.InDelta(t, h, next, 0.03, i)
		require.Greater(t, h, 0.1)
		if math.Abs(q.x) < 7 && q.upper == 0 {
			require.InDelta(t, p.Tears, h, 0.16*p.Tears)
			low++
		}
		if math.Abs(q.x) < 7 && q.upper == 1 {
			require.InDelta(t, p.Tears*0.15/0.24, h, 0.16*p.Tears*0.15/0.24)
			high++
		}
		sec := s.tearSection(q, h)
		if sec.buried > 0 || q.rim.Len()-s.g.globe.under(q.rim).Len() > p.Gap+0.02 { // where the rim leaves the globe
			continue
		}
		arc := int(math.Ceil(sec.m.r * sec.m.end() / tearFacet))
		for j := range arc {
			require.Less(t, rows[j+1][i].Sub(rows[j][i]).Len(), 0.03)
			e1, e2 := rows[j+1][i].Sub(rows[j][i]), rows[j][(i+1)%n].Sub(rows[j][i])
			if sec.o.Sub(s.tearSection(&s.o.s[(i+1)%n], next).o).Len() > 0.05 { // the corners' arcs run together
				require.Greater(t, math.Abs(e1.Cross(e2).Unit().Dot(normals[j][i].Add(normals[j+1][i]).Unit())), 0.985, "station %d, row %d", i, j)
			}
		}
	}
	assert.Greater(t, min(low, high), 50)
}

// Where a lamp is mirrored in the strip: seen from the front, one at elevation e and a high gives a line of the height
// R (sin((e+a/2)/2) - sin((e-a/2)/2)) at R sin(e/2) below the place where the normal looks at the viewer. Closed form of a mirror that is a
// cylinder along the lid.
func TestTearGlint(t *testing.T) {
	p := Defaults()
	s, rows, normals := strip(t, p, func(geom.Vec) float64 { return 12 })
	view := geom.Vec{Z: 1}
	best := 0
	for i, q := range s.o.s {
		if k := s.o.s[best]; q.upper == 0 && math.Abs(q.x) < math.Abs(k.x) || k.upper > 0 {
			best = i
		}
	}
	sec := s.tearSection(&s.o.s[best], s.tearHeight(&s.o.s[best], s.o.length()))
	// Height of the mirrored lamp at elevation e, and of the place that looks at the viewer, along the arc as it was built.
	at := func(e float64) float64 {
		for j := range len(rows) - 1 {
			a := geom.Degrees(math.Asin(geom.Reflect(view, normals[j][best]).Y))
			b := geom.Degrees(math.Asin(geom.Reflect(view, normals[j+1][best]).Y))
			if f := (e - a) / (b - a); f >= 0 && f <= 1 {
				return rows[j][best].Y + f*(rows[j+1][best].Y-rows[j][best].Y)
			}
		}
		t.Fatalf("a lamp at %g degrees is not mirrored", e)
		return 0
	}
	for _, c := range []struct{ e, a, line, below float64 }{ // for a radius of 0.3 mm, by hand
		{20, 10, 0.025774, 0.052094}, {30, 10, 0.0253, 0.0776},
	} {
		k := sec.m.r / 0.3
		assert.InEpsilon(t, c.line*k, at(c.e-c.a/2)-at(c.e+c.a/2), 0.03)
		assert.InEpsilon(t, c.below*k, at(0)-at(c.e), 0.03)
	}
	for e := 0.0; e < 85; e += 5 { // every lamp above is mirrored somewhere
		at(e)
	}
}
