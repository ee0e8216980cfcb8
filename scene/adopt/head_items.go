package adopt

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/near"
)

// Kind is what a mesh of a head is.
type Kind string

// The kinds of meshes beside the eyes.
const (
	Skin   Kind = "skin"
	Lids   Kind = "lids"
	Tears  Kind = "tear line"
	Lashes Kind = "lashes"
	Brows  Kind = "brows"
	Corner Kind = "inner corner"
	Cover  Kind = "shell before the eye"
	Within Kind = "part within the eye"
	Other  Kind = "something else"
)

// Item is a mesh of a head beside its eyes.
type Item struct {
	Name  string // of its node
	Kind  Kind
	Grade Grade
	Part  *Part
	Mesh  *mesh.Mesh // in our axes, mm
	Close bool       // its holes can be capped without a cap that shows
	Open  string     // why not, in words
	Uses  bool       // the scene has it

	maps []laid
}

// traits are the numbers by which a mesh is told.
type traits struct {
	size    float64 // longest side, mm
	islands int
	island  float64 // length of the islands that make half of all their length, the longest first: at least this, mm
	width   float64 // of its islands, were they strips: twice the area over the length of the rim, mm
	near    float64 // share of its area within 2 mm of a globe's sphere, outside
	inside  float64 // share within a globe
	nasal   float64 // share at the inner corner
	out     float64 // middle distance from the nearest globe's sphere, mm
	least   float64 // least of these
	high    float64 // middle height above the eyes, mm
	ring    float64 // of the directions 40 to 75 degrees off the front, share that it blocks, at its best eye
	hole    float64 // of those within 12 degrees, share that it leaves free, there
	alpha   bool
	words   []Kind // what its names say
}

// kindWords are the words for each kind, in names of nodes and materials.
var kindWords = map[Kind][]string{
	Skin: {"skin", "face", "head", "body", "bust"}, Lids: {"lid", "lids", "eyelid", "eyelids"},
	Tears:  {"tear", "tears", "tearline", "meniscus", "waterline", "wet", "wetness"},
	Lashes: {"lash", "lashes", "eyelash", "eyelashes", "cilia"}, Brows: {"brow", "brows", "eyebrow", "eyebrows"},
	Corner: {"caruncle", "plica", "lacrimal", "corner", "corners", "canthus"}, Cover: {"occluder", "occlusion", "shadow", "cover", "film"},
	Other: {"hair", "beard", "tooth", "teeth", "tongue", "gum", "gums", "mouth", "ear", "cloth", "shirt", "collar", "glasses", "hat"},
}

// sort says what each mesh beside the eyes is.
func (h *Head) sort(in Input) {
	var list []*bit
	for i := range h.bits {
		if h.bits[i].ball < 0 || !h.isEye(h.bits[i].ball, i) {
			list = append(list, &h.bits[i])
		}
	}
	slices.SortStableFunc(list, func(a, b *bit) int { return cmp.Compare(b.box.Size().Len2(), a.box.Size().Len2()) })
	left := 0
	for _, b := range list {
		if len(h.Items) == mostOthers {
			left++
			continue
		}
		it := Item{Name: b.name, Part: b.part, Mesh: h.moved(b.mesh)}
		t := h.traits(&it, b)
		h.tell(&it, &t)
		h.Items = append(h.Items, it)
	}
	if left > 0 {
		h.say(Finding{Topic: "other meshes", Grade: Unsure, Choice: fmt.Sprintf("%d small ones left out", left), Reason: fmt.Sprintf("more than %d; join them in the file", mostOthers)})
	}
	for i := range h.Items {
		if it := &h.Items[i]; it.Kind == Skin || it.Kind == Lids || it.Kind == Corner {
			h.closable(it)
		}
	}
}

// isEye says whether a bit is a piece of one of the eyes that were taken.
func (h *Head) isEye(_, i int) bool {
	for _, e := range h.Eyes {
		for _, p := range e.Input.Parts {
			if p.Name == h.bits[i].name {
				return true
			}
		}
	}
	return false
}

