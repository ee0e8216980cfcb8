package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene"
	"catchlight/scene/edit"
	"catchlight/scene/layout"
	"catchlight/scene/texture"
)

// carried is a map of the scene that is to be carried.
type carried struct {
	key    string // in the object
	file   scene.Path
	shell  int // 0 outer, 1 inner
	kind   layout.Kind
	srgb   bool
	down   bool
	wrap   string
	uvSet  *int
	change bool // the scene names it
}

// list collects the maps that the scene lays on the shells.
func (l *layingOut) list() (list []carried, err error) {
	e := l.o.Eye
	for _, c := range []struct {
		key string
		m   *scene.MapSpec
	}{{"iris.colour", &e.Iris.Colour}, {"sclera.colour", &e.Sclera.Colour}} {
		if c.m.File == "" {
			continue
		}
		q := carried{key: c.key, file: c.m.File, shell: 1, kind: layout.Colour, srgb: !strings.HasPrefix(c.m.Space, "linear"), wrap: c.m.Tiling, uvSet: c.m.UvSet, change: true}
		if c.m.Shell == "outer" {
			q.shell = 0
		}
		list = append(list, q)
	}
	for _, c := range []struct {
		key   string
		shell int
		n     *scene.NormalMap
		h     *scene.HeightMap
	}{{"cornea", 0, e.Cornea.Normal, e.Cornea.Height}, {"iris", 1, e.Iris.Normal, e.Iris.Height}} {
		if c.n != nil {
			list = append(list, carried{key: c.key + ".normal", file: c.n.File, shell: c.shell, kind: layout.Normal, down: c.n.Green == "down", wrap: c.n.Tiling, uvSet: c.n.UvSet, change: true})
		}
		if c.h != nil {
			list = append(list, carried{key: c.key + ".height", file: c.h.File, shell: c.shell, kind: layout.Data, wrap: c.h.Tiling, uvSet: c.h.UvSet, change: true})
		}
	}
	// One shell is read with one set of coordinates.
	var first [2]*carried
	for i := range list {
		q := &list[i]
		set := func(c *carried) int {
			if c.uvSet == nil {
				return -1
			}
			return *c.uvSet
		}
		if f := first[q.shell]; f != nil && set(f) != set(q) {
			return nil, fmt.Errorf("%s and %s lie on two sets of texture coordinates of one shell; a layout carries the maps of one", f.key, q.key)
		}
		first[q.shell] = q
	}
	for _, a := range l.also {
		file, kind, _ := strings.Cut(a, "=")
		if _, err := os.Stat(file); err != nil {
			return nil, usageError{fmt.Errorf("--also %s: %w", a, err)}
		}
		list = append(list, carried{key: strings.TrimSuffix(filepath.Base(file), filepath.Ext(file)), file: scene.Path(file), shell: 1, kind: layout.Kind(kind), srgb: true, wrap: "clamp"})
	}
	return list, nil
}

// maps carries all maps and returns what the scene says of them.
func (l *layingOut) maps() (changes []edit.Change, err error) {
	list, e := l.todo, l.eye()
	done := map[string]string{} // what was carried already, by file, kind and shell
	for _, q := range list {
		id := fmt.Sprint(q.file, q.kind, q.shell, q.wrap)
		name, ok := done[id]
		if !ok {
			if name, err = l.carry(&q, e); err != nil {
				return nil, fmt.Errorf("%s: %w", q.key, err)
			}
			done[id] = name
		}
		if !q.change {
			continue
		}
		at := "objects." + l.o.Name + "." + q.key + "."
		changes = append(changes, edit.Change{Key: at + "file", Value: name})
		if strings.Contains(name, scene.TileToken) {
			if q.wrap != "" && q.wrap != "repeat" {
				changes = append(changes, edit.Change{Key: at + "tiling"})
			}
		} else {
			changes = append(changes, edit.Change{Key: at + "tiling", Value: "clamp"})
		}
		if q.uvSet != nil {
			changes = append(changes, edit.Change{Key: at + "uv_set"})
		}
	}
	own, err := l.ownPictures(list, e)
	return append(changes, own...), err
}

