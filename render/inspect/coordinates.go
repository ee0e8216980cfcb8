package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
	"catchlight/scene/parallel"
)

var coordinateLimits = []Limit{
	{"coordinates.side_px", 4096, 16, 65536, "px", "common practice, no published source", "side of the maps that coordinates are judged for where none is given"},
	{"coordinates.overlap_share", 0.001, 0, 1, "", "own choice", "share of the picture that two places of the surface may share"},
	{"coordinates.overlap_mm", 1.5, 0, 100, "mm", "own choice: an iris' lip is about as deep", "places nearer to each other than this share texels rightly, as the sides of a furrow do in a map from in front"},
	{"coordinates.outside_share", 0.001, 0, 1, "", "own choice", "share of the area in view that may lie outside 0 to 1"},
	{"coordinates.mirrored_share", 0.02, 0, 1, "", "own choice", "share of the area in view that may show the picture as in a mirror"},
	{"coordinates.texel_px", 1.5, 0.1, 1000, "px", "common practice, no published source: a texel a pixel, and half as much again", "how wide a texel may be in the picture"},
	{"coordinates.stretch", 4, 1, 1000, "", "own choice; a disc map of the front has 2.2 at best", "longer over shorter side of a texel"},
	{"coordinates.stretch_share", 0.05, 0, 1, "", "own choice", "share of the area near the axis that may be stretched by more"},
	{"coordinates.used_share", 0.25, 0, 1, "", "common practice, no published source", "share of the covered texels that some camera before the eye can see, at least"},
	{"coordinates.seam_degrees", 60, 0, 90, "degrees", "own choice", "seams and stretch within this angle of the axis count"},
	{"coordinates.padding", 2, 0, 1000, "texels", "1.5 x 2^k texels at mip level k: bilinear look-up", "least room between islands of the picture, at its full size"},
}

var coordinateChecks = []Check{{
	Group: Coordinates, Name: "laying out the texture coordinates",
	Codes: []Code{
		{"coordinates.none", "no texture coordinates", "No picture can be laid on this shell by its own coordinates."},
		{"coordinates.lost", "coordinates that are no numbers", "What is painted there lands anywhere."},
		{"coordinates.empty", "triangles without area in the picture", "All of each shows one texel: streaks and flat patches."},
		{"coordinates.overlap", "coordinates overlap", "Two places of the surface share texels: what is painted on one shows on the other."},
		{"coordinates.outside", "coordinates out of range", "Outside 0 to 1 a picture repeats, or its edge is drawn out."},
		{"coordinates.mirrored", "mirrored coordinates", "The picture shows as in a mirror; normal maps bend the wrong way there."},
		{"coordinates.density", "texels per mm", "How many texels a mm of the surface gets, by part."},
		{"coordinates.stretch", "stretch", "How much longer than wide a texel is on the surface."},
		{"coordinates.used", "texels that are seen", "Share of the covered texels that any camera before the eye can see."},
		{"coordinates.seam", "seams in view", "Edges over which the picture jumps, within sight."},
		{"coordinates.padding", "room between islands", "Too little, and colours of one island bleed into another when the picture is shown smaller."},
	},
	Run: coordinateRun,
}}

func coordinateRun(r *Run) error {
	s := r.Subject
	if s.Eye == nil || s.Grown {
		return nil // of a grown eye the maps lie over the tissue, not on coordinates
	}
	for _, p := range []*Part{s.Part(Outer), s.Part(Inner)} {
		if p == nil {
			continue
		}
		if p.Mesh.UV == nil {
			f := Finding{Code: "coordinates.none", Part: p.Name, Number: Held(0, "", "sets of coordinates"), Remedy: Remedy{Step: "lay the shell out, or use maps that lie over the tissue"}, Shows: Shows{Text: "no map of a file shows on it"}}
			if slices.ContainsFunc(s.Maps, func(m Map) bool { return m.Role == p.Role }) {
				f.Least = Error
			}
			r.Add(f)
			continue
		}
		l, err := r.layOut(p)
		if err != nil {
			return err
		}
		r.broken(l)
		r.raster(l)
		r.mirrored(l)
		r.density(l)
		r.seams(l)
		r.seen(l)
	}
	return nil
}

