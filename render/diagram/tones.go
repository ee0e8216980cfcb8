package diagram

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
)

// wire draws the edges of the triangle that is hit, half a pixel to either side, over the plain tone.
func (a *artist) wire(sf *frozen.Surface, px, py float64) colour.RGB {
	base := colour.Grey(a.clay(sf))
	b := &a.s.Objects[sf.Object]
	if b.Shape != frozen.Mesh {
		return base
	}
	var q [3]geom.UV
	for k, i := range b.Mesh.Tri[sf.Prim] {
		x, y, _, ok := a.s.Camera.Project(b.ToWorld.Point(b.Mesh.P[i]))
		if !ok {
			return base
		}
		q[k] = geom.UV{U: x, V: y}
	}
	near := math.Inf(1)
	for k := range q {
		near = min(near, offLine(geom.UV{U: px, V: py}, q[k], q[(k+1)%3]))
	}
	if near > 0.5 {
		return base
	}
	if b.Eye >= 0 && b.Material.Kind == frozen.Outer {
		return colour.RGB{0.55, 0.72, 0.80}
	}
	return colour.RGB{0.85, 0.62, 0.35}
}

// offLine is the distance of p from the segment from a to b.
func offLine(p, a, b geom.UV) float64 {
	dx, dy := b.U-a.U, b.V-a.V
	t := ((p.U-a.U)*dx + (p.V-a.V)*dy) / max(dx*dx+dy*dy, 1e-12)
	t = min(1, max(0, t))
	return math.Hypot(p.U-a.U-t*dx, p.V-a.V-t*dy)
}

// density is how many texels a side of a map with so many has on a mm of the surface: the root of texels by area. 0 where the
// triangle has no texture coordinates.
func (a *artist) density(sf *frozen.Surface, side float64) float64 {
	b := &a.s.Objects[sf.Object]
	if b.Shape != frozen.Mesh || b.Mesh.UV == nil {
		return 0
	}
	t := b.Mesh.Tri[sf.Prim]
	p := [3]geom.Vec{b.ToWorld.Point(b.Mesh.P[t[0]]), b.ToWorld.Point(b.Mesh.P[t[1]]), b.ToWorld.Point(b.Mesh.P[t[2]])}
	u := [3]geom.UV{b.Mesh.UV[t[0]], b.Mesh.UV[t[1]], b.Mesh.UV[t[2]]}
	area := p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Len()
	covered := math.Abs((u[1].U-u[0].U)*(u[2].V-u[0].V) - (u[2].U-u[0].U)*(u[1].V-u[0].V))
	if !(area > 0) {
		return 0
	}
	return side * math.Sqrt(covered/area)
}

// The tones of texels run from blue at 8 texels per mm to red at 128, two stops to either side of 32.
const (
	fewTexels  = 8.0
	manyTexels = 128.0
)

func (a *artist) texels(sf *frozen.Surface) colour.RGB {
	light := 0.25 + 0.75*max(0, a.frame.Local(sf.Ns).Z)
	_, eye := a.eyeOf(sf)
	side := 1.0
	if eye >= 0 {
		side = a.side[eye]
	}
	t := a.density(sf, side)
	if t == 0 || eye < 0 {
		return colour.Grey(0.2 * light)
	}
	k := min(1, max(0, math.Log2(t/fewTexels)/math.Log2(manyTexels/fewTexels)))
	c := ramp(k)
	const squares = 32
	if (int(math.Floor(sf.UV.U*squares))+int(math.Floor(sf.UV.V*squares)))%2 == 0 {
		c = c.Scale(0.55)
	}
	return c.Scale(light)
}

// ramp runs from blue over green and yellow to red by even steps of lightness up and down, for eyes that see all colours or not:
// its middle is the lightest.
func ramp(k float64) colour.RGB {
	stops := []colour.RGB{{0.03, 0.08, 0.45}, {0.05, 0.35, 0.45}, {0.75, 0.72, 0.40}, {0.80, 0.28, 0.08}, {0.42, 0.03, 0.05}}
	x := k * float64(len(stops)-1)
	i := min(int(x), len(stops)-2)
	return colour.Lerp(stops[i], stops[i+1], x-float64(i))
}

// height shows the iris by its height, all else by its distance from the globe's centre, with a line every half mm.
func (a *artist) height(sf *frozen.Surface) colour.RGB {
	e, eye := a.eyeOf(sf)
	if e == nil {
		return colour.Grey(a.clay(sf) * 0.5)
	}
	r := &a.span[eye]
	b := &a.s.Objects[sf.Object]
	p := b.ToLocal.Point(sf.P)
	if sf.Part != mesh.Tissue {
		return colour.RGB{}
	}
	if b.Material.Kind != frozen.Outer && e.TissueZone(p) > 0.5 {
		return colour.Grey(0.02 + 0.85*share(p.Z, r.irisLow, r.irisHigh))
	}
	const step, line = 0.5, 0.03
	l := p.Len()
	v := 0.04 + 0.6*share(l, r.outerLow, r.outerHigh)
	// Lines lie halfway between the globe and the next: a round globe has none.
	if m := math.Mod(l-r.outerMid+step/2, step); math.Abs(m) < line {
		v *= 0.5
	}
	return colour.RGB{v, v, v * 1.15}
}

