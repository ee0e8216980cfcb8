package layout

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// Kinds of layouts.
const (
	Radial = "radial" // one disc for the front, the iris with its share
	Island = "island" // the iris in a tile of its own, the white in another without stretch
)

// Eye is what a layout has to know of an eye; its shells are in its own frame, the origin in the globe's centre, +Z out of the cornea.
type Eye struct {
	Globe, Limbus, Width float64 // mm: radius of the globe, of the limbus, width of its blend
	Plane                float64 // height of the iris plane; what lies far behind it and within the limbus is the well
}

// Options choose a layout.
type Options struct {
	Kind         string
	Share, Cover float64 // of a radial one; 0 takes the usual share. Cover is in degrees
	Mirror       bool    // for the other eye
}

// Laid is a mesh with its new coordinates.
type Laid struct {
	Mesh *mesh.Mesh // vertices split at the seams
	From []uint32   // of each vertex: the one it was
	Tile []int      // of each triangle: the tile it lies in, 0 or 1
	// Over gives a point of the shell, by its place before mirroring, coordinates in a tile beyond that tile's seam; ok within reach mm
	// of it. There the tile holds what lies on the other side.
	Over func(tile int, p geom.Vec) (uv geom.UV, ok bool)

	Disc *Disc // that of the front, or of the white
}

// reach is how far a tile goes on beyond its seam, mm.
const reach = 1

// area of one shell in the plane.
const (
	inDisc = iota
	inBack
	inWell
	inIris
)

// layer knows where points go.
type layer struct {
	e      Eye
	disc   *Disc
	island bool
	end    float64 // half chord at the iris tile's rim, mm
	back   float64 // least angle of the back
	well   struct{ far, low, high float64 }
}

// angle is that of a point from the axis as the layout counts it: by its half chord on the iris and the cornea, by its direction on the
// white, blended outside the limbus.
func (l *layer) angle(p geom.Vec) float64 {
	r := math.Hypot(p.X, p.Y)
	by := math.Atan2(r, p.Z)
	begin := l.e.Limbus + l.e.Width/2
	w := geom.Smoothstep(begin, begin+2*l.e.Globe/12, r)
	if p.Z <= 0 {
		w = 1
	}
	if w == 1 {
		return by
	}
	return (1-w)*math.Asin(min(1, r/l.e.Globe)) + w*by
}

// Lay gives a mesh a layout. It keeps its triangles, whole: seams run along their edges.
func Lay(m *mesh.Mesh, e Eye, o Options) (*Laid, error) {
	l := &layer{e: e, island: o.Kind == Island, end: e.Limbus + 0.5*e.Width}
	share, cover := o.Share, o.Cover
	if cover == 0 {
		cover = UsualCover
	}
	switch {
	case l.island:
		share = Even(e.Globe, e.Limbus, cover)
	case o.Kind != Radial:
		return nil, fmt.Errorf("layout %q: known are %s, %s", o.Kind, Radial, Island)
	case share == 0:
		share = UsualShare
	}
	var err error
	if l.disc, err = NewDisc(e.Globe, e.Limbus, share, cover); err != nil {
		return nil, err
	}
	where := l.regions(m)
	out := &Laid{Mesh: &mesh.Mesh{Part: m.Part}, Tile: make([]int, len(m.Tri)), Disc: l.disc}
	type key struct {
		v    uint32
		area uint8
	}
	at := map[key]uint32{}
	for i, t := range m.Tri {
		var c [3]uint32
		for k, v := range t {
			j, ok := at[key{v, where[i]}]
			if !ok {
				j = uint32(len(out.From))
				at[key{v, where[i]}] = j
				out.From = append(out.From, v)
				out.Mesh.P, out.Mesh.N = append(out.Mesh.P, m.P[v]), append(out.Mesh.N, m.N[v])
				out.Mesh.UV = append(out.Mesh.UV, l.uv(m.P[v], where[i]))
			}
			c[k] = j
		}
		if where[i] == inIris {
			out.Tile[i] = 1
		}
		out.Mesh.Tri = append(out.Mesh.Tri, c)
	}
	out.Over = l.over
	if o.Mirror {
		out.mirror(l)
	}
	return out, nil
}

