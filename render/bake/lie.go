package bake

import (
	"fmt"
	"math"
	"runtime"

	"catchlight/render/inspect"
	"catchlight/scene/atlas"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
	"catchlight/scene/register"
)

// Samples of a mesh for distances and rays, and for a fit.
const (
	lieSamples = 30000
	fitSamples = 12000
)

// Lie is how the high mesh of a set lies on its low one. Lengths are in mm, angles in degrees, shares of 1.
type Lie struct {
	Set     string     `json:"set,omitempty"`
	From    string     `json:"measured_from"` // a sum of all that the numbers depend on
	ToLow   Distance   `json:"high_to_low"`
	ToHigh  Distance   `json:"low_to_high"`
	Turn    float64    `json:"normals_95_degrees"`
	Cage    float64    `json:"cage_mm"` // that 999 of 1000 places of the high mesh need, and a fifth
	Miss    float64    `json:"rays_missed"`
	Back    float64    `json:"rays_on_backs"`
	Twice   float64    `json:"rays_with_a_second_surface"`
	MissAt  MM         `json:"missed_at_mm"`
	WrongAt MM         `json:"on_backs_at_mm"`
	Signed  []float64  `json:"-"` // a vertex of Low each: distance to the high mesh, NaN where there is none
	Low     *mesh.Mesh `json:"-"`
	Map     []float64  `json:"-"` // the same in the picture of the first tile, MapSide texels a side; NaN where it is not covered
}

// MapSide is the side of a map of distances in texels.
const MapSide = 256

// Distance is how far samples of one mesh, by area, lie from the other.
type Distance struct {
	Mean   float64 `json:"mean_mm"` // positive outside
	RMS    float64 `json:"rms_mm"`
	P95    float64 `json:"within_95_mm"`
	Most   float64 `json:"most_mm"`
	MostAt MM      `json:"most_at_mm"`
}

func distanceOf(d *register.Distances) Distance {
	return Distance{d.Mean, d.RMS, d.P95, d.Most, MM(d.MostAt)}
}

// merged is parts as one mesh of places alone, with corners in one place joined.
func merged(parts []Part) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range parts {
		q := *parts[i].Mesh
		q.N, q.UV = nil, nil
		m.Append(&q)
	}
	return mesh.Weld(m, 0)
}

// Surfaces are the two meshes of a set as scene/register asks them.
func (s *Set) Surfaces() (low, high *register.Surface, err error) {
	if low, err = register.NewSurface(merged(s.Low)); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", s.Low[0].Name, err)
	}
	if high, err = register.NewSurface(merged(s.High)); err != nil {
		return nil, nil, fmt.Errorf("%s: %w", s.High[0].Name, err)
	}
	return low, high, nil
}

// Look measures how a set's meshes lie on each other. cage is what rays are tried with; 0: what is found.
func (s *Set) Look(low, high *register.Surface, cage float64) (*Lie, error) {
	onLow, onHigh := low.Sample(lieSamples), high.Sample(lieSamples)
	if len(onLow) == 0 || len(onHigh) == 0 {
		return nil, fmt.Errorf("%s: the triangles have no area", s.Low[0].Name)
	}
	size := low.Mesh.Bounds().Size().Len()
	if q := high.Mesh.Bounds().Size().Len() / size; !(q > 0.5 && q < 2) {
		return nil, fmt.Errorf("%s: the high mesh is %.4g times as large as the low one (%.4g and %.4g mm across): one is in another unit, or belongs to another part; give --unit, scale one, or say with --pair what belongs together", s.Low[0].Name, q, q*size, size)
	}
	toLow, toHigh := low.Apart(onHigh, size), high.Apart(onLow, size)
	l := &Lie{Set: s.Name, ToLow: distanceOf(&toLow), ToHigh: distanceOf(&toHigh), Turn: geom.Degrees(toHigh.Turn)}
	l.Cage = max(1.2*max(toLow.Outward, toLow.Inward), 1e-4*size)
	if cage == 0 {
		cage = l.Cage
	}
	b := high.Cast(onLow, cage)
	l.Miss, l.Back, l.Twice, l.MissAt, l.WrongAt = b.Miss, b.Wrong, b.Twice, MM(b.MissAt), MM(b.WrongAt)
	field := high.Apart(low.Vertices(), size)
	l.Signed, l.Low = field.Signed, low.Mesh
	return l, s.distances(l, high, size)
}

