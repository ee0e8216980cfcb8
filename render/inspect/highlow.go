package inspect

import (
	"fmt"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/measure"
	"catchlight/scene/register"
)

var highLowLimits = []Limit{
	{"highlow.normals_degrees", 30, 1, 180, "degrees", "own choice: relief turns normals by as much, another shape by more", "95 % of the smooth normals may disagree by so much"},
	{"highlow.miss_share", 0.001, 0, 1, "", "common practice, no published source", "share of a bake's rays that may meet nothing"},
	{"highlow.wrong_share", 0.005, 0, 1, "", "common practice, no published source", "share of a bake's rays that may hit a surface that faces away, or aslant"},
	{"highlow.distance_share", 0.03, 0, 1, "", "own choice: 0.36 mm of a globe of 12", "95 % of the distances, as a share of half the low mesh's size"},
	{"highlow.turn_degrees", 0.2, 0, 180, "degrees", "own choice: 0.014 mm on an iris of 4 mm", "turn that lays one on the other"},
	{"highlow.shift_mm", 0.02, 0, 100, "mm", "own choice: a pixel where a globe of 24 mm is 1024 px wide", "shift that lays one on the other"},
	{"highlow.scale_share", 0.002, 0, 1, "", "own choice", "scale that lays one on the other"},
}

var highLowChecks = []Check{{
	Group: HighLow, Name: "laying the high mesh on the low one",
	Codes: []Code{
		{"highlow.size", "the meshes are of other sizes", "One is in another unit than the other."},
		{"highlow.distance", "distance between the meshes", "From samples by area, both ways."},
		{"highlow.normals", "normals of the two disagree", "Angle between the smooth normals of a place and of the nearest one."},
		{"highlow.cage", "cage", "How far outside the low mesh a bake's rays must begin."},
		{"highlow.miss", "rays that a bake would miss with", "They meet nothing: black or padded texels."},
		{"highlow.wrong", "rays that hit wrongly", "They hit a surface that faces away or lies aslant: detail of another place."},
		{"highlow.twice", "rays with a second hit in reach", "Which surface is meant can't be told from the rays."},
		{"highlow.turn", "turn between the meshes", "That would lay the high mesh on the low one."},
		{"highlow.shift", "shift between the meshes", "That would lay the high mesh on the low one."},
		{"highlow.scale", "scale between the meshes", "That would lay the high mesh on the low one."},
		{"highlow.about", "turn about the axis", "From relief: a round shape alone does not hold it."},
	},
	Run: highLowRun,
}}

// samples of a mesh for distances and rays, and for the fit.
const (
	manySamples = 60000
	fitSamples  = 12000
)

func highLowRun(r *Run) error {
	high, low := r.Subject.Part(High), r.Subject.Part(Low)
	if high == nil || low == nil {
		return nil
	}
	var s [2]*register.Surface
	for i, p := range []*Part{high, low} {
		var err error
		if s[i], err = register.NewSurface(p.Welded()); err != nil {
			return fmt.Errorf("%s: %w", p.Name, err)
		}
		r.Advance(i+1, 6)
	}
	hi, lo := s[0], s[1]
	if r.sizes(high, low) {
		return nil
	}
	onLow, onHigh := lo.Sample(manySamples), hi.Sample(manySamples)
	if len(onLow) == 0 || len(onHigh) == 0 {
		return fmt.Errorf("%s: the triangles have no area", r.Subject.Name)
	}
	R := low.Mesh.Bounds().Size().Len() / 2
	toLow := lo.Apart(onHigh, 2*R)
	r.Advance(3, 6)
	toHigh := hi.Apart(onLow, 2*R)
	r.Advance(4, 6)
	r.distances(high, low, &toLow, &toHigh, R)
	r.field(low, hi, lo)
	r.bake(high, low, hi, onLow, &toLow)
	r.Advance(5, 6)
	r.motion(hi, lo, R)
	return r.Ctx.Err()
}

