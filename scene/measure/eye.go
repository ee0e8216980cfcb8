package measure

import (
	"errors"
	"math"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/pupil"
)

// Rough is a first look at one shell: its sphere, and where it stands out of it.
type Rough struct {
	Sphere Sphere
	Axis   geom.Vec // mean direction of what stands out most, or that of the cornea where it is another
	Bulge  float64  // how far it stands out at most, as a share of the radius
	Length float64  // extent along Axis
	pts    []Point
}

// noCornea is the bulge, as a share of the radius, under which nothing stands out of a sphere that could be a cornea:
// people's is 0.08. Own choice.
const noCornea = 0.025

// Look takes a first look at one shell.
func Look(m *mesh.Mesh) (r Rough, err error) {
	if r.pts, err = Points(m); err != nil {
		return r, err
	}
	var ok bool
	if r.Sphere, ok = FitSphere(r.pts); !ok {
		return r, errors.New(r.Sphere.Radius.Why)
	}
	c, R := r.Sphere.Centre, r.Sphere.Radius.V
	far := 0.0
	for _, q := range r.pts {
		far = max(far, q.P.Sub(c).Len())
	}
	r.Bulge = far/R - 1
	for _, q := range r.pts {
		v := q.P.Sub(c)
		if e := v.Len() - R - 0.4*(far-R); e > 0 {
			r.Axis = r.Axis.Mad(q.A*e, v.Unit())
		}
	}
	if r.Bulge < noCornea {
		// An inner shell: its iris lies within its sphere.
		r.Axis = geom.Vec{}
		for _, q := range r.pts {
			v := q.P.Sub(c)
			if l := v.Len(); l < 0.97*R && l > 0 {
				r.Axis = r.Axis.Mad(q.A/l, v)
			}
		}
	}
	if r.Axis.Len2() == 0 {
		r.Axis = geom.Vec{Z: 1}
	}
	r.Axis = r.Axis.Unit()
	if r.Bulge >= noCornea {
		r.Axis = r.cornea(r.Axis)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, q := range r.pts {
		z := q.P.Sub(c).Dot(r.Axis)
		lo, hi = min(lo, z), max(hi, z)
	}
	r.Length = hi - lo
	return r, nil
}

// Within returns the share of the shell's area that lies within a share of the radius of its sphere.
func (r *Rough) Within(share float64) float64 {
	on, all := 0.0, 0.0
	for _, q := range r.pts {
		all += q.A
		if math.Abs(q.P.Sub(r.Sphere.Centre).Len()/r.Sphere.Radius.V-1) < share {
			on += q.A
		}
	}
	return on / all
}

// Outward is the mean of the cosine between the shell's surface, as its triangles wind, and the direction from its
// sphere's centre, by area: near 1 for a ball wound outward, -1 inward.
func (r *Rough) Outward() float64 {
	sum, all := 0.0, 0.0
	for _, q := range r.pts {
		v := q.P.Sub(r.Sphere.Centre)
		if l := v.Len(); l > 0 {
			sum, all = sum+q.A*q.N.Dot(v)/l, all+q.A
		}
	}
	return sum / all
}

// Known is what the asker knows better than any measure; zero: nothing.
type Known struct {
	Axis   geom.Vec
	Limbus float64                        // radius, unit of the mesh
	Colour func(geom.UV) (rgb [3]float64) // of the inner shell's picture, linear; nil: no picture
}

// Eye is what was measured of an eye's two shells.
type Eye struct {
	Globe  Sphere // of the outer shell; of the inner one where there is no outer
	Bulge  float64
	Cornea Cornea
	Frame  geom.Frame // N the optical axis, T up as far as can be
	Centre geom.Vec   // on the optical axis, beside the globe's centre

	CorneaAxis, IrisAxis Axis
	Axis                 Value // of the optical axis: V its error in degrees, By where it is from; Held: measured, not guessed
	AxisAgrees           bool  // two measures of it do
	Tilt                 Value // between both axes, degrees

	Root, Iris, Edge Value // the limbus by three definitions: geometric root, iris root, edge of the colour
	Limbus           Value // the radius to use
	LimbusAgrees     bool  // of at least two that are held, all agree

	Length Value   // along the axis: front of the cornea to the back pole
	Apex   float64 // of the front pole above Centre
	Gap    Value   // between the shells outside the limbus

	Hole        pupil.Pupil
	Pupil       Value // radius of the hole, or of the dark disc
	PupilSteady bool  // the hole is the same with an eighth and a quarter less looked at
	DarkPupil   Value // radius of the dark disc in the picture
}

// Definitions of the limbus' radius.
const (
	byRoot = "root of the cornea, where its conic meets the globe"
	byIris = "root of the iris, the middle of the inner shell's flank"
	byEdge = "edge of the colour, the steepest step of lightness at the sides"
)

// limbusShare is the difference of two definitions of the limbus, as a share, up to which they say the same: the root of
// the iris lies a little within the cornea's. Own choice.
const limbusShare = 0.08

// Measure measures an eye. One of the shells may be nil. What known holds is not measured but taken as it is.
func Measure(outer, inner *mesh.Mesh, known Known) (*Eye, error) {
	lead := outer
	if lead == nil {
		lead = inner
	}
	if lead == nil {
		return nil, errors.New("there is no shell to measure")
	}
	rough, err := Look(lead)
	if err != nil {
		return nil, err
	}
	e := &Eye{Globe: rough.Sphere, Bulge: rough.Bulge, Centre: rough.Sphere.Centre}
	R := rough.Sphere.Radius.V
	toward := rough.Axis
	if known.Axis != (geom.Vec{}) {
		toward = known.Axis.Unit()
	}
	var in Rough
	if inner != nil {
		if in, err = Look(inner); err != nil {
			in.pts = nil
		}
	}
	// Where the cornea ends, roughly, for the axis; then axis, cornea and root in turn.
	reach := 0.4875 * R
	if known.Limbus > 0 {
		reach = known.Limbus
	}
	for range 3 {
		e.axes(rough.pts, in.pts, toward, reach, outer != nil)
		if known.Axis != (geom.Vec{}) {
			e.Axis = Value{By: "as told", Held: true, N: 1}
			e.AxisAgrees = true
			e.Frame.N = toward
		}
		e.Frame = upright(e.Frame.N)
		if outer == nil {
			break
		}
		e.Cornea = FitCornea(rough.pts, e.Centre, e.Frame, 0.77*reach)
		g, se := e.white(rough.pts, reach)
		e.Root = e.Cornea.Root(g, se)
		if known.Limbus > 0 || !e.Root.Held || math.Abs(e.Root.V-reach) < 0.01*reach {
			break
		}
		reach = max(0.25*R, min(0.8*R, e.Root.V))
	}
	if outer == nil {
		e.Root = none(byRoot, "there is no outer shell")
		e.Cornea.Radius = none("apical radius of the conic through the cap", "there is no outer shell")
		e.Cornea.Q = none("asphericity of the conic through the cap", "there is no outer shell")
	}
	e.Iris = none(byIris, "there is no inner shell")
	e.Edge = none(byEdge, "there is no picture")
	e.DarkPupil = none("dark disc in the picture", "there is no picture")
	if in.pts != nil {
		e.Iris = IrisRoot(inner, in.Sphere, e.Frame)
		if known.Colour != nil && inner.UV != nil {
			e.Edge, e.DarkPupil = edges(inner, e.Centre, e.Frame, 0.9*R, known.Colour)
		}
	}
	e.limbus(known.Limbus, R)
	e.length(rough.pts)
	if outer != nil && in.pts != nil {
		e.gap(rough.pts, in.pts)
	} else {
		e.Gap = none("gap between the shells outside the limbus, along the radius", "there is one shell only")
	}
	if in.pts != nil {
		e.pupil(inner)
	} else {
		e.Pupil = none("radius of the hole in the inner shell", "there is no inner shell")
	}
	return e, nil
}

// upright returns the frame about an axis with T up: +Y as far as it can be.
func upright(n geom.Vec) geom.Frame {
	up := geom.Vec{Y: 1}
	if math.Abs(n.Y) > 0.95 {
		up = geom.Vec{Z: 1}
	}
	x := up.Cross(n).Unit()
	return geom.Frame{S: x, T: n.Cross(x), N: n}
}

// axes measures the axis of the cornea and that of the iris, and takes one.
func (e *Eye) axes(out, in []Point, toward geom.Vec, reach float64, hasOuter bool) {
	c := e.Globe.Centre
	near := func(pts []Point, k float64) []Point {
		var some []Point
		for _, q := range pts {
			v := q.P.Sub(c)
			if z := v.Dot(toward); z > 0 && v.Mad(-z, toward).Len() < k*reach && q.N.Dot(toward) > 0 {
				some = append(some, q)
			}
		}
		return some
	}
	const byCornea, byInner = "axis about which the cornea is a surface of revolution", "axis about which the iris is a surface of revolution"
	e.CorneaAxis = Axis{Dir: toward, SE: none(byCornea, "there is no outer shell")}
	if hasOuter {
		e.CorneaAxis = Revolution(near(out, 1.25), toward, byCornea)
	}
	e.IrisAxis = Axis{Dir: toward, SE: none(byInner, "there is no inner shell")}
	if in != nil {
		e.IrisAxis = Revolution(near(in, 1.25), toward, byInner)
	}
	e.Tilt = Between(e.CorneaAxis, e.IrisAxis)
	// An angle of two errors each way: 95 % lie within 2.45 of them (Rayleigh's distribution).
	e.AxisAgrees = e.Tilt.Held && e.Tilt.V < max(1.5, 2.45*e.Tilt.SE) && e.Tilt.V < 3
	a := e.CorneaAxis
	switch {
	case !a.SE.Held:
		a = e.IrisAxis
	case e.AxisAgrees:
		// Their mean by weight of their errors; neither is taken to be surer than a twentieth of a degree.
		i := e.IrisAxis
		wa, wi := 1/(a.SE.V*a.SE.V+0.0025), 1/(i.SE.V*i.SE.V+0.0025)
		a.Dir = a.Dir.Mul(wa).Mad(wi, i.Dir).Unit()
		a.SE.V, a.SE.N = 1/math.Sqrt(wa+wi), a.SE.N+i.SE.N
		a.SE.By = "mean of the axes about which cornea and iris are surfaces of revolution"
	}
	e.Axis = a.SE
	e.Frame.N = toward
	e.Centre = c
	if a.SE.Held {
		e.Frame.N = a.Dir
		v := c.Sub(a.Point)
		e.Centre = c.Sub(v.Mad(-v.Dot(a.Dir), a.Dir))
	} else {
		e.Axis = none("direction in which the shell stands out of its sphere", "neither cornea nor iris has a line of symmetry: %s", e.CorneaAxis.SE.Why)
	}
}

// white returns the radius of the outer shell about Centre in a band of the white beside the limbus, with its error.
func (e *Eye) white(pts []Point, limbus float64) (r, se float64) {
	R := e.Globe.Radius.V
	var sum, area [sectors]float64
	for _, q := range pts {
		v := e.Frame.Local(q.P.Sub(e.Centre))
		if rho := math.Hypot(v.X, v.Y); v.Z > 0 && rho > 1.25*limbus && rho < min(1.75*limbus, 0.95*R) {
			k := int((math.Atan2(v.Y, v.X)/(2*math.Pi)+1)*sectors) % sectors
			sum[k] += q.A * v.Len()
			area[k] += q.A
		}
	}
	var mean []float64
	for k := range sum {
		if area[k] > 0 {
			mean = append(mean, sum[k]/area[k])
		}
	}
	if len(mean) < sectors/2 {
		return R, max(e.Globe.Radius.SE, e.Globe.Spread)
	}
	total, all := 0.0, 0.0
	for k := range sum {
		total, all = total+sum[k], all+area[k]
	}
	sq := 0.0
	for _, x := range mean {
		sq += (x - total/all) * (x - total/all)
	}
	return total / all, math.Hypot(e.Globe.Radius.SE, math.Sqrt(sq/float64(len(mean)-1)/float64(len(mean))))
}

// limbus takes one radius of those that are held, and says whether they agree.
func (e *Eye) limbus(told, R float64) {
	if told > 0 {
		e.Limbus, e.LimbusAgrees = Value{V: told, By: "as told", N: 1, Held: true}, true
		return
	}
	sane := func(v Value) Value {
		if v.Held && (v.V < 0.2*R || v.V > 0.9*R) {
			return none(v.By, "%s is no part of a globe of radius %s that a limbus has", short(v.V), short(R))
		}
		return v
	}
	e.Root, e.Iris, e.Edge = sane(e.Root), sane(e.Iris), sane(e.Edge)
	var held []Value
	for _, v := range []Value{e.Edge, e.Root, e.Iris} {
		if v.Held {
			held = append(held, v)
		}
	}
	agree := 0
	for i := range held {
		for j := range i {
			if Agree(held[i], held[j], limbusShare) {
				agree++
			} else {
				agree = -9
			}
		}
	}
	e.LimbusAgrees = agree > 0
	switch {
	case len(held) == 0:
		// Share of a grown person's eye: 5.85 of 12 mm.
		e.Limbus = none("a grown person's share of the globe's radius", "nothing measurable marks it")
		e.Limbus.V, e.Limbus.SE = 0.4875*R, 0.1*R
	case len(held) == 1:
		e.Limbus = held[0]
	case e.LimbusAgrees && e.Root.Held:
		e.Limbus = e.Root
	case e.Edge.Held:
		// What is painted is what is seen.
		e.Limbus = e.Edge
	default:
		// What would be seen as the limbus lies between them.
		e.Limbus = Value{V: (e.Root.V + e.Iris.V) / 2, SE: max(math.Abs(e.Root.V-e.Iris.V)/2, e.Root.SE/2, e.Iris.SE/2), N: e.Root.N, Held: true,
			By: "the middle between both"}
	}
}

// length measures the axial length, from the front of the cornea to the back pole, both of the lead shell.
func (e *Eye) length(pts []Point) {
	const by = "front pole to back pole of the shell, along the axis"
	lo, hi := math.Inf(1), math.Inf(-1)
	var back, dist []float64 // distance from the centre, and from the axis, squared, in units of the globe's radius
	R := e.Globe.Radius.V
	for _, q := range pts {
		v := q.P.Sub(e.Centre)
		z := v.Dot(e.Frame.N)
		lo, hi = min(lo, z), max(hi, z)
		if l := v.Len(); z < -math.Cos(geom.Radians(30))*l {
			back, dist = append(back, l/R), append(dist, v.Mad(-z, e.Frame.N).Len2()/(R*R))
		}
	}
	e.Apex = hi
	frontSE := e.Globe.Spread / 3
	if e.Cornea.Radius.Held {
		// The pole of the smooth cornea stands a little before the vertices about it.
		e.Apex, frontSE = e.Cornea.Apex.Sub(e.Centre).Dot(e.Frame.N), e.Cornea.ApexSE
	}
	near := math.Inf(1)
	for _, d := range dist {
		near = min(near, d)
	}
	if near > 0.04 {
		e.Length = none(by, "the shell has no back")
		e.Length.V = e.Apex - lo
		return
	}
	// The back pole: distance from the centre against squared distance from the axis, a straight line.
	var s0, s1, s2, t0, t1 float64
	for i, l := range back {
		s0, s1, s2, t0, t1 = s0+1, s1+dist[i], s2+dist[i]*dist[i], t0+l, t1+l*dist[i]
	}
	det := s0*s2 - s1*s1
	pole, se := t0/s0, e.Globe.Spread/R
	if s0 > 3 && det > 1e-6*s0*s2 {
		b := (s0*t1 - s1*t0) / det
		pole = (s2*t0 - s1*t1) / det
		sq := 0.0
		for i, l := range back {
			d := l - pole - b*dist[i]
			sq += d * d
		}
		se = math.Sqrt(sq / max(1, s0-2) * s2 / det)
	}
	e.Length = Value{V: e.Apex + pole*R, SE: math.Hypot(frontSE, se*R), By: by, N: len(back) + e.Cornea.Radius.N, Held: true}
}

// gap measures how far the inner shell lies beneath the outer one outside the limbus, along the radius.
func (e *Eye) gap(out, in []Point) {
	const by = "gap between the shells outside the limbus, along the radius"
	const side = 24
	type sum struct{ d, a float64 }
	var a, b [side][sectors]sum
	fill := func(pts []Point, to *[side][sectors]sum) {
		for _, q := range pts {
			v := e.Frame.Local(q.P.Sub(e.Centre))
			l := v.Len()
			if !(l > 0) || q.N.Dot(q.P.Sub(e.Centre)) < 0.5*l || v.Z > 0 && math.Hypot(v.X, v.Y) < 1.2*e.Limbus.V {
				continue
			}
			i := min(side-1, int((1-v.Z/l)/2*side))
			k := int((math.Atan2(v.Y, v.X)/(2*math.Pi)+1)*sectors) % sectors
			to[i][k].d += q.A * l
			to[i][k].a += q.A
		}
	}
	fill(out, &a)
	fill(in, &b)
	var gaps []float64
	for i := range a {
		for k := range a[i] {
			if a[i][k].a > 0 && b[i][k].a > 0 {
				gaps = append(gaps, a[i][k].d/a[i][k].a-b[i][k].d/b[i][k].a)
			}
		}
	}
	if len(gaps) < 6 {
		e.Gap = none(by, "the shells hardly face each other")
		return
	}
	mid := median(gaps)
	off := make([]float64, len(gaps))
	for i, g := range gaps {
		off[i] = g - mid
	}
	e.Gap = Value{V: mid, SE: 1.2533 * spread(off) / math.Sqrt(float64(len(gaps))), By: by, N: len(gaps), Held: true}
}

// ragged returns the standard deviation of a hole's contour from its waves up to the fourth.
func ragged(p *pupil.Pupil) float64 {
	const n, waves = 128, 4
	var r [n]float64
	for i := range r {
		r[i] = p.At(2 * math.Pi * float64(i) / n)
	}
	sum := 0.0
	for i := range r {
		v := r[i]
		for k := range waves + 1 {
			var a, b float64
			for j := range r {
				sin, cos := math.Sincos(2 * math.Pi * float64(k*j%n) / n)
				a, b = a+r[j]*cos*2/n, b+r[j]*sin*2/n
			}
			if k == 0 {
				a /= 2
			}
			sin, cos := math.Sincos(2 * math.Pi * float64(k*i%n) / n)
			v -= a*cos + b*sin
		}
		sum += v * v
	}
	return math.Sqrt(sum / (n - 2*waves - 1))
}

// pupil measures the hole of the inner shell.
func (e *Eye) pupil(inner *mesh.Mesh) {
	const by = "radius of the circle of the hole's area"
	e.Hole = pupil.Find(inner, e.Centre, e.Frame, e.Limbus.V)
	if !e.Hole.Open {
		e.Pupil = none(by, "the inner shell has no hole within the limbus")
		if e.DarkPupil.Held {
			e.Pupil = e.DarkPupil
		}
		return
	}
	// The radius has two errors. First, the hole is counted in cells, and each cell of its rim is wrong by up to half a cell
	// at random. Second, the rim is ragged: the deviation of its contour from a series of four waves about it, taken as
	// independent from one eighth of a turn to the next.
	cell := 2 * e.Limbus.V / 513
	e.Pupil = Value{V: e.Hole.Radius, SE: math.Hypot(cell/2, ragged(&e.Hole)/math.Sqrt(8)), By: by, N: int(math.Pi * e.Hole.Radius * e.Hole.Radius / (cell * cell)), Held: true}
	e.PupilSteady = true
	for _, k := range []float64{0.75, 0.88} {
		q := pupil.Find(inner, e.Centre, e.Frame, k*e.Limbus.V)
		if e.PupilSteady = e.PupilSteady && q.Open && math.Abs(q.Radius-e.Hole.Radius) < 0.05*e.Hole.Radius; !e.PupilSteady {
			return
		}
	}
}
