package inspect

import (
	"catchlight/scene/colour"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/texture"
)

var mapLimits = []Limit{
	{"maps.albedo_least", 0.02, 0, 1, "", "common practice, no published source: charcoal is 0.03 to 0.04", "linear reflectance below which a texel of the white is too dark"},
	{"maps.albedo_most", 0.95, 0, 1, "", "fresh snow and magnesium oxide are 0.9 to 0.98 (from memory)", "linear reflectance above which a texel is too light"},
	{"maps.albedo_share", 0.01, 0, 1, "", "own choice", "share of a zone that may lie outside"},
	{"maps.white_least", 0.3, 0, 1, "", "own choice: a grown person's sclera reflects about half (from memory)", "median reflectance of the white, at least"},
	{"maps.iris_most", 0.6, 0, 1, "", "own choice: pale blue irises reflect about 0.2 (from memory)", "median reflectance of the iris, at most"},
	{"maps.length_off", 0.03, 0, 1, "", "8-bit codes alone give 0.007 (sqrt(3)/255)", "how far a normal's length may be from 1"},
	{"maps.length_share", 0.05, 0, 1, "", "own choice", "share of normals that may be off"},
	{"maps.lean", 2, 0, 90, "degrees", "own choice: (128, 128, 255) leans 0.32", "how far the mean normal of a map may lean"},
	{"maps.green_clear", 0.4, 0, 1, "", "own choice; relief of one's own reads 0.3 to 1.0 (measured)", "correlation of the cross slopes from which the direction of green is clear"},
	{"maps.step", 1.5, 0, 90, "degrees", "own choice: a highlight's lobe at roughness 0.15 is about 2 degrees wide", "by how much a code of a height or normal map may turn the surface"},
	{"maps.wrap_most", 1.5, 1, 100, "", "own choice: pictures that tile read 0.7 to 1.3", "step over the edge of a tiling picture over that inside it"},
	{"maps.paint_mm2", 0.03, 0, 100, "mm^2", "own choice: the mirror image of a lamp 2.5 degrees wide", "area from which a white spot on the iris counts as a painted catchlight"},
	{"maps.shading", 0.15, 0, 1, "", "own choice", "by how much the upper half may be darker than the lower one, as a share of both"},
	{"maps.detail_kept", 0.5, 0, 1, "", "own choice", "share of a map's contrast that should be left at the shot's size"},
}

var mapChecks = []Check{{
	Group: Maps, Name: "looking at the maps",
	Codes: []Code{
		{"maps.broken", "can't be read", "The picture's file is broken, missing, or of a kind that is not read."},
		{"maps.size", "size of a map", "Width, height, channels and bits of the file."},
		{"maps.depth", "bits not used", "The file has more bits than its values: it was converted from fewer, and steps stay."},
		{"maps.steps", "visible steps", "So few levels that the surface, and with it every highlight, comes in steps."},
		{"maps.alpha", "alpha in the way", "A channel of coverage that a shell has no use for, or that is empty."},
		{"maps.curve", "wrong colour space", "Data that went through a display curve, or colour that did so twice or never."},
		{"maps.albedo", "albedo", "Reflectance by zone, linear. What no skin or fibre has gives light that no exposure balances."},
		{"maps.roughness", "roughness", "Roughness of a wet surface; a gloss map taken for it turns it over."},
		{"maps.normal_length", "normals of wrong length", "Texels that are no unit normals: filtered without care, or no normal map."},
		{"maps.lean", "normals lean", "The mean normal of the map is not straight up: the whole surface is tilted."},
		{"maps.green", "green points the other way", "Relief is lit from below: lumps read as holes when light comes from above."},
		{"maps.inside_out", "relief inside out", "The normal map and the height map of a surface contradict each other."},
		{"maps.tiling", "seam where it tiles", "The picture repeats on the mesh, and its opposite edges do not fit."},
		{"maps.catchlight", "painted catchlight", "A white spot is painted into the colour: it stays when the light moves, and doubles the real one."},
		{"maps.shading", "painted shading", "A shadow is painted into the colour: it stays when the light comes from below."},
		{"maps.pupil", "painted pupil beside the mesh's", "The picture's pupil does not lie on the hole, or on the axis."},
		{"maps.limbus", "painted limbus beside the mesh's", "The picture's iris does not end where the mesh's does."},
		{"maps.detail", "what is left when small", "Share of the map's contrast that is left at the shot's size, and level by level."},
		{"maps.compressed", "after block compression", "Error of the map in blocks of 4 x 4 texels at 4 and 8 bits a texel."},
	},
	Run: mapsRun,
}}

