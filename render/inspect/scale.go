package inspect

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/measure"
)

var scaleLimits = []Limit{
	{"scale.chamber_share_least", 0.05, 0, 1, "", "own choice: a grown person's is 0.13 of the length (3.1 of 24 mm; Le Grand and El Hage 1980)", "chamber depth over axial length, at least"},
	{"scale.chamber_share_most", 0.35, 0, 1, "", "own choice, as above; owls have 0.25 to 0.3 (from memory)", "chamber depth over axial length, at most"},
	{"scale.pupil_share_least", 0.08, 0, 1, "", "own choice: 1 of 11.8 mm in bright light (from memory)", "pupil's over the iris' width, at least"},
	{"scale.pupil_share_most", 0.85, 0, 1, "", "own choice: 8 of 11.8 mm in the dark (from memory)", "pupil's over the iris' width, at most"},
}

const lengthSource = "grown people 21 to 27: Bekerman et al., J. Ophthalmol. 2014:503645"

var scaleChecks = []Check{{
	Group: Scale, Name: "measuring the eye",
	Codes: []Code{
		{"scale.unit", "wrong unit", "The file's numbers are no eye's in its unit. All lengths in mm go wrong with it: scattering, the tear line, displacement, depth of field."},
		{"scale.unit_open", "unit not settled", "The length fits several units, or none. Say which is meant."},
		{"scale.unit_told", "unit is guessed", "The format states no unit, so it is guessed from the eye's length."},
		{"scale.axis", "which way the eye looks", "Along +Z, with +Y up, is the standard of glTF."},
		{"scale.length", "axial length", "Front of the cornea to the back pole of the outer shell, along the optical axis."},
		{"scale.misfit", "iris and globe do not fit", "The visible iris is too small or too large for the globe, at any unit."},
		{"scale.stylised", "stylised proportions", "Proportions differ from a grown person's, which no unit explains. It may be meant so."},
		{"scale.globe", "globe", "Radius of the sphere that most of the outer shell lies on."},
		{"scale.cornea", "corneal radius", "Apical radius of the conic through the cap."},
		{"scale.asphericity", "corneal asphericity", "Conic constant Q of the cap."},
		{"scale.iris", "visible iris", "Twice the limbus' radius."},
		{"scale.chamber", "chamber depth", "Apex of the cornea to the plane of the iris' foremost lip, and to the plane of its root."},
		{"scale.pupil", "pupil", "Mean diameter of the hole in the inner shell."},
	},
	Run: scaleRun,
}}

func scaleRun(r *Run) error {
	s := r.Subject
	if s.Eye == nil {
		return nil
	}
	r.unit()
	r.axis()
	e := s.Eye
	r.measured("scale.length", "front of the cornea to the back pole", e.Length, 1, "mm", Between(measure.GrownShort, measure.GrownLong, lengthSource))
	r.measured("scale.globe", "radius of the globe", e.Globe.Radius, 1, "mm", Between(10.5, 13.5, lengthSource))
	if s.Part(Outer) != nil {
		r.measured("scale.cornea", e.Cornea.Radius.By, e.Cornea.Radius, 1, "mm", Between(7.1, 8.6, "7.8 +- 0.25 in grown people (Le Grand and El Hage 1980; the spread from memory), three of it either way"))
		r.measured("scale.asphericity", e.Cornea.Q.By, e.Cornea.Q, 1, "", Between(-0.8, 0.3, "-0.26 +- 0.18: Kiely et al., Optica Acta 29 (1982), 1027 (from memory), three of it either way"))
	}
	r.measured("scale.iris", "width of the visible iris; limbus: "+e.Limbus.By, e.Limbus, 2, "mm", Between(10.2, 13.0, "11.8 mm: Caroline and Andre, Contact Lens Spectrum, April 2002; the spread from memory"))
	r.chamber()
	r.pupil()
	if w := s.Size.Stylised; w != "" && s.Size.Verdict != measure.Misfit {
		// The title's first ratio: of the cornea where that differs, else of the limbus.
		n, usual := Held(e.Cornea.Radius.V/e.Length.V, "", "corneal radius over axial length"), 0.325
		if !strings.HasPrefix(w, "the cornea") {
			n, usual = Held(e.Limbus.V/e.Length.V, "", "limbus' radius over axial length"), 0.24
		}
		r.Add(Finding{Code: "scale.stylised", Title: "stylised: " + w, Most: Note,
			Number: n, Range: Between(0.8*usual, 1.25*usual, "a quarter about a grown person's, own choice; Le Grand and El Hage 1980, Caroline and Andre 2002"),
			Remedy: Remedy{Step: "nothing, if it is meant so; no unit explains it"}})
	}
	return nil
}

