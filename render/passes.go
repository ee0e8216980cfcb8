package render

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/pathtrace"
	"catchlight/render/sampler"
	"catchlight/render/view"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/parallel"
)

// ways are the passes of picture.passes.paths.
var ways = []struct {
	name    string
	classes uint32
}{
	{"seen", 1 << pathtrace.Background},
	{"mirrored", pathtrace.AllWays(pathtrace.Reflection)},
	{"passed", 1 << (pathtrace.Background + pathtrace.Passing)},
	{"scattered", scattered << pathtrace.Plainly},
	{"focused", scattered << pathtrace.Focused},
}

// scattered are the classes of what tissue and other objects send back.
const scattered = 1<<pathtrace.IrisDirect | 1<<pathtrace.IrisIndirect | 1<<pathtrace.ScleraDirect | 1<<pathtrace.ScleraIndirect |
	1<<pathtrace.BodyDirect | 1<<pathtrace.BodyIndirect

// filmPasses are what the film keeps of the scene's passes.
func (p *Prepared) filmPasses() []film.Pass {
	want := p.Description.Picture.Passes
	var out []film.Pass
	add := func(name string, light int, classes uint32) {
		out = append(out, film.Pass{Layer: film.Layer{Name: name, Light: light, Classes: classes}, Square: want.Errors})
	}
	if want.Lights {
		s := p.Scene
		for i, l := range s.Lights {
			switch {
			case s.LightTag[i] != i:
			case s.LightSides[i] >= 0:
				for k, side := range frozen.SideNames {
					add(film.PassLight+l.Name+"."+side, s.LightSides[i]+k, film.AllClasses)
				}
			default:
				add(film.PassLight+l.Name, i, film.AllClasses)
			}
		}
	}
	if want.Paths {
		for _, w := range ways {
			add(film.PassPath+w.name, film.Any, w.classes)
		}
	}
	return out
}

// MemoryForecast says what the sums of a picture take.
type MemoryForecast struct {
	Film   int64 // bytes of all sums
	Memory int64 // of them in memory at once
	Passes int
}

// Disk returns how many bytes of the sums lie in a file.
func (m *MemoryForecast) Disk() int64 { return m.Film - m.Memory }

func (m *MemoryForecast) String() string {
	s := fmt.Sprintf("the picture's sums take %.2f GB", float64(m.Film)/1e9)
	if m.Passes > 0 {
		s += fmt.Sprintf(" with %d passes", m.Passes)
	}
	if m.Disk() > 0 {
		s += fmt.Sprintf(": %.2f GB in memory, %.2f GB in a file", float64(m.Memory)/1e9, float64(m.Disk())/1e9)
	}
	return s
}

// FilmForecast tells before the render what its sums will take.
func (p *Prepared) FilmForecast(o Options) MemoryForecast {
	c := p.filmConfig(o)
	return MemoryForecast{Film: c.Bytes(), Memory: c.InMemory(), Passes: len(c.Passes)}
}

// filePart is one part of a file with passes, and how its rows are made.
type filePart struct {
	imageio.EXRPart
	fill func(y0, y1 int, planes [][]float32)
}

// rgb are the channels of a colour, and their places in order of names.
var rgb = []imageio.EXRChannel{{Name: "B"}, {Name: "G"}, {Name: "R"}}

func xyz(names ...string) (out []imageio.EXRChannel) {
	for _, n := range names {
		out = append(out, imageio.EXRChannel{Name: n})
	}
	return out
}

// passParts are the parts besides the picture.
func (r *Result) passParts(vw *view.View, turn func(colour.RGB) colour.RGB) []filePart {
	var out []filePart
	for i, q := range r.Film.Passes() {
		c := slices.Clone(rgb)
		if q.Square {
			for _, n := range []string{"error.B", "error.G", "error.R"} {
				c = append(c, imageio.EXRChannel{Name: n, Half: true})
			}
		}
		out = append(out, filePart{imageio.EXRPart{Name: q.Name, Channels: c}, func(y0, y1 int, planes [][]float32) {
			mean, err := r.Film.PassRows(i, y0, y1)
			for j, m := range mean {
				m = turn(m)
				for k := range 3 {
					planes[k][j] = float32(m[2-k])
					if err != nil {
						planes[3+k][j] = float32(err[j][2-k])
					}
				}
			}
		}})
	}
	if r.d.Picture.Passes.Surfaces && r.p != nil {
		out = append(out, r.surfaceParts()...)
	}
	slices.SortStableFunc(out, func(a, b filePart) int { return cmp.Compare(a.Name, b.Name) })
	return out
}