// laid is a triangle on the surface and in the picture.
type laid struct {
	at      geom.Vec
	n       geom.Vec // unit
	area    float64  // mm^2
	uv      float64  // area in the picture; negative where mirrored
	long    float64  // mm of the surface a unit of the picture, along the most drawn out direction
	short   float64  // and across it
	zone    int      // of zoneNames
	view    bool
	central bool // in view, within coordinates.seam_degrees of the axis as seen from the globe's middle
	outside bool
}

var zoneNames = [...]string{"pupil's edge", "iris", "limbus", "white in front", "back"}

// layout is a part laid out.
type layout struct {
	p      *Part
	m      *mesh.Mesh
	tri    []laid
	lost   int
	side   float64 // texels along a side of the maps on it
	guess  bool    // no map says so
	island []int32 // of a triangle, in the picture
	tree   *near.Tree
	open   map[int32]bool // of triangles that were asked for: not hidden by the shell itself; see visible
}

// layOut measures each triangle. The scales are the singular values of the map from picture to surface: Sander, Snyder, Gortler and
// Hoppe, SIGGRAPH 2001, 409.
func (r *Run) layOut(p *Part) (*layout, error) {
	m := p.Welded()
	t, err := near.New(m)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.Name, err)
	}
	l := &layout{p: p, m: m, tree: t, open: map[int32]bool{}, tri: make([]laid, len(m.Tri)), side: r.Limit("coordinates.side_px"), guess: true}
	most := 0
	for _, q := range r.Subject.Maps {
		if q.Role == p.Role {
			l.guess, most = false, max(most, q.Side)
		}
	}
	if most > 0 {
		l.side = float64(most)
	}
	e := r.Subject.Eye
	pupil := 0.0
	if e.Pupil.Held {
		pupil = e.Pupil.V
	}
	for _, u := range m.UV {
		if !finite(u.U) || !finite(u.V) {
			l.lost++
		}
	}
	parallel.Runs(len(m.Tri), 8192, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			c := m.Tri[i]
			q := &l.tri[i]
			a, b, d := m.P[c[0]], m.P[c[1]], m.P[c[2]]
			q.at = a.Add(b).Add(d).Mul(1.0 / 3)
			e1, e2 := b.Sub(a), d.Sub(a)
			n := e1.Cross(e2)
			q.area = n.Len() / 2
			if q.area > 0 {
				q.n = n.Unit()
			}
			u0, u1, u2 := m.UV[c[0]], m.UV[c[1]], m.UV[c[2]]
			for _, u := range []geom.UV{u0, u1, u2} {
				const slack = 1e-4
				q.outside = q.outside || !(u.U >= -slack && u.U <= 1+slack && u.V >= -slack && u.V <= 1+slack)
			}
			s1, t1, s2, t2 := u1.U-u0.U, u0.V-u1.V, u2.U-u0.U, u0.V-u2.V // v turned up
			det := s1*t2 - s2*t1
			q.uv = det / 2
			if det != 0 && finite(det) {
				pu := e1.Mul(t2/det).Mad(-t1/det, e2)
				pv := e2.Mul(s1/det).Mad(-s2/det, e1)
				E, F, G := pu.Dot(pu), pu.Dot(pv), pv.Dot(pv)
				root := math.Sqrt((E-G)*(E-G) + 4*F*F)
				q.long, q.short = math.Sqrt((E+G+root)/2), math.Sqrt(max(0, (E+G-root)/2))
			}
			f := e.Frame.Local(q.at.Sub(e.Centre))
			rho := math.Hypot(f.X, f.Y)
			facing := q.n.Dot(e.Frame.N)
			q.view = f.Z > 0 && facing > -0.2
			q.central = q.view && f.Z > math.Cos(geom.Radians(r.Limit("coordinates.seam_degrees")))*f.Len()
			lim := e.Limbus.V
			switch {
			case !q.view:
				q.zone = 4
			case rho > 1.1*lim:
				q.zone = 3
			case rho > 0.9*lim:
				q.zone = 2
			case rho > pupil+0.1*lim || p.Role == Outer:
				q.zone = 1
			default:
				q.zone = 0
			}
			// The iris' back, the lip's flank and steep walls: a map from in front has no room for them.
			if p.Role == Inner && facing < 0.25 && q.zone < 4 && q.n.Dot(q.at.Sub(e.Centre)) < 0.7*q.at.Sub(e.Centre).Len() {
				q.zone, q.view, q.central = 4, false, false
			}
		}
	})
	return l, nil
}

