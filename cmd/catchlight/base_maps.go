package main

import (
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene/base"
	"catchlight/scene/eye"
	"catchlight/scene/layout"
)

// baseScene is the scene beside a base with maps.
const baseScene = "scene.yaml"

// pupilMaps are the built eye's maps that go with a base: colour, relief, and the pupil's edge as a mask.
var pupilMaps = []struct {
	name string
	kind eye.Kind
	as   layout.Kind
	deep bool
}{{"colour", eye.Colour, layout.Colour, false}, {"height", eye.Height, layout.Data, true}, {"pupil_edge", eye.MaskPupil, layout.Data, false}}

// sizes are the pupils to make maps for.
func (b *basing) sizes() (list []float64, err error) {
	for _, w := range b.pupils {
		d, err := strconv.ParseFloat(w, 64)
		if err != nil || !(d >= base.LeastPupil && d <= base.MostPupil) {
			return nil, usageError{fmt.Errorf("--pupils %q: give mm across, %g to %g, for instance 2,4.5", w, base.LeastPupil, base.MostPupil)}
		}
		list = append(list, d)
	}
	if len(list) > 0 && b.maps == 0 {
		return nil, usageError{fmt.Errorf("--pupils has no meaning without --maps")}
	}
	return list, nil
}

func pupilFile(name string, diameter float64) string {
	return name + "_pupil_" + strconv.FormatFloat(diameter, 'f', -1, 64) + ".png"
}

// mapNames are the files of the maps.
func (b *basing) mapNames(sizes []float64) (list []string) {
	if b.maps == 0 {
		return nil
	}
	list = append(list, baseScene)
	for _, m := range pupilMaps {
		list = append(list, m.name+".png")
		for _, d := range sizes {
			list = append(list, pupilFile(m.name, d))
		}
	}
	return list
}

// writeMaps bakes the maps of the pupil at rest, takes them to the other pupils, and writes the scene.
func (b *basing) writeMaps(p eye.Params, side string, sizes []float64) error {
	p.MapSize = b.maps
	e, err := eye.Grow(p)
	if err != nil {
		return err
	}
	s, err := base.Make(p, base.Base)
	if err != nil {
		return err
	}
	for _, d := range sizes {
		if d < s.Pupils[1]-1e-9 || d > s.Pupils[2]+1e-9 {
			return usageError{fmt.Errorf("--pupils %g: this eye's pupil moves from %.3g to %.3g mm", d, s.Pupils[1], s.Pupils[2])}
		}
	}
	n := b.maps
	for _, m := range pupilMaps {
		c := m.kind.Channels()
		pic := &layout.Picture{W: n, H: n, C: c, Pix: make([]float32, n*n*c), Names: []string{"R", "G", "B"}[:c]}
		if err := e.Bake(m.kind, n, func(y int, v []float32) { copy(pic.Pix[y*n*c:], v) }); err != nil {
			return err
		}
		if m.kind == eye.Height {
			for i := range pic.Pix {
				pic.Pix[i] += 0.5 // a mm is 1
			}
		}
		src := &layout.Source{Kind: m.as, Green: 1, Tiles: map[int]*layout.Picture{1001: pic}, Wrap: wrapOf("clamp"), SRGB: true, Depth: 8}
		if m.deep {
			src.Depth = 16
		}
		if _, err := src.Write(filepath.Join(b.out, m.name), pic); err != nil {
			return err
		}
		for _, d := range sizes {
			file := strings.TrimSuffix(pupilFile(m.name, d), ".png")
			if _, err := src.Write(filepath.Join(b.out, file), s.Remap(src, d, e.SurfaceUV)); err != nil {
				return err
			}
		}
	}
	return writeBytes(filepath.Join(b.out, baseScene), []byte(baseSceneText(p, side, targetName(s.Pupils[2]))))
}

// baseSceneText is a scene of the base with its maps.
func baseSceneText(p eye.Params, side, target string) string {
	w := &strings.Builder{}
	line := func(format string, a ...any) { fmt.Fprintf(w, format+"\n", a...) }
	line("# The base with its maps. The pupil is moved by the weight of the morph target: 1 is the target's size, 0 that at rest, %.3g mm; below 0 it is narrower.", p.PupilDiameter)
	line("picture: {width: 512, height: 512, samples: 64}")
	line("camera:")
	line("  target: [0, 0, %.4g]", 0.42*p.GlobeRadius)
	line("  orbit: {azimuth: 12, elevation: 4, distance: 1000}")
	line("  focal_length: %.4g", 36*1000/(2.5*p.LimbusRadius))
	line("view: {exposure: -0.1, white: 1.4, glare: {}, background: gradient, background_colour: [0.035, 0.035, 0.04]}")
	line("lights:")
	line("  - {name: window, kind: rectangle, orbit: {azimuth: -28, elevation: 26, distance: 2450}, width: 500, height: 510, panes: [2, 3], bar: 32, radiance: [56, 54.9, 52.9], profile: {core: 1.7, edge: 0.8, sky: 0.6, horizon: 0.14, curtain: 0.08}}")
	line("  - {name: room, kind: environment, file: builtin:cottage-room-unlit, rotation: -28, ev: 2.9}")
	line("objects:")
	line("  - name: eye")
	line("    shape: eye")
	line("    asset: {file: base.glb, outer: outer, inner: inner, subdivide: 2, close_gap: false, morph: [{target: %s, weight: 0}]}", target)
	line("    side: %s", side)
	line("    globe: {radius: %.10g}", p.GlobeRadius)
	line("    limbus: {radius: %.10g, width: %.10g, reach: %.10g}", p.LimbusRadius, p.LimbusWidth, p.LimbusReach)
	line("    iris:")
	line("      colour: {file: colour.png, tiling: clamp, uv_set: 1}")
	line("      height: {file: height.png, zero_level: 0.5, scale: 1, tiling: clamp, uv_set: 1}")
	line("    sclera:")
	line("      colour: {file: colour.png, tiling: clamp, uv_set: 1}")
	return w.String()
}
