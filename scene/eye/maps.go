package eye

import (
	"fmt"
	"math"
	"slices"

	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

// Kind names a map that Bake makes. All are laid out by the chart of the inner shell.
type Kind string

// The maps. Values are as the comments say; 8-bit levels to fit them into 0 to 1 are the writer's.
const (
	Colour    Kind = "colour"        // linear albedo with all vessels as the eye shows it when rendered, 3 channels, 0 to 1; the pupil is black
	Height    Kind = "height"        // relief along the normal of the smooth shell, mm
	Normal    Kind = "normal"        // unit tangent-space normal of the relief, 3 channels, -1 to 1, green up
	Detail    Kind = "normal_detail" // Normal of that part of the relief alone that the shells' shape lacks: the vessels'
	Roughness Kind = "roughness"     // of the wet surface, 0 to 1
	Occlusion Kind = "occlusion"     // share of the cosine-weighted sky that the relief leaves free, 0 to 1
	Convex    Kind = "convex"        // mean curvature of the relief where it bulges, 1/mm
	Concave   Kind = "concave"       // the same where it is hollow, 1/mm
	Thickness Kind = "thickness"     // of the tissue, mm
	Zones     Kind = "zones"         // number of the zone: see the Zone constants
	Vessels   Kind = "vessels"       // optical density of the vessels, 0 to 1, to drive a pulse from
)

// Kinds returns all maps.
func Kinds() []Kind {
	return []Kind{Colour, Height, Normal, Detail, Roughness, Occlusion, Convex, Concave, Thickness, Zones, Vessels}
}

// Channels returns the number of channels of a map.
func (k Kind) Channels() int {
	if k == Colour || k == Normal || k == Detail {
		return 3
	}
	return 1
}

// The zones of the map Zones.
const (
	ZonePupil = iota
	ZonePupillary
	ZoneCiliary
	ZoneLimbus
	ZoneBulbar   // the sclera
	ZoneCaruncle // the sclera toward the nose
	ZoneBack     // behind the equator
	ZoneCount
)

// baker holds what the maps of one size share.
type baker struct {
	*canvas
	height []float32 // mm
	seen   *seen     // of the map Colour
	detail bool      // leave out what the shells' shape has
}

// Bake makes one map of size by size texels, row by row from the top: row gets each row once, in any order and from
// several goroutines, with Channels values a texel that it may not keep. size is 16 to 8192.
func (e *Eye) Bake(kind Kind, size int, row func(y int, v []float32)) error {
	return e.bake(kind, size, 1, row)
}

// BakeIris is Bake for the iris apart: the part of the map within the limbus alone, at full size. InnerApart is the mesh
// for it.
func (e *Eye) BakeIris(kind Kind, size int, row func(y int, v []float32)) error {
	return e.bake(kind, size, e.apart(), row)
}

// apart returns the share of the texture plane's side that the iris apart shows: it ends a little outside the limbus.
func (e *Eye) apart() float64 { return 2 * e.chart.share * 1.04 }

func (e *Eye) bake(kind Kind, size int, zoom float64, row func(y int, v []float32)) error {
	if size < 16 || size > 8192 {
		return fmt.Errorf("map size (pixels): %d is outside [16, 8192]", size)
	}
	b := &baker{canvas: newCanvas(e, size, zoom, keepNone)}
	at := map[Kind]func(x, y int, v []float32){
		Colour: b.colour, Height: b.relief, Normal: b.normal, Detail: b.normal, Roughness: b.roughness, Occlusion: b.occlusion,
		Convex:    func(x, y int, v []float32) { v[0] = max(0, float32(b.curvature(x, y))) },
		Concave:   func(x, y int, v []float32) { v[0] = max(0, -float32(b.curvature(x, y))) },
		Thickness: b.thickness, Zones: b.zone, Vessels: b.vessels,
	}[kind]
	if at == nil {
		at = b.mask(kind)
	}
	if at == nil {
		return fmt.Errorf("map: %q is unknown (known: %v)", kind, Kinds())
	}
	switch kind {
	case Height, Normal, Detail, Occlusion, Convex, Concave:
		b.detail = kind == Detail
		b.rise()
	case Colour:
		b.seen = newSeen(&e.Params, e.chart, e.iris)
	}
	c := kind.Channels()
	parallel.Runs(size, 4, func(y0, y1 int) {
		v := make([]float32, size*c)
		for y := y0; y < y1; y++ {
			for x := range size {
				at(x, y, v[x*c:(x+1)*c])
			}
			row(y, v)
		}
	})
	return nil
}

// rise fills the heights.
func (b *baker) rise() {
	b.height = make([]float32, b.n*b.n)
	parallel.Runs(b.n, 4, func(y0, y1 int) {
		for y := y0; y < y1; y++ {
			for x := range b.n {
				b.height[y*b.n+x] = float32(b.heightAt(b.place(x, y)))
			}
		}
	})
}

// heightAt returns the relief in mm at a place of the texture plane: that of the iris, and slight ridges of vessels.
func (b *baker) heightAt(u, v float64) float64 {
	rho := math.Hypot(u, v)
	h := 0.0
	if r := rho / b.c.perMM; rho < b.c.share && r < b.ir.root+0.1 {
		x, y := u/b.c.perMM, v/b.c.perMM
		if _, q := b.ir.polar(x, y); q >= 0 && !b.detail {
			h = b.ir.relief * b.ir.tissue.height(x, y) * (1 - geom.Smoothstep(0.92, 1.02, q))
		}
		return h
	}
	const ridge = 0.012 // mm, of a vessel of density 1: common practice, no published source
	cx, cy, phi := b.polarAt(u, v, rho)
	return h + ridge*min(1.5, b.w.vessels(phi, cx, cy, true))
}

// polarAt returns the direction about the axis and the polar angle of a place on the globe.
func (b *baker) polarAt(u, v, rho float64) (cx, cy, phi float64) {
	cx = 1
	if rho > 0 {
		cx, cy = u/rho, v/rho
	}
	sin, cos := b.c.polar(min(rho, 0.4999))
	return cx, cy, math.Atan2(sin, cos)
}

// rhoAt returns the coordinate of a place on the iris from margin to root; above 1 outside, below 0 in the pupil.
func (b *baker) rhoAt(u, v float64) float64 {
	_, q := b.ir.polar(u/b.c.perMM, v/b.c.perMM)
	return q
}

func (b *baker) colour(x, y int, v []float32) {
	u, w := b.place(x, y)
	su, sw := b.seen.place(u, w)
	a, vessels := b.at(su, sw, float64(b.n)*(su/b.zoom+0.5)-0.5, float64(b.n)*(0.5-sw/b.zoom)-0.5)
	if math.Hypot(u, w) < b.c.share && b.rhoAt(u, w) < 0 {
		a = colour.RGB{}
	}
	for i := range 3 {
		v[i] = float32(a[i] * vessels[i] * vessels[i]) // light crosses what lies on top twice
	}
}

func (b *baker) relief(x, y int, v []float32) { v[0] = b.height[y*b.n+x] }

// h returns the height of a texel, clamped at the map's edge.
func (b *baker) h(x, y int) float64 {
	return float64(b.height[min(b.n-1, max(0, y))*b.n+min(b.n-1, max(0, x))])
}

// Scale returns mm of the smooth shell for a unit of the texture plane at a distance rho in [0, 1/2] from its middle:
// along the radius and across it. Inside the limbus the shell is the iris plane.
func (c *chart) scale(rho float64) (along, across float64) {
	if rho < c.share {
		return 1 / c.perMM, 1 / c.perMM
	}
	const d = 1e-5
	rho = min(rho, 0.5-2*d)
	s0, c0 := c.polar(rho - d)
	s1, c1 := c.polar(rho + d)
	sin, _ := c.polar(rho)
	return c.globe * (math.Atan2(s1, c1) - math.Atan2(s0, c0)) / (2 * d), c.globe * sin / rho
}

// normal turns the slopes of the heights, in mm per mm, into a tangent-space normal. Where the map stretches the two
// ways differently, u and v do not cross at a right angle on the shell: the normal is n - p t_u - q t_v for the unit
// directions of growing u and v.
func (b *baker) normal(x, y int, v []float32) {
	k := float64(b.n) / (2 * b.zoom)
	hu, hv := (b.h(x+1, y)-b.h(x-1, y))*k, (b.h(x, y-1)-b.h(x, y+1))*k
	u, w := b.place(x, y)
	rho := math.Hypot(u, w)
	cx, cy := 1.0, 0.0
	if rho > 0 {
		cx, cy = u/rho, w/rho
	}
	along, across := b.c.scale(rho)
	// The gradient along the radius (gr) and across it (gt), then solved for p and q.
	gr, gt := (hu*cx+hv*cy)/along, (-hu*cy+hv*cx)/across
	tu, tv := geom.Vec{X: along * cx, Y: -across * cy}.Unit(), geom.Vec{X: along * cy, Y: across * cx}.Unit()
	det := tu.X*tv.Y - tu.Y*tv.X
	p, q := (gr*tv.Y-gt*tv.X)/det, (gt*tu.X-gr*tu.Y)/det
	n := geom.Vec{X: -p, Y: -q, Z: 1}.Unit()
	v[0], v[1], v[2] = float32(n.X), float32(n.Y), float32(n.Z)
}

func (b *baker) roughness(x, y int, v []float32) {
	u, w := b.place(x, y)
	rho := math.Hypot(u, w)
	white := geom.Smoothstep(0.95*b.c.share, 1.1*b.c.share, rho)
	uneven := fbm3(b.w.p.Seed^0xc1, 90*u, 90*w, 0.5, 3)
	v[0] = float32(max(0.02, 0.03+white*(0.10+0.03*uneven)))
}

// occlusion is the share of the cosine-weighted sky above the horizon of the relief: the mean of the squared cosine of
// the horizon's elevation over directions. Source: Max, Horizon mapping, The Visual Computer 4 (1988) for the horizon;
// the integral is elementary.
func (b *baker) occlusion(x, y int, v []float32) {
	const directions, steps, reach = 16, 16, 0.7 // reach in mm
	u, w := b.place(x, y)
	along, across := b.c.scale(math.Hypot(u, w))
	mm := math.Sqrt(along*across) * b.zoom / float64(b.n) // a texel
	h0, free := b.h(x, y), 0.0
	for i := range directions {
		sin, cos := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / directions)
		top := 0.0
		for k := 1; k <= steps; k++ {
			px := reach * float64(k*k) / (steps * steps) / mm
			if px < 0.7 {
				continue
			}
			fx, fy := float64(x)+px*cos, float64(y)+px*sin
			i, j := int(math.Floor(fx)), int(math.Floor(fy))
			tx, ty := fx-float64(i), fy-float64(j)
			h := (b.h(i, j)*(1-tx)+b.h(i+1, j)*tx)*(1-ty) + (b.h(i, j+1)*(1-tx)+b.h(i+1, j+1)*tx)*ty
			top = max(top, (h-h0)/(mm*px))
		}
		free += 1 / (1 + top*top)
	}
	v[0] = float32(free / directions)
}

