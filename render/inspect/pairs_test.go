package inspect

import (
	"context"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// bothEyes compares two eyes.
func bothEyes(t *testing.T, s, o *Subject) *Report {
	t.Helper()
	s.Mate = o
	r := &Run{Ctx: context.Background(), Subject: s, Limits: Builtin(), Shot: Shot{Across: 1024}, Workers: 2, PerMM: 1024 / (2 * s.Radius()), check: &pairChecks[0]}
	require.NoError(t, r.check.Run(r))
	return newReport(s, r)
}

// plantedPair wants a fault of a pair to be a warning at least.
func plantedPair(t *testing.T, code string, r *Report) {
	t.Helper()
	planted("pair: "+code, code, Warning, r, -1)
	require.LessOrEqual(t, Warning, worst(r, code))
}

// aPair is a good right eye with its pupil toward the nose, and its mirror image.
func aPair(t *testing.T) (right, left *Subject) {
	t.Helper()
	aside := func(x float64) *Subject {
		e := goodEye()
		change(e.inner, func(p geom.Vec) geom.Vec {
			if r := math.Hypot(p.X, p.Y); p.Z > 0 && r < 5.3 {
				p.X += x * (1 - max(0, r-1.8)/3.5)
			}
			return p
		})
		return e.subject(t)
	}
	right, left = aside(0.3), aside(-0.3)
	right.Side, left.Side = "right", "left"
	return right, left
}

// Faults between two eyes are named; a good pair raises none.
func TestPlantedPairs(t *testing.T) {
	right, left := aPair(t)
	require.Equal(t, Fine, bothEyes(t, right, left).Worst)

	both := *left // a copy of the right one in place of the left
	both = *right
	both.Side = "left"
	plantedPair(t, "pairs.swapped", bothEyes(t, right, &both))
	l, r := *right, *left
	l.Side, r.Side = "left", "right"
	plantedPair(t, "pairs.swapped", bothEyes(t, &r, &l))

	e := goodEye()
	change(e.outer, func(p geom.Vec) geom.Vec { return p.Mul(1.06) })
	change(e.inner, func(p geom.Vec) geom.Vec { return p.Mul(1.06) })
	large := e.subject(t)
	plantedPair(t, "pairs.size", bothEyes(t, right, large))

	// Maps.
	flip := func(pix []uint8, red bool) []uint8 {
		out := slices.Clone(pix)
		for y := range painted {
			for x := range painted {
				copy(out[3*(y*painted+x):], pix[3*(y*painted+painted-1-x):][:3])
				if red {
					out[3*(y*painted+x)] = 255 - out[3*(y*painted+x)]
				}
			}
		}
		return out
	}
	pix := relief(0.2, 1, 1, 0)
	right.lay(t, "iris.normal", pix)
	left.lay(t, "iris.normal", flip(pix, true))
	require.Equal(t, Fine, bothEyes(t, right, left).Worst)
	left.Maps = nil
	left.lay(t, "iris.normal", flip(pix, false))
	plantedPair(t, "pairs.normal", bothEyes(t, right, left))
	right.Maps = nil
	plantedPair(t, "pairs.maps", bothEyes(t, right, left))

	left.Maps = nil
	right.lay(t, "iris.colour", paint(right, Inner, good(right, 0, 0, 1)))
	left.lay(t, "iris.colour", paint(left, Inner, good(left, 0, 0, 1)))
	require.Equal(t, Fine, bothEyes(t, right, left).Worst)
	left.Maps = nil
	left.lay(t, "iris.colour", paint(left, Inner, func(l geom.Vec) [3]float64 {
		c := good(left, 0, 0, 1)(l)
		return [3]float64{0.7 * c[0], c[1], 1.3 * c[2]}
	}))
	plantedPair(t, "pairs.colour", bothEyes(t, right, left))

	// Variants.
	base := goodEye().subject(t)
	v := goodEye()
	change(v.inner, func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{Z: 0.05}) })
	variant := v.subject(t)
	variant.Variant = true
	require.Equal(t, Fine, worst(bothEyes(t, variant, base), "pairs.order"))
	require.Equal(t, Fine, worst(bothEyes(t, variant, base), "pairs.move"))
	change(v.inner, func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 0.8, Y: 0.4, Z: -0.05}) })
	variant = v.subject(t)
	variant.Variant = true
	f := bothEyes(t, variant, base).Of("pairs.move")
	require.Equal(t, Warning, f[0].Severity)
	require.Equal(t, "the whole inner shell is shifted by (+0.80, +0.40, +0.00) mm against the base", f[0].Title)
	v.inner.Tri[0], v.inner.Tri[1] = v.inner.Tri[1], v.inner.Tri[0]
	variant = v.subject(t)
	variant.Variant = true
	plantedPair(t, "pairs.order", bothEyes(t, variant, base))
}