// What a pixel's surface says, in the order of the planes of surfaces.
const (
	lookAlbedo   = 0  // of the tissue behind a cornea, else of the surface; mean over the pixel's filter, nothing counts as 0
	lookNormal   = 3  // geometric normal of the first surface, in the world; mean over the filter
	lookShading  = 6  // its shading normal, with its normal map
	lookPosition = 9  // of the first surface at the pixel's middle, mm
	lookDepth    = 12 // of it along the view, mm
	lookUV       = 13 // map coordinates of the surface behind a cornea, else of the first
	lookZone     = 15
	lookPart     = 16
	looks        = 17
)

// surfaceParts are the parts that are found by looking, without light.
func (r *Result) surfaceParts() []filePart {
	p := r.p
	zones := make([]string, Zones)
	for z := range Zones {
		zones[z] = fmt.Sprintf("%d %s", z, z)
	}
	names := []string{"0 nothing"}
	for i := range p.Scene.Objects {
		names = append(names, fmt.Sprintf("%d %s", i+1, p.Scene.Objects[i].Name))
	}
	note := func(key, text string) map[string]string { return map[string]string{key: text} }
	// All parts are made from one look at each row; it is kept until other rows are asked for.
	var have [2]int
	var rows [looks][]float32
	at := func(first int, order ...int) func(y0, y1 int, planes [][]float32) {
		return func(y0, y1 int, planes [][]float32) {
			if have != [2]int{y0, y1} {
				rows, have = p.surfaces(y0, y1), [2]int{y0, y1}
			}
			for i, k := range order {
				copy(planes[i], rows[first+k])
			}
		}
	}
	return []filePart{
		{imageio.EXRPart{Name: "albedo", Channels: rgb, Attrs: note("about", "reflectance, of tissue through cornea and tears; mean over the pixel, nothing counts as 0")}, at(lookAlbedo, 2, 1, 0)},
		{imageio.EXRPart{Name: "normal.geometric", Channels: xyz("X", "Y", "Z"), Attrs: note("about", "of the first surface, in the world; mean over the pixel")}, at(lookNormal, 0, 1, 2)},
		{imageio.EXRPart{Name: "normal.shading", Channels: xyz("X", "Y", "Z"), Attrs: note("about", "of the first surface with its normal map, in the world; mean over the pixel")}, at(lookShading, 0, 1, 2)},
		{imageio.EXRPart{Name: "position", Channels: xyz("X", "Y", "Z"), Attrs: note("unit", "mm, in the world, of the first surface at the pixel's middle; 0 where there is none")}, at(lookPosition, 0, 1, 2)},
		{imageio.EXRPart{Name: "depth", Channels: xyz("Z"), Attrs: note("unit", "mm along the view to the first surface at the pixel's middle; 0 where there is none")}, at(lookDepth, 0)},
		{imageio.EXRPart{Name: "uv", Channels: xyz("U", "V"), Attrs: note("about", "map coordinates at the pixel's middle, of tissue through the cornea")}, at(lookUV, 0, 1)},
		{imageio.EXRPart{Name: "zone", Channels: xyz("id"), Attrs: note("zones", strings.Join(zones, "; "))}, at(lookZone, 0)},
		{imageio.EXRPart{Name: "part", Channels: xyz("id"), Attrs: note("parts", strings.Join(names, "; "))}, at(lookPart, 0)},
	}
}

// surfaces looks through the pixels of rows y0 <= y < y1 at what the camera meets. It returns planes of these rows.
func (p *Prepared) surfaces(y0, y1 int) (out [looks][]float32) {
	w := p.Description.Picture.Width
	for i := range out {
		out[i] = make([]float32, w*(y1-y0))
	}
	type looker struct {
		smp sampler.Sampler
		sc  *accel.Scratch
	}
	own := func() *looker { return &looker{sampler.New(uint64(p.Description.Picture.Seed)), accel.NewScratch()} }
	workers := Options{}.workers()
	axis := p.Scene.Camera.Frame().N
	parallel.With(y1-y0, workers, own, func(l *looker, row int) {
		y := y0 + row
		for x := range w {
			i := row*w + x
			var sum [lookPosition]float64
			for k := range featureSamples {
				l.smp.Start(uint64(y*w+x), 0, uint32(edgeFirst+k))
				dx, dy := p.Filter.Sample(l.smp.D2(0, sampler.Pixel, 0))
				p.lookAt(l.sc, float64(x)+0.5+dx, float64(y)+0.5+dy, &sum)
			}
			for k := range sum {
				out[k][i] = float32(sum[k] / featureSamples)
			}
			px, py := float64(x)+0.5, float64(y)+0.5
			zone, _ := p.zone(l.sc, px, py)
			out[lookZone][i] = float32(zone)
			s := p.seen(l.sc, px, py)
			if len(s) == 0 {
				continue
			}
			first, last := s[0], p.behind(l.sc, s, px, py)
			o, _, _ := p.Scene.Camera.Ray(px, py, 0.5, 0.5)
			for k, v := range []float64{first.P.X, first.P.Y, first.P.Z, math.Abs(first.P.Sub(o).Dot(axis)), last.UV.U, last.UV.V} {
				out[lookPosition+k][i] = float32(v)
			}
			out[lookPart][i] = float32(last.Object + 1)
		}
	})
	return out
}

