package inspect

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/measure"
	"catchlight/scene/mesh"
	"catchlight/scene/shells"
	"catchlight/scene/texture"
)

// Role is what a part is of an eye.
type Role string

// The roles.
const (
	Outer Role = "outer" // the shell of cornea and white
	Inner Role = "inner" // the shell of iris and tissue
	Lid   Role = "lid"   // what lies on the globe from outside: lids, skin
	Tear  Role = "tear"  // a film or meniscus on the globe
	Other Role = "other"
	High  Role = "high" // of a pair: what is baked from
	Low   Role = "low"  // and onto
)

// Part is one mesh of a subject.
type Part struct {
	Name string
	Role Role
	Mesh *mesh.Mesh // mm as meant, in the axes of the file; vertices split as the file has them
	// InsideOut: its triangles wound inward as read; they are turned here, as all else is measured outward.
	InsideOut bool

	welded *mesh.Mesh
}

// Welded returns the mesh with one vertex a place and texture coordinate; it is made once.
func (p *Part) Welded() *mesh.Mesh {
	if p.welded == nil {
		p.welded = mesh.Weld(p.Mesh, 1e-6*p.Mesh.Bounds().Size().Len())
	}
	return p.welded
}

// Map is one picture of an eye. It is opened when a check looks at it: maps may be larger than memory allows together, so a
// check opens one, or two that it compares, and lets them go.
type Map struct {
	Key    string // that takes it in a scene: "iris.colour"
	File   string
	Role   Role // of the shell on whose coordinates it lies
	Colour bool // it holds colour; else data
	Side   int  // texels of its longer side; 0: not looked at yet
	// As the scene reads it.
	GreenDown  bool
	Mid        float64        // of a height map: the value that is no displacement
	MM         float64        // of a height map: mm of a unit; 0: not known
	Held       *texture.Image // a picture that the file of meshes brings; nil: File is read
	HeldLinear bool           // and it holds linear values
	Linear     bool           // colour that the scene reads as linear, whatever the file's kind
	Whole      bool           // one picture for iris and white
}

// Subject is what is looked at.
type Subject struct {
	Name  string
	File  string
	Key   string // of the eye in a scene, "objects.eye"; "" of a file of meshes
	Grown bool   // made by this program, not brought
	Parts []*Part
	Eye   *measure.Eye // in mm as meant; nil where there is no shell to measure
	Asked float64      // mm of the file's numbers, as the file or the asker says
	Unit  float64      // mm of the file's unit, by its format or as told or guessed; 1 of meshes that are in mm
	MM    float64      // mm of the file's numbers as the eye is meant: Asked, or mended where the unit is wrong
	// InMetres: the file states its unit, metres, and its numbers were brought to mm when it was read.
	InMetres bool
	Size     measure.Size // of the eye as asked
	// AsFiled: the shells are rendered as their file has them, without subdivision.
	AsFiled bool
	// FromFile: a scene takes the shells from a file, so that its keys move pictures; it moves them by these already.
	FromFile  bool
	MapsShift [2]float64
	MapsScale float64
	// Snug: outside the limbus the inner shell is rendered close beneath the outer one, wherever it lies.
	Snug    bool
	Guess   string // the unit was guessed, of a format without one: its word
	Maps    []Map
	Mate    *Subject // the other eye of a pair, or the base of a variant
	Variant bool     // Mate is a base
	Side    string   // left or right, of the person; "": not known
	Notes   []string // of the readers
	// Scene is the text of the scene that is proposed for a file of meshes, for the folder dir; nil of others.
	Scene func(dir string) string
	// Laid are meshes of the scene about the eye, lids and tears, with the outer shell as it is rendered, all in mm of one space.
	Laid struct {
		Shell *mesh.Mesh
		Parts []*Part
	}
}

// Told is what the asker knows of an eye.
type Told struct {
	MM    float64 // of the meshes' numbers; 0: 1
	Known measure.Known
}

// NewSubject measures an eye of two shells, of which one may be nil. The meshes are in the file's numbers and are not changed.
func NewSubject(name string, outer, inner *Part, others []*Part, told Told) (*Subject, error) {
	s := &Subject{Name: name, Asked: told.MM, Unit: 1}
	if s.Asked == 0 {
		s.Asked = 1
	}
	if outer != nil {
		outer.Role = Outer
		s.Parts = append(s.Parts, outer)
	}
	if inner != nil {
		inner.Role = Inner
		s.Parts = append(s.Parts, inner)
	}
	s.Parts = append(s.Parts, others...)
	for _, p := range s.Parts {
		if p.Role == Outer || p.Role == Inner {
			p.outward()
		}
	}
	o, i := s.meshOf(Outer), s.meshOf(Inner)
	e, err := measure.Measure(o, i, told.Known)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	s.Eye, s.Size = e, e.Size(s.Asked)
	s.MM = s.Asked
	if s.Size.Verdict == measure.Mistaken {
		s.MM *= s.Size.Factor
	}
	if s.MM != 1 {
		for _, p := range s.Parts {
			p.Mesh = scaled(p.Mesh, s.MM)
		}
		o, i = s.meshOf(Outer), s.meshOf(Inner)
		told.Known.Limbus *= s.MM
		if s.Eye, err = measure.Measure(o, i, told.Known); err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
	}
	return s, nil
}