// mapsRun opens one map after the other, looks at it, and lets it go.
func mapsRun(r *Run) error {
	list := r.Subject.Maps
	heights := map[Role]*slopes{}
	normals := map[Role]*slopes{}
	for i := range list {
		if err := r.Ctx.Err(); err != nil {
			return err
		}
		m := &list[i]
		same := func(o Map) bool { return m.Held == nil && o.File == m.File && o.Role == m.Role && o.kind() == m.kind() }
		if slices.ContainsFunc(list[:i], same) {
			continue // one picture for iris and white
		}
		p, err := openMap(m)
		if err != nil {
			r.Add(Finding{Code: "maps.broken", Part: m.name(), Least: Error, Number: Number{Why: err.Error()},
				Shows: Shows{Text: "the built colour or a smooth surface stands in its place"}, Remedy: Remedy{Step: "write the picture anew, as PNG, TIFF or OpenEXR"}})
			continue
		}
		r.single(m, p)
		switch m.kind() {
		case "normal":
			normals[m.Role] = r.normalMap(m, p)
		case "height":
			heights[m.Role] = r.heightMap(m, p)
		case "roughness":
			r.roughness(m, p)
		default:
			r.colour(m, p, m.Whole || slices.ContainsFunc(list[i+1:], same))
		}
		r.small(m, p)
		r.Advance(i+1, len(list))
	}
	for role, n := range normals {
		if h := heights[role]; h != nil {
			r.insideOut(role, n, h)
		}
	}
	return nil
}

// kind is the last word of a map's key.
func (m *Map) kind() string { return m.Key[strings.LastIndexByte(m.Key, '.')+1:] }

// name is what a report calls a map.
func (m *Map) name() string {
	if m.Held != nil {
		return m.File
	}
	return filepath.Base(m.File)
}

// picture is a map while it is mostTexels at: the signal of its file, 0 to 1 where it is coded, else linear.
type picture struct {
	im      *texture.Image
	w, h, c int
	bits    int
	float   bool // linear values, not codes
	plain   bool // codes that are linear
	rows    int  // every so many rows are mostTexels at where all would take too long
}

// openMap reads a map as it is, without decoding colour.
func openMap(m *Map) (*picture, error) {
	p := &picture{im: m.Held}
	if p.im == nil {
		h, err := imageio.ReadHeader(m.File)
		if err != nil {
			return nil, err
		}
		if p.im, _, err = imageio.ReadTexture(m.File, imageio.As{}); err != nil {
			return nil, err
		}
		p.bits, p.float = h.Bits, h.Float
		p.plain = m.Linear
	} else {
		p.bits = 8
		p.float = m.HeldLinear
	}
	p.w, p.h, p.c = p.im.Size()
	p.rows = max(1, p.w*p.h/mostTexels)
	return p, nil
}

// mostTexels is the most texels whose values a count takes; of a larger picture it takes whole rows, evenly spread.
const mostTexels = 4 << 20

// code is a value as the file's code, of a picture with so many bits.
func (p *picture) code(x, y, k int) int {
	return int(math.Round(p.im.At(x, y, k) * float64(int(1)<<p.bits-1)))
}

// linear is the reflectance that a texel of colour stands for.
func (p *picture) linear(x, y int) (c [3]float64) {
	for k := range 3 {
		v := p.im.At(x, y, min(k, p.c-1))
		if p.c == 2 && k == 2 {
			v = p.im.At(x, y, 0)
		}
		if !p.float && !p.plain { // finer than 12 bits would show in nothing that is asked here
			v = decoded[int(v*float64(len(decoded)-1)+0.5)]
		}
		c[k] = v
	}
	return c
}

// at is the texel at texture coordinates, v down, in a picture that repeats.
func (p *picture) at(uv geom.UV) (x, y int) {
	return min(p.w-1, int((uv.U-math.Floor(uv.U))*float64(p.w))), min(p.h-1, int((uv.V-math.Floor(uv.V))*float64(p.h)))
}

// decoded is colour.DecodeSRGB at evenly spaced values.
var decoded = func() (t [4096]float64) {
	for i := range t {
		t[i] = colour.DecodeSRGB(float64(i) / float64(len(t)-1))
	}
	return
}()