// nearest returns the eye whose globe a place is nearest to, and the distance from its sphere.
func (h *Head) nearest(p geom.Vec) (e *Socketed, out float64) {
	for i := range h.Eyes {
		q := &h.Eyes[i]
		if d := p.Sub(q.Centre).Len() - q.Radius; e == nil || d < out {
			e, out = q, d
		}
	}
	return e, out
}

// traits measures a mesh.
//
// Long: one walk over its triangles for all shares, then the few that need rays or islands.
func (h *Head) traits(it *Item, b *bit) (t traits) {
	m := it.Mesh
	t.size = m.Bounds().Size().MaxAbs()
	t.least = math.Inf(1)
	all := 0.0
	type weighed struct{ v, w float64 }
	var outs, highs []weighed
	for _, q := range m.Tri {
		p := m.P[q[0]].Add(m.P[q[1]]).Add(m.P[q[2]]).Mul(1.0 / 3)
		a := m.P[q[1]].Sub(m.P[q[0]]).Cross(m.P[q[2]].Sub(m.P[q[0]])).Len() / 2
		e, out := h.nearest(p)
		k := e.Radius / 12
		all += a
		if out > -1*k && out < 2*k {
			t.near += a
		}
		if out < 0.3*k {
			t.inside += a
		}
		v := p.Sub(e.Centre)
		x := v.X
		if e.Side == "left" {
			x = -x
		}
		if x > 0.7*e.Radius && x < 1.9*e.Radius && math.Abs(v.Y) < 0.6*e.Radius && out < 6*k && v.Z > -0.2*e.Radius {
			t.nasal += a
		}
		t.least = min(t.least, out)
		outs, highs = append(outs, weighed{out, a}), append(highs, weighed{v.Y, a})
	}
	if all > 0 {
		t.near, t.inside, t.nasal = t.near/all, t.inside/all, t.nasal/all
	}
	middle := func(list []weighed) float64 {
		slices.SortFunc(list, func(a, b weighed) int { return cmp.Compare(a.v, b.v) })
		sum := 0.0
		for _, q := range list {
			if sum += q.w; sum >= all/2 {
				return q.v
			}
		}
		return 0
	}
	t.out, t.high = middle(outs), middle(highs)
	plain := mesh.Weld(&mesh.Mesh{P: m.P, Tri: m.Tri}, 1e-6*t.size) // without seams of texture coordinates
	islands := mesh.Islands(plain, 0)
	t.islands = len(islands)
	var sizes []float64
	for _, q := range islands {
		sizes = append(sizes, q.Bounds().Size().Len())
	}
	rim := rimLength(plain)
	sum := 0.0
	for _, s := range sizes {
		sum += s
	}
	// Small pieces beside long ones, such as water about a punctum, do not say what a mesh is.
	slices.Sort(sizes)
	for i, part := len(sizes)-1, 0.0; i >= 0 && part < sum/2; i-- {
		t.island, part = sizes[i], part+sizes[i]
	}
	t.width = all / max(rim/2, sum, 1e-9)
	t.alpha = b.part.Look.AlphaMode != asset.Opaque
	if t.size > 1.8*h.Eyes[0].Radius {
		h.blocks(m, &t)
	}
	for _, k := range []Kind{Lashes, Brows, Tears, Corner, Cover, Lids, Other, Skin} {
		for _, w := range append(pieces(b.part.Name), pieces(b.part.Material)...) {
			if slices.Contains(kindWords[k], w) && !slices.Contains(t.words, k) {
				t.words = append(t.words, k)
			}
		}
	}
	return t
}

// rimLength is the length of all edges of one triangle alone.
func rimLength(m *mesh.Mesh) (l float64) {
	type edge [2]uint32
	count := map[edge]int{}
	for _, t := range m.Tri {
		for k := range 3 {
			count[edge{min(t[k], t[(k+1)%3]), max(t[k], t[(k+1)%3])}]++
		}
	}
	var list []float64
	for e, n := range count {
		if n == 1 {
			list = append(list, m.P[e[0]].Sub(m.P[e[1]]).Len())
		}
	}
	slices.Sort(list) // a sum of no order
	for _, v := range list {
		l += v
	}
	return l
}

