package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/measure"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

var layerLimits = []Limit{
	{"layers.through_mm", 0.02, 0, 10, "mm", "own choice: twice facet_error", "how far one layer may stand through another before it is a crossing"},
	{"layers.gap_white_share", 0.06, 0, 1, "", "own choice: 0.7 mm of a globe of 12", "gap over the white, as a share of the globe's radius"},
	{"layers.shift_share", 0.02, 0, 1, "", "own choice: 0.24 mm of a globe of 12", "how far the inner shell may lie aside as a whole, as a share of the globe's radius"},
	{"layers.tilt_degrees", 5, 0.1, 90, "degrees", "own choice", "angle between the cornea's axis and the iris'"},
	{"layers.offset_share", 0.08, 0, 1, "", "own choice: 0.47 mm of 5.9; people's pupils lie up to 0.4 mm aside (from memory)", "pupil's distance from the axis as a share of the limbus' radius"},
	{"layers.lid_mm", 0.3, 0, 10, "mm", "own choice", "how far a lid may reach into the globe"},
}

var layerChecks = []Check{{
	Group: Layers, Name: "measuring the gap between the shells",
	Codes: []Code{
		{"layers.missing", "a shell is missing", "An eye has an outer shell of cornea and white, and an inner one of iris and tissue. Without one there is no refraction, or nothing to see."},
		{"layers.inside_out", "a shell is inside out", "Its triangles wind inward: light enters where it should leave."},
		{"layers.open", "the outer shell can't be closed", "A shell that encloses nothing can't refract."},
		{"layers.gap", "gap between the shells", "How far the inner shell lies beneath the outer one: to the nearest point, along its normal, along the axis."},
		{"layers.white_gap", "gap over the white", "Outside the limbus the outer shell is a thin film on tissue; a gap shows as a clear rim."},
		{"layers.shift", "the inner shell lies aside", "All of it is moved against the outer one: the gap is narrow on one side of the white and wide on the other."},
		{"layers.crossing", "the shells pass through each other", "Edges of one pierce the other; iris or white stands outside."},
		{"layers.outside", "the inner shell lies outside", "It is not in the outer shell at all."},
		{"layers.swapped", "the shells are swapped", "What is called outer lies within what is called inner."},
		{"layers.tilt", "tilt between cornea and iris", "Angle between the lines about which both are surfaces of revolution, and of the iris' plane to the axis."},
		{"layers.offset", "pupil beside the axis", "Distance of the pupil's middle from the optical axis."},
		{"layers.lid", "a lid reaches into the globe", "Where it does, the globe hides the lid's edge."},
		{"layers.tear", "a tear mesh lies within the globe", "Light never meets it."},
	},
	Run: layerRun,
}}

func layerRun(r *Run) error {
	s := r.Subject
	if s.Eye == nil {
		return nil
	}
	outer, inner := s.Part(Outer), s.Part(Inner)
	both := Between(2, 2, "two shells: the model that is rendered")
	switch {
	case outer == nil:
		r.Add(Finding{Code: "layers.missing", Title: "the outer shell is missing", Least: Error, Number: Held(1, "", "shells"), Range: both,
			Shows: Shows{Text: "no cornea: no highlight on it, no bent iris"}, Remedy: Remedy{Key: r.key("asset.borrow=true"), Step: "add a shell of cornea and white about the eye, or borrow the built-in one"}})
	case inner == nil:
		r.Add(Finding{Code: "layers.missing", Title: "the inner shell is missing", Least: Error, Number: Held(1, "", "shells"), Range: both,
			Shows: Shows{Text: "no iris and no pupil"}, Remedy: Remedy{Key: r.key("asset.borrow=true"), Step: "add a shell of iris and tissue within the eye, or borrow the built-in one"}})
	default:
		r.Add(Finding{Code: "layers.missing", Good: true, Title: "both shells are there", Number: Held(2, "", "shells"), Range: both})
	}
	for _, p := range []*Part{outer, inner} {
		if p != nil && p.InsideOut {
			f := Finding{Code: "layers.inside_out", Part: p.Name, Least: Error, Cause: true, Number: Held(p.Mesh.Volume(), "mm^3", "volume as it was turned for these measures"),
				Because: "every renderer that goes by winding shows it wrong",
				Shows:   Shows{Text: "light bends the wrong way at it, and what goes by winding shows its far side; drafts here do not show it, as the shell is turned when it is read"}, Remedy: Remedy{Step: "turn all triangles and normals over", Mends: true}}
			if p.Role == Inner {
				f.Shows.Text = "black or hollow where a renderer goes by winding; drafts here do not show it, as the shell is turned when it is read"
			}
			r.Add(f)
		}
	}
	if outer == nil || inner == nil {
		return r.lids(outer)
	}
	if err := r.closes(outer); err != nil {
		return err
	}
	out, err := near.New(outer.Welded())
	if err != nil {
		return fmt.Errorf("%s: %w", outer.Name, err)
	}
	in, err := near.New(inner.Welded())
	if err != nil {
		return fmt.Errorf("%s: %w", inner.Name, err)
	}
	r.shift(inner, out)
	r.gaps(outer, inner, out)
	r.crossings(outer, inner, out, in)
	r.tilt()
	return r.lids(outer)
}