// share is by area of what is in view.
func (l *layout) share(use func(q *laid) bool) (share, area float64) {
	all := 0.0
	for i := range l.tri {
		if q := &l.tri[i]; q.view {
			all += q.area
			if use(q) {
				area += q.area
			}
		}
	}
	if all > 0 {
		share = area / all
	}
	return share, area
}

// places are the largest triangles that use takes, as places.
func (r *Run) places(l *layout, use func(q *laid) bool) (list []Place, n int) {
	var at []int
	for i := range l.tri {
		if use(&l.tri[i]) {
			at = append(at, i)
		}
	}
	slices.SortStableFunc(at, func(a, b int) int { return cmp.Compare(l.tri[b].area, l.tri[a].area) })
	for _, i := range at[:min(len(at), MaxPlaces)] {
		q := r.Subject.Place(l.p, l.tri[i].at)
		u := l.m.UV[l.m.Tri[i][0]]
		if finite(u.U) && finite(u.V) {
			q.UV = &[2]float64{u.U, u.V}
		}
		list = append(list, q)
	}
	return list, len(at)
}

// broken looks for lost coordinates, empty triangles and those out of range.
func (r *Run) broken(l *layout) {
	if l.lost > 0 {
		r.Add(Finding{Code: "coordinates.lost", Part: l.p.Name, Number: Held(float64(l.lost), "", fmt.Sprintf("of %d vertices", len(l.m.UV))), Range: AtMost(0, "common practice, no published source"), Least: Error,
			Shows: Shows{Text: "colours from anywhere"}, Remedy: Remedy{Step: "export the coordinates anew"}})
	}
	empty := func(q *laid) bool { return q.view && q.area > 0 && math.Abs(q.uv) <= 1e-12 }
	share, area := l.share(empty)
	f := Finding{Code: "coordinates.empty", Part: l.p.Name, Number: Held(100*share, "%", "of the area in view has none in the picture"), Range: AtMost(0.1, "own choice"), Good: share <= 0.001}
	if !f.Good {
		f.Where, f.Count = r.places(l, empty)
		f.Shows = Shows{Px: r.Px(math.Sqrt(area / float64(max(1, f.Count)))), Text: "streaks or flat patches"}
		f.Remedy.Step = "lay these faces out"
	}
	r.Add(f)
	out := func(q *laid) bool { return q.view && q.outside }
	share, area = l.share(out)
	f = Finding{Code: "coordinates.outside", Part: l.p.Name, Number: Held(100*share, "%", "of the area in view lies outside 0 to 1 in the picture"), Range: AtMost(100*r.Limit("coordinates.outside_share"), "own choice"), Good: share <= r.Limit("coordinates.outside_share")}
	if !f.Good {
		f.Where, f.Count = r.places(l, out)
		f.Shows = Shows{Px: r.Px(math.Sqrt(area)), Text: "the picture repeats, or its edge is drawn out"}
		f.Remedy.Step = "move the islands into 0 to 1, or use a set of tiles"
		if slices.ContainsFunc(r.Subject.Maps, func(m Map) bool { return m.Role == l.p.Role }) || share < 0.5 {
			f.Most = 0
		} else {
			f.Most = Warning // all of it may be a layout in tiles, or one that is meant to repeat
		}
	}
	r.Add(f)
}