// blocks finds how a mesh lies before the eyes.
func (h *Head) blocks(m *mesh.Mesh, t *traits) {
	tree, err := near.New(m)
	if err != nil {
		return
	}
	best := -1.0
	for i := range h.Eyes {
		e := &h.Eyes[i]
		share := func(a, b float64) float64 {
			met, all := 0, 0
			for j := range 6 {
				st, ct := math.Sincos(geom.Radians(a + (b-a)*(float64(j)+0.5)/6))
				for k := range 36 {
					sp, cp := math.Sincos(2 * math.Pi * float64(k) / 36)
					all++
					if _, ok := tree.Ray(e.Centre, geom.Vec{X: st * cp, Y: st * sp, Z: ct}, 0.3*e.Radius, 3*e.Radius, -1); ok {
						met++
					}
				}
			}
			return float64(met) / float64(all)
		}
		if ring := share(40, 75); ring > best {
			best, t.ring, t.hole = ring, ring, 1-share(0, 12)
		}
	}
}

// tell gives a mesh its kind: each kind has a score by shape, and names weigh where shapes don't.
//
// Long: one rule a kind, each with its reason in words.
func (h *Head) tell(it *Item, t *traits) {
	type vote struct {
		kind  Kind
		score float64
		why   string
	}
	k := h.Eyes[0].Radius / 12 // sizes go with the eyes'
	ramp := func(v, lo, hi float64) float64 { return max(0, min(1, (v-lo)/(hi-lo))) }
	var votes []vote
	add := func(kind Kind, score float64, why string, a ...any) {
		votes = append(votes, vote{kind, score, fmt.Sprintf(why, a...)})
	}
	if s := ramp(t.ring, 0.15, 0.5) * ramp(t.hole, 0.3, 0.8); s > 0 {
		kind := Skin
		if t.size < 55*k {
			kind = Lids
		}
		add(kind, s, "it covers %.0f %% of the directions 40 to 75 degrees off the front of an eye and leaves %.0f %% of those within 12 free; %.3g mm across", 100*t.ring, 100*t.hole, t.size)
	}
	if t.size > 1.8*12*k && t.hole < 0.3 && t.near > 0.6 {
		add(Cover, ramp(t.near, 0.6, 0.9), "%.0f %% of it lies within 2 mm of a globe and it covers the cornea", 100*t.near)
	}
	if s := ramp(t.width, 2*k, 1.2*k) * ramp(t.near, 0.4, 0.8) * ramp(t.island, 6*k, 12*k); s > 0 {
		if t.islands > 16 {
			s *= 0.3
		}
		add(Tears, s, "%d strips %.2g mm wide and about %.3g mm long, %.0f %% within 2 mm of a globe", t.islands, t.width, t.island, 100*t.near)
	}
	if s := ramp(t.nasal, 0.15, 0.4) * ramp(40*k-t.island, 0, 15*k) * ramp(t.width, 0.6*k, 1.5*k); s > 0 && t.islands <= 12 {
		add(Corner, s, "%.0f %% of it lies at the inner corners, %d pieces about %.3g mm long", 100*t.nasal, t.islands, t.island)
	}
	hairs := 0.5*ramp(float64(t.islands), 4, 16) + 0.5*ramp(3*k-t.width, 0, 2*k)
	if t.alpha {
		hairs = max(hairs, 0.85)
	}
	if s := hairs * ramp(t.island, 1*k, 2.5*k) * ramp(50*k-t.island, 0, 10*k) * ramp(t.out, -0.5*k, 0.5*k) * ramp(30*k-t.least, 0, 12*k); s > 0 && t.ring < 0.4 {
		what := fmt.Sprintf("%d pieces about %.3g mm long and %.2g mm wide, the nearest %.2g mm from a globe", t.islands, t.island, t.width, t.least)
		if t.alpha {
			what += ", transparent by their material"
		}
		high := ramp(t.high, 10*k, 15*k)
		add(Brows, s*high, "%s; their middle is %.3g mm above the eyes", what, t.high)
		add(Lashes, s*(1-high)*ramp(8*k-t.least, 0, 3*k), "%s", what)
	}
	if t.inside > 0.9 {
		add(Within, ramp(t.inside, 0.9, 0.97), "%.0f %% of it lies within a globe", 100*t.inside)
	}
	far := 0.3
	if !slices.ContainsFunc(votes, func(v vote) bool { return v.score > 0.5 }) {
		far = max(far, ramp(t.least, 2*k, 8*k)) // what is nothing else, and far enough to be nothing of the eyes
	}
	add(Other, far, "the nearest of it lies %.3g mm from a globe; nothing of its shape is an eye's", t.least)
	slices.SortStableFunc(votes, func(a, b vote) int { return cmp.Compare(b.score, a.score) })
	best, next := votes[0], 0.0
	if len(votes) > 1 {
		next = votes[1].score
	}
	named := len(t.words) > 0
	says := named && (slices.Contains(t.words, best.kind) || slices.Contains([]Kind{Skin, Lids}, best.kind) && (slices.Contains(t.words, Skin) || slices.Contains(t.words, Lids)))
	why := best.why
	grade := Sure
	switch {
	case best.score >= 0.75 && next < 0.5 && (says || !named):
		if says {
			why += ", and its name agrees"
		}
	case named && !says:
		// Names decide between shapes that would both do, never against a shape that would not.
		grade = Unsure
		for _, v := range votes[1:] {
			if slices.Contains(t.words, v.kind) && v.score > 0.3*best.score {
				best = v
				why = v.why + ", and its name decides between that and " + string(votes[0].kind)
				break
			}
		}
		if best == votes[0] {
			why += fmt.Sprintf("; but its name says %s", kindList(t.words))
		}
	default:
		grade = Unsure
		if next >= 0.5 {
			why += fmt.Sprintf("; it might be %s as well", votes[1].kind)
		}
		if says {
			why += ", and its name agrees"
			if best.score >= 0.4 {
				grade = Sure
			}
		}
	}
	it.Kind, it.Grade = best.kind, grade
	it.Uses = best.kind != Cover && best.kind != Within
	f := Finding{Topic: fmt.Sprintf("mesh %q", it.Name), Choice: string(it.Kind), Reason: why, Grade: grade}
	switch it.Kind {
	case Cover:
		f.Choice += ", left out"
		f.Reason += "; tear film and shadow are made here"
	case Within:
		f.Choice += ", left out"
		f.Grade = Unsure
		f.Reason += "; an eye is two shells here: if this is an iris, join it to the inner one in the file"
	}
	h.say(f)
}

