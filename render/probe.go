package render

import (
	"fmt"
	"math"
	"strings"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/texture"
)

// Probe says what one pixel of a picture shows: the surfaces behind its middle, and where their maps are read.
type Probe struct {
	X, Y   int
	Places []Place // outermost first; none where the pixel shows no object
}

// Place is a point of an object that a pixel shows.
type Place struct {
	Object string   `json:"object"`
	World  geom.Vec `json:"world_mm"`
	Local  geom.Vec `json:"local_mm"` // in the object's own frame: of an eye, +Z out of the cornea
	UV     geom.UV  `json:"uv"`
	HasUV  bool     `json:"has_uv"`
	Zone   float64  `json:"iris_zone"` // of an eye: 1 in the iris, 0 in the sclera
	Backs  bool     `json:"absorbs"`   // a part that absorbs all: pupil, cavity
	Maps   []Texel  `json:"maps"`
	Reason string   `json:"note,omitempty"`
}

// Texel is where a map is read.
type Texel struct {
	Key      string    `json:"key"`
	File     string    `json:"file"`
	X        int       `json:"x"`
	Y        int       `json:"y"`
	Width    int       `json:"width"`
	Height   int       `json:"height"`
	Channels []string  `json:"channels"`
	Value    []float64 `json:"value"`            // of the file: 0 to 1 for 8 and 16 bit, as it is for float
	PerPixel float64   `json:"texels_per_pixel"` // texels that one pixel of the film covers along a side; below 1 the map is magnified
}

// Probe looks through the middle of pixel (x, y), counted from the top left: at what the camera meets, and in an eye,
// through the cornea, at what lies behind it. Light is bent where the outer shell is a cornea; wobble from normal maps
// is left out.
func (p *Prepared) Probe(x, y int) (*Probe, error) {
	d := p.Description
	if x < 0 || y < 0 || x >= d.Picture.Width || y >= d.Picture.Height {
		return nil, fmt.Errorf("pixel %d,%d is outside the picture of %d x %d", x, y, d.Picture.Width, d.Picture.Height)
	}
	out := &Probe{X: x, Y: y}
	sc := accel.NewScratch()
	mid := p.seen(sc, float64(x)+0.5, float64(y)+0.5)
	right := p.seen(sc, float64(x)+1.5, float64(y)+0.5)
	down := p.seen(sc, float64(x)+0.5, float64(y)+1.5)
	for i, s := range mid {
		b := &p.Scene.Objects[s.Object]
		q := Place{Object: b.Name, World: s.P, Local: b.ToLocal.Point(s.P), UV: s.UV, HasUV: b.Shape != frozen.Mesh || b.Mesh.UV != nil, Backs: s.Part != 0}
		if b.Eye >= 0 {
			q.Zone = p.Scene.Eyes[b.Eye].TissueZone(q.Local)
		}
		var du, dv geom.UV
		if i < len(right) && i < len(down) && right[i].Object == s.Object && down[i].Object == s.Object {
			du = geom.UV{U: right[i].UV.U - s.UV.U, V: right[i].UV.V - s.UV.V}
			dv = geom.UV{U: down[i].UV.U - s.UV.U, V: down[i].UV.V - s.UV.V}
		}
		for _, m := range p.mapsOf(s.Object, q.Zone) {
			t, err := readTexel(m.key, m.file, s.UV, du, dv)
			if err != nil {
				return nil, err
			}
			q.Maps = append(q.Maps, t)
		}
		if len(q.Maps) == 0 {
			q.Reason = "no map of the scene file lies here; its colour is built, a constant or the asset's own"
		}
		out.Places = append(out.Places, q)
	}
	return out, nil
}

// seen follows the camera ray through (px, py): the first object, and behind an outer shell its inner one.
func (p *Prepared) seen(sc *accel.Scratch, px, py float64) []frozen.Surface {
	return p.Scene.Seen(sc, px, py)
}

type keyedMap struct {
	key  string
	file scene.Path
}

