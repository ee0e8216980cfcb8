package inspect

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

var meshLimits = []Limit{
	{"mesh.hole_px", 0.5, 0, 1000, "px", "common practice, no published source", "a hole in view that is wider is reported by what shows"},
	{"mesh.crease_degrees", 40, 1, 180, "degrees", "own choice", "edges that turn by more are meant to be sharp"},
	{"mesh.spike_share", 0.02, 0, 1, "", "own choice: 0.24 mm of a globe of 12", "how far an iris' vertex may stand off its neighbours, as a share of the globe's radius; the furthest of them by twice it"},
	{"mesh.outline_px", 0.5, 0, 1000, "px", "common practice, no published source: half a pixel", "an outline that is off by more shows its segments"},
	{"mesh.normals_degrees", 15, 1, 180, "degrees", "own choice", "a corner's normal that is off the smooth one by more disagrees"},
	{"mesh.normals_share", 0.002, 0, 1, "", "own choice", "share of the area in view whose normals may disagree"},
	{"mesh.grazing_degrees", 6, 0.1, 90, "degrees", "own choice: at half of it light falls at a twentieth of its strength", "facets that turn by more show under grazing light"},
}

var meshChecks = []Check{{
	Group: Mesh, Name: "looking at the meshes' edges",
	Codes: []Code{
		{"mesh.open", "open edges", "Edges of one triangle alone: a hole. A pupil and a hole at the back are meant."},
		{"mesh.nonmanifold", "edges of more than two triangles", "A surface that branches has no inside; it can't be closed, smoothed or refracted through."},
		{"mesh.winding", "triangles that wind against each other", "Neighbours disagree about which side is out: half of them render black, or refract the wrong way."},
		{"mesh.turned", "mesh inside out", "All triangles wind inward, or all normals point inward."},
		{"mesh.degenerate", "triangles without area", "They have no normal; tangents and smoothing go wrong beside them."},
		{"mesh.duplicate", "doubled triangles", "Two triangles in one place: light meets the surface twice."},
		{"mesh.spike", "vertices that stand out", "A few vertices of the iris lie far off the surface of their neighbours: a slip of the hand, or a broken export."},
		{"mesh.normals", "normals that disagree", "Normals of corners lie far off the surface's own: highlights break or jump there."},
		{"mesh.loose", "loose pieces", "Small islands of triangles apart from the shell."},
		{"mesh.flat", "a mesh scaled to nothing", "Every triangle of it has no area."},
		{"mesh.outline", "corners in the outline", "How far the outline's segments lie beneath the arc that they stand for."},
		{"mesh.grazing", "facets under grazing light", "By how much neighbouring facets turn; near the terminator each shows as a step."},
	},
	Run: meshRun,
}}

func meshRun(r *Run) error {
	r.flat()
	for k, p := range r.Subject.Parts {
		if err := r.Ctx.Err(); err != nil {
			return err
		}
		r.Advance(k, len(r.Subject.Parts))
		r.notes(p)
		if p.Role == Other {
			continue
		}
		t := topologyOf(p.Welded())
		r.edges(p, t)
		r.triangles(p, t)
		r.standOut(p)
		r.normals(p, t)
		if p.Role != High {
			r.facets(p, t)
		}
		r.loose(p)
	}
	return nil
}

// notes are faults that the reader of the file has mended already.
func (r *Run) notes(p *Part) {
	for _, n := range r.Subject.Notes {
		if !strings.Contains(n, p.base()) {
			continue
		}
		f := Finding{Part: p.Name, Number: Held(100, "%", "of its area"), Range: AtMost(0, "a shell's outside is outside: glTF 2.0, section 3.7.2.1")}
		switch {
		case strings.Contains(n, asset.WoundInward), strings.Contains(n, asset.NormalsNegated):
			f.Code, f.Least, f.Most, f.Title = "mesh.turned", Warning, Warning, n
			f.Shows.Text = "nothing here, as the reader turns it; a renderer that does not shows it black or hollow"
			f.Remedy = Remedy{Step: "turn the triangles, or the normals", Mends: true}
		default:
			continue
		}
		r.Add(f)
	}
}

// flat are meshes that the reader of the file left out, as nothing of them has an area.
func (r *Run) flat() {
	for _, n := range r.Subject.Notes {
		if strings.Contains(n, asset.ScaledToNothing) {
			r.Add(Finding{Code: "mesh.flat", Least: Error, Title: n, Number: Held(0, "mm^2", "area"), Range: nil, Shows: Shows{Text: "it is not seen at all"},
				Remedy: Remedy{Step: "look for a scale of zero in the file's nodes"}})
		}
	}
}