// curvature returns the mean curvature of the relief in 1/mm, positive where it bulges, over about 0.04 mm.
func (b *baker) curvature(x, y int) float64 {
	u, w := b.place(x, y)
	along, across := b.c.scale(math.Hypot(u, w))
	mm := math.Sqrt(along*across) * b.zoom / float64(b.n)
	r := max(1, int(0.04/mm+0.5))
	d := float64(r) * mm
	h0 := b.h(x, y)
	return -(b.h(x+r, y) + b.h(x-r, y) + b.h(x, y+r) + b.h(x, y-r) - 4*h0) / (2 * d * d)
}

// thickness interpolates published means: sclera 0.53 mm at the limbus, 0.39 at the equator, 0.95 at the back (Olsen
// et al., Am. J. Ophthalmol. 125 (1998), 237); iris 0.37 mm (J. Ophthalmol. 2021:2653564), thickest at the collarette.
func (b *baker) thickness(x, y int, v []float32) {
	u, w := b.place(x, y)
	rho := math.Hypot(u, w)
	_, _, phi := b.polarAt(u, w, rho)
	limbus, equator := b.w.limbus, math.Pi/2
	t := 0.0
	if phi < equator {
		t = 0.53 + (0.39-0.53)*geom.Smoothstep(limbus, equator, phi)
	} else {
		t = 0.39 + (0.95-0.39)*geom.Smoothstep(equator, math.Pi, phi)
	}
	if rho < b.c.share {
		q := b.rhoAt(u, w)
		e := (q - 0.3) / 0.18
		iris := 0.33 + 0.12*math.Exp(-e*e)
		if q < 0 {
			iris = 0
		}
		t = iris + (t-iris)*geom.Smoothstep(0.97, 1.08, q)
	}
	v[0] = float32(t)
}

