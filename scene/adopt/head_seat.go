package adopt

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	"catchlight/scene/near"
	"catchlight/scene/seat"
)

// Seating is how an eye sits in its socket.
type Seating struct {
	*seat.Report
	Blink *seat.Report // with the lids closed by the file's morph targets; nil where it has none for this eye
}

// shell is the outer shell of an eye in our axes.
func (h *Head) shell(e *Socketed) *mesh.Mesh {
	want := e.Eye.Outer
	if want == "" {
		want = e.Eye.Inner
	}
	out := &mesh.Mesh{}
	for i := range e.Input.Parts {
		if p := &e.Input.Parts[i]; p.Name == want {
			q := h.moved(p.Mesh)
			out.Append(&mesh.Mesh{P: q.P, Tri: q.Tri})
		}
	}
	return out
}

// about is all that the eyes sit in, in our axes.
func (h *Head) about(of func(it *Item) *mesh.Mesh) *mesh.Mesh {
	all := &mesh.Mesh{}
	for i := range h.Items {
		it := &h.Items[i]
		if it.Kind != Skin && it.Kind != Lids {
			continue
		}
		if m := of(it); m != nil {
			all.Append(&mesh.Mesh{P: m.P, Tri: m.Tri})
		}
	}
	return all
}

// Seat measures how the eyes sit, with the lids as modelled and as the file's blink closes them.
func (h *Head) Seat(in Input, o seat.Options) error {
	blink, err := h.blinks(in)
	if err != nil {
		return err
	}
	rest := h.about(func(it *Item) *mesh.Mesh { return it.Mesh })
	if len(rest.Tri) == 0 {
		h.say(Finding{Topic: "seating", Grade: Unsure, Choice: "not measured", Reason: "no mesh is skin or lids"})
		return nil
	}
	tree, err := near.New(rest)
	if err != nil {
		return err
	}
	var shut *near.Tree
	if blink != nil {
		if shut, err = near.New(blink); err != nil {
			return err
		}
	}
	for i := range h.Eyes {
		e := &h.Eyes[i]
		g := seat.Globe{Centre: e.Centre, Radius: e.Radius, Ahead: geom.Vec{Z: 1}, Nose: geom.Vec{X: 1}, Shell: h.shell(e)}
		if e.Side == "left" {
			g.Nose = geom.Vec{X: -1}
		}
		r, err := seat.Measure(tree, g, o)
		if err != nil {
			h.say(Finding{Topic: "seating of the " + e.Side + " eye", Grade: Unsure, Choice: "not measured", Reason: err.Error()})
			continue
		}
		e.Seat = &Seating{Report: r}
		if shut != nil {
			if e.Seat.Blink, err = seat.Measure(shut, g, seat.Options{Most: o.Most, Cell: o.Cell, Workers: o.Workers}); err != nil {
				return err
			}
		}
		h.seated(e, o.Most)
	}
	return nil
}

// blinks returns what lies about the eyes with the file's blink at full weight, or nil where it has none.
func (h *Head) blinks(in Input) (*mesh.Mesh, error) {
	w := gltfio.Weights{}
	for _, t := range in.Targets {
		low := strings.ToLower(t)
		if strings.Contains(low, "blink") || slices.Contains(pieces(t), "close") || slices.Contains(pieces(t), "closed") || slices.Contains(pieces(t), "shut") {
			if !strings.Contains(low, "mouth") && !strings.Contains(low, "jaw") && !strings.Contains(low, "lip") {
				w[t] = 1
			}
		}
	}
	if len(w) == 0 {
		return nil, nil
	}
	a, err := meshio.ReadMorphed(in.Asset, map[bool]string{true: "", false: "mm"}[in.Metres], w)
	if err != nil {
		return nil, err
	}
	out := h.about(func(it *Item) *mesh.Mesh {
		q := a.Named(it.Name)
		if len(q) == 0 {
			return nil
		}
		return h.moved(asset.Merge(q))
	})
	if len(out.Tri) == 0 {
		return nil, nil
	}
	var list []string
	for t := range w {
		list = append(list, t)
	}
	slices.Sort(list)
	h.say(Finding{Topic: "blink", Choice: quoted(list), Reason: "morph targets that close the lids, by name"})
	return out, nil
}