// closes says whether the outer shell can be closed.
func (r *Run) closes(p *Part) error {
	_, holes, err := mesh.Close(p.Welded())
	f := Finding{Code: "layers.open", Part: p.Name, Good: err == nil, Number: Held(float64(holes), "", "holes to be capped"), Range: nil}
	if err != nil {
		f.Least = Error
		f.Title = "the outer shell can't be closed: " + err.Error()
		f.Number = Number{What: "holes", Why: err.Error()}
		f.Shows.Text = "no refraction"
		f.Remedy.Step = "mend the mesh's edges first: see mesh.nonmanifold and mesh.winding"
	}
	r.Add(f)
	return nil
}

// gapOf are the three gaps at a place of the inner shell.
type gapOf struct {
	at                    geom.Vec
	nearest, normal, axis float64 // NaN where there is none; nearest is negative outside
	front                 bool    // within the limbus
	white                 bool    // in front, outside it
	area                  float64
}

// measureGaps measures at vertices and middles of triangles; of large meshes at every so-many-th.
func (r *Run) measureGaps(inner *Part, out *near.Tree) []gapOf {
	m := inner.Welded()
	e := r.Subject.Eye
	const most = 60000
	all := len(m.P) + len(m.Tri)
	step := 1 + all/most
	list := make([]gapOf, (all+step-1)/step)
	R := r.Subject.Radius()
	done := 0
	const run = 2000
	for from := 0; from < len(list) && r.Ctx.Err() == nil; from += 8 * run {
		to := min(len(list), from+8*run)
		parallel.Each((to-from+run-1)/run, r.Workers, func(k int) {
			for i := from + k*run; i < min(to, from+(k+1)*run); i++ {
				g := &list[i]
				var n geom.Vec
				if j := i * step; j < len(m.P) {
					g.at = m.P[j]
					if m.N != nil {
						n = m.N[j]
					}
				} else {
					c := m.Tri[j-len(m.P)]
					g.at = m.P[c[0]].Add(m.P[c[1]]).Add(m.P[c[2]]).Mul(1.0 / 3)
					n = m.P[c[1]].Sub(m.P[c[0]]).Cross(m.P[c[2]].Sub(m.P[c[0]]))
					g.area = n.Len() / 2
					if g.area > 0 {
						n = n.Unit()
					}
				}
				g.nearest, g.normal, g.axis = math.NaN(), math.NaN(), math.NaN()
				if q, ok := out.Nearest(g.at, 4*R); ok {
					g.nearest = -q.D
				}
				if h, ok := out.Ray(g.at, n, 1e-9, 8*R, -1); ok && n != (geom.Vec{}) {
					g.normal = h.T
				}
				if h, ok := out.Ray(g.at, e.Frame.N, 1e-9, 8*R, -1); ok {
					g.axis = h.T
				}
				l := e.Frame.Local(g.at.Sub(e.Centre))
				rho := math.Hypot(l.X, l.Y)
				up := n.Dot(g.at.Sub(e.Centre)) > 0 || n.Dot(e.Frame.N) > 0.3
				g.front = l.Z > 0 && up && e.Limbus.Held && rho < 0.95*e.Limbus.V
				g.white = l.Z > 0 && n.Dot(g.at.Sub(e.Centre)) > 0.5*g.at.Sub(e.Centre).Len() && e.Limbus.Held && rho > 1.15*e.Limbus.V
			}
		})
		done = to
		r.Advance(done, len(list))
	}
	return list
}

