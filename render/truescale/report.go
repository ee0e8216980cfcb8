package truescale

import (
	"errors"
	"fmt"
	"math"

	"catchlight/render/frozen"
	"catchlight/render/pathtrace"
	"catchlight/render/prepare"
	"catchlight/render/spread"
	"catchlight/scene"
	"catchlight/scene/geom"
	"catchlight/scene/measure"
)

// Walks is how many walks measure each part of an eye where nothing else is asked for, and LeastWalks the least that may be.
const Walks, LeastWalks = 64000, 1000

// Mistakes are the factors by which eyes come in too large or too small, and 1.
var Mistakes = []float64{0.01, 0.1, 1, 2.54, 10, 25.4}

// Sweeps are the factors on the scatter radii that the second page shows.
var Sweeps = []float64{0.25, 0.5, 0.71, 1, 1.41, 2, 4}

// Variant is the eye with light that spreads otherwise.
type Variant struct {
	Factor float64     `json:"factor"`    // page one: on the eye's lengths; page two: on the scatter radii
	Length float64     `json:"length_mm"` // of the eye, as it then is
	Share  float64     `json:"r50_share"` // the green radius of half re-emission, as a share of the globe's width
	Edge   spread.Edge `json:"edge"`      // mm as they then are
	Set    []string    `json:"set"`       // page two: what to type
	Held   bool        `json:"held_in_range,omitempty"`
}

// Report is all that is measured of an eye, and what is said of it.
type Report struct {
	Name      string       `json:"eye"`
	Length    spread.Value `json:"axial_length_mm"`
	Held      bool         `json:"axial_length_held"`
	Globe     float64      `json:"globe_radius_mm"`
	Limbus    float64      `json:"limbus_radius_mm"`
	White     spread.Radii `json:"white"`
	Iris      spread.Radii `json:"iris"`
	HasIris   bool         `json:"iris_measured"`
	Published [3]float64   `json:"published_white_r50_mm"`
	Mistakes  []Variant    `json:"mistakes"`
	Sweep     []Variant    `json:"sweep"`
	Verdict   Verdict      `json:"verdict"`
	Size      measure.Size `json:"-"`
	Place     Place        `json:"-"`
	WhiteAt   geom.Vec     `json:"-"` // the place on the white, world
	IrisAt    geom.Vec     `json:"-"` // one place on the iris, world
	object    *scene.Object
	eye       *frozen.Eye
	seen      *spread.Seen
	pupil     float64 // its radius; NaN where there is none
	walks     int
}

// Examine measures the size of the one eye of a prepared scene that Alone made, and its white by so many walks: all that the
// verdict needs. Fill measures what the pages show besides.
func Examine(p *prepare.Prepared, workers, walks int) (*Report, error) {
	s := p.Scene
	if len(s.Eyes) == 0 {
		return nil, errors.New("the scene has no eye")
	}
	e := &s.Eyes[0]
	b := &s.Objects[e.Inner]
	m, err := measure.Measure(s.Objects[e.Outer].Mesh, b.Mesh, measure.Known{Axis: geom.Vec{Z: 1}})
	if err != nil {
		return nil, err
	}
	k := b.Scale
	r := &Report{Length: spread.Value{V: m.Length.V * k, SE: m.Length.SE * k}, Held: m.Length.Held, Globe: m.Globe.Radius.V * k,
		Limbus: e.LimbusRadius * k, Published: Published(), Size: sized(m, e, k)}
	for i := range p.Description.Objects {
		if q := &p.Description.Objects[i]; q.Shape == "eye" && q.On {
			r.object, r.Name = q, q.Name
		}
	}
	r.eye, r.pupil, r.walks = e, m.Pupil.V, walks
	r.seen = &spread.Seen{Scene: s, Workers: workers, Seed: uint64(p.Description.Picture.Seed)}
	t := pathtrace.New(s, 1)
	limb := math.Asin(min(0.95, (e.LimbusRadius+e.LimbusWidth/2)/m.Globe.Radius.V))
	r.Place = Place{Radius: r.Globe, Polar: (limb + math.Pi/2) / 2}
	at, _ := r.Place.Site()
	sf, ok := t.Site(0, at)
	if !ok {
		return nil, fmt.Errorf("%s: there is no tissue on the white %.0f degrees off the optical axis", r.Name, geom.Degrees(r.Place.Polar))
	}
	r.WhiteAt = sf.P
	if r.White, ok = r.seen.Radii(r.Place.Spots(r.Place.Polar), walks); !ok {
		return nil, fmt.Errorf("%s: no light comes back out of the white", r.Name)
	}
	r.Verdict = Judge(r.Size, &r.White, r.object)
	return r, nil
}