func share(x, low, high float64) float64 { return min(1, max(0, (x-low)/max(high-low, 1e-9))) }

// normal codes a unit normal in the camera's frame by half of it plus a half.
func (a *artist) normal(sf *frozen.Surface) colour.RGB {
	n := sf.Ns
	b := &a.s.Objects[sf.Object]
	if e, _ := a.eyeOf(sf); e != nil {
		switch {
		case b.Material.Kind == frozen.Outer && e.Normal.Valid():
			n = a.s.MappedNormal(sf, &e.Normal, e.NormalGain)
		case b.Material.Kind != frozen.Outer && e.InnerNormal.Valid():
			n = a.s.MappedNormal(sf, &e.InnerNormal, e.InnerNormalGain)
		}
	}
	q := a.frame.Local(n)
	c := colour.RGB{0.5 + 0.5*q.X, 0.5 + 0.5*q.Y, 0.5 + 0.5*q.Z}
	for k := range c {
		c[k] = colour.DecodeSRGB(min(1, max(0, c[k]))) // so that a picture's bytes are the code itself
	}
	return c
}

func (a *artist) roughness(sf *frozen.Surface) colour.RGB {
	e, _ := a.eyeOf(sf)
	if e == nil {
		return colour.Grey(0.5 * a.clay(sf))
	}
	alpha := e.Alpha(e.TissueZone(a.s.Objects[sf.Object].ToLocal.Point(sf.P)))
	v := colour.DecodeSRGB(min(1, math.Sqrt(alpha)))
	return colour.Grey(max(v, 0.004)) // a mirror must not look like a hole
}

// The colours of zones.
var zoneTones = map[string]colour.RGB{
	"pupil": {0.01, 0.01, 0.012}, "iris": {0.06, 0.30, 0.34}, "limbus": {0.62, 0.42, 0.16}, "sclera": {0.75, 0.72, 0.66}, "around": {0.16, 0.10, 0.13},
}

func (a *artist) zone(s []frozen.Surface) colour.RGB {
	first := &s[0]
	light := 0.35 + 0.65*max(0, a.frame.Local(first.Ns).Z)
	e, _ := a.eyeOf(first)
	if e == nil {
		return zoneTones["around"].Scale(light)
	}
	last := &s[len(s)-1]
	p := a.s.Objects[last.Object].ToLocal.Point(last.P)
	outer := a.s.Objects[first.Object].ToLocal.Point(first.P)
	w := e.TissueZone(p)
	if (len(s) == 1 || last.Part != mesh.Tissue || p.Z <= 0) && e.TissueZone(outer) > 0 {
		return zoneTones["pupil"]
	}
	name := "sclera"
	switch {
	case w >= 1:
		name = "iris"
	case w > 0:
		return zoneTones["limbus"].Scale(light * (0.6 + 0.4*w))
	}
	return zoneTones[name].Scale(light)
}

func (a *artist) albedo(s []frozen.Surface) colour.RGB {
	last := &s[len(s)-1]
	b := &a.s.Objects[last.Object]
	switch e, _ := a.eyeOf(last); {
	case e == nil && !b.Material.Colour.Valid():
		return colour.Grey(0.18) // glass and the like
	case e != nil && len(s) == 1: // nothing behind the outer shell
		return colour.RGB{}
	}
	return a.s.Albedo(last)
}

// measure fills what tones run over, from a lattice of rays over the picture.
func (a *artist) measure(d *scene.Description, w, h int) {
	a.side, a.span = make([]float64, len(a.s.Eyes)), make([]ranges, len(a.s.Eyes))
	for i := range a.s.Eyes {
		a.side[i] = float64(sideOf(d, a.s.Objects[a.s.Eyes[i].Outer].Name))
	}
	if a.kind != Height {
		return
	}
	sc := accel.NewScratch()
	const lattice = 96
	iris, rest := make([][]float64, len(a.s.Eyes)), make([][]float64, len(a.s.Eyes))
	for k := range lattice * lattice {
		sf, ok := a.shell(sc, (float64(k%lattice)+0.5)/lattice*float64(w), (float64(k/lattice)+0.5)/lattice*float64(h))
		e, i := (*frozen.Eye)(nil), -1
		if ok {
			e, i = a.eyeOf(&sf)
		}
		if e == nil || sf.Part != mesh.Tissue {
			continue
		}
		b := &a.s.Objects[sf.Object]
		p := b.ToLocal.Point(sf.P)
		if b.Material.Kind != frozen.Outer && e.TissueZone(p) > 0.5 {
			iris[i] = append(iris[i], p.Z)
		} else {
			rest[i] = append(rest[i], p.Len())
		}
	}
	for i := range a.span {
		r := &a.span[i]
		_, r.outerMid = percentiles(rest[i], 0.5, 0.5)
		r.irisLow, r.irisHigh = percentiles(iris[i], 0.01, 0.99)
		r.outerLow, r.outerHigh = percentiles(rest[i], 0.01, 1)
	}
}