// mirrored looks for a picture that shows as in a mirror, in view. A shell whose whole front is mirrored, as one whose other half is, is
// told apart from a back cap, which is rightly mirrored.
func (r *Run) mirrored(l *layout) {
	use := func(q *laid) bool { return q.view && q.uv < -1e-12 }
	share, area := l.share(use)
	limit := r.Limit("coordinates.mirrored_share")
	f := Finding{Code: "coordinates.mirrored", Part: l.p.Name, Number: Held(100*share, "%", "of the area in view shows the picture as in a mirror"), Range: AtMost(100*limit, "own choice"), Good: share <= limit}
	if !f.Good {
		f.Where, f.Count = r.places(l, use)
		f.Shows = Shows{Px: r.Px(math.Sqrt(area)), Text: "writing and veins run the other way; a normal map bends light the wrong way across"}
		f.Remedy.Step = "turn these islands over in the picture"
		if share > 0.98 {
			f.Title = "the whole front is mirrored"
			f.Most = Warning // one picture for both eyes is laid so
		}
	}
	r.Add(f)
}

// quantile of values with weights.
func quantile(v []weighted, q float64) float64 {
	slices.SortFunc(v, func(a, b weighted) int { return cmp.Compare(a.v, b.v) })
	all := 0.0
	for _, x := range v {
		all += x.w
	}
	sum := 0.0
	for _, x := range v {
		if sum += x.w; sum >= q*all {
			return x.v
		}
	}
	return v[len(v)-1].v
}

type weighted struct{ v, w float64 }

// density says how many texels a mm gets, by zone, and how far texels are drawn out.
func (r *Run) density(l *layout) {
	var field []float64
	if len(l.m.Tri) < 400_000 {
		field = make([]float64, len(l.m.P))
	}
	var by [len(zoneNames)][]weighted
	var drawn []weighted
	for i := range l.tri {
		q := &l.tri[i]
		if !(q.area > 0) || !(q.long > 0) {
			continue
		}
		d := l.side / q.long
		by[q.zone] = append(by[q.zone], weighted{d, q.area})
		if q.central {
			drawn = append(drawn, weighted{q.long / max(q.short, 1e-9*q.long), q.area})
		}
		if field != nil {
			for _, v := range l.m.Tri[i] {
				field[v] = d
			}
		}
	}
	limit := r.Limit("coordinates.texel_px")
	for z, v := range by {
		if len(v) == 0 {
			continue
		}
		low, mid, high := quantile(v, 0.1), quantile(v, 0.5), quantile(v, 0.9)
		f := Finding{Code: "coordinates.density", Part: l.p.Name, Number: Held(mid, "px/mm", fmt.Sprintf("texels a mm on the %s, along the more drawn out direction, at %g; a tenth of the area has less than %.3g, a tenth more than %.3g", zoneNames[z], l.side, low, high)),
			Range: AtLeast(r.PerMM/limit, fmt.Sprintf("a texel at most %g px wide at this size: common practice, no published source", limit))}
		width := r.PerMM / low
		// The outer shell's front is clear, and backs and lips are not seen.
		if l.guess { // how many texels there will be is not known
			f.Range = nil
			f.Number.What += ", if a map of that size is laid on it: none is"
		}
		f.Good = l.guess || width <= limit || z == 4 || z == 0 || l.p.Role == Outer && z == 1
		if !f.Good {
			f.Title = "starved texels on the " + zoneNames[z]
			f.Shows = Shows{Px: width, Text: "the picture is soft: a texel is so wide"}
			need := l.side * width / limit
			f.Remedy.Step = fmt.Sprintf("a map of %g px, or a layout that gives this part %.2g times as much room", math.Exp2(math.Ceil(math.Log2(need))), width/limit)
		}
		if z == 1 && field != nil {
			f.Fields = []Field{{Part: l.p.Name, Title: fmt.Sprintf("texels a mm at %g", l.side), Unit: "px/mm", Value: field, Low: 0, High: high * 1.5}}
		}
		r.Add(f)
	}
	if len(drawn) == 0 {
		return
	}
	most := r.Limit("coordinates.stretch")
	share := 0.0
	all := 0.0
	for _, x := range drawn {
		all += x.w
		if x.v > most {
			share += x.w
		}
	}
	share /= all
	long := func(q *laid) bool { return q.central && q.area > 0 && q.long > most*q.short }
	f := Finding{Code: "coordinates.stretch", Part: l.p.Name, Number: Held(quantile(drawn, 0.95), "", fmt.Sprintf("longer over shorter side of a texel, over which 5 %% of the area near the axis lies; median %.3g, most %.4g", quantile(drawn, 0.5), quantile(drawn, 1))),
		Range: AtMost(most, "own choice"), Good: share <= r.Limit("coordinates.stretch_share")}
	if !f.Good {
		f.Where, f.Count = r.places(l, long)
		f.Shows = Shows{Px: (f.Number.V - 1) * r.PerMM / r.worstDensity(by[:4]), Text: "streaks"}
		f.Remedy.Step = "relax the layout there"
		f.Most = Warning
	}
	r.Add(f)
}