// sizes says whether one mesh is in another unit than the other.
func (r *Run) sizes(high, low *Part) bool {
	q := high.Mesh.Bounds().Size().Len() / low.Mesh.Bounds().Size().Len()
	f := Finding{Code: "highlow.size", Part: high.Name, Number: Held(q, "", "its size over that of "+low.Name), Range: Between(0.7, 1.4, "own choice"), Good: q > 0.7 && q < 1.4}
	if !f.Good {
		f.Least = Error
		f.Shows = Shows{Text: "nothing can be baked"}
		best, what := 1/q, "measure both"
		for _, k := range []float64{10, 100, 1000, 25.4, 2.54, 0.1, 0.01, 1e-3, 1 / 25.4, 1 / 2.54} {
			if math.Abs(math.Log(q*k)) < 0.15 {
				best, what = k, "one is in another unit"
			}
		}
		f.Remedy = Remedy{Factor: best, Step: what + ": scale " + high.Name}
	}
	r.Add(f)
	return !f.Good
}

// distances reports both ways, and the normals.
func (r *Run) distances(high, low *Part, toLow, toHigh *register.Distances, R float64) {
	limit := r.Limit("highlow.distance_share") * R
	for _, q := range []struct {
		what string
		p    *Part
		d    *register.Distances
	}{{high.Name + " to " + low.Name, high, toLow}, {low.Name + " to " + high.Name, low, toHigh}} {
		f := Finding{Code: "highlow.distance", Part: q.p.Name, Number: Held(q.d.P95, "mm", fmt.Sprintf("%s: 95 %% within; mean %+.4f, rms %.4f, most %.4f, from %d samples by area", q.what, q.d.Mean, q.d.RMS, q.d.Most, len(q.d.Signed))),
			Range: AtMost(limit, "own choice"), Where: []Place{At(q.p.Name, q.d.MostAt)}, Good: q.d.P95 <= limit}
		if !f.Good {
			f.Shows = Shows{Px: r.Px(q.d.P95), Text: "outlines of the low mesh are not those of the high one"}
			f.Remedy.Step = "move, or model the low mesh nearer to the high one"
			f.Most = Warning
		}
		r.Add(f)
	}
	deg := r.Limit("highlow.normals_degrees")
	t := geom.Degrees(toHigh.Turn)
	f := Finding{Code: "highlow.normals", Part: low.Name, Number: Held(t, "degrees", "95 % of the smooth normals disagree by less"), Range: AtMost(deg, "own choice"), Good: t <= deg}
	if !f.Good {
		f.Most = Warning
		f.Shows = Shows{Px: r.Px(R * geom.Radians(t-deg)), Text: "a normal map of 8 bits has to bend light that far"}
		f.Remedy.Step = "look where the low mesh cuts corners of the high one"
	}
	r.Add(f)
}

// field keeps the distance to the high mesh and what a bake's rays meet at each vertex of the low one, for pictures on the page.
func (r *Run) field(low *Part, hi, lo *register.Surface) {
	m := low.Welded()
	if len(m.P) > 100_000 {
		return
	}
	list := lo.Vertices()
	d := hi.Apart(list, 2*m.Bounds().Size().Len())
	f := Field{Part: low.Name, Title: "signed distance to the high mesh's surface", Unit: "mm", Value: d.Signed, Low: -max(d.P95, 1e-6), High: max(d.P95, 1e-6)}
	b := hi.Cast(list, max(1.2*max(d.Outward, d.Inward), 1e-4*m.Bounds().Size().Len()))
	g := Field{Part: low.Name, Title: "what a bake's ray meets: 0 the surface, 1 nothing, 2 one that faces away", Value: make([]float64, len(list)), Low: 0, High: 2}
	for i, k := range b.State {
		g.Value[i] = float64(k)
	}
	for i := range r.findings {
		if q := &r.findings[i]; q.Code == "highlow.distance" && q.Part == low.Name {
			q.Fields = []Field{f, g}
		}
	}
}