// base is a part's name without its island.
func (p *Part) base() string {
	b, _, _ := strings.Cut(p.Name, "/")
	return b
}

// inView reports whether a place can be in view of a camera before the eye: on the outer shell and what lies on it all that is not
// behind the globe's middle; of the inner one what lies within the limbus, or beside it where the shell is thin, likewise.
func (r *Run) inView(p geom.Vec) bool {
	e := r.Subject.Eye
	return e == nil || e.Frame.Local(p.Sub(e.Centre)).Z > -0.1*r.Subject.Radius()
}

// edges looks for holes, branches and clashes.
func (r *Run) edges(p *Part, t *topology) {
	var branch, clash []Place
	branches, clashes := 0, 0
	worstB, worstC := 0.0, 0.0
	t.edges(func(a, b uint32, s []half) {
		l := t.pos[a].Sub(t.pos[b]).Len()
		switch {
		case len(s) > 2:
			branches++
			worstB = max(worstB, l)
			branch = append(branch[:min(len(branch), MaxPlaces)], r.Subject.Place(p, t.middle(a, b)))
		case len(s) == 2 && s[0].forward == s[1].forward:
			clashes++
			worstC = max(worstC, l)
			clash = append(clash[:min(len(clash), MaxPlaces)], r.Subject.Place(p, t.middle(a, b)))
		}
	})
	if branches > 0 {
		r.Add(Finding{Code: "mesh.nonmanifold", Part: p.Name, Number: Held(float64(branches), "", "edges of more than two triangles"), Range: AtMost(0, "common practice, no published source"), Where: branch, Count: branches, Least: Warning,
			Shows: Shows{Px: r.Px(worstB), Text: "seams and dark lines along it"}, Remedy: Remedy{Step: "take the sheet that branches off apart, or delete it"}})
	} else {
		r.Add(Finding{Code: "mesh.nonmanifold", Part: p.Name, Good: true, Number: Held(0, "", "edges of more than two triangles"), Range: AtMost(0, "common practice, no published source")})
	}
	if clashes > 0 {
		r.Add(Finding{Code: "mesh.winding", Part: p.Name, Number: Held(float64(clashes), "", "edges whose triangles wind against each other"), Range: AtMost(0, "common practice, no published source"), Where: clash, Count: clashes, Least: Warning,
			Shows: Shows{Px: r.Px(worstC), Text: "black or hollow patches"}, Remedy: Remedy{Step: "make the normals of the mesh agree, outward"}})
	}
	r.holes(p, t.rims())
}

// holes tells rims that are meant from others.
func (r *Run) holes(p *Part, rims []rim) {
	s := r.Subject
	edges, shown, hidden := 0, 0, 0
	var where []Place
	worst := 0.0
	for _, h := range rims {
		edges += h.edges
		if !r.inView(h.at) || r.meant(p, h) {
			hidden++
			continue
		}
		shown++
		worst = max(worst, h.across)
		at := s.Place(p, h.at)
		at.Size = h.across
		where = append(where, at)
	}
	f := Finding{Code: "mesh.open", Part: p.Name, Number: Held(float64(len(rims)), "", fmt.Sprintf("holes, of %d open edges in all; %d of them as a pupil, a rim or at the back", edges, hidden)),
		Range: AtMost(float64(hidden), "a pupil, the rim of a disc and a hole at the back are usual: common practice, no published source"), Where: where, Count: shown, Good: shown == 0}
	if !f.Good {
		f.Title = "a hole in view"
		f.Shows = Shows{Px: r.Px(worst), Text: "a hole, or its cap's flat patch"}
		f.Remedy.Step = "close the hole in the mesh"
		if f.Shows.Px < r.Limit("mesh.hole_px") {
			f.Most = Note
		}
	}
	r.Add(f)
}

// meant reports whether a rim belongs to an eye: the pupil, the outer rim of an iris disc or of a cap, about the axis; all of films
// and lids.
func (r *Run) meant(p *Part, h rim) bool {
	e := r.Subject.Eye
	if p.Role != Outer && p.Role != Inner || e == nil {
		return true
	}
	l := e.Frame.Local(h.at.Sub(e.Centre))
	aside := math.Hypot(l.X, l.Y)
	// A rim about the axis is the pupil's, or that of a disc.
	if p.Role == Inner && aside < 0.3*h.across {
		return true
	}
	return aside < 0.15*h.across && h.across > 0.8*2*e.Limbus.V
}