// Place says in words how much and where the worst is.
func Place(w *seat.Worst) string {
	s := fmt.Sprintf("%.2f mm at %s", w.MM, clock(w.Clock))
	if w.Beyond > 0.4 {
		s += fmt.Sprintf(", %.1f mm beyond the rim", w.Beyond)
	}
	if w.Gaze != [2]float64{} {
		s += ", looking " + gazeWords(w.Gaze)
	}
	return s
}

func clock(h float64) string {
	k := int(math.Round(h))
	if k == 0 {
		k = 12
	}
	return fmt.Sprintf("%d o'clock", k)
}

func gazeWords(g [2]float64) string {
	var out []string
	if g[0] != 0 {
		out = append(out, fmt.Sprintf("%.0f degrees to %s", math.Abs(g[0]), map[bool]string{true: "the person's left", false: "the person's right"}[g[0] > 0]))
	}
	if g[1] != 0 {
		out = append(out, fmt.Sprintf("%.0f %s", math.Abs(g[1]), map[bool]string{true: "up", false: "down"}[g[1] > 0]))
	}
	return strings.Join(out, " and ")
}

// The limits of a good seat, mm: a tear film hides gaps of a few tenths; own choice.
const (
	goodGap  = 0.3
	goodClip = 0.05
)

// seated says how an eye sits.
func (h *Head) seated(e *Socketed, most float64) {
	r := e.Seat
	f := Finding{Topic: e.Side + " eye: seating"}
	if r.Rest.Gap.MM <= goodGap && r.Rest.Clip.MM <= goodClip {
		f.Choice = "it sits well"
	} else {
		f.Choice, f.Grade = "it wants a look", Unsure
	}
	say := func(fit *seat.Fit) string {
		s := []string{"no gap beside the rim"}
		if fit.Gap.MM > 0 {
			s[0] = "widest gap beside the rim " + Place(&fit.Gap)
		}
		if fit.Clip.MM > goodClip/2 {
			s = append(s, "the globe comes out of the lids by up to "+Place(&fit.Clip))
		} else {
			s = append(s, "the globe comes out of the lids nowhere")
		}
		if fit.Rub.MM > goodClip/2 {
			s = append(s, "hidden within them it reaches "+Place(&fit.Rub))
		}
		return strings.Join(s, "; ")
	}
	f.Reason = fmt.Sprintf("as modelled: %s (mean gap %.2f mm). Over gazes of %.0f degrees: %s", say(&r.Rest), r.Rest.Mean, most, say(&r.Turns))
	if r.Move != (geom.Vec{}) {
		f.Reason += fmt.Sprintf(". Seats best moved by [%.2f, %.2f, %.2f] mm (left, up, out of the face): as modelled then %s; over gazes %s", r.Move.X, r.Move.Y, r.Move.Z, say(&r.MovedRest), say(&r.Moved))
	} else {
		f.Reason += ". No move would seat it much better"
	}
	if r.Turns.Clip.MM > goodClip && r.Rest.Clip.MM <= goodClip {
		f.Reason += ". Lids of a file stand still, where a cornea of 0.9 mm presses real ones away: a little at the side is to be expected"
	}
	if b := r.Blink; b != nil {
		if b.Open > 0 {
			f.Grade = Unsure
			f.Reason += fmt.Sprintf(". The blink leaves %.1f %% of the view before it open", 100*b.Open)
		} else {
			f.Reason += ". The blink closes the lids"
		}
		if b.Rest.Clip.MM > goodClip/2 {
			f.Grade = Unsure
			f.Reason += "; then the globe comes out of them by " + Place(&b.Rest.Clip)
		}
	}
	h.say(f)
}