// gaps gives least, mean and most of the three gaps, within the limbus and over the white.
func (r *Run) gaps(outer, inner *Part, out *near.Tree) {
	list := r.measureGaps(inner, out)
	least, at := math.Inf(1), geom.Vec{}
	for _, g := range list {
		if g.nearest < least {
			least, at = g.nearest, g.at
		}
	}
	say := func(what string, pick func(g *gapOf) float64, use func(g *gapOf) bool) (mean float64, ok bool) {
		lo, hi, sum, n := math.Inf(1), math.Inf(-1), 0.0, 0
		var where geom.Vec
		for i := range list {
			if v := pick(&list[i]); use(&list[i]) && !math.IsNaN(v) {
				if v < lo {
					lo, where = v, list[i].at
				}
				hi, sum, n = max(hi, v), sum+v, n+1
			}
		}
		if n == 0 {
			return 0, false
		}
		r.Add(Finding{Code: "layers.gap", Part: inner.Name, Good: true, Where: []Place{r.Subject.Place(inner, where)},
			Number: Held(sum/float64(n), "mm", fmt.Sprintf("mean gap %s; least %.3f, most %.3f", what, lo, hi))})
		return sum / float64(n), true
	}
	front := func(g *gapOf) bool { return g.front }
	say("within the limbus, to the nearest point", func(g *gapOf) float64 { return g.nearest }, front)
	say("within the limbus, along the normal", func(g *gapOf) float64 { return g.normal }, front)
	say("within the limbus, along the axis", func(g *gapOf) float64 { return g.axis }, front)
	r.Add(Finding{Code: "layers.gap", Part: inner.Name, Good: true, Title: "least gap", Number: Held(least, "mm", "least gap anywhere, to the nearest point"), Where: []Place{r.Subject.Place(inner, at)}})
	var fields []Field
	if m := inner.Welded(); len(list) == len(m.P)+len(m.Tri) {
		f := Field{Part: inner.Name, Title: "gap to the nearest point", Unit: "mm", Low: 0}
		for i := range m.P {
			f.Value = append(f.Value, list[i].nearest)
			f.High = max(f.High, list[i].nearest)
		}
		fields = append(fields, f)
	}
	r.whiteGap(inner, list, fields)
	r.outside(outer, inner, list)
}

// whiteGap looks at the gap over the white in front: its widest place in each quarter of the clock, and how much of it is too wide.
func (r *Run) whiteGap(inner *Part, list []gapOf, fields []Field) {
	e := r.Subject.Eye
	limit := r.Limit("layers.gap_white_share") * r.Subject.Radius()
	most, mean, over, all := 0.0, 0.0, 0, 0
	var worst [4]gapOf
	for _, g := range list {
		if !g.white || math.IsNaN(g.nearest) {
			continue
		}
		all++
		most, mean = max(most, g.nearest), mean+g.nearest
		l := e.Frame.Local(g.at.Sub(e.Centre))
		k := int((math.Atan2(l.Y, l.X)/(2*math.Pi)+1)*4) % 4
		if g.nearest > limit {
			over++
		}
		if g.nearest > worst[k].nearest {
			worst[k] = g
		}
	}
	mean /= float64(max(1, all))
	slices.SortStableFunc(worst[:], func(a, b gapOf) int { return cmp.Compare(b.nearest, a.nearest) })
	f := Finding{Code: "layers.white_gap", Part: inner.Name, Number: Held(most, "mm", fmt.Sprintf("widest gap over the white in front, to the nearest point; mean %.3f; %.0f %% of its places are wider than %.3g", mean, 100*float64(over)/float64(max(1, all)), limit)),
		Range: AtMost(limit, "own choice"), Good: most <= limit, Fields: fields}
	for _, g := range worst {
		if g.nearest > 0 && (f.Good == (g.nearest <= limit)) && (len(f.Where) == 0 || !f.Good) {
			at := r.Subject.Place(inner, g.at)
			at.Text = fmt.Sprintf("%s, %.2f mm wide", at.Text, g.nearest)
			f.Where = append(f.Where, at)
		}
	}
	if !f.Good {
		f.Title = "a wide gap over the white"
		f.Shows = Shows{Px: r.Px(most), Text: "a clear rim about the white"}
		f.Remedy = Remedy{Key: r.key("asset.close_gap=true"), Step: fmt.Sprintf("lay the inner shell close beneath the outer one outside the limbus: outward by up to %.2f mm, on average by %.2f", most, mean)}
		if r.shifted {
			f.Remedy = Remedy{Step: shiftFirst}
		}
		if r.Subject.Snug {
			f.Most, f.Because = Note, "the scene moves the inner shell close beneath the outer one"
		} else {
			f.Most, f.Because = Warning, "many files are modelled so, and asset.close_gap lays it close when it is rendered"
		}
	}
	r.Add(f)
}