// triangles looks for those without area and those that are doubled.
func (r *Run) triangles(p *Part, t *topology) {
	m := t.m
	flat, doubled, named := 0, 0, 0 // named: of flat, those with two corners in one vertex
	var flats, doubles []Place
	flatIn, widest := 0, 0.0
	type key [3]uint32
	seen := make(map[key]struct{}, 0)
	// Doubled triangles share an edge with their double: only edges of more than two sides, or of two that run alike or lie flat
	// on each other, need a look.
	suspect := map[uint32]bool{}
	t.edges(func(_, _ uint32, s []half) {
		if len(s) == 1 {
			return
		}
		for i := range s {
			for j := range i {
				if t.opposite(s[i]) == t.opposite(s[j]) {
					suspect[s[i].tri], suspect[s[j].tri] = true, true
				}
			}
		}
	})
	for i, c := range m.Tri {
		a, b, d := m.P[c[0]], m.P[c[1]], m.P[c[2]]
		area2 := b.Sub(a).Cross(d.Sub(a)).Len()
		if longest := max(b.Sub(a).Len2(), d.Sub(b).Len2(), a.Sub(d).Len2()); area2 <= 1e-9*longest {
			flat++
			if c[0] == c[1] || c[1] == c[2] || c[2] == c[0] {
				named++
			}
			if r.inView(a) {
				flatIn++
			}
			flats = append(flats[:min(len(flats), MaxPlaces)], r.Subject.Place(p, a))
			continue
		}
		if !suspect[uint32(i)] {
			continue
		}
		k := key{t.place[c[0]], t.place[c[1]], t.place[c[2]]}
		slices.Sort(k[:])
		if _, ok := seen[k]; ok {
			doubled++
			widest = max(widest, math.Sqrt(area2))
			doubles = append(doubles[:min(len(doubles), MaxPlaces)], r.Subject.Place(p, a.Add(b).Add(d).Mul(1.0/3)))
		}
		seen[k] = struct{}{}
	}
	none := AtMost(0, "common practice, no published source")
	f := Finding{Code: "mesh.degenerate", Part: p.Name, Number: Held(float64(flat), "", fmt.Sprintf("of %d triangles", len(m.Tri))), Range: none, Where: flats, Count: flat, Good: flat == 0, Most: Warning}
	if flat > 0 {
		f.Remedy.Step = flatRemedy(flat, named)
		f.Shows.Text = "sparkles or dark dots where smoothing and tangents have no direction"
		if flatIn > 0 {
			f.Shows.Px = 1
		}
	}
	r.Add(f)
	if doubled > 0 {
		r.Add(Finding{Code: "mesh.duplicate", Part: p.Name, Number: Held(float64(doubled), "", "triangles that lie on another"), Range: none, Where: doubles, Count: doubled,
			Shows: Shows{Px: r.Px(widest), Text: "light meets the surface twice: patches that flicker, or bend light twice"}, Remedy: Remedy{Step: "delete the doubled faces"}})
	}
}

// flatRemedy says what to do about triangles without area, of which some name a vertex, or places that are one, twice.
func flatRemedy(flat, named int) string {
	thin := "for those whose corners lie in one line, turn or collapse the longest edge"
	switch named {
	case flat:
		return fmt.Sprintf("delete these %d triangles: two of their corners are one, so nothing of the surface is lost", flat)
	case 0:
		return thin
	}
	return fmt.Sprintf("delete the %d of them that have two corners in one; %s", named, thin)
}

// opposite is the place of a side's third corner.
func (t *topology) opposite(h half) uint32 { return t.place[t.m.Tri[h.tri][(h.corner+2)%3]] }

