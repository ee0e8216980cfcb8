package inspect

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// pairOf looks at a high mesh on a low one.
func pairOf(t *testing.T, high, low *mesh.Mesh, cage float64) *Report {
	t.Helper()
	s, err := NewPair(&Part{Name: "high", Mesh: high}, &Part{Name: "low", Mesh: low})
	require.NoError(t, err)
	r, err := Look(t.Context(), s, Options{Workers: 2, Groups: []Group{HighLow}, Cage: cage})
	require.NoError(t, err)
	return r
}

// Faults of a pair are named by their codes, and measured within a tenth where they are held: shift 0.1 mm, tilt 1 degree, scale 1 %;
// a turn about the axis is not held by a round shape.
func TestPlantedHighLow(t *testing.T) {
	turn := geom.RotateX(geom.Radians(1))
	for _, q := range []struct {
		name  string
		move  func(p geom.Vec) geom.Vec
		code  string
		k     int // which of the code's numbers
		want  float64
		least Severity
	}{
		{"shift", func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{Z: 0.1}) }, "highlow.shift", 2, -0.1, Error},
		{"tilt", turn.Point, "highlow.turn", 0, -1, Error},
		{"scale", func(p geom.Vec) geom.Vec { return p.Mul(1.01) }, "highlow.scale", 0, -1 / 1.01, Error},
	} {
		high := goodOuter(80)
		change(high, q.move)
		r := pairOf(t, high, goodOuter(72), 0)
		planted("high and low: "+q.name, q.code, q.least, r, -1)
		f := r.Of(q.code)
		var got *Finding
		for i := range f {
			if f[i].Severity > Fine {
				got = &f[i]
				break
			}
		}
		require.NotNil(t, got, q.name)
		require.InDelta(t, math.Abs(q.want), math.Abs(got.Number.V), 0.1*math.Abs(q.want), "%s: %s", q.name, got.Number)
		require.GreaterOrEqual(t, got.Severity, q.least, q.name)
		loose := 0
		for _, f := range r.Of("highlow.turn") {
			if !f.Number.Held {
				loose++
				require.Contains(t, f.Number.Why, "round")
			}
		}
		require.Equal(t, 1, loose, q.name)
	}
}

// A pair that lies on itself has nothing to mend; one in another unit, one with a hole, one wound inward, and a cage that is too
// narrow are told.
func TestPairBakes(t *testing.T) {
	r := pairOf(t, goodOuter(80), goodOuter(64), 0)
	require.LessOrEqual(t, r.Worst, Note, r.Verdict())
	require.Empty(t, r.Of("mesh.outline"))

	big := goodOuter(64)
	change(big, func(p geom.Vec) geom.Vec { return p.Mul(10) })
	f := pairOf(t, big, goodOuter(64), 0).Of("highlow.size")[0]
	require.Equal(t, Error, f.Severity)
	require.Equal(t, 0.1, f.Remedy.Factor)

	hole := goodOuter(80)
	drop(hole, within(hole, onCornea, 1.5))
	f = pairOf(t, hole, goodOuter(64), 0).Of("highlow.miss")[0]
	require.Equal(t, Error, f.Severity)
	// The hole's share of the area, about pi 1.5^2 of 1870 mm^2, and a ring of triangles about it.
	require.InDelta(t, 0.45, f.Number.V, 0.2)
	require.InDelta(t, 0, f.Where[0].Vec().Sub(onCornea).Len(), 2)
	var fields []Field
	for _, d := range pairOf(t, hole, goodOuter(64), 0).Of("highlow.distance") {
		fields = append(fields, d.Fields...)
	}
	require.Len(t, fields, 2)
	welded := (&Part{Mesh: goodOuter(64)}).Welded()
	require.Len(t, fields[1].Value, len(welded.P))
	missed, about := 0, 0
	for i, v := range fields[1].Value {
		if v == 1 {
			missed++
			if welded.P[i].Sub(onCornea).Len() < 2.5 {
				about++
			}
		}
	}
	// A few at the limbus' bend lie beyond the 99.9 % that the cage is for.
	require.Greater(t, about, 3)
	require.Greater(t, about, missed/2)

	inward := goodOuter(80)
	inward.TurnOver()
	require.Equal(t, Error, pairOf(t, inward, goodOuter(64), 0).Of("highlow.wrong")[0].Severity)

	out := goodOuter(80)
	change(out, func(p geom.Vec) geom.Vec { return p.Mul(1.02) })
	list := pairOf(t, out, goodOuter(64), 0.1).Of("highlow.miss")
	require.Len(t, list, 2)
	require.Equal(t, Error, list[0].Severity)
	require.Greater(t, list[0].Number.V+list[1].Number.V, 90.0)
	require.Contains(t, list[0].Number.What, "stated cage of 0.1 mm")
}

// A turn of the relief about the axis is found from the relief.
func TestPairAbout(t *testing.T) {
	relief := func(n int, turn float64) *mesh.Mesh {
		m := goodInner(n, 1.8)
		change(m, func(p geom.Vec) geom.Vec {
			rho, a := math.Hypot(p.X, p.Y), math.Atan2(p.Y, p.X)-turn
			if p.Z > 9.5 && rho > 2.2 && rho < 5.4 {
				for k := 1.0; k < 48; k++ {
					p.Z += 0.01 * math.Cos(k*a+k*k+0.4*k*rho)
				}
			}
			return p
		})
		return m
	}
	f := pairOf(t, relief(400, geom.Radians(2)), relief(360, 0), 0).Of("highlow.about")[0]
	require.True(t, f.Number.Held, f.Number.Why)
	require.InDelta(t, 2, math.Abs(f.Number.V), 0.1)
	require.Equal(t, Error, f.Severity)
}