// outside says whether the inner shell is in the outer one at all.
func (r *Run) outside(outer, inner *Part, list []gapOf) {
	out, of := 0, 0
	for i := range list {
		of++
		if list[i].nearest < 0 {
			out++
		}
	}
	share := float64(out) / float64(max(1, of))
	if share < 0.95 {
		return
	}
	code, title := "layers.outside", ""
	if outer.Mesh.Bounds().Size().Len() < inner.Mesh.Bounds().Size().Len() {
		code, title = "layers.swapped", ""
	}
	r.Add(Finding{Code: code, Title: title, Part: inner.Name, Least: Error, Number: Held(100*share, "%", "of it lies outside of the outer shell"), Range: AtMost(0, "two shells: the model that is rendered"),
		Shows: Shows{Text: "no iris behind the cornea"}, Remedy: Remedy{Step: "move it into the outer shell, or name the shells the other way round"}})
}

// crossings looks for places where the shells pass through each other.
func (r *Run) crossings(outer, inner *Part, out, in *near.Tree) {
	a, n := out.Crossings(r.Ctx, inner.Welded(), r.Workers)
	b, k := in.Crossings(r.Ctx, outer.Welded(), r.Workers)
	pierced := func(list []near.Crossing) int {
		each := map[[2]uint32]bool{}
		for _, c := range list {
			each[c.Edge] = true
		}
		return len(each)
	}
	na, nb := pierced(a), pierced(b)
	// How far what stands through stands out.
	m := inner.Welded()
	deep := make([]float64, len(m.P))
	if len(a)+len(b) > 0 {
		parallel.Runs(len(m.P), 2000, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				if q, ok := out.Nearest(m.P[i], 4*r.Subject.Radius()); ok {
					deep[i] = q.D
				}
			}
		})
	}
	limit := r.Limit("layers.through_mm")
	most, area, white := 0.0, 0.0, 0.0
	type spot struct {
		at   geom.Vec
		deep float64
	}
	var spots []spot
	for _, c := range m.Tri {
		d := max(deep[c[0]], deep[c[1]], deep[c[2]])
		mid := m.P[c[0]].Add(m.P[c[1]]).Add(m.P[c[2]]).Mul(1.0 / 3)
		if d <= limit || !r.inView(mid) {
			continue
		}
		most = max(most, d)
		s := m.P[c[1]].Sub(m.P[c[0]]).Cross(m.P[c[2]].Sub(m.P[c[0]])).Len() / 2
		if r.onIris(mid) {
			area += s
		} else {
			white += s
		}
		spots = append(spots, spot{mid, d})
	}
	f := Finding{Code: "layers.crossing", Part: inner.Name, Good: len(spots) == 0 && len(a)+len(b) == 0,
		Number: Held(float64(na+nb), "", fmt.Sprintf("edges that pierce the other shell: %d of %d of the inner one's, %d of %d of the outer one's; most of it stands %.3f mm out", na, n, nb, k, most)),
		Range:  AtMost(0, "common practice, no published source")}
	if !f.Good {
		slices.SortStableFunc(spots, func(a, b spot) int { return cmp.Compare(b.deep, a.deep) })
		for _, q := range spots[:min(len(spots), MaxPlaces)] {
			at := r.Subject.Place(inner, q.at)
			at.Size = q.deep
			f.Where = append(f.Where, at)
		}
		for _, q := range a[:min(len(a), MaxPlaces-len(f.Where))] {
			f.Where = append(f.Where, r.Subject.Place(inner, q.P))
		}
		f.Count = na + nb
		seen := area
		if !r.Subject.Snug {
			seen += white
		}
		f.Shows = Shows{Px: r.Px(math.Sqrt(seen)), Text: "tissue in front of the cornea: without the cornea's highlight, and dark or black where light no longer enters through it"}
		if seen == 0 {
			f.Shows.Text = "nothing: it lies behind, or stands through by less than is seen, or is laid beneath"
		}
		switch {
		case r.shifted:
			f.Remedy.Step = shiftFirst
		case len(r.spikes(inner)) > 0:
			f.Remedy.Step = "lay the vertices that stand out on their neighbours first: see mesh.spike; then inspect anew"
		case most > 0:
			f.Remedy.Step = fmt.Sprintf("move the inner shell inward by at least %.3f mm there, to beneath the outer one", roundUp(most, 3))
		default:
			f.Remedy.Step = "nothing in view; lay the inner shell beneath the outer one if both are seen from behind"
		}
	}
	r.Add(f)
}