// sized weighs the size of an eye whose numbers are k mm each. Its limbus is the one that is drawn: the measured one is the
// bend between cornea and white, which eyes without a furrow hide.
func sized(m *measure.Eye, e *frozen.Eye, k float64) measure.Size {
	q := *m
	q.Limbus = measure.Value{V: e.LimbusRadius, Held: true}
	return q.Size(k)
}

// Fill measures the iris, and the edge of a shadow on the white at each mistake of units and each step of the sweep.
func (r *Report) Fill() error {
	at, _ := r.Place.Site()
	var ok bool
	if r.Place.Iris, r.IrisAt, ok = onIris(pathtrace.New(r.seen.Scene, 1), r.eye, r.pupil); ok {
		r.Iris, r.HasIris = r.seen.Radii(r.Place.Spots(r.Place.Iris), r.walks)
	}
	edge := func(times float64) (Variant, error) {
		q := r.seen.Times(times)
		// How far light then reaches at most is known well enough to look there.
		reach := min(r.White.Most[0].V*times, 3*r.Globe)
		v, ok := q.Edge(at, geom.Vec{Y: 1}, r.Globe, reach, r.walks)
		if !ok {
			return Variant{}, fmt.Errorf("%s: no edge can be measured on the white", r.Name)
		}
		return Variant{Edge: v}, nil
	}
	for _, f := range Mistakes {
		v, err := edge(1 / f)
		if err != nil {
			return err
		}
		v.Factor, v.Length, v.Share = f, r.Length.V*f, r.White.Half[1].V/f/(2*r.Globe)
		v.Edge = scaled(v.Edge, f)
		r.Mistakes = append(r.Mistakes, v)
	}
	for _, f := range Sweeps {
		v, err := edge(f)
		if err != nil {
			return err
		}
		v.Factor, v.Length, v.Share, v.Set = f, r.Length.V, r.White.Half[1].V*f/(2*r.Globe), typed(r.object, f)
		_, v.Held = scatterSets(r.object, f)
		r.Sweep = append(r.Sweep, v)
	}
	return nil
}

// scaled turns an edge on the eye as it is, with radii divided by k, into that on an eye k times as large.
func scaled(e spread.Edge, k float64) spread.Edge {
	for c := range 3 {
		e.Width[c] = spread.Value{V: e.Width[c].V * k, SE: e.Width[c].SE * k}
		e.Past[c] = spread.Value{V: e.Past[c].V * k, SE: e.Past[c].SE * k}
	}
	e.RedPastBlue = spread.Value{V: e.RedPastBlue.V * k, SE: e.RedPastBlue.SE * k}
	return e
}

// onIris finds the angle off the optical axis at which one meets the iris half way between pupil and limbus, and a place there on
// the side of the nose of a right eye. pupil is its radius; NaN where there is none.
func onIris(t *pathtrace.Tracer, e *frozen.Eye, pupil float64) (polar float64, at geom.Vec, ok bool) {
	if !(pupil >= 0) {
		pupil = 0
	}
	want := (pupil + e.LimbusRadius - e.LimbusWidth/2) / 2
	best := math.Inf(1)
	for i := range 90 {
		a := geom.Radians(float64(i))
		sin, cos := math.Sincos(a)
		sf, hit := t.Site(0, geom.Vec{X: sin, Z: cos})
		if !hit {
			continue
		}
		l := t.Local(&sf)
		if d := math.Abs(math.Hypot(l.X, l.Y) - want); d < best {
			best, polar, at, ok = d, a, sf.P, true
		}
	}
	return polar, at, ok && best < 0.5*want
}