// worstDensity is the least of the medians of some zones.
func (r *Run) worstDensity(by [][]weighted) float64 {
	d := math.Inf(1)
	for _, v := range by {
		if len(v) > 0 {
			d = min(d, quantile(v, 0.5))
		}
	}
	return d
}

// seams measures edges in view over which the picture jumps.
func (r *Run) seams(l *layout) {
	t := topologyOf(l.m)
	e := r.Subject.Eye
	limit := geom.Radians(r.Limit("coordinates.seam_degrees"))
	length, bent := 0.0, 0.0
	var where []Place
	n := 0
	t.edges(func(a, b uint32, s []half) {
		if len(s) != 2 || s[0].forward == s[1].forward {
			return
		}
		ends := func(h half) (u, v geom.UV, x, y uint32) {
			c := l.m.Tri[h.tri]
			x, y = c[h.corner], c[(h.corner+1)%3]
			return l.m.UV[x], l.m.UV[y], x, y
		}
		u0, v0, x0, y0 := ends(s[0])
		u1, v1, x1, y1 := ends(s[1])
		jump := max(math.Abs(u0.U-v1.U), math.Abs(u0.V-v1.V), math.Abs(v0.U-u1.U), math.Abs(v0.V-u1.V))
		if !(jump > 1e-5) {
			return
		}
		mid := t.middle(a, b)
		d := mid.Sub(e.Centre)
		if math.Acos(max(-1, min(1, d.Unit().Dot(e.Frame.N)))) > limit || !l.tri[s[0].tri].view || !l.tri[s[1].tri].view {
			return
		}
		n++
		length += t.pos[a].Sub(t.pos[b]).Len()
		where = append(where[:min(len(where), MaxPlaces-1)], r.Subject.Place(l.p, mid))
		if N := l.m.N; N != nil {
			for _, q := range [][2]uint32{{x0, y1}, {y0, x1}} {
				bent = max(bent, math.Atan2(N[q[0]].Cross(N[q[1]]).Len(), N[q[0]].Dot(N[q[1]])))
			}
		}
	})
	f := Finding{Code: "coordinates.seam", Part: l.p.Name, Number: Held(length, "mm", fmt.Sprintf("seams within %g degrees of the axis; normals step by up to %.2g degrees over them", r.Limit("coordinates.seam_degrees"), geom.Degrees(bent))), Range: AtMost(0, "common practice, no published source"), Where: where, Count: n, Good: n == 0 || r.bare(l.p) && bent <= geom.Radians(1)}
	if f.Good && n > 0 {
		f.Range, f.Number.What = nil, f.Number.What+"; no map lies on it that could break there"
	}
	if !f.Good {
		f.Title = "seams in view"
		f.Most = Note
		f.Remedy.Step = "move the seam behind the lids, or paint over it"
		if bent > geom.Radians(1) {
			f.Most = 0
			f.Shows = Shows{Px: r.Px(r.Subject.Radius() * bent), Text: "a highlight breaks over the seam by so much"}
			f.Remedy.Step = "make the normals agree over the seam"
		} else {
			f.Shows.Text = fmt.Sprintf("a line %.0f px long, if the picture does not match over it", r.Px(length))
		}
	}
	r.Add(f)
}

