package plinth

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/mesh"
)

// A closed body whose volume is that of the profile turned about the axis, by Pappus' theorem in closed form: a disc, less the cap of a
// sphere, less what rounding takes.
func TestBodyIsClosedAndAsLargeAsItsProfile(t *testing.T) {
	for _, p := range []Params{
		{Radius: 20, Thickness: 6, Bevel: 1},
		{Radius: 20, Thickness: 6, Bevel: 1, Cup: 12.5, Depth: 1.5},
		{Radius: 40, Thickness: 8, Bevel: 0.5, Cup: 12.5, Depth: 1.5, Relief: 0.03, Wave: 5, Seed: 3},
		{Radius: 9, Thickness: 3},
	} {
		m, err := Build(p)
		require.NoError(t, err)
		open, odd := mesh.Closed(m)
		assert.Zero(t, open+odd)
		volume := 0.0
		for _, q := range m.Tri {
			volume += m.P[q[0]].Dot(m.P[q[1]].Cross(m.P[q[2]])) / 6
		}
		b := p.Bevel
		edge := (1 - math.Pi/4) * b * b // area that rounding takes of a square corner; its middle lies 0.2234 b from the corner
		want := math.Pi*p.Radius*p.Radius*p.Thickness - 2*2*math.Pi*(p.Radius-0.2234*b)*edge
		if p.Cup > 0 {
			// The hollow is the cap of the sphere as far as the lip, and from there on what lies above the lip's arc.
			lip := p.lip()
			sum := 0.0
			const n = 4000
			for i := range n {
				r := lip * (float64(i) + 0.5) / n
				y := p.Cup - p.Depth - math.Sqrt(p.Cup*p.Cup-r*r)
				if touch := lip * p.Cup / (p.Cup + b); r > touch {
					y = -b + math.Sqrt(b*b-(lip-r)*(lip-r))
				}
				sum += 2 * math.Pi * r * -y * lip / n
			}
			want -= sum
		}
		assert.InEpsilon(t, want, volume, 1e-3)
		for i, q := range m.P {
			if math.Hypot(q.X, q.Z) < p.Radius-b-0.5 && q.Y > -0.1 {
				assert.Greater(t, m.N[i].Y, 0.7, "the top looks up at %v", q)
			}
		}
	}
}

// The waves on top have the root mean square height that is asked for.
func TestWavesHaveTheHeightAskedFor(t *testing.T) {
	m, err := Build(Params{Radius: 60, Thickness: 5, Bevel: 0.5, Relief: 0.05, Wave: 4, Seed: 9})
	require.NoError(t, err)
	sum, n := 0.0, 0.0
	for _, q := range m.P {
		if r := math.Hypot(q.X, q.Z); r > 1 && r < 59 && q.Y > -1 {
			sum, n = sum+q.Y*q.Y*r, n+r // rings hold equally many points each
		}
	}
	assert.InEpsilon(t, 0.05, math.Sqrt(sum/n), 0.08)
}

func TestMeasuresThatMakeNoBody(t *testing.T) {
	for key, p := range map[string]Params{
		"thickness": {Radius: 20, Thickness: 2, Bevel: 1},
		"depth":     {Radius: 20, Thickness: 6, Bevel: 1, Cup: 12, Depth: 5.5},
		"radius":    {Radius: 7, Thickness: 6, Bevel: 1, Cup: 12, Depth: 1.5},
	} {
		_, err := Build(p)
		var e *Error
		require.ErrorAs(t, err, &e)
		assert.Equal(t, key, e.Key)
	}
}