// tilt compares the axes.
func (r *Run) tilt() {
	e := r.Subject.Eye
	limit := r.Limit("layers.tilt_degrees")
	n := Number{V: e.Tilt.V, SE: e.Tilt.SE, Unit: "degrees", What: "angle between the axes about which cornea and iris are surfaces of revolution", Held: e.Tilt.Held, Why: e.Tilt.Why}
	f := Finding{Code: "layers.tilt", Number: n, Range: AtMost(limit, "own choice"), Good: !n.Held || n.V <= limit+2*n.SE}
	if !f.Good {
		f.Shows = Shows{Px: r.Px(e.Limbus.V * math.Sin(geom.Radians(n.V)) * parallax), Text: "one side of the iris lies deeper than the other"}
		f.Remedy.Step = fmt.Sprintf("turn the iris by %.1f degrees about its middle", n.V)
	}
	r.Add(f)
	plane := irisPlane(r.Subject)
	f = Finding{Code: "layers.tilt", Number: Number{V: plane.V, SE: plane.SE, Unit: "degrees", What: plane.By, Held: plane.Held, Why: plane.Why}, Range: AtMost(limit, "own choice"), Good: !plane.Held || plane.V <= limit+2*plane.SE}
	if !f.Good {
		f.Shows = Shows{Px: r.Px(e.Limbus.V * math.Sin(geom.Radians(plane.V)) * parallax), Text: "one side of the iris lies deeper than the other"}
		f.Remedy.Step = fmt.Sprintf("turn the iris by %.1f degrees about its middle", plane.V)
	}
	r.Add(f)
	if !e.Hole.Open {
		return
	}
	r.offset()
}

// offset measures how far the pupil lies from the optical axis, in which direction, and where the axis passes it.
func (r *Run) offset() {
	e := r.Subject.Eye
	off := math.Hypot(e.Hole.Offset[0], e.Hole.Offset[1])
	limit := r.Limit("layers.offset_share") * e.Limbus.V
	axis := e.Centre.Add(e.Frame.World(geom.Vec{Z: e.Hole.Lip}))
	d := e.Frame.World(geom.Vec{X: e.Hole.Offset[0], Y: e.Hole.Offset[1]})
	f := Finding{Code: "layers.offset", Number: Number{V: off, SE: e.Pupil.SE, Unit: "mm", Held: true,
		What: fmt.Sprintf("the pupil's middle from the optical axis, which passes at (%.2f, %.2f, %.2f) mm", axis.X, axis.Y, axis.Z)},
		Range: AtMost(limit, "own choice; people's up to 0.4 mm (from memory)"),
		Where: []Place{r.Subject.Place(r.Subject.Part(Inner), axis.Add(d))}, Good: off <= limit}
	if !f.Good {
		f.Shows = Shows{Px: r.Px(off), Text: "the pupil sits beside the middle of the iris"}
		f.Remedy.Step = fmt.Sprintf("move the pupil by %s mm%s, to the axis", triple(d.Neg(), 2), r.Subject.inNumbers(d.Mul(-1)))
		if r.shifted {
			f.Remedy.Step = shiftFirst
		}
		if off < 3*limit {
			f.Most, f.Because = Warning, fmt.Sprintf("animals' and stylised pupils lie aside too; from %.2g mm on px alone decide", 3*limit)
		}
	}
	r.Add(f)
}