// mapsOf lists the maps from files that an object reads.
func (p *Prepared) mapsOf(object int32, zone float64) []keyedMap {
	var out []keyedMap
	add := func(key string, file scene.Path) {
		if file != "" {
			out = append(out, keyedMap{key, file})
		}
	}
	normal := func(key string, m *scene.NormalMap) {
		if m != nil {
			add(key, m.File)
		}
	}
	height := func(key string, m *scene.HeightMap) {
		if m != nil {
			add(key, m.File)
		}
	}
	name := p.Scene.Objects[object].Name
	for i := range p.Description.Objects {
		b := &p.Description.Objects[i]
		if b.Eye == nil {
			if b.Name == name {
				add("objects."+name+".material.colour", b.Material.Colour.File)
			}
			continue
		}
		key := "objects." + b.Name + ".eye."
		switch name {
		case b.Name + ".outer":
			normal(key+"cornea.normal", b.Eye.Cornea.Normal)
			height(key+"cornea.height", b.Eye.Cornea.Height)
		case b.Name + ".inner":
			if zone > 0 {
				add(key+"iris.colour", b.Eye.Iris.Colour.File)
			}
			if zone < 1 {
				add(key+"sclera.colour", b.Eye.Sclera.Colour.File)
			}
			normal(key+"iris.normal", b.Eye.Iris.Normal)
			height(key+"iris.height", b.Eye.Iris.Height)
		}
	}
	return out
}

// readTexel finds the texel nearest to uv in the file of a map.
func readTexel(key string, path scene.Path, uv, du, dv geom.UV) (Texel, error) {
	file := string(path)
	if tiles, _ := scene.TileFiles(path); len(tiles) > 0 {
		n := texture.TileOf(uv)
		if file = tiles[n]; file == "" {
			return Texel{}, fmt.Errorf("%s: %s has no tile for uv (%g, %g)", key, path, uv.U, uv.V)
		}
	}
	pic, err := imageio.Read(file)
	if err != nil {
		return Texel{}, fmt.Errorf("%s: %w", key, err)
	}
	at := func(v float64, n int) int { return min(n-1, int((v-math.Floor(v))*float64(n))) }
	w, h := float64(pic.W), float64(pic.H)
	t := Texel{Key: key, File: file, X: at(uv.U, pic.W), Y: at(uv.V, pic.H), Width: pic.W, Height: pic.H,
		PerPixel: math.Sqrt(math.Abs(du.U*dv.V-du.V*dv.U) * w * h)}
	for i, n := range pic.Names {
		t.Channels = append(t.Channels, n)
		t.Value = append(t.Value, float64(pic.Pix[i][t.Y*pic.W+t.X]))
	}
	return t, nil
}

// String says it in lines for people.
func (p *Probe) String() string {
	if len(p.Places) == 0 {
		return fmt.Sprintf("pixel %d,%d: no object\n", p.X, p.Y)
	}
	w := &strings.Builder{}
	fmt.Fprintf(w, "pixel %d,%d\n", p.X, p.Y)
	for _, q := range p.Places {
		fmt.Fprintf(w, "  %s at (%.3f, %.3f, %.3f) mm, in its own frame (%.3f, %.3f, %.3f)", q.Object, q.World.X, q.World.Y, q.World.Z, q.Local.X, q.Local.Y, q.Local.Z)
		if q.HasUV {
			fmt.Fprintf(w, ", uv (%.5f, %.5f)", q.UV.U, q.UV.V)
		} else {
			fmt.Fprint(w, ", no uv")
		}
		if strings.HasSuffix(q.Object, ".outer") || strings.HasSuffix(q.Object, ".inner") {
			fmt.Fprintf(w, ", %.0f %% iris", 100*q.Zone)
		}
		if q.Backs {
			fmt.Fprint(w, ", absorbs")
		}
		fmt.Fprintln(w)
		for _, t := range q.Maps {
			fmt.Fprintf(w, "    %s: %s, texel %d,%d of %d x %d,", t.Key, t.File, t.X, t.Y, t.Width, t.Height)
			for i, c := range t.Channels {
				fmt.Fprintf(w, " %s %.4g", c, t.Value[i])
			}
			fmt.Fprintf(w, ", %.3g texels a pixel\n", t.PerPixel)
		}
		if q.Reason != "" {
			fmt.Fprintf(w, "    %s\n", q.Reason)
		}
	}
	return w.String()
}
