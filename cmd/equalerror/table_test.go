package main

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render"
	"catchlight/scene/colour"
)

// synthetic is a side of pictures whose iris has normal noise of one standard deviation and whose white of another.
func synthetic(r *rand.Rand, zones []render.Zone, seeds int, iris, white, cpu float64) side {
	s := side{bare: []float64{9, 6}}
	for range seeds {
		pic := make([]colour.RGB, len(zones))
		for i, z := range zones {
			sd := map[render.Zone]float64{render.Iris: iris, render.Sclera: white}[z]
			for c := range pic[i] {
				pic[i][c] = float64(i%7) + sd*r.NormFloat64()
			}
		}
		s.shown, s.about, s.cpu = append(s.shown, pic), append(s.about, around(pic, 30)), append(s.cpu, 6+cpu)
	}
	return s
}

// On synthetic pictures of known noise and times the ratio is that of variance times time (closed form), within its standard
// error, which in turn is that of 6 seeds' variances over the part's numbers.
func TestGainOfSyntheticPictures(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	zones := make([]render.Zone, 3000)
	for i := range zones {
		zones[i] = []render.Zone{render.Backdrop, render.Iris, render.Sclera}[i%3]
	}
	m := &measured{parts: zones, samples: 1e6, then: synthetic(r, zones, 6, 4, 2, 8), now: synthetic(r, zones, 6, 2, 2, 4)}
	for zone, want := range map[render.Zone]float64{render.Iris: 8, render.Sclera: 2} {
		got, se, ok := m.gain(zone)
		require.True(t, ok)
		require.InDelta(t, want, got, 4*se)
		require.InDelta(t, want*math.Sqrt(2*2./(5*3000)), se, 0.8*want*math.Sqrt(2*2./(5*3000)))
	}
	v, n := m.then.variance(zones, render.Iris, -1)
	require.Equal(t, 1000, n)
	require.InDelta(t, 16, v, 1)
	_, _, ok := m.gain(render.Limbus)
	require.False(t, ok, "a part without pixels")
	rows := m.rows("marsh")
	require.Equal(t, 2, strings.Count(rows, "\n"))
	require.Contains(t, rows, "| marsh | iris | 1000 |")
	require.Contains(t, rows, "| 8.00, 4.00 | 0.50 |")

	// Of nine independent pixels the mean over 3 x 3 has a third of the error.
	for i := range zones {
		zones[i] = render.Iris
	}
	even := synthetic(r, zones, 6, 3, 0, 1)
	v, _ = variance(even.about, zones, render.Iris, -1)
	require.InDelta(t, 1, math.Sqrt(v), 0.05)
}

// A seed's mean does not count as noise: pictures that are the same for each seed have no variance, and then there is no ratio.
func TestNoNoiseHasNoRatio(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	zones := []render.Zone{render.Iris, render.Iris}
	m := &measured{parts: zones, samples: 1, then: synthetic(r, zones, 2, 1, 0, 1), now: synthetic(r, zones, 2, 0, 0, 1)}
	_, _, ok := m.gain(render.Iris)
	require.False(t, ok)
	require.Contains(t, m.rows("marsh"), "| - |")
	m.now = m.then
	ratio, se, ok := m.gain(render.Iris)
	require.True(t, ok && math.IsNaN(se), "of two seeds none can be left out")
	require.Equal(t, 1.0, ratio)
}

// What can't be measured is said before anything is rendered.
func TestMistakes(t *testing.T) {
	for text, o := range map[string]options{
		"-size is 8: outside [16, 1024]":         {then: "x", size: 8, samples: 2, seeds: 2, bare: 1},
		"-seeds is 1: outside [2, 64]":           {then: "x", size: 64, samples: 2, seeds: 1, bare: 1},
		"-then names no program to compare with": {size: 64, samples: 2, seeds: 2, bare: 1},
	} {
		require.EqualError(t, run(t.Context(), &o), text)
	}
}