// bake says what rays would miss or hit wrongly, at the cage that is found and at the one that is told.
func (r *Run) bake(high, low *Part, hi *register.Surface, onLow []register.Point, toLow *register.Distances) {
	// Outward reaches of 99.9 % of the high mesh, and a fifth more.
	found := 1.2 * max(toLow.Outward, toLow.Inward)
	found = max(found, 1e-4*low.Mesh.Bounds().Size().Len())
	r.Add(Finding{Code: "highlow.cage", Part: low.Name, Good: true, Number: Held(found, "mm", "outside and inside the low mesh, for 99.9 % of the high one and a fifth more")})
	cages := []float64{found}
	if r.Cage > 0 {
		cages = append(cages, r.Cage)
	}
	for i, c := range cages {
		b := hi.Cast(onLow, c)
		what := "at the found cage"
		if i > 0 {
			what = "at the stated cage"
		}
		add := func(code string, share, limit float64, at geom.Vec, text, step string) {
			f := Finding{Code: code, Part: low.Name, Number: Held(100*share, "%", fmt.Sprintf("of the rays, %s of %.4g mm", what, c)), Range: AtMost(100*limit, "common practice, no published source"), Good: share <= limit}
			if !f.Good {
				f.Where = []Place{At(low.Name, at)}
				f.Shows = Shows{Px: r.Px(math.Sqrt(share) * r.Subject.Radius()), Text: text}
				f.Remedy.Step = step
				if i > 0 {
					f.Remedy.Step += fmt.Sprintf("; a cage of %.4g mm reaches 99.9 %% of it", found)
				}
			}
			r.Add(f)
		}
		add("highlow.miss", b.Miss, r.Limit("highlow.miss_share"), b.MissAt, "texels with nothing baked", "close holes of the high mesh, or widen the cage")
		add("highlow.wrong", b.Wrong, r.Limit("highlow.wrong_share"), b.WrongAt, "detail of another place, or of the back of a wall", "narrow the cage, bake parts apart, or turn the high mesh's winding")
		f := Finding{Code: "highlow.twice", Part: low.Name, Number: Held(100*b.Twice, "%", fmt.Sprintf("of the rays could meet another surface, %s of %.4g mm", what, c)), Range: AtMost(1, "own choice"), Good: b.Twice <= 0.01, Most: Note}
		if !f.Good {
			f.Remedy.Step = "bake parts apart, or narrow the cage"
		}
		r.Add(f)
	}
}

// motion says what would lay the high mesh on the low one.
func (r *Run) motion(hi, lo *register.Surface, R float64) {
	ring := RingOf(lo)
	f, axis := ring.Frame, ring.Axis
	m := lo.Fit(hi.Sample(fitSamples), f, register.Motion{}, R)
	words := fmt.Sprintf("roots of the eigenvalues, over the largest: %s; %.3g mm rms are left", eigenWords(m.Eigen), m.RMS)
	type row struct {
		code, unit, what, why string
		k                     int
		times, limit, px      float64
	}
	deg := 180 / math.Pi
	turn, shift, scale := r.Limit("highlow.turn_degrees"), r.Limit("highlow.shift_mm"), r.Limit("highlow.scale_share")
	rows := []row{
		{"highlow.turn", "degrees", "tilt about the first axis across " + axis, "the shape is round about it", register.TurnS, deg, turn, R},
		{"highlow.turn", "degrees", "tilt about the second axis across " + axis, "the shape is round about it", register.TurnT, deg, turn, R},
		{"highlow.turn", "degrees", "turn about " + axis, "the shape is round about it; see the turn from relief", register.TurnN, deg, turn, R},
		{"highlow.shift", "mm", "shift along the first axis across " + axis, "the shape slides along itself", register.ShiftS, 1, shift, 1},
		{"highlow.shift", "mm", "shift along the second axis across " + axis, "the shape slides along itself", register.ShiftT, 1, shift, 1},
		{"highlow.shift", "mm", "shift along " + axis, "the shape slides along itself", register.ShiftN, 1, shift, 1},
		{"highlow.scale", "%", "scale", "the shape is the same at any size", register.Scale, 100, 100 * scale, R},
	}
	for _, q := range rows {
		n := Number{Unit: q.unit, What: q.what, Held: m.Held[q.k]}
		if q.k == register.TurnN {
			n.What += "; " + words
		}
		v := m.Value[q.k]
		if n.Held {
			n.V, n.SE = v*q.times, m.SE[q.k]*q.times
		} else {
			n.Why = q.why
		}
		g := Finding{Code: q.code, Part: r.Subject.Part(High).Name, Number: n, Range: Between(-q.limit, q.limit, "own choice"), Good: !n.Held || math.Abs(n.V) <= q.limit+2*n.SE}
		if !g.Good {
			g.Shows = Shows{Px: r.Px(math.Abs(v) * q.px), Text: "detail lies beside its place by so much"}
			g.Remedy.Step = fmt.Sprintf("move %s by %.4g %s: %s", r.Subject.Part(High).Name, n.V, q.unit, q.what)
			if q.k == register.Scale {
				g.Remedy = Remedy{Factor: 1 + v, Step: "scale " + r.Subject.Part(High).Name + " about its middle"}
			}
		}
		r.Add(g)
	}
	r.about(hi, lo, &ring)
}