// outward turns a shell that winds inward, in a copy.
func (p *Part) outward() {
	m := p.Mesh
	open, odd := mesh.Closed(m)
	p.InsideOut = open+odd == 0 && m.Volume() < 0
	if rough, err := measure.Look(m); open+odd > 0 && err == nil {
		p.InsideOut = rough.Outward() < -0.3
	}
	if !p.InsideOut {
		return
	}
	q := &mesh.Mesh{P: m.P, UV: m.UV, Tri: slices.Clone(m.Tri), Part: m.Part}
	q.TurnOver()
	if m.N != nil {
		q.N = make([]geom.Vec, len(m.N))
		for i, n := range m.N {
			q.N[i] = n.Neg()
		}
	}
	p.Mesh = q
}

// NewPair takes a high and a low mesh, mm each.
func NewPair(high, low *Part) (*Subject, error) {
	high.Role, low.Role = High, Low
	if high.Name == low.Name {
		high.Name, low.Name = high.Name+" (high)", low.Name+" (low)"
	}
	for _, p := range []*Part{high, low} {
		if len(p.Mesh.Tri) == 0 {
			return nil, errors.New(p.Name + ": there are no triangles")
		}
	}
	return &Subject{Name: high.Name + " on " + low.Name, Parts: []*Part{high, low}, Asked: 1, MM: 1}, nil
}

// scaled returns a copy of a mesh, k times as large; what does not change is shared.
func scaled(m *mesh.Mesh, k float64) *mesh.Mesh {
	q := *m
	q.P = make([]geom.Vec, len(m.P))
	for i, p := range m.P {
		q.P[i] = p.Mul(k)
	}
	return &q
}

// Part returns the part of a role, nil for none.
func (s *Subject) Part(role Role) *Part {
	for _, p := range s.Parts {
		if p.Role == role {
			return p
		}
	}
	return nil
}

func (s *Subject) meshOf(role Role) *mesh.Mesh {
	if p := s.Part(role); p != nil {
		return p.Mesh
	}
	return nil
}

// Radius is that of the globe in mm, or half of the largest side where there is none.
func (s *Subject) Radius() float64 {
	if s.Eye != nil && s.Eye.Globe.Radius.Held {
		return s.Eye.Globe.Radius.V
	}
	most := 0.0
	for _, p := range s.Parts {
		most = max(most, p.Mesh.Bounds().Size().MaxAbs())
	}
	return most / 2
}

// Words says in words where a place of the eye is: front or back, how far from the axis, toward which hour as seen from in
// front.
func (s *Subject) Words(p geom.Vec) string {
	if s.Eye == nil {
		return ""
	}
	e := s.Eye
	l := e.Frame.Local(p.Sub(e.Centre))
	rho := math.Hypot(l.X, l.Y)
	zone := "back"
	switch {
	case l.Z > 0 && e.Limbus.Held && rho < e.Limbus.V:
		zone = "iris or cornea"
	case l.Z > 0:
		zone = "front of the white"
	}
	if rho < 0.02*s.Radius() {
		return zone + ", on the axis"
	}
	hour := int(math.Round(math.Atan2(l.X, l.Y)/(2*math.Pi)*12)+12) % 12
	if hour == 0 {
		hour = 12
	}
	return fmt.Sprintf("%s, %.2f mm from the axis toward %d o'clock", zone, rho, hour)
}

// Place is a place on a part with its words.
func (s *Subject) Place(p *Part, q geom.Vec) Place {
	at := At(p.Name, q)
	at.Text = s.Words(q)
	return at
}

// RoleOf reads a name.
func RoleOf(name string) Role {
	name = strings.ToLower(name)
	for _, w := range []struct {
		role  Role
		words []string
	}{{Tear, []string{"tear", "meniscus", "wet", "film"}}, {Lid, []string{"lid", "skin", "caruncle", "face", "head"}}} {
		for _, k := range w.words {
			if strings.Contains(name, k) {
				return w.role
			}
		}
	}
	return Other
}

// MoveMaps moves the pictures on the inner shell as a scene does: shift in mm, turn in degrees.
func (s *Subject) MoveMaps(shift [2]float64, turn, scale float64) error {
	s.FromFile, s.MapsShift, s.MapsScale = true, shift, scale
	part := s.Part(Inner)
	if part == nil || s.Eye == nil || shift == [2]float64{} && turn == 0 && (scale == 0 || scale == 1) {
		return nil
	}
	q, err := shells.FlatOf(part.Mesh, s.Eye.Centre, s.Eye.Frame, s.Eye.Limbus.V)
	if err != nil {
		return fmt.Errorf("asset.maps_shift, maps_turn, maps_scale: %w", err)
	}
	m := *part.Mesh
	m.UV = slices.Clone(m.UV)
	part.Mesh = &m
	shells.MoveMaps(part.Mesh, q, shift, turn, cmp.Or(scale, 1))
	return nil
}