// normals compares the normals of corners with those of the surface.
func (r *Run) normals(p *Part, t *topology) {
	m := t.m
	if m.N == nil {
		return
	}
	smooth := &mesh.Mesh{P: m.P, UV: m.UV, Tri: m.Tri}
	mesh.Normals(smooth)
	limit := geom.Radians(r.Limit("mesh.normals_degrees"))
	crease := geom.Radians(r.Limit("mesh.crease_degrees"))
	sharp := make([]bool, len(t.pos))
	span := make([]float64, len(t.pos)) // the widest turn about a place
	t.edges(func(a, b uint32, s []half) {
		angle, _ := t.turn(s)
		span[a], span[b] = max(span[a], angle), max(span[b], angle)
		if len(s) != 2 || angle > crease || s[0].forward == s[1].forward {
			sharp[a], sharp[b] = true, true
		}
	})
	all, wrong, against, worst := 0.0, 0.0, 0.0, 0.0
	type bad struct {
		at    geom.Vec
		angle float64
	}
	var list []bad
	for i, c := range m.Tri {
		n := t.normal(uint32(i))
		area := n.Len()
		mid := m.P[c[0]].Add(m.P[c[1]]).Add(m.P[c[2]]).Mul(1.0 / 3)
		if !(area > 0) || !r.inView(mid) {
			continue
		}
		all += area
		off := 0.0
		for _, v := range c {
			q := t.place[v]
			if sharp[q] {
				continue
			}
			d := math.Atan2(m.N[v].Cross(smooth.N[v]).Len(), m.N[v].Dot(smooth.N[v]))
			if d > limit+span[q] {
				off = max(off, d)
			}
		}
		// At a sharp fold smooth normals lie against the facet whatever they are computed by; that is the shape's.
		if m.N[c[0]].Add(m.N[c[1]]).Add(m.N[c[2]]).Dot(n) < 0 && smooth.N[c[0]].Add(smooth.N[c[1]]).Add(smooth.N[c[2]]).Dot(n) >= 0 {
			against += area
			off = max(off, math.Pi/2)
		}
		if off > 0 {
			wrong += area
			worst = max(worst, off)
			list = append(list, bad{mid, off})
		}
	}
	f := Finding{Code: "mesh.normals", Part: p.Name, Number: Held(0, "%", "of the area in view has normals that lie off the surface's own"), Range: AtMost(100*r.Limit("mesh.normals_share"), "own choice")}
	if all > 0 {
		f.Number.V = 100 * wrong / all
	}
	if f.Good = f.Range.Holds(f.Number.V); !f.Good {
		slices.SortStableFunc(list, func(a, b bad) int { return cmp.Compare(b.angle, a.angle) })
		f.Count = len(list)
		for _, b := range list[:min(len(list), MaxPlaces)] {
			f.Where = append(f.Where, r.Subject.Place(p, b.at))
		}
		// A highlight on a ball sits where the normal is right: an angle moves it by the radius times it.
		f.Shows = Shows{Px: r.Px(r.Subject.Radius() * worst), Text: fmt.Sprintf("highlights jump by up to %.0f degrees of the surface", geom.Degrees(worst))}
		if against > 0.5*wrong {
			f.Title = "normals against the winding"
			f.Shows.Text = "black or inside-out patches"
		}
		f.Remedy.Step = "compute the normals of the mesh anew, smooth"
	}
	r.Add(f)
}

// facets says how far outlines lie off, and how much facets turn.
func (r *Run) facets(p *Part, t *topology) {
	crease := geom.Radians(r.Limit("mesh.crease_degrees"))
	worst, turn := 0.0, 0.0
	var at, turned geom.Vec
	var angles []float64
	t.edges(func(a, b uint32, s []half) {
		angle, sag := t.turn(s)
		mid := t.middle(a, b)
		if angle == 0 || angle > crease || !r.inView(mid) {
			return
		}
		if p.Role == Inner && !r.onIris(mid) {
			return
		}
		angles = append(angles, angle)
		if sag > worst {
			worst, at = sag, mid
		}
		if angle > turn {
			turn, turned = angle, mid
		}
	})
	if len(angles) == 0 {
		return
	}
	slices.Sort(angles)
	most, why := Warning, "a shell of an eye is subdivided here before it is rendered; elsewhere its corners show"
	if p.Role != Outer && p.Role != Inner || r.Subject.AsFiled {
		most = 0
	}
	if p.Role == Low {
		most, why = Warning, "who renders it may smooth it"
	}
	if p.Role == Inner {
		most, why = Note, "an iris is rough by nature: what turns there may be relief"
	}
	limit := r.Limit("mesh.outline_px")
	R := r.Subject.Radius()
	f := Finding{Code: "mesh.outline", Part: p.Name, Number: Held(worst, "mm", "facets beneath the arc that they stand for, at their worst"), Range: AtMost(limit/r.PerMM, fmt.Sprintf("%g px at this size: common practice, no published source", limit)),
		Shows: Shows{Px: r.Px(worst)}, Where: []Place{r.Subject.Place(p, at)}, Most: most, Because: why}
	if f.Good = f.Shows.Px <= limit; !f.Good {
		f.Shows.Text = "corners in the outline; " + r.atSizes(worst)
		// A ring of n segments lies R (1 - cos(pi/n)) off.
		n := math.Ceil(math.Pi / math.Acos(1-limit/r.Px(R)))
		f.Remedy = Remedy{Step: fmt.Sprintf("a ring of %.0f segments about a globe of this size is off by less than %g px; or let it be subdivided", n, limit)}
		if r.Subject.AsFiled {
			f.Remedy.Key = r.key("asset.subdivide=3")
		} else if p.Role == Outer || p.Role == Inner {
			f.Remedy.Step += ", as catchlight does by itself before it renders, until facets lie within asset.facet_error"
		}
	}
	r.Add(f)
	if p.Role != Inner && p.Role != Low {
		r.grazing(p, angles, turn, turned)
	}
}