func percentiles(v []float64, low, high float64) (a, b float64) {
	if len(v) == 0 {
		return 0, 0
	}
	slices.Sort(v)
	at := func(k float64) float64 { return v[min(len(v)-1, int(k*float64(len(v))))] }
	return at(low), at(high)
}

// sideOf is MapSide of the eye whose outer shell has a name.
func sideOf(d *scene.Description, outer string) int {
	for i := range d.Objects {
		if b := &d.Objects[i]; b.Eye != nil && b.Name+".outer" == outer {
			return MapSide(b.Eye)
		}
	}
	return 1
}

// MapSide is how many texels an eye's colour maps have along a side: of the file of the iris, else of the built maps.
func MapSide(e *scene.Eye) int {
	if f := string(e.Iris.Colour.File); f != "" {
		if h, err := imageio.ReadHeader(f); err == nil {
			return max(h.W, h.H)
		}
	}
	return e.MapSize
}

// words says what the tones mean.
func (a *artist) words() string {
	if len(a.s.Eyes) == 0 {
		return ""
	}
	halves := "left: outer shell, right: inner shell; "
	switch a.kind {
	case Wire:
		n, m := 0, 0
		for i := range a.s.Eyes {
			if o, q := a.s.Objects[a.s.Eyes[i].Outer].Mesh, a.s.Objects[a.s.Eyes[i].Inner].Mesh; o != nil && q != nil {
				n, m = n+len(o.Tri), m+len(q.Tri)
			}
		}
		return fmt.Sprintf("left: outer shell, %d triangles as rendered, right: inner shell, %d", n, m)
	case Texels:
		return halves + fmt.Sprintf("a square is 1/32 of the coordinates; texels per mm of a map of %.0f: blue %g, yellow %g, red %g and more", a.side[0], fewTexels, math.Sqrt(fewTexels*manyTexels), manyTexels)
	case Height:
		r := a.span[0]
		return halves + fmt.Sprintf("iris black to white: %.2f mm; else distance from the globe's centre, %.2f to %.2f mm, a line every 0.5 mm from %.2f mm", r.irisHigh-r.irisLow, r.outerLow, r.outerHigh, r.outerMid+0.25)
	case Normal:
		return halves + "red right, green up, blue toward the camera; normal maps included"
	case Roughness:
		e := &a.s.Eyes[0]
		return fmt.Sprintf("of the tear film, black 0, white 1: cornea %.3g, white %.3g", math.Sqrt(e.AlphaCornea), math.Sqrt(e.AlphaSclera))
	case Zones:
		e := &a.s.Eyes[0]
		return fmt.Sprintf("black pupil, teal iris, ochre limbus (%.2f mm wide at %.2f mm from the axis), ivory white, plum all else", e.LimbusWidth, e.LimbusRadius)
	}
	return "diffuse reflectance, seen through the cornea; no light, no mirror image"
}

// Facets returns the median length of the edges of what the picture shows of the outer and the inner shells, in pixels; 0 where it
// shows none.
func Facets(s *frozen.Scene, w, h int) (outer, inner float64) {
	a := &artist{s: s, frame: s.Camera.Frame()}
	sc := accel.NewScratch()
	const lattice = 48
	var found [2][]float64
	for k := range lattice * lattice {
		px, py := (float64(k%lattice)+0.5)/lattice*float64(w), (float64(k/lattice)+0.5)/lattice*float64(h)
		for which, split := range []float64{math.Inf(1), math.Inf(-1)} {
			a.split = split
			sf, ok := a.shell(sc, px, py)
			if !ok || s.Objects[sf.Object].Eye < 0 || s.Objects[sf.Object].Shape != frozen.Mesh {
				continue
			}
			b := &s.Objects[sf.Object]
			t := b.Mesh.Tri[sf.Prim]
			for e := range t {
				x0, y0, _, ok0 := s.Camera.Project(b.ToWorld.Point(b.Mesh.P[t[e]]))
				x1, y1, _, ok1 := s.Camera.Project(b.ToWorld.Point(b.Mesh.P[t[(e+1)%3]]))
				if ok0 && ok1 {
					found[which] = append(found[which], math.Hypot(x1-x0, y1-y0))
				}
			}
		}
	}
	outer, _ = percentiles(found[0], 0.5, 0.5)
	inner, _ = percentiles(found[1], 0.5, 0.5)
	return outer, inner
}

// Names returns the kinds as words, with commas between.
func Names() string {
	var out []string
	for _, k := range Kinds {
		out = append(out, string(k))
	}
	return strings.Join(out, ", ")
}