// ownPictures carries the inner shell's own pictures, of the file, where the scene names none in their place.
func (l *layingOut) ownPictures(list []carried, e layout.Eye) (changes []edit.Change, err error) {
	has := func(key string) bool {
		for _, q := range list {
			if q.key == key {
				return true
			}
		}
		return false
	}
	look := l.shells[1].look
	at := "objects." + l.o.Name + "."
	if im := look.BaseMap; im != nil && !(has("iris.colour") && has("sclera.colour")) {
		s := fromTexture(im, layout.Colour, look.Wrap)
		for c, f := range look.BaseColour {
			for i := c; i < len(s.First().Pix); i += s.First().C {
				s.First().Pix[i] *= float32(f)
			}
		}
		name, err := l.carrySource(s, "own_colour", layout.Colour, 1, e)
		if err != nil {
			return nil, err
		}
		for _, k := range []string{"iris.colour", "sclera.colour"} {
			if !has(k) {
				changes = append(changes, edit.Change{Key: at + k, Value: edit.Raw("{file: " + strconv.Quote(name) + ", tiling: clamp}")})
			}
		}
	}
	if im := look.NormalMap; im != nil && !has("iris.normal") {
		name, err := l.carrySource(fromTexture(im, layout.Normal, look.Wrap), "own_normal", layout.Normal, 1, e)
		if err != nil {
			return nil, err
		}
		changes = append(changes, edit.Change{Key: at + "iris.normal", Value: edit.Raw(fmt.Sprintf("{file: %q, tiling: clamp, strength: %g}", name, look.NormalScale))})
	}
	for i, c := range changes {
		if strings.Contains(string(c.Value.(edit.Raw)), scene.TileToken) {
			changes[i].Value = edit.Raw(strings.Replace(string(c.Value.(edit.Raw)), ", tiling: clamp", "", 1))
		}
	}
	return changes, nil
}

// fromTexture takes a file's own picture.
func fromTexture(im *texture.Image, kind layout.Kind, wrap texture.Wrap) *layout.Source {
	w, h, c := im.Size()
	n := 3
	p := &layout.Picture{W: w, H: h, C: n, Pix: make([]float32, n*w*h), Names: []string{"R", "G", "B"}}
	for y := range h {
		for x := range w {
			for k := range n {
				p.Pix[(y*w+x)*n+k] = float32(im.At(x, y, min(k, c-1)))
			}
		}
	}
	return &layout.Source{Kind: kind, Green: 1, Tiles: map[int]*layout.Picture{1001: p}, Wrap: wrap, SRGB: true, Depth: 8}
}

// carry carries one map of the scene and returns its file's name, with the token for tiles where it has several.
func (l *layingOut) carry(q *carried, e layout.Eye) (string, error) {
	tiles, err := scene.TileFiles(q.file)
	if err != nil {
		return "", err
	}
	tiled := len(tiles) > 0
	if !tiled {
		tiles = map[int]string{1001: string(q.file)}
	}
	s, err := layout.Open(tiles, q.kind, q.srgb, q.down, wrapOf(q.wrap))
	if err != nil {
		return "", err
	}
	s.Tiled = tiled
	return l.carrySource(s, mapFileName(q.key), q.kind, q.shell, e)
}

// carrySource carries a map that was read.
func (l *layingOut) carrySource(s *layout.Source, name string, kind layout.Kind, shell int, e layout.Eye) (string, error) {
	k := l.shells[shell]
	first := s.First()
	size := l.size
	if size == 0 {
		size = first.W
	}
	if size > 8192 {
		return "", errors.New("the map is wider than 8192 px: give --size")
	}
	out := layoutMap{Key: name, Kind: string(kind), Size: size}
	token, tiles := name, 1
	if used := tilesOf(k, l.kind == layout.Island); used > 1 {
		token, tiles = name+"."+scene.TileToken, used
	}
	ending := ""
	for tile := range tiles {
		path := filepath.Join(l.out, strings.Replace(token, scene.TileToken, strconv.Itoa(1001+tile), 1))
		file, err := s.Write(path, k.carry.Map(s, tile, size, size))
		if err != nil {
			return "", err
		}
		ending = filepath.Ext(file)
		out.Files = append(out.Files, filepath.Base(file))
	}
	l.files = append(l.files, out.Files...)
	r := k.carry.Density(float64(size), float64(size), float64(first.W), float64(first.H), layout.OnIris(k.to, e))
	out.Least, out.Mid = r.Low, r.Median
	l.report.Maps = append(l.report.Maps, out)
	keeps := "nothing is lost there"
	if r.Low < 0.999 {
		keeps = fmt.Sprintf("finer detail is lost; --size %d keeps it", nextSize(float64(size)/r.Low))
	}
	if r.Median > 0 {
		l.said = append(l.said, fmt.Sprintf("%s: on the iris %.2f texels for one of the old map in the direction that has fewest; %s", name, r.Low, keeps))
	}
	return token + ending, nil
}

// nextSize is the next power of two.
func nextSize(x float64) int {
	n := 16
	for float64(n) < x-0.5 {
		n *= 2
	}
	return n
}

// tilesOf is how many tiles a shell's new coordinates use.
func tilesOf(s *laidShell, island bool) int {
	if island {
		return 2
	}
	n := 1
	for _, uv := range s.to.UV {
		n = max(n, int(uv.U-1e-9)+1)
	}
	return n
}