func kindList(list []Kind) string {
	var out []string
	for _, k := range list {
		out = append(out, string(k))
	}
	return strings.Join(out, " or ")
}

// closable says whether a mesh's holes can be capped so that it encloses tissue: the caps about an eye must lie within the globe.
func (h *Head) closable(it *Item) {
	open, odd := mesh.Closed(it.Mesh)
	if open+odd == 0 {
		return
	}
	if odd > 0 {
		it.Open = fmt.Sprintf("%d of its edges do not join two triangles of one winding", odd)
		return
	}
	c, _, err := mesh.Close(it.Mesh)
	if err != nil {
		it.Open = err.Error()
		return
	}
	seen, all := 0.0, 0.0
	for i, q := range c.Tri {
		if c.Part[i] != mesh.Backing {
			continue
		}
		a := c.P[q[1]].Sub(c.P[q[0]]).Cross(c.P[q[2]].Sub(c.P[q[0]])).Len() / 2
		p := c.P[q[0]].Add(c.P[q[1]]).Add(c.P[q[2]]).Mul(1.0 / 3)
		e, out := h.nearest(p)
		if v := p.Sub(e.Centre); math.Hypot(v.X, v.Y) < 1.5*e.Radius && v.Z > 0 {
			all += a
			if out > 0 {
				seen += a
			}
		}
	}
	if seen > 0.15*all && seen > 4 {
		it.Open = fmt.Sprintf("a cap over its opening would lie before the globe, %.3g mm^2 of it", seen)
		return
	}
	it.Close = true
}