func luminance(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// single looks at what every map has: size, depth, alpha, and its edges where it tiles.
func (r *Run) single(m *Map, p *picture) {
	f := Finding{Code: "maps.size", Part: m.name(), Good: true, Title: fmt.Sprintf("%d x %d, %d channels of %d bits", p.w, p.h, p.c, p.bits),
		Number: Held(float64(max(p.w, p.h)), "px", "longer side")}
	if pow2(p.w) && pow2(p.h) {
		r.Add(f)
	} else {
		f.Good, f.Most = false, Note
		f.Title = fmt.Sprintf("%d x %d is no power of two", p.w, p.h)
		f.Shows.Text = "nothing here; programs that show pictures in blocks scale it first, and blur it"
		f.Remedy.Step = fmt.Sprintf("render or scale it to %d px", nextPow2(max(p.w, p.h)))
		r.Add(f)
	}
	r.depth(m, p)
	r.alpha(m, p)
	r.tiling(m, p)
}

func pow2(n int) bool { return n&(n-1) == 0 }

func nextPow2(n int) int {
	p := 1
	for p < n {
		p *= 2
	}
	return p
}

// depth finds 16-bit files that hold 8-bit values: all codes are multiples of 257.
func (r *Run) depth(m *Map, p *picture) {
	if p.float || p.bits != 16 {
		return
	}
	off, seen := 0, 0
	for y := 0; y < p.h && off == 0; y += p.rows {
		for x := range p.w {
			for k := range min(3, p.c) {
				seen++
				if p.code(x, y, k)%257 != 0 {
					off++
				}
			}
		}
	}
	if off > 0 || seen == 0 {
		return
	}
	f := Finding{Code: "maps.depth", Part: m.name(), Title: "16-bit file with 8-bit values", Number: Held(8, "bits", "of each value used"),
		Range: AtLeast(16, "what the file has"), Most: Warning, Remedy: Remedy{Step: "export it again from the source in 16 bits; converting brings nothing back"}}
	if kind := m.kind(); kind == "height" || kind == "normal" {
		f.Shows = r.stepShows(m, p, 1.0/255)
	} else {
		f.Most = Note
		f.Shows.Text = "nothing: 8 bits carry colour"
	}
	r.Add(f)
}

// stepShows is what a step of a height or normal map does: it turns the surface, and with it its light.
func (r *Run) stepShows(m *Map, p *picture, step float64) Shows {
	angle := r.stepAngle(m, p, step)
	return Shows{Levels: turned(angle), Text: fmt.Sprintf("a step turns the surface by %.2g degrees: highlights come in terraces", angle)}
}

// stepAngle is by how many degrees a step of a value turns the surface.
func (r *Run) stepAngle(m *Map, p *picture, step float64) float64 {
	if m.kind() == "normal" {
		return math.Atan(2*step) * 180 / math.Pi
	}
	mm := m.MM
	if mm == 0 {
		return 0
	}
	d := r.Subject.density(m.Role, p.w, p.h, r.zoneOf(m))
	return math.Atan(step*mm*d.px/2) * 180 / math.Pi // central difference over two texels
}

// turned is by how many levels of 255 mid grey changes, lit from 45 degrees aside, when its surface turns by so many degrees.
func turned(degrees float64) float64 {
	a := degrees * math.Pi / 180
	was, is := math.Cos(math.Pi/4), max(0, math.Cos(math.Pi/4+a))
	return 255 * (colour.EncodeSRGB(0.5) - colour.EncodeSRGB(0.5*is/was))
}

// alpha finds a channel of coverage that is not all one.
func (r *Run) alpha(m *Map, p *picture) {
	if p.c != 4 && p.c != 2 {
		return
	}
	low, sum, n := math.Inf(1), 0.0, 0
	for y := 0; y < p.h; y += p.rows {
		for x := range p.w {
			v := p.im.At(x, y, p.c-1)
			low, sum, n = min(low, v), sum+v, n+1
		}
	}
	if low > 0.998 {
		return
	}
	f := Finding{Code: "maps.alpha", Part: m.name(), Number: Held(sum/float64(n), "", "mean of the channel"), Range: Between(1, 1, "a shell covers all of itself"), Most: Note,
		Shows: Shows{Text: "nothing here: it is not read; programs that multiply by it darken the edges"}, Remedy: Remedy{Step: "write the picture without alpha"}}
	if sum == 0 {
		f.Title, f.Most, f.Least = "alpha is empty", Warning, Warning
		f.Shows.Text = "nothing here; a program that reads it shows no eye at all"
	}
	r.Add(f)
}

// tiling compares steps over the edges of a picture that repeats on its mesh with those inside it.
func (r *Run) tiling(m *Map, p *picture) {
	part := r.Subject.Part(m.Role)
	if part == nil || part.Mesh.UV == nil || p.w < 8 || p.h < 8 || !repeats(part.Mesh.UV) {
		return
	}
	worst, shows := 1.0, 0.0
	for axis := range 2 {
		ratio, step := p.wrap(axis)
		if ratio > worst {
			worst, shows = ratio, step
		}
	}
	f := Finding{Code: "maps.tiling", Part: m.name(), Good: worst <= r.Limit("maps.wrap_most"), Number: Held(worst, "", "step over the edge over steps inside"),
		Range: AtMost(r.Limit("maps.wrap_most"), "own choice: pictures that tile read 0.7 to 1.3"), Shows: Shows{Levels: 255 * shows, Text: "a straight line on the shell wherever the picture starts anew"},
		Remedy: Remedy{Step: "make the picture tile, or lay the shell's coordinates within 0 to 1"}}
	if f.Good {
		f.Shows = Shows{}
	}
	r.Add(f)
}

// repeats says whether coordinates reach over more than a picture; the limit leaves what rounding leaves.
func repeats(uv []geom.UV) bool {
	for _, q := range uv {
		if q.U < -0.002 || q.U > 1.002 || q.V < -0.002 || q.V > 1.002 {
			return true
		}
	}
	return false
}

// wrap returns the rms step over the edge of a picture along an axis over that inside it, and the step itself.
func (p *picture) wrap(axis int) (ratio, step float64) {
	n, across := p.h, p.w
	get := func(i, j, k int) float64 { return p.im.At(j, i, k) }
	if axis == 1 {
		n, across = p.w, p.h
		get = func(i, j, k int) float64 { return p.im.At(i, j, k) }
	}
	var over, in float64
	count := 0
	for i := range n {
		for k := range min(3, p.c) {
			d := get(i, 0, k) - get(i, across-1, k)
			over += d * d
		}
		count++
	}
	inside := 0
	for j := 1; j < across; j += max(1, across/64) {
		for i := 0; i < n; i += max(1, n/1024) {
			for k := range min(3, p.c) {
				d := get(i, j, k) - get(i, j-1, k)
				in += d * d
			}
			inside++
		}
	}
	step = math.Sqrt(over / float64(count))
	base := math.Sqrt(in / float64(inside))
	if base < 1e-4 {
		if step < 2.0/255 {
			return 1, step
		}
		base = 1e-4
	}
	return step / base, step
}

// spacing is how dense texels lie on a part.
type spacing struct {
	px     float64 // of a mm, median by area
	square float64 // texels of a mm across over those down: 1 is square
}

// zoneOf is the part of a shell that a map is for: heights above the eye's centre and distances from its axis, mm.
func (r *Run) zoneOf(m *Map) func(rho, z float64) bool {
	e := r.Subject.Eye
	if e == nil || !e.Limbus.Held {
		return func(_, z float64) bool { return true }
	}
	switch {
	case strings.HasPrefix(m.Key, "iris."), strings.HasPrefix(m.Key, "cornea."):
		return func(rho, z float64) bool { return z > 0 && rho < e.Limbus.V }
	case strings.HasPrefix(m.Key, "sclera."):
		return func(rho, z float64) bool { return z > 0 && rho > e.Limbus.V }
	}
	return func(_, z float64) bool { return z > 0 }
}

// density measures how dense the texels of a picture of w x h lie on the part of a shell that keep takes.
func (s *Subject) density(role Role, w, h int, keep func(rho, z float64) bool) (d spacing) {
	part := s.Part(role)
	if part == nil || part.Mesh.UV == nil {
		return spacing{}
	}
	m := part.Mesh
	var list []weighted
	var us, vs float64
	for _, t := range m.Tri {
		a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
		if rho, z := s.polar(geom.Mix(a, b, c, 1.0/3, 1.0/3)); !keep(rho, z) {
			continue
		}
		e1, e2 := b.Sub(a), c.Sub(a)
		area := e1.Cross(e2).Len()
		u1, v1 := (m.UV[t[1]].U-m.UV[t[0]].U)*float64(w), (m.UV[t[1]].V-m.UV[t[0]].V)*float64(h)
		u2, v2 := (m.UV[t[2]].U-m.UV[t[0]].U)*float64(w), (m.UV[t[2]].V-m.UV[t[0]].V)*float64(h)
		det := u1*v2 - u2*v1
		if area == 0 || det == 0 {
			continue
		}
		list = append(list, weighted{math.Sqrt(math.Abs(det) / area), area})
		pu, pv := e1.Mul(v2/det).Sub(e2.Mul(v1/det)).Len(), e2.Mul(u1/det).Sub(e1.Mul(u2/det)).Len() // mm of a texel
		us, vs = us+area*pv, vs+area*pu
	}
	if len(list) == 0 {
		return spacing{}
	}
	d.px = quantile(list, 0.5)
	d.square = us / vs
	return d
}

// polar is a place as its distance from the axis and its height above the eye's centre, mm.
func (s *Subject) polar(p geom.Vec) (rho, z float64) {
	if s.Eye == nil {
		return 0, 1
	}
	l := s.Eye.Frame.Local(p.Sub(s.Eye.Centre))
	return math.Hypot(l.X, l.Y), l.Z
}