// seen says which share of the covered texels some camera before the eye can see: one in a cone of 75 degrees about the axis, past the
// shell itself.
func (r *Run) seen(l *layout) {
	e, t := r.Subject.Eye, l.tree
	const most = 6000
	step := 1 + len(l.tri)/most
	n := (len(l.tri) + step - 1) / step
	ok := make([]bool, n)
	var ways []geom.Vec
	for _, a := range []float64{0, 35, 70} {
		turns := int(1 + a/10)
		for k := range turns {
			sin, cos := math.Sincos(geom.Radians(a))
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(turns))
			ways = append(ways, e.Frame.World(geom.Vec{X: sin * c, Y: sin * s, Z: cos}))
		}
	}
	far := 10 * r.Subject.Radius()
	parallel.Runs(n, 64, func(i0, i1 int) {
		for i := i0; i < i1; i++ {
			q := &l.tri[i*step]
			for _, w := range ways {
				if q.n.Dot(w) < 0.05 {
					continue
				}
				if _, hit := t.Ray(q.at, w, 1e-6*far, far, i*step); !hit {
					ok[i] = true
					break
				}
			}
		}
	})
	all, in := 0.0, 0.0
	for i := range ok {
		a := math.Abs(l.tri[i*step].uv)
		if !finite(a) {
			continue
		}
		all += a
		if ok[i] {
			in += a
		}
	}
	if all == 0 {
		return
	}
	limit := r.Limit("coordinates.used_share")
	f := Finding{Code: "coordinates.used", Part: l.p.Name, Number: Held(100*in/all, "%", "of the covered texels some camera before the eye can see"), Range: AtLeast(100*limit, "common practice, no published source"), Good: in/all >= limit, Most: Note}
	if !f.Good {
		f.Title = "most of the map is never seen"
		f.Remedy.Step = "give the front more of the picture, the back and hidden walls less"
	}
	r.Add(f)
}

// visible reports whether a triangle is not hidden by its own shell, from in front or 35 degrees aside, and does not lie in the hole of
// the pupil, where all is dark.
func (r *Run) visible(l *layout, i int32) bool {
	if ok, asked := l.open[i]; asked {
		return ok
	}
	e, q := r.Subject.Eye, &l.tri[i]
	f := e.Frame.Local(q.at.Sub(e.Centre))
	ok := false
	// Behind the hole, deeper than its lip by a twelfth of the limbus' radius, lies what closes the shell.
	rho := math.Hypot(f.X, f.Y)
	behind := e.Hole.Open && rho < 1.6*e.Hole.Radius && f.Z < e.Hole.Lip-e.Limbus.V/12
	if l.p.Role != Inner || !behind && !(e.Pupil.Held && rho < 0.97*e.Pupil.V) {
		far := 10 * r.Subject.Radius()
		for _, w := range []geom.Vec{{Z: 1}, {X: 0.57, Z: 0.82}, {X: -0.57, Z: 0.82}, {Y: 0.57, Z: 0.82}, {Y: -0.57, Z: 0.82}} {
			d := e.Frame.World(w)
			if _, hit := l.tree.Ray(q.at, d, 1e-6*far, far, int(i)); !hit && q.n.Dot(d) > 0.05 {
				ok = true
				break
			}
		}
	}
	l.open[i] = ok
	return ok
}