// measured reports a measure. It is no fault by itself to lie outside a grown person's range: animals and stylised eyes do.
func (r *Run) measured(code, what string, v measure.Value, times float64, unit string, normal *Range) {
	f := Finding{Code: code, Good: true, Number: Number{What: what, Unit: unit, Held: v.Held, Why: v.Why, V: v.V * times, SE: v.SE * times}, Range: normal}
	if !v.Held {
		f.Number.V, f.Number.SE = 0, 0
	} else if normal != nil && !normal.Holds(f.Number.V) {
		f.Good, f.Most = false, Note
		f.Title = "not a grown person's " + r.title(code)
		f.Remedy.Step = "nothing, if no grown person's eye is meant"
	}
	r.Add(f)
}

// unit says whether the unit is right.
func (r *Run) unit() {
	s := r.Subject
	z := &s.Size
	n := Number{V: z.Length, SE: z.SE, Unit: "mm", What: "axial length as the file says", Held: s.Eye.Length.Held, Why: s.Eye.Length.Why}
	possible := Between(measure.EyeShort, measure.EyeLong, "eyes that are modelled: newborn 16.8 (Gordon and Donzis 1985) to horse 44 (from memory)")
	if s.Guess != "" {
		r.Add(Finding{Code: "scale.unit_told", Most: Note, Number: n, Range: possible,
			Title:  fmt.Sprintf("the format states no unit; %s fits an eye's length best", s.Guess),
			Remedy: Remedy{Key: r.key("asset.unit=" + s.Guess), Step: "say the unit with --unit or in the scene"}})
	}
	switch z.Verdict {
	case measure.Mistaken:
		r.Add(Finding{Code: "scale.unit", Least: Error, Number: n, Range: possible, Title: "wrong unit: " + z.Readings[0].What,
			Shows:  Shows{Px: min(r.Shot.Across, r.Px(shadowEdge*math.Abs(1-z.Factor))), Text: softOrHard(z.Factor)},
			Remedy: Remedy{Factor: z.Factor, Key: r.key(fmt.Sprintf("asset.factor=%.6g", s.MM/s.Unit)), Step: "multiply all lengths, or set the factor in the scene", Mends: true}})
	case measure.Misfit:
		r.Add(Finding{Code: "scale.misfit", Least: Warning, Most: Warning, Number: Held(z.Iris, "", "visible iris over globe's width"),
			Range:  Between(measure.IrisLeast, measure.IrisMost, "eyes of people and animals; from memory"),
			Shows:  Shows{Px: r.Px(2 * math.Abs(z.Iris-measure.IrisShare) * s.Radius()), Text: "the iris reads as another creature's"},
			Remedy: Remedy{Step: "scale the iris or the globe, not the whole"}})
	case measure.Undecided:
		f := Finding{Code: "scale.unit_open", Most: Warning, Number: n, Range: possible, Title: "unit not settled: " + z.Why, Remedy: Remedy{Step: "look up how long this eye should be"}}
		for _, q := range z.Readings {
			if q.Factor != 1 {
				f.Remedy.Step += fmt.Sprintf("; if %s: factor %.6g", q.What, q.Factor)
			}
		}
		if len(z.Readings) == 0 && n.Held {
			f.Least = Warning
		}
		r.Add(f)
	default:
		r.Add(Finding{Code: "scale.unit", Good: true, Number: n, Range: possible})
	}
}

// shadowEdge is the 10-90 % width of a shadow's edge on the white, mm, in green, of coefficients published for sclera: measured,
// testdata/spread/edges.
const shadowEdge = 0.95

func softOrHard(k float64) string {
	if k < 1 {
		return fmt.Sprintf("skin and white look like stone: light spreads %.4g times too little for the eye's size; so much a shadow's edge is off", 1/k)
	}
	return fmt.Sprintf("skin and white look like wax: light spreads %.4g times too far for the eye's size; so much a shadow's edge is off", k)
}

// key is a remedy's key of the eye, "" without a scene.
func (r *Run) key(rest string) string {
	if r.Subject.Key == "" {
		return ""
	}
	return r.Subject.Key + "." + rest
}