// distances makes the map.
func (s *Set) distances(l *Lie, high *register.Surface, far float64) error {
	m := s.Mesh()
	tiles, err := atlas.Tiles(m)
	if err != nil {
		return err
	}
	sheet := atlas.NewSheet(m, tiles[0], MapSide, MapSide, 1)
	l.Map = make([]float64, MapSide*MapSide)
	parallel.With(sheet.Blocks(), runtime.GOMAXPROCS(0), func() *atlas.Block { return &atlas.Block{} }, func(b *atlas.Block, i int) {
		sheet.Draw(i, b)
		for y := b.Y0; y < b.Y1; y++ {
			for x := b.X0; x < b.X1; x++ {
				d := &l.Map[y*MapSide+x]
				*d = math.NaN()
				p := b.Texel(x, y)[0]
				if p.Tri == atlas.None {
					continue
				}
				t := m.Tri[p.Tri]
				if q, ok := high.Tree.Nearest(geom.Mix(m.P[t[0]], m.P[t[1]], m.P[t[2]], p.U, p.V), far); ok {
					*d = q.D
				}
			}
		}
	})
	return nil
}

// Number is one of a motion's, as it is told.
type Number struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
	SE    float64 `json:"standard_error"`
	Unit  string  `json:"unit"`
	Held  bool    `json:"held"`
	Why   string  `json:"why,omitempty"` // it is not
}

// Motion would lay the high mesh on the low one: a turn, a scale and a shift.
type Motion struct {
	Numbers []Number      `json:"numbers"`
	Turn    geom.Affine   `json:"-"`
	Rows    [3][4]float64 `json:"matrix"` // of what is applied to places, mm
	Left    float64       `json:"rms_left_mm"`
}

// Apply moves a place.
func (m *Motion) Apply(p geom.Vec) geom.Vec {
	q := [4]float64{p.X, p.Y, p.Z, 1}
	var out [3]float64
	for i, r := range m.Rows {
		for k, v := range r {
			out[i] += v * q[k]
		}
	}
	return geom.Vec{X: out[0], Y: out[1], Z: out[2]}
}

// Propose finds the motion that lays the high meshes of all sets on their low ones, all moved alike. Each number says whether the shape
// holds it: turn about the axis needs relief.
func Propose(sets []*Set) (*Motion, error) {
	var low, high []Part
	for _, s := range sets {
		low, high = append(low, s.Low...), append(high, s.High...)
	}
	all := &Set{Low: low, High: high}
	lo, hi, err := all.Surfaces()
	if err != nil {
		return nil, err
	}
	ring, err := ringOf(sets)
	if err != nil {
		return nil, err
	}
	// A turn that the shape does not hold bends what it does hold, where it is not quite round: so the two are found by turns.
	list, far := hi.Sample(fitSamples), lo.Mesh.Bounds().Size().Len()/2
	fit := lo.Fit(list, ring.Frame, register.Motion{}, far)
	var relief reliefTurn
	for range 2 {
		n := bestTurn(sets, &fit)
		if !n.Held && relief.Held { // the first one found all
			break
		}
		n.Value += relief.Value
		if relief = n; !n.Held {
			break
		}
		start := register.Motion{Centre: fit.Centre, R: fit.R.Then(n.turn), Scale: fit.Scale,
			Shift: n.turn.Vector(fit.Centre.Add(fit.Shift).Sub(n.centre)).Add(n.centre).Sub(fit.Centre)}
		fit = lo.Fit(list, ring.Frame, start, far)
	}
	m := &Motion{Left: fit.RMS}
	deg := 180 / math.Pi
	for _, q := range []struct {
		name, unit, why string
		k               int
		times           float64
	}{
		{"tilt about the first axis across " + ring.Axis, "degrees", "the shape is round about it", register.TurnS, deg},
		{"tilt about the second axis across " + ring.Axis, "degrees", "the shape is round about it", register.TurnT, deg},
		{"turn about " + ring.Axis + ", from the outline", "degrees", "the shape is round about it", register.TurnN, deg},
		{"shift along the first axis across " + ring.Axis, "mm", "the shape slides along itself", register.ShiftS, 1},
		{"shift along the second axis across " + ring.Axis, "mm", "the shape slides along itself", register.ShiftT, 1},
		{"shift along " + ring.Axis, "mm", "the shape slides along itself", register.ShiftN, 1},
		{"scale", "%", "the shape is the same at any size", register.Scale, 100},
	} {
		n := Number{Name: q.name, Unit: q.unit, Held: fit.Held[q.k], Value: fit.Value[q.k] * q.times, SE: fit.SE[q.k] * q.times}
		if !n.Held {
			n.Value, n.SE, n.Why = 0, 0, q.why
		}
		m.Numbers = append(m.Numbers, n)
	}
	if relief.Held || !fit.Held[register.TurnN] {
		m.Numbers = append(m.Numbers, relief.Number)
	}
	m.Turn = fit.R
	at := fit.Apply
	o := at(geom.Vec{})
	for k, e := range []geom.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		d := at(e).Sub(o)
		m.Rows[0][k], m.Rows[1][k], m.Rows[2][k] = d.X, d.Y, d.Z
	}
	m.Rows[0][3], m.Rows[1][3], m.Rows[2][3] = o.X, o.Y, o.Z
	return m, nil
}

