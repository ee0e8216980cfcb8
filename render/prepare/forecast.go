package prepare

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// Forecast says how much memory the pictures of a scene will take, from their headers alone.
type Forecast struct {
	Kept  int64 // bytes of all maps and environments at once
	Peak  int64 // bytes at the worst moment of preparing: what is kept, and the largest picture while it is decoded
	Lines []string
}

// gigabytes writes bytes as GB of 1e9.
func gigabytes(n int64) string { return fmt.Sprintf("%.3f GB", float64(n)/1e9) }

// NewForecast reads the headers of all pictures of a description. Pictures that can't be read count as nothing: reading
// them will tell.
func NewForecast(d *scene.Description) Forecast {
	var f Forecast
	var decode int64
	add := func(key, file string, kept, beside int64, what string) {
		f.Kept += kept
		decode = max(decode, beside)
		f.Lines = append(f.Lines, fmt.Sprintf("%s: %s (%s) %s, %s more while it is decoded", key, file, what, gigabytes(kept), gigabytes(beside)))
	}
	picture := func(key string, path scene.Path, as imageio.As) {
		files := []string{string(path)}
		if tiles, _ := scene.TileFiles(path); len(tiles) > 0 {
			files = files[:0]
			for _, n := range slices.Sorted(maps.Keys(tiles)) {
				files = append(files, tiles[n])
			}
		}
		for _, file := range files {
			if h, err := imageio.ReadHeader(file); err == nil {
				add(key, file, h.Texture(as), h.Decoding(), fmt.Sprintf("%d x %d, %d bits", h.W, h.H, h.Bits))
			}
		}
	}
	spec := func(key string, s *scene.MapSpec) {
		if s.File != "" {
			picture(key, s.File, imageio.As{Channel: s.Channel})
		}
	}
	normal := func(key string, s *scene.NormalMap) {
		if s != nil {
			picture(key, s.File, imageio.As{Slopes: true})
		}
	}
	height := func(key string, s *scene.HeightMap) {
		if s != nil {
			picture(key, s.File, imageio.As{Channel: s.Channel})
		}
	}
	for i := range d.Objects {
		b := &d.Objects[i]
		key := "objects." + b.Name + "."
		switch e := b.Eye; {
		case !b.On:
		case b.Shape != "eye":
			spec(key+"material.colour", &b.Material.Colour)
		case e != nil:
			key += "eye."
			spec(key+"iris.colour", &e.Iris.Colour)
			spec(key+"sclera.colour", &e.Sclera.Colour)
			normal(key+"cornea.normal", e.Cornea.Normal)
			normal(key+"iris.normal", e.Iris.Normal)
			height(key+"cornea.height", e.Cornea.Height)
			height(key+"iris.height", e.Iris.Height)
			// Colour, albedo and film over the volume, three float32 a texel.
			n := int64(e.MapSize) * int64(e.MapSize)
			add(key+"map_size", fmt.Sprint(e.MapSize), 3*12*n, 0, "maps over the volume")
		}
	}
	for i := range d.Lights {
		l := &d.Lights[i]
		if !l.On || l.Kind != "environment" || l.File == "" {
			continue
		}
		if h, err := imageio.ReadHeader(string(l.File)); err == nil {
			// Three float32 a texel and one float64 of the density.
			n := int64(h.W) * int64(h.H)
			add("lights."+l.Name, string(l.File), 20*n, h.File+h.Planes(), fmt.Sprintf("%d x %d", h.W, h.H))
		}
	}
	f.Peak = f.Kept + decode
	return f
}

// checkForecast refuses a scene whose pictures would take more memory than it allows, and notes one that would take
// more than half of it.
func (p *preparer) checkForecast() error {
	limit := int64(p.d.Advanced.MapMemory * 1e9)
	if limit == 0 {
		return nil
	}
	f := NewForecast(p.d)
	say := fmt.Sprintf("%s, %s at the peak; at most %s is allowed (advanced.map_memory)", gigabytes(f.Kept), gigabytes(f.Peak), gigabytes(limit))
	if f.Peak > limit {
		return fmt.Errorf("%s: the pictures of the scene would take %s:\n  %s", p.d.File, say, strings.Join(f.Lines, "\n  "))
	}
	if f.Peak > limit/2 {
		p.warnf("forecast: the pictures of the scene take %s", say)
	}
	return nil
}