// irisPlane measures the angle between the optical axis and the normal of the plane that fits the iris best, as heights over the plane
// across the axis. Its error is that of leaving out sectors.
func irisPlane(s *Subject) measure.Value {
	const by = "angle between the iris' plane and the optical axis"
	e := s.Eye
	out := measure.Value{By: by, Why: "too little of the iris has vertices"}
	const sectors = 12
	var part [sectors][9]float64 // sums of 1, x, y, xx, xy, yy, z, xz, yz
	n := 0
	m := s.meshOf(Inner)
	for i, p := range m.P {
		l := e.Frame.Local(p.Sub(e.Centre))
		rho := math.Hypot(l.X, l.Y)
		if l.Z < 0 || rho > 0.85*e.Limbus.V || m.N != nil && m.N[i].Dot(e.Frame.N) < 0.3 {
			continue
		}
		n++
		k := int((math.Atan2(l.Y, l.X)/(2*math.Pi)+1)*sectors) % sectors
		for j, v := range [9]float64{1, l.X, l.Y, l.X * l.X, l.X * l.Y, l.Y * l.Y, l.Z, l.X * l.Z, l.Y * l.Z} {
			part[k][j] += v
		}
	}
	if n < 36 {
		return out
	}
	slope := func(leave int) (x, y float64, ok bool) {
		var a [9]float64
		for k := range part {
			if k != leave {
				for j := range a {
					a[j] += part[k][j]
				}
			}
		}
		mx, my, mz := a[1]/a[0], a[2]/a[0], a[6]/a[0]
		xx, xy, yy, xz, yz := a[3]/a[0]-mx*mx, a[4]/a[0]-mx*my, a[5]/a[0]-my*my, a[7]/a[0]-mx*mz, a[8]/a[0]-my*mz
		det := xx*yy - xy*xy
		return (xz*yy - yz*xy) / det, (yz*xx - xz*xy) / det, det > 1e-6*xx*yy
	}
	x, y, ok := slope(-1)
	if !ok {
		return out
	}
	var dx, dy, mx, my float64
	var xs, ys [sectors]float64
	for k := range sectors {
		if xs[k], ys[k], ok = slope(k); !ok {
			return out
		}
		mx, my = mx+xs[k]/sectors, my+ys[k]/sectors
	}
	for k := range sectors {
		dx, dy = dx+(xs[k]-mx)*(xs[k]-mx), dy+(ys[k]-my)*(ys[k]-my)
	}
	// The jackknife's variance: (n-1)/n times the sum of squares (Efron and Stein, Annals of Statistics 9 (1981), 586).
	se := math.Sqrt(max(dx, dy) * (sectors - 1) / sectors)
	return measure.Value{V: geom.Degrees(math.Atan(math.Hypot(x, y))), SE: geom.Degrees(se), By: by, N: n, Held: true}
}

// lids looks at what lies on the globe.
func (r *Run) lids(outer *Part) error {
	s := r.Subject
	type on struct {
		shell *mesh.Mesh
		parts []*Part
	}
	var list []on
	if outer != nil {
		list = append(list, on{outer.Welded(), s.Parts})
	}
	if s.Laid.Shell != nil {
		list = append(list, on{s.Laid.Shell, s.Laid.Parts})
	}
	for _, o := range list {
		var t *near.Tree
		for _, p := range o.parts {
			if p.Role != Lid && p.Role != Tear {
				continue
			}
			if t == nil {
				var err error
				if t, err = near.New(o.shell); err != nil {
					return err
				}
			}
			r.lid(p, t)
		}
	}
	return nil
}

// lid measures how far a part reaches into the globe.
func (r *Run) lid(p *Part, t *near.Tree) {
	m := p.Mesh
	step := 1 + len(m.P)/40000
	deep, in, of := 0.0, 0, 0
	var at geom.Vec
	R := r.Subject.Radius()
	for i := 0; i < len(m.P); i += step {
		if !r.inView(m.P[i]) {
			continue
		}
		of++
		// What lies deeper than this is no place on the globe's surface.
		if q, ok := t.Nearest(m.P[i], 0.3*R); ok && q.D < 0 {
			in++
			if -q.D > deep {
				deep, at = -q.D, m.P[i]
			}
		}
	}
	if of == 0 {
		return
	}
	share := float64(in) / float64(of)
	f := Finding{Part: p.Name, Number: Held(deep, "mm", fmt.Sprintf("deepest reach into the globe; %.0f %% of its places in view lie in it", 100*share)), Where: []Place{r.Subject.Place(p, at)}}
	if p.Role == Tear {
		f.Code, f.Range = "layers.tear", AtMost(r.Limit("layers.through_mm"), "own choice")
		f.Good = share < 0.5 || f.Range.Holds(deep)
		f.Shows = Shows{Px: r.Px(deep), Text: "the film is not seen"}
		f.Remedy.Step = fmt.Sprintf("move it outward by %.2f mm", deep)
		f.Most = Warning
	} else {
		f.Code, f.Range = "layers.lid", AtMost(r.Limit("layers.lid_mm"), "own choice")
		f.Good = f.Range.Holds(deep)
		f.Shows = Shows{Px: r.Px(deep), Text: "the globe stands through the lid, or hides its edge"}
		f.Remedy.Step = fmt.Sprintf("move the lid outward by %.2f mm there, or the globe back", deep)
	}
	if f.Good {
		f.Shows, f.Remedy = Shows{}, Remedy{}
	} else if share < 0.5 {
		f.Most = Warning
	}
	r.Add(f)
}
