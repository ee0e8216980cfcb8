package prepare

import (
	"errors"
	"fmt"
	"maps"
	"path/filepath"
	"runtime/debug"
	"slices"

	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// texture makes a map of a spec as a stage of its own; colours says that 8- and 16-bit pictures hold colour unless the
// spec says otherwise. key is the place of the spec in the scene.
func (p *preparer) texture(key string, s *scene.MapSpec, colours bool) (texture.Map, error) {
	return stage(p, "map "+key, []any{s, colours}, func(m *making) (texture.Map, error) { return p.picture(m, key, s, colours) })
}

// picture makes a map of a spec within the stage m; key is its place in the scene, for notes. Colours stay within 0 to
// maxColour.
func (p *preparer) picture(m *making, key string, s *scene.MapSpec, colours bool) (texture.Map, error) {
	if s.File == "" {
		t := texture.Constant(s.Value.Scale(s.Gain).Add(colour.Grey(s.Offset)))
		if c := t.Mean(); colours && (min(c[0], c[1], c[2]) < 0 || max(c[0], c[1], c[2]) > 1) {
			t, _ = t.Within(0, maxColour)
			m.notes = append(m.notes, fmt.Sprintf("%s: gain and offset make (%.4g, %.4g, %.4g) of the value; what is outside 0 to %g counts as the end",
				key, c[0], c[1], c[2], maxColour))
		}
		return t, nil
	}
	as := imageio.As{SRGB: s.Space == "srgb" || s.Space == "p3" || s.Space == "auto" && colours, Colour: colours && s.Space == "auto", Channel: s.Channel}
	from, other := spaces[s.Space] // the scene's word takes precedence over the file's
	t, err := m.read(s.File, s.Tiling, as)
	if other && err == nil {
		turn, e := from.ToRec709()
		if err = e; err == nil {
			t = t.Turned(&turn)
		}
	}
	if err != nil {
		return t, err
	}
	t = t.Scaled(s.Gain, s.Offset)
	if colours {
		t = m.colours(key, t)
	}
	return t, nil
}

// maxColour is the largest reflectance of a map: a body that sends back all it gets, or more, never lets light go. A plain
// value of a scene may reach 1, for energy checks.
const maxColour = 0.98

// colours keeps a map within 0 to maxColour, and notes what was outside.
func (m *making) colours(key string, t texture.Map) texture.Map {
	t, out := t.Within(0, maxColour)
	if out.Count > 0 {
		m.notes = append(m.notes, fmt.Sprintf("%s: %d of %d texels are outside 0 to %g, first at u %.4g, v %.4g with (%.4g, %.4g, %.4g); they count as the end",
			key, out.Count, out.Of, maxColour, out.At.U, out.At.V, out.Value[0], out.Value[1], out.Value[2]))
	}
	return t
}

// normals makes the map of a normal map.
func (p *preparer) normals(key string, s *scene.NormalMap) (texture.Map, error) {
	return stage(p, "map "+key, s, func(m *making) (texture.Map, error) {
		t, err := m.read(s.File, s.Tiling, imageio.As{Slopes: true})
		if s.Green == "down" {
			t = t.GreenDown()
		}
		return t, err
	})
}

// read reads a picture or a set of tiles, one picture at a time.
func (m *making) read(path scene.Path, wrap string, as imageio.As) (texture.Map, error) {
	one := func(file string) (*texture.Image, error) {
		m.opens(file)
		im, notes, err := imageio.ReadTexture(file, as)
		if err != nil {
			return nil, err
		}
		m.notes = append(m.notes, prefixed(filepath.Base(file)+": ", notes)...)
		im.BuildMips()
		// What decoding left behind goes before the next picture comes: without this the heap grows to the sum of both.
		if w, h, _ := im.Size(); w*h >= bigPicture {
			debug.FreeOSMemory()
		}
		return im, nil
	}
	tiles, err := scene.TileFiles(path)
	if err != nil {
		return texture.Map{}, err
	}
	if len(tiles) == 0 {
		im, err := one(string(path))
		if err != nil {
			return texture.Map{}, err
		}
		return texture.FromImage(im, wraps[wrap]), nil
	}
	pictures := map[int]*texture.Image{}
	for _, n := range slices.Sorted(maps.Keys(tiles)) {
		if pictures[n], err = one(tiles[n]); err != nil {
			return texture.Map{}, err
		}
	}
	set, err := texture.NewTiles(pictures)
	if err != nil {
		return texture.Map{}, fmt.Errorf("%s: %w", path, err)
	}
	return texture.FromTiles(set), nil
}

// spaces are the primaries and whites of the colour spaces that a map may be in beside Rec. 709.
var spaces = map[string]colour.Primaries{
	"p3": colour.P3, "linear-rec2020": colour.Rec2020, "linear-ap1": colour.AP1,
}

// bigPicture is the number of texels from which a picture's decoding is cleaned up after at once.
const bigPicture = 1 << 22

// wraps by their words; "" is the zero value of a description made in code.
var wraps = map[string]texture.Wrap{"": texture.Repeat, "repeat": texture.Repeat, "clamp": texture.Clamp, "mirror": texture.Mirror}

func prefixed(prefix string, notes []string) []string {
	out := make([]string, len(notes))
	for i, n := range notes {
		out[i] = prefix + n
	}
	return out
}

// opacity mask reads the mask of an object.
func (p *preparer) cutout(b *scene.Object, m *mesh.Mesh) (*frozen.OpacityMask, error) {
	c := b.OpacityMask
	if m.UV == nil {
		return nil, errors.New("the mesh has no texture coordinates to lay it on")
	}
	t, err := stage(p, "opacity mask "+b.Name, c, func(k *making) (texture.Map, error) {
		return k.read(c.File, c.Tiling, imageio.As{Channel: c.Channel})
	})
	return &frozen.OpacityMask{Map: t, Threshold: c.Threshold, Blend: c.Blend}, err
}