func (b *baker) zone(x, y int, v []float32) {
	u, w := b.place(x, y)
	rho := math.Hypot(u, w)
	r := rho / b.c.perMM
	z := ZoneBulbar
	switch _, _, phi := b.polarAt(u, w, rho); {
	case rho < b.c.share && b.rhoAt(u, w) < 0:
		z = ZonePupil
	case rho < b.c.share && r < b.ir.root-0.1:
		z = ZoneCiliary
		if theta, q := b.ir.polar(u/b.c.perMM, w/b.c.perMM); q < b.ir.tissue.collar.at(theta) {
			z = ZonePupillary
		}
	case phi < b.w.limbus+0.5*b.w.p.LimbusWidth/b.w.p.GlobeRadius:
		z = ZoneLimbus
	case phi > math.Pi/2:
		z = ZoneBack
	case u*b.w.p.nasal() > 0.75*rho && phi > geom.Radians(55):
		z = ZoneCaruncle
	}
	v[0] = float32(z)
}

func (b *baker) vessels(x, y int, v []float32) {
	u, w := b.place(x, y)
	rho := math.Hypot(u, w)
	if rho < 0.9*b.c.share {
		v[0] = 0
		return
	}
	cx, cy, phi := b.polarAt(u, w, rho)
	v[0] = float32(max(0, min(1, b.w.vessels(phi, cx, cy, false))))
}