func eigenWords(e [7]float64) string {
	s := ""
	for i, x := range e {
		if i > 0 {
			s += ", "
		}
		s += fmt.Sprintf("%.4f", x/e[0])
	}
	return s
}

// pairEye measures the low mesh as a shell of an eye: an outer one where a cornea stands out of it, else an inner one. It is nil where
// the mesh is no globe, or has no axis.
func pairEye(lo *register.Surface) *measure.Eye {
	rough, err := measure.Look(lo.Mesh)
	if err != nil || rough.Within(0.1) < 0.4 {
		return nil
	}
	outer, inner := lo.Mesh, lo.Mesh
	if rough.Bulge < 0.025 {
		outer = nil
	} else {
		inner = nil
	}
	e, err := measure.Measure(outer, inner, measure.Known{})
	if err != nil || !e.Axis.Held {
		return nil
	}
	return e
}

// Ring is where the turn about an axis is looked for: between the radii R0 and R1 in mm about Frame.N through Centre.
type Ring struct {
	Frame  geom.Frame
	Axis   string // what Frame.N is, in words
	Centre geom.Vec
	R0, R1 float64
}

// RingOf is that of a low mesh: the iris of one that is an eye, else about Z.
func RingOf(lo *register.Surface) Ring {
	q := Ring{Frame: geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, Axis: "Z"}
	e := pairEye(lo)
	if e != nil {
		q.Frame, q.Axis = e.Frame, "the optical axis"
	}
	box := lo.Mesh.Bounds()
	q.Centre = box.Centre()
	R := box.Size().MaxAbs() / 2
	// Within the limbus' share of a globe, or over a disc.
	q.R0, q.R1 = 0.16*R, 0.45*R
	if s := q.Frame.Local(box.Size()); math.Abs(s.Z) < 0.5*R {
		q.R0, q.R1 = 0.35*R, 0.9*R
	}
	if e != nil {
		q.Centre = e.Centre
		if e.Limbus.Held {
			q.R1 = 0.95 * e.Limbus.V
		}
		if e.Pupil.Held && e.Pupil.V < 0.8*q.R1 {
			q.R0 = e.Pupil.V + 0.1*(q.R1-e.Pupil.V)
		}
	}
	return q
}

// about is the turn about the axis, from relief.
func (r *Run) about(hi, lo *register.Surface, q *Ring) {
	r0, r1 := q.R0, q.R1
	p := register.About(hi, lo, q.Centre, q.Frame, r0, r1)
	limit := r.Limit("highlow.turn_degrees")
	v := geom.Degrees(p.Angle)
	g := Finding{Code: "highlow.about", Part: r.Subject.Part(High).Name, Number: Number{Unit: "degrees", What: "turn about the axis, from relief between " + fmt.Sprintf("%.2f and %.2f mm", r0, r1), Held: p.Held, Why: p.Why}, Range: Between(-limit, limit, "own choice")}
	if p.Held {
		g.Number.V, g.Number.SE = v, geom.Degrees(p.SE)
	}
	if g.Good = !p.Held || math.Abs(v) <= limit+2*g.Number.SE; !g.Good {
		g.Shows = Shows{Px: r.Px(math.Abs(p.Angle) * (r0 + r1) / 2), Text: "relief lies beside its place by so much"}
		g.Remedy.Step = fmt.Sprintf("turn %s by %.3f degrees about the axis", r.Subject.Part(High).Name, v)
	}
	r.Add(g)
}