// chamber gives the depth of the anterior chamber by two definitions.
func (r *Run) chamber() {
	s := r.Subject
	e := s.Eye
	if s.Part(Outer) == nil || s.Part(Inner) == nil {
		return
	}
	share := Between(r.Limit("scale.chamber_share_least")*e.Length.V, r.Limit("scale.chamber_share_most")*e.Length.V, "a share of the axial length, own choice; grown people 3.1 mm: Le Grand and El Hage 1980")
	lip, root := irisHeights(s)
	for i, v := range []measure.Value{lip, root} {
		n := Number{Unit: "mm", What: "apex of the cornea to the " + v.By, Held: v.Held && e.Length.Held, Why: v.Why}
		if n.Held {
			n.V, n.SE = e.Apex-v.V, math.Hypot(v.SE, e.Cornea.ApexSE)
		}
		f := Finding{Code: "scale.chamber", Number: n, Range: share, Good: i == 1 || !n.Held || share.Holds(n.V), Most: Warning}
		if i == 1 {
			f.Range = nil
		}
		if !f.Good {
			off := max(*share.Low-n.V, n.V-*share.High)
			// Rounded up: who does as told has done enough.
			move := e.Frame.N.Mul(roundUp(off, 2))
			f.Title, f.Remedy.Step = "the iris lies too deep", "forward, toward the cornea"
			if n.V < *share.Low {
				move = move.Neg()
				f.Title, f.Remedy.Step = "the iris lies too near the cornea", "back, away from the cornea"
			}
			f.Remedy.Step = fmt.Sprintf("move the iris %.2f mm %s, along the axis: by %s mm%s", move.Len(), f.Remedy.Step, triple(move, 3), s.inNumbers(move))
			f.Shows = Shows{Px: r.Px(off * parallax), Text: "parallax of the iris under the cornea, seen 45 degrees from the side"}
		}
		r.Add(f)
	}
}

// parallax is by how much of its depth a place in the aqueous shifts, seen 45 degrees from the side: tan(asin(sin 45/1.336)).
const parallax = 0.624

// irisHeights measures where the iris lies, as heights above the eye's Centre: its foremost lip about the pupil, and its root. Each
// is the median over sectors, of the highest vertex between the pupil and a quarter of the way to the root, and of the vertex
// nearest to the root.
func irisHeights(s *Subject) (lip, root measure.Value) {
	const byLip, byRoot = "plane of the iris' foremost lip", "plane of the iris' root"
	e := s.Eye
	lip, root = measure.Value{By: byLip, Why: "there is no pupil"}, measure.Value{By: byRoot, Why: "the root of the iris is not held"}
	const sectors = 16
	edge := e.Limbus
	if !edge.Held {
		lip.Why = root.Why
		return
	}
	pupil := 0.0
	if e.Pupil.Held {
		pupil = e.Pupil.V
	}
	var high, at, near [sectors]float64
	for k := range high {
		high[k], near[k] = math.Inf(-1), math.Inf(1)
	}
	for i, p := range s.meshOf(Inner).P {
		l := e.Frame.Local(p.Sub(e.Centre))
		rho := math.Hypot(l.X, l.Y)
		if n := s.meshOf(Inner).N; l.Z < 0 || n != nil && n[i].Dot(e.Frame.N) < 0 {
			continue
		}
		k := int((math.Atan2(l.Y, l.X)/(2*math.Pi)+1)*sectors) % sectors
		if rho < pupil+0.25*(edge.V-pupil) {
			high[k] = max(high[k], l.Z)
		}
		if d := math.Abs(rho - edge.V); d < near[k] && d < 0.15*edge.V {
			near[k], at[k] = d, l.Z
		}
	}
	var lips, roots []float64
	for k := range high {
		if !math.IsInf(high[k], 0) {
			lips = append(lips, high[k])
		}
		if !math.IsInf(near[k], 0) {
			roots = append(roots, at[k])
		}
	}
	if e.Pupil.Held {
		lip = middle(lips, byLip)
	}
	return lip, middle(roots, byRoot)
}

// middle is the median of some sectors with its standard error: 1.2533 of that of a mean (of a normal distribution).
func middle(v []float64, by string) measure.Value {
	if len(v) < 5 {
		return measure.Value{By: by, Why: fmt.Sprintf("only %d sectors of it have vertices", len(v))}
	}
	slices.Sort(v)
	n := len(v)
	m, sq := (v[(n-1)/2]+v[n/2])/2, 0.0
	for _, x := range v {
		sq += (x - m) * (x - m)
	}
	return measure.Value{V: m, SE: 1.2533 * math.Sqrt(sq/float64(n-1)/float64(n)), By: by, N: n, Held: true}
}

// pupil gives its width.
func (r *Run) pupil() {
	s := r.Subject
	e := s.Eye
	if s.Part(Inner) == nil {
		return
	}
	f := Finding{Code: "scale.pupil", Good: true, Number: Number{V: 2 * e.Pupil.V, SE: 2 * e.Pupil.SE, Unit: "mm", What: e.Pupil.By, Held: e.Pupil.Held, Why: e.Pupil.Why}}
	if e.Pupil.Held && e.Limbus.Held {
		w := 2 * e.Limbus.V
		f.Range = Between(r.Limit("scale.pupil_share_least")*w, r.Limit("scale.pupil_share_most")*w, "a share of the iris' width, own choice; 1 to 8 of 11.8 mm (from memory)")
		if !f.Range.Holds(f.Number.V) {
			f.Good, f.Most = false, Note
			f.Title = "a pupil of unusual width"
			f.Remedy = Remedy{Key: r.key("iris.pupil=3.5"), Step: "set the pupil's width"}
		}
	}
	r.Add(f)
}
