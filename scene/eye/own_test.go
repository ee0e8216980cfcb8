package eye

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// tuft is a cluster of seven strands that fan out and wind, mm.
func tuft(bend float64) (c [][]Knot) {
	for i := range 7 {
		var s []Knot
		o := float64(i) - 3
		for k := range 9 {
			y := 2.6 * float64(k) / 8
			s = append(s, Knot{X: o*(0.05+0.03*y) + bend*0.12*math.Sin(2.2*y+o), Y: y, Z: 0.02 * math.Cos(o), W: 0.018 + 0.004*math.Sin(o)})
		}
		c = append(c, s)
	}
	return c
}

func withOwn(t *testing.T, o *Own) *Eye {
	t.Helper()
	p := Defaults()
	p.MeshDetail, p.MapSize, p.Own = 0.3, 512, o
	require.NoError(t, p.Check())
	e, err := Lay(p)
	require.NoError(t, err)
	e.iris = newIris(&p, e.IrisZ)
	e.iris.tissue = growTissue(&p, e.iris, 30)
	return e
}

// Clusters that are only copied repeat, and both tests say so; varied ones with uneven gaps pass both, and the seed alone says how they
// lie.
func TestOwnClusters(t *testing.T) {
	o := Own{Clusters: [][][]Knot{tuft(1)}, Count: 12, From: 0.3, To: 1, Seed: 3}
	copies := withOwn(t, &o)
	r := copies.Repetition()
	require.Greater(t, r.Correlation, 0.3)
	require.InDelta(t, 0, math.Mod(r.Lag+1, 30), 2, "twelve copies")
	require.True(t, r.Repeats())

	v := o
	v.Clusters = [][][]Knot{tuft(1), tuft(-0.6), tuft(0.4), tuft(1.7), tuft(-1.4), tuft(0.1)}
	v.Count, v.Gap, v.Vary, v.Bend, v.Mirror = 44, 0.4, 0.9, 1, true
	varied := withOwn(t, &v)
	q := varied.Repetition()
	require.Less(t, q.Correlation, q.Bar)
	require.Less(t, q.Twin, q.Chance+0.1)
	strokes := func() []stroke {
		p := Defaults()
		p.Own = &v
		g := newGrower(&p, newIris(&p, varied.IrisZ))
		g.grow(&p)
		return g.strokes
	}
	first := strokes()
	require.Equal(t, first, strokes())
	v.Seed = 4
	require.NotEqual(t, first, strokes())
}

// A height map guides: the iris follows its broad form (correlation above 0.9 of what it changes) and not its fine one; without an
// amount nothing changes.
func TestHeightGuides(t *testing.T) {
	const n = 128
	o := Own{To: 1, Side: n, Guide: make([]float32, n*n), Lift: 0.2}
	for i := range o.Guide {
		x, y := float64(i%n)/n, float64(i/n)/n
		o.Guide[i] = float32(0.5 + 0.4*math.Sin(9*x+4*y) + 0.1*math.Cos(math.Pi*float64(i%n+i/n)))
	}
	plain, led := withOwn(t, nil).iris.tissue, withOwn(t, &o).iris.tissue
	var ab, aa, bb, mean float64
	count := 0.0
	for pass := range 2 {
		for j := 0; j < led.n; j += 3 {
			for i := 0; i < led.n; i += 3 {
				x, y := led.place(i, j)
				if r := math.Hypot(x, y); r < 2.3 || r > 5 {
					continue
				}
				u, w := 0.5+0.5*x/5.355, 0.5-0.5*y/5.355
				g, d := math.Sin(9*u+4*w), float64(led.h[j*led.n+i]-plain.h[j*led.n+i])
				if pass == 0 {
					mean, count = mean+d, count+1
					continue
				}
				ab, aa, bb = ab+g*(d-mean/count), aa+g*g, bb+(d-mean/count)*(d-mean/count)
			}
		}
	}
	require.Greater(t, ab/math.Sqrt(aa*bb), 0.9)
	o.Lift = 0
	require.Equal(t, plain.h, withOwn(t, &o).iris.tissue.h)
}

func TestOwnMistakes(t *testing.T) {
	p := Defaults()
	p.Own = &Own{Clusters: [][][]Knot{{{{}}}}, Count: 500, From: 0.5, To: 0.5, Vary: 2, Guide: make([]float32, 3), Side: 2}
	err := p.Check()
	for _, want := range []string{"count 500 is outside [0, 400]", "to 0.5 is outside", "vary 2 is outside", "fewer than two points", "not square"} {
		require.ErrorContains(t, err, want)
	}
}