// InnerApart returns the inner shell with its iris in a map of its own: texture coordinates of the iris lie at u 1 to 2,
// the tile after the first, the rest where Inner has it. Vertices of the seam, at the limbus, are there twice.
func (e *Eye) InnerApart() *mesh.Mesh {
	m := *e.Inner
	m.P, m.N, m.UV = slices.Clone(m.P), slices.Clone(m.N), slices.Clone(m.UV)
	m.Tri = slices.Clone(m.Tri)
	zoom := e.apart()
	inside := func(i uint32) bool {
		return m.P[i].Z > 0 && math.Hypot(e.Inner.UV[i].U-0.5, e.Inner.UV[i].V-0.5) <= e.chart.share*1.0001
	}
	twin := map[uint32]uint32{}
	for k, t := range m.Tri {
		if !inside(t[0]) || !inside(t[1]) || !inside(t[2]) {
			continue
		}
		for c, i := range t {
			j, ok := twin[i]
			if !ok {
				j = uint32(len(m.P))
				twin[i] = j
				uv := e.Inner.UV[i]
				m.P, m.N = append(m.P, m.P[i]), append(m.N, m.N[i])
				m.UV = append(m.UV, geom.UV{U: 1.5 + (uv.U-0.5)/zoom, V: 0.5 + (uv.V-0.5)/zoom})
			}
			m.Tri[k][c] = j
		}
	}
	return mesh.Weld(&m, 0)
}

// Stretch is how the map lies on the eye at one polar angle.
type Stretch struct {
	Angle         float64 // from the optical axis, degrees
	Along, Across float64 // texels per mm along the meridian and across it, at the given size
}

// Distortion returns the map's density from the axis back, for a map of size by size texels. Inside the limbus it is that
// on the iris plane, the same both ways.
func (e *Eye) Distortion(size int) []Stretch {
	var out []Stretch
	for _, deg := range []float64{0, 15, 28, 35, 45, 60, 75, 90, 120, 150} {
		phi := geom.Radians(deg)
		a, b := e.chart.scale(e.chart.radial(math.Cos(phi)))
		out = append(out, Stretch{deg, float64(size) / a, float64(size) / b})
	}
	return out
}

// Tile fills a tileable normal map of n by n texels for a square of size mm: plane waves of three octaves down from
// longest mm, whose root-mean-square normal deviates by degrees. row gets each row once, unit normals, green up.
func Tile(n int, size, longest, degrees float64, seed uint64, row func(y int, v []float32)) error {
	var c checker
	c.in("tile size (pixels)", "", float64(n), 16, 8192)
	c.in("tile size (mm)", "", size, 0.5, 100)
	c.in("tile wavelength (mm)", "", longest, size/64, size/2)
	c.in("tile deviation (degrees)", "", degrees, 0, 30)
	if len(c.errs) > 0 {
		return c.errs[0]
	}
	type ripple struct{ kx, ky, phase, amp float64 } // whole waves across the tile
	rng := stream(seed, "tile")
	var ws []ripple
	sum := 0.0
	for o := range 3 {
		base := size / longest * math.Exp2(float64(o))
		for range 12 {
			sin, cos := math.Sincos(2 * math.Pi * rng.Float64())
			k := base * math.Exp2(0.4*rng.Float64())
			w := ripple{math.Round(k * cos), math.Round(k * sin), 2 * math.Pi * rng.Float64(), 0}
			// A wave that is there already would add to it in phase or out: it is left out.
			same := slices.ContainsFunc(ws, func(o ripple) bool { return o.kx == w.kx && o.ky == w.ky || o.kx == -w.kx && o.ky == -w.ky })
			if l := math.Hypot(w.kx, w.ky); l > 0 && !same {
				w.amp = math.Exp2(-float64(o)) / l
				sum += w.amp * w.amp * l * l / 2
				ws = append(ws, w)
			}
		}
	}
	gain := math.Tan(geom.Radians(degrees)) / math.Sqrt(sum)
	parallel.Runs(n, 4, func(y0, y1 int) {
		v := make([]float32, 3*n)
		for y := y0; y < y1; y++ {
			for x := range n {
				px, py := (float64(x)+0.5)/float64(n), -(float64(y)+0.5)/float64(n)
				var p, q float64
				for i := range ws {
					w := &ws[i]
					s := -w.amp * gain * math.Sin(2*math.Pi*(w.kx*px+w.ky*py)+w.phase)
					p, q = p+s*w.kx, q+s*w.ky
				}
				m := geom.Vec{X: -p, Y: -q, Z: 1}.Unit()
				v[3*x], v[3*x+1], v[3*x+2] = float32(m.X), float32(m.Y), float32(m.Z)
			}
			row(y, v)
		}
	})
	return nil
}