// regions tells each triangle's area.
func (l *layer) regions(m *mesh.Mesh) []uint8 {
	where := make([]uint8, len(m.Tri))
	l.back, l.well.low, l.well.high = math.Pi, math.Inf(1), math.Inf(-1)
	for i, t := range m.Tri {
		all := func(f func(p geom.Vec) bool) bool { return f(m.P[t[0]]) && f(m.P[t[1]]) && f(m.P[t[2]]) }
		deep := l.e.Plane - 0.12*l.e.Limbus
		n := m.P[t[1]].Sub(m.P[t[0]]).Cross(m.P[t[2]].Sub(m.P[t[0]]))
		under := n.Z < 0.02*n.Len() // it can't be seen from the front
		switch {
		case all(func(p geom.Vec) bool {
			return p.Z > 0 && (under || p.Z < deep) && math.Hypot(p.X, p.Y) < 0.8*l.e.Limbus
		}):
			where[i] = inWell
			for _, v := range t {
				p := m.P[v]
				l.well.far, l.well.low, l.well.high = max(l.well.far, math.Hypot(p.X, p.Y)), min(l.well.low, p.Z), max(l.well.high, p.Z)
			}
		case !all(func(p geom.Vec) bool { return l.angle(p) <= l.disc.Cover+1e-6 }):
			where[i] = inBack
			for _, v := range t {
				l.back = min(l.back, l.angle(m.P[v]))
			}
		case l.island && all(func(p geom.Vec) bool { return p.Z > 0 && math.Hypot(p.X, p.Y) <= l.end+1e-5 }):
			where[i] = inIris
		}
	}
	return where
}

// uv is where a point lies in an area.
func (l *layer) uv(p geom.Vec, area uint8) geom.UV {
	r := math.Hypot(p.X, p.Y)
	cos, sin := 1.0, 0.0
	if r > 0 {
		cos, sin = p.X/r, p.Y/r
	}
	switch area {
	case inBack:
		return Back.UV((math.Pi-l.angle(p))/(math.Pi-l.back), -cos, sin)
	case inWell:
		high := max(1e-9, l.well.high-l.well.low)
		return Well.UV(0.5*r/max(1e-9, l.well.far)+0.5*(p.Z-l.well.low)/high, cos, sin)
	case inIris:
		k := (0.5 - discMargin) / l.end
		return geom.UV{U: 1.5 + k*p.X, V: 0.5 - k*p.Y}
	}
	return l.disc.UV(l.angle(p), cos, sin)
}

// over goes on beyond the seams: of the disc outward, of the white's disc inward too, and of the iris outward.
func (l *layer) over(tile int, p geom.Vec) (geom.UV, bool) {
	r := math.Hypot(p.X, p.Y)
	if tile == 1 {
		return l.uv(p, inIris), p.Z > 0 && r < l.end+reach*math.Sqrt2
	}
	phi := l.angle(p)
	if l.island && p.Z > 0 && r < l.end {
		return l.uv(p, inDisc), r > l.end-reach
	}
	return l.uv(p, inDisc), phi < l.disc.Cover+reach/l.e.Globe
}

// mirror makes the other eye's: x and u change sides, triangles wind the other way.
func (d *Laid) mirror(l *layer) {
	m := d.Mesh
	for i := range m.P {
		m.P[i].X, m.N[i].X = -m.P[i].X, -m.N[i].X
		m.UV[i] = mirrored(m.UV[i])
	}
	m.TurnOver()
	d.Over = func(tile int, p geom.Vec) (geom.UV, bool) {
		uv, ok := l.over(tile, p)
		return mirrored(uv), ok
	}
}

// mirrored turns a place over within its tile.
func mirrored(uv geom.UV) geom.UV {
	tile := 0.0
	if uv.U > 1 {
		tile = 1
	}
	return geom.UV{U: 1 + 2*tile - uv.U, V: uv.V}
}