// grazing says what facets do near the terminator: light that falls at half the turn off the surface lights one facet and not the
// next.
func (r *Run) grazing(p *Part, angles []float64, turn float64, at geom.Vec) {
	limit := r.Limit("mesh.grazing_degrees")
	q := angles[len(angles)*95/100]
	f := Finding{Code: "mesh.grazing", Part: p.Name, Number: Held(geom.Degrees(q), "degrees", fmt.Sprintf("turn between facets: 95 %% turn by less; median %.2g, most %.3g", geom.Degrees(angles[len(angles)/2]), geom.Degrees(turn))),
		Range: AtMost(limit, "own choice"), Where: []Place{r.Subject.Place(p, at)}}
	if p.Role == Low || (p.Role == Outer || p.Role == Inner) && !r.Subject.AsFiled {
		f.Most, f.Because = Note, "it is true of flat shading without subdivision alone, and here a shell is subdivided before it is rendered"
	}
	if f.Good = geom.Degrees(q) <= limit; !f.Good {
		f.Shows = Shows{Levels: 255 * colour.EncodeSRGB(0.5*math.Sin(q/2)), Text: "steps along the terminator of facets that are shaded flat, where the surface is half as bright as paper"}
		f.Remedy.Step = fmt.Sprintf("at least %.0f segments about the globe, or subdivide", math.Ceil(360/limit))
	}
	r.Add(f)
}

// onIris reports whether a place lies within the limbus, in front.
func (r *Run) onIris(p geom.Vec) bool {
	e := r.Subject.Eye
	if e == nil || !e.Limbus.Held {
		return false
	}
	l := e.Frame.Local(p.Sub(e.Centre))
	return l.Z > 0 && math.Hypot(l.X, l.Y) < e.Limbus.V
}

// atSizes says what a length is at the other sizes of the shot.
func (r *Run) atSizes(mm float64) string {
	var list []string
	for _, a := range r.Shot.Others {
		list = append(list, fmt.Sprintf("%.2g px at %g", r.Px(mm)*a/r.Shot.Across, a))
	}
	return strings.Join(list, ", ")
}

// loose looks for small islands.
func (r *Run) loose(p *Part) {
	if p.Role != Outer && p.Role != Inner || len(p.Mesh.Tri) > 2_000_000 {
		return
	}
	islands := mesh.Islands(p.Welded(), 0)
	var where []Place
	n, widest := 0, 0.0
	for _, m := range islands[1:] {
		b := m.Bounds()
		if b.Size().Len() > 0.5*islands[0].Bounds().Size().Len() {
			continue
		}
		n++
		if r.inView(b.Centre()) {
			widest = max(widest, b.Size().MaxAbs())
		}
		at := r.Subject.Place(p, b.Centre())
		at.Size = b.Size().MaxAbs()
		where = append(where, at)
	}
	if n == 0 {
		return
	}
	r.Add(Finding{Code: "mesh.loose", Part: p.Name, Number: Held(float64(n), "", "islands besides the shell"), Range: AtMost(0, "common practice, no published source"), Where: where, Count: n, Most: Warning,
		Shows: Shows{Px: r.Px(widest), Text: "flakes that float on or in the eye"}, Remedy: Remedy{Step: "delete them, or name the shell that is meant"}})
}
