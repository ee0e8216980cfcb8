//go:build invariants

package pathtrace_test

import (
	"context"
	"testing"

	"catchlight/render"
	"catchlight/render/film"
	"catchlight/render/pathtrace"
	"catchlight/render/sampler"
	"catchlight/scene"

	"github.com/stretchr/testify/require"
)

// crowded holds a surface of every kind, in fog and under glass, with lamps of all kinds and an eye in lids.
const crowded = `
picture: {width: 16, height: 16}
camera: {kind: orthographic, width: 60, target: [0, 0, 0], orbit: {azimuth: 10, distance: 80}}
lights:
  - {name: sky, kind: constant, radiance: 1}
  - {name: sun, kind: distant, angle: 5, orbit: {azimuth: 30, elevation: 20}, radiance: 20}
  - {name: lamp, kind: disc, radius: 30, orbit: {azimuth: -40, distance: 150}, radiance: 5, camera_visible: false}
objects:
  - {name: eye, shape: eye, lids: {facet_size: 0.3}, map_size: 64}
  - {name: mist, shape: sphere, radius: 200, material: {kind: matched, inside: {sigma_a: 0.0005, sigma_s: [0.003, 0.004, 0.005], g: 0.5}}}
  - {name: globe, shape: sphere, radius: 8, transform: {translate: [20, 18, 0]}, material: {kind: dielectric, inside: {sigma_a: 0, sigma_s: [0.2, 0.25, 0.3]}}}
  - {name: ball, shape: sphere, radius: 5, transform: {translate: [20, 18, 0]}, material: {colour: 0.5}}
  - {name: frosted, shape: sphere, radius: 8, transform: {translate: [-20, 18, 0]}, material: {kind: dielectric, roughness: 0.4}}
  - {name: metal, shape: sphere, radius: 8, transform: {translate: [20, -20, 0]}, material: {kind: conductor, roughness: 0.4}}
  - {name: mirror, shape: sphere, radius: 8, transform: {translate: [-20, -20, 0]}, material: {kind: conductor, mirror: true}}
  - {name: flesh, shape: box, size: [10, 10, 10], transform: {translate: [0, -24, 0]}, material: {kind: tissue, roughness: 0.5}}
`

// Each random number is drawn once: no vertex of a path asks twice for the same slot. Two decisions on one number go
// together, and then the mean is wrong.
func TestSlotsAreDrawnOnce(t *testing.T) {
	built := render.NewCache()
	for name, set := range map[string][]string{
		"all":              nil,
		"no split":         {"advanced.split=false"},
		"chance":           {"advanced.light_samples=false"},
		"exact exit":       {"advanced.exit=exact"},
		"rough film":       {"objects.eye.cornea.roughness=0.3", "objects.eye.sclera.roughness=0.5"},
		"smooth flesh":     {"objects.flesh.material.roughness=0", "advanced.guided=false"},
		"plate":            {"camera={kind: plate, normal: [0, 0, 1], width: 4, target: [0, 0, 40]}"},
		"plate, in an eye": {"camera={kind: plate, normal: [0, 0, 1], width: 2, target: [0, 0, 10]}"},
	} {
		d, err := scene.Parse("slots.yaml", []byte(crowded), set...)
		require.NoError(t, err)
		p, err := render.Prepare(context.Background(), d, render.Options{Cache: built})
		require.NoError(t, err)
		f, err := film.New(film.Config{Width: 16, Height: 16, SPP: 64})
		require.NoError(t, err)
		tr, s := pathtrace.New(p.Scene, 1), f.Sample()
		type slot struct {
			vertex int
			p      sampler.Purpose
			salt   uint32
		}
		drawn := map[slot]int{}
		twice := map[sampler.Purpose]int{}
		purposes := map[sampler.Purpose]bool{}
		tr.Watch(func(vertex int, p sampler.Purpose, salt uint32) {
			k := slot{vertex, p, salt}
			if drawn[k]++; drawn[k] > 1 {
				twice[p]++
			}
			purposes[p] = true
		})
		for i := range 16 * 16 * 8 {
			clear(drawn)
			pixel := i % 256
			replicate, index := f.Place(i / 256)
			s.Begin(pixel, replicate)
			tr.Sample(uint64(pixel), replicate, index, float64(pixel%16)+0.5, float64(pixel/16)+0.5, &s)
			s.End()
		}
		require.Empty(t, twice, "%s: sets drawn twice, by purpose", name)
		require.GreaterOrEqual(t, len(purposes), 8, name)
	}
}