// lookAt adds what a ray meets: albedo and normals.
func (p *Prepared) lookAt(sc *accel.Scratch, px, py float64, sum *[lookPosition]float64) {
	s := p.seen(sc, px, py)
	if len(s) == 0 {
		return
	}
	first, last := &s[0], p.behind(sc, s, px, py)
	_, d, _ := p.Scene.Camera.Ray(px, py, 0.5, 0.5)
	add := func(at int, n geom.Vec) {
		if n.Dot(d) > 0 {
			n = n.Neg()
		}
		sum[at], sum[at+1], sum[at+2] = sum[at]+n.X, sum[at+1]+n.Y, sum[at+2]+n.Z
	}
	add(lookNormal, first.Ng)
	n := first.Ns
	b := &p.Scene.Objects[first.Object]
	if b.Eye >= 0 {
		if e := &p.Scene.Eyes[b.Eye]; b.Material.Kind == frozen.Outer && e.Normal.Valid() {
			n = p.Scene.MappedNormal(first, &e.Normal, e.NormalGain)
		}
	}
	add(lookShading, n)
	for c, v := range p.Scene.Albedo(&last) {
		sum[lookAlbedo+c] += v
	}
}

// behind returns the surface that is seen at a film position whose surfaces are s: the last of them, or what lies straight behind it where
// that is a line of tears or an interface that is none.
func (p *Prepared) behind(sc *accel.Scratch, s []frozen.Surface, px, py float64) frozen.Surface {
	last := s[len(s)-1]
	_, d, _ := p.Scene.Camera.Ray(px, py, 0.5, 0.5)
	for range 8 {
		if k := p.Scene.Objects[last.Object].Material.Kind; k != frozen.TearLine && k != frozen.Matched {
			break
		}
		r := geom.Ray{O: last.Leave(d), D: d}
		var h frozen.Hit
		if !p.Scene.Intersect(sc, r, 0, math.Inf(1), frozen.CameraRays, false, &h) || h.Object < 0 {
			break
		}
		last = p.Scene.Surface(r, &h)
		b := &p.Scene.Objects[last.Object]
		if b.Eye < 0 || b.Material.Kind != frozen.Outer {
			continue
		}
		in := p.Scene.Eyes[b.Eye].Inner
		if p.Scene.Objects[in].Closest(sc, geom.Ray{O: last.Leave(d), D: d}, 0, math.Inf(1), &h) {
			h.Object, h.Light = in, -1
			last = p.Scene.Surface(r, &h)
		}
	}
	return last
}

// writePasses writes the multi-part file of a picture with passes.
func (r *Result) writePasses(path string, vw *view.View, meta map[string]string, in colour.Primaries, turn func(colour.RGB) colour.RGB) error {
	look, err := json.Marshal(r.d.View)
	if err != nil {
		return err
	}
	meta[ViewAttr] = string(look)
	names := r.channels()
	at := map[string]int{}
	for i, c := range names {
		at[c.Name] = i
	}
	parts := []imageio.EXRPart{{Name: film.PartPicture, Channels: names, Attrs: meta}}
	more := r.passParts(vw, turn)
	for _, q := range more {
		parts = append(parts, q.EXRPart)
	}
	return imageio.WriteEXRRows(path, r.Width, r.Height, parts, in, func(y0, y1 int, planes [][][]float32) error {
		r.picture(vw, turn, y0, y1, func(name string) []float32 {
			if i, ok := at[name]; ok {
				return planes[0][i]
			}
			return nil
		})
		for i, q := range more {
			q.fill(y0, y1, planes[i+1])
		}
		return r.Film.Err()
	})
}

// ViewAttr is the attribute that holds the scene's view (JSON), so that a picture made of the passes is shown alike.
const ViewAttr = "catchlight.view"