// ringOf is the frame of the largest low mesh that is an eye's shell, else of the largest.
func ringOf(sets []*Set) (best inspect.Ring, err error) {
	size := -1.0
	for _, s := range sets {
		lo, err := register.NewSurface(merged(s.Low))
		if err != nil {
			return best, fmt.Errorf("%s: %w", s.Low[0].Name, err)
		}
		q, l := inspect.RingOf(lo), lo.Mesh.Bounds().Size().Len()
		if q.Axis != "Z" {
			l *= 1e6
		}
		if l > size {
			best, size = q, l
		}
	}
	return best, nil
}

// reliefTurn is the turn about the axis that relief asks for.
type reliefTurn struct {
	Number
	turn   geom.Affine
	centre geom.Vec
}

// bestTurn looks for it in each set, and takes that which stands out most.
func bestTurn(sets []*Set, fit *register.Motion) (best reliefTurn) {
	best.Name, best.Unit, best.Why = "turn about the axis, from relief", "degrees", "there is no relief about the axis"
	clear := 0.0
	for _, s := range sets {
		moved := *s
		moved.High = Move(s.High, fit.Apply, fit.R)
		lo, hi, err := moved.Surfaces()
		if err != nil {
			continue
		}
		ring := inspect.RingOf(lo)
		p := register.About(hi, lo, ring.Centre, ring.Frame, ring.R0, ring.R1)
		if !p.Held {
			if !best.Held {
				best.Why = p.Why
			}
			continue
		}
		if p.Clear > clear {
			clear = p.Clear
			best.Held, best.Why, best.Value, best.SE = true, "", geom.Degrees(p.Angle), geom.Degrees(p.SE)
			best.centre, best.turn = ring.Centre, about(ring.Frame.N, p.Angle)
		}
	}
	return best
}

// about is the turn by an angle about a unit axis through the origin: Rodrigues' formula.
func about(k geom.Vec, angle float64) geom.Affine {
	sin, cos := math.Sincos(angle)
	col := func(e geom.Vec) geom.Vec {
		return e.Mul(cos).Add(k.Cross(e).Mul(sin)).Add(k.Mul(k.Dot(e) * (1 - cos)))
	}
	x, y, z := col(geom.Vec{X: 1}), col(geom.Vec{Y: 1}), col(geom.Vec{Z: 1})
	return geom.Affine{M: [3]geom.Vec{{X: x.X, Y: y.X, Z: z.X}, {X: x.Y, Y: y.Y, Z: z.Y}, {X: x.Z, Y: y.Z, Z: z.Z}}}
}

// Worth reports whether any number that is held lies further from none than twice its error and than a hundredth of a mm or a percent, or
// than a twentieth of a degree.
func (m *Motion) Worth() bool {
	for _, n := range m.Numbers {
		least := map[string]float64{"mm": 0.01, "degrees": 0.05, "%": 0.05}[n.Unit]
		if n.Held && math.Abs(n.Value) > max(least, 2*n.SE) {
			return true
		}
	}
	return false
}
