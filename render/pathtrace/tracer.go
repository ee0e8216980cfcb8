package pathtrace

import (
	"math"
	"sync"

	"catchlight/material/hair"
	"catchlight/material/microfacet"
	"catchlight/render/accel"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/invariant"
	"catchlight/render/sampler"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// The classes of paths: what the camera saw first, and whether light came to it straight from a light.
const (
	Background     film.Class = iota // no object
	Reflection                       // mirrored at an eye's outer shell
	IrisDirect                       // light that fell on the iris from a light
	IrisIndirect                     // light that fell on it from elsewhere
	ScleraDirect                     // the same for the sclera
	ScleraIndirect                   //
	BodyDirect                       // the same for all else
	BodyIndirect                     //
	Classes
)

// The ways that light came: added to a class on the film, so that a layer may pick them.
const (
	Plainly film.Class = iota * Classes
	Focused            // through a cornea, straight from a light, to the tissue that the camera sees
	Passing            // of the class Background: not seen directly but through clear objects
)

// AllWays returns the bits of a class, whatever way the light came, for a layer of the film.
func AllWays(c film.Class) uint32 { return 1<<c | 1<<(c+Focused) | 1<<(c+Passing) }

// ClassNames are the classes' names in files, by class.
var ClassNames = [Classes]string{"background", "reflection", "iris.direct", "iris.indirect", "sclera.direct", "sclera.indirect", "object.direct", "object.indirect"}

// Stats counts what a worker did.
type Stats struct {
	Samples       int64 `json:"samples"`
	CameraRays    int64 `json:"camera_rays"`
	ReflectedRays int64 `json:"reflected_rays"` // mirrored at a smooth surface or at the tear film
	RefractedRays int64 `json:"refracted_rays"` // passed through one
	ScatteredRays int64 `json:"scattered_rays"` // sent on by a surface that lights were connected to
	ShadowRays    int64 `json:"shadow_rays"`    // toward lights
	SolverRays    int64 `json:"solver_rays"`    // cast by the solver through the cornea
	// SolverCalls is how often the solver looked for a path from a point in the chamber through the cornea to a light, for
	// light samples and for checks together; SolverFound how often there was one within 1e-6 rad. A point that the light can't
	// reach through the cornea has none, so the rest is no loss by itself: see the report's energy_not_found. SolverSteps
	// counts steps of Newton's method, those that only saw that the aim is reached included.
	SolverCalls int64 `json:"solver_calls"`
	SolverFound int64 `json:"solver_found"`
	SolverSteps int64 `json:"solver_steps"`
	// SolverChecks is how many of the calls asked after a path that a ray had taken by chance; SolverAgreed how many of
	// them found that very path, so that the two ways share its light.
	SolverChecks int64 `json:"solver_checks"`
	SolverAgreed int64 `json:"solver_agreed"`
	Walks        int64 `json:"walks"`      // random walks in tissue
	WalkSteps    int64 `json:"walk_steps"` // flights between collisions, borders of zones included
	WalkRays     int64 `json:"walk_rays"`  // cast for them
	WalkLeaks    int64 `json:"walk_leaks"` // met a shell from the wrong side and ended there; see lost_share
	CutPaths     int64 `json:"cut_paths"`  // ended by advanced.max_depth
	Within       int64 `json:"within"`     // met flesh from within, where objects reach into each other, and went on in it
	WalkFolds    int64 `json:"walk_folds"` // rays or walks that a crease of an eye's inner shell let in or out by rounding, and that went on inside
}

// Plus adds two counts.
func (a Stats) Plus(b Stats) Stats {
	return Stats{
		a.Samples + b.Samples, a.CameraRays + b.CameraRays, a.ReflectedRays + b.ReflectedRays,
		a.RefractedRays + b.RefractedRays, a.ScatteredRays + b.ScatteredRays, a.ShadowRays + b.ShadowRays,
		a.SolverRays + b.SolverRays, a.SolverCalls + b.SolverCalls, a.SolverFound + b.SolverFound,
		a.SolverSteps + b.SolverSteps, a.SolverChecks + b.SolverChecks, a.SolverAgreed + b.SolverAgreed,
		a.Walks + b.Walks, a.WalkSteps + b.WalkSteps, a.WalkRays + b.WalkRays,
		a.WalkLeaks + b.WalkLeaks, a.CutPaths + b.CutPaths, a.Within + b.Within, a.WalkFolds + b.WalkFolds,
	}
}

// Spent returns how many rays were cast into hierarchies and the seconds that took; see accel.Scratch.
func (t *Tracer) Spent() (rays int64, seconds float64) { return t.sc.Spent() }

// Tracer is one worker's path tracer. It is not safe for concurrent use; the scene it reads is shared.
type Tracer struct {
	scene  *frozen.Scene
	set    frozen.Settings
	sc     *accel.Scratch
	smp    sampler.Sampler
	energy *microfacet.EnergyTable // where a rough metal needs it, else nil
	media  bool                    // some object holds a medium
	blends bool                    // some object stops a share of the light
	stack  [4]path
	found  [mostPaths]solution // from one point to one light through a cornea
	n      int
	fibre  hair.Fibre                             // that the path meets
	major  colour.RGB                             // the larger extinction of the zones of the tissue that a walk is in, 1/mm
	away   func(from geom.Vec, weight colour.RGB) // hears of paths that leave the scene, in place of the film; nil but within Depart

	Stats Stats
	// Ledger is the luminance that came to the film by each class of path, summed over samples.
	Ledger [Classes]float64
	// Bent is the luminance that came to the film, summed over samples, straight from lights through a cornea, of the
	// lights that the solver connects; Unfound the part of it that only chance brought, as the solver did not find its path.
	// All by light.
	Bent, Unfound []float64
	// Lost is the luminance of what the WalkLeaks carried, of 1 that each sample starts with.
	Lost float64
}

// New makes a worker for a scene.
func New(s *frozen.Scene, seed uint64) *Tracer {
	t := &Tracer{scene: s, set: s.Settings, sc: accel.NewScratch(), smp: sampler.New(seed),
		Bent: make([]float64, len(s.Lights)), Unfound: make([]float64, len(s.Lights))}
	for i := range s.Objects {
		m := &s.Objects[i].Material
		if m.Kind == frozen.Conductor && m.Alpha >= microfacet.MinAlpha {
			t.energy = energyTable()
		}
		t.media = t.media || m.HasMedium
		t.blends = t.blends || s.Objects[i].OpacityMask != nil && s.Objects[i].OpacityMask.Blend
	}
	return t
}

// energyTable is made once, when a scene first holds a rough metal, and only read afterwards.
var energyTable = sync.OnceValue(microfacet.NewEnergyTable)

// chain says what lies between a path's last scattering vertex and the ray that it now follows.
type chain uint8

const (
	unconnected chain = iota // no light sample could have made this path: a hit counts in full
	left                     // nothing, but lights were not connected
	direct                   // nothing
	coated                   // one straight passage out through an eye's coat
	refracted                // one refraction out through an eye's cornea
	booked                   // nothing, and what lights send along the ray is counted already
)

// path is the state of a path under way.
type path struct {
	ray    geom.Ray
	beta   colour.RGB
	vertex int
	branch uint32
	mask   frozen.Mask
	class  film.Class
	seen   bool // the camera's first ray: nothing met yet
	sharp  bool // only mirrors and refractions since the camera
	past   bool // came in straight through an eye's coat and was not scattered since
	wet    bool // passed the surface of tears just now: what they cover has no film or coat of its own

	chain chain
	x     geom.Vec // last scattering vertex, and the density with which it chose the ray's direction
	pdf   float64  // 1/sr there
	eye   int32    // eye whose chamber x lies in, or -1
	zone  float64  // iris-zone weight of x
	solve bool     // x is connected through the cornea by the solver
	every bool     // x was connected to every light (else to one, by LightPick)
	y     geom.Vec // where the path crossed the cornea (chain refracted), eye frame
	facet crossing // the same on the shell's mesh
	nest           // closed objects around the ray

	strands *accel.Curves // the ray leaves a hair of these and does not meet it again; nil: none
	strand  uint32        // which
}

// index returns the refractive index of an object's inside; -1 is air.
func (t *Tracer) index(object int32) float64 {
	if object < 0 {
		return 1
	}
	b := &t.scene.Objects[object]
	switch b.Material.Kind {
	case frozen.Dielectric:
		return b.Material.Index
	case frozen.Outer:
		return t.scene.Eyes[b.Eye].Index
	}
	return 1
}

// Sample adds one sample to the film's Sample, which has been told the pixel: contributions in W/(m^2 sr) (W/m^2 on a
// plate) with their light (-1 for the background) and class, and the coverage alpha. px and py are the film position
// in pixels from the top left.
func (t *Tracer) Sample(pixel uint64, replicate, sample uint32, px, py float64, out *film.Sample) {
	t.smp.Start(pixel, replicate, sample)
	t.Stats.Samples++
	t.Stats.CameraRays++
	if t.blends {
		t.sc.Coin = 1 | math.Float64bits(t.smp.D1(0, sampler.Opacity, 0))*0x9e3779b97f4a7c15
	}
	l0, l1 := t.smp.D2(0, sampler.Lens, 0)
	o, d, weight := t.scene.Camera.Ray(px, py, l0, l1)
	p := path{
		ray: geom.Ray{O: o, D: d}, beta: colour.Grey(weight), vertex: 1, mask: frozen.CameraRays, seen: true, sharp: true,
		eye: -1,
	}
	for _, b := range t.scene.CameraIn {
		p.enter(b)
	}
	out.Cover(1)
	t.n = 0
	if t.scene.Plate {
		n := t.index(p.medium())
		p.beta = p.beta.Scale(n * n)
		t.plate(&p, out)
	}
	t.push(&p)
	for t.n > 0 {
		t.n--
		q := t.stack[t.n]
		t.follow(&q, out)
	}
}

func (t *Tracer) push(p *path) {
	if t.n < len(t.stack) {
		t.stack[t.n] = *p
		t.n++
	}
}

// add books what a path brings from a light, an index of the scene's lights, that shines from the direction wi (unit, in the world).
func (t *Tracer) add(light int, class, way film.Class, wi geom.Vec, v colour.RGB, out *film.Sample) {
	invariant.Weight("a contribution", v)
	if !v.Black() {
		if class == Reflection {
			way = Plainly
		}
		out.Add(t.scene.Tag(light, wi), class+way, v)
		t.Ledger[class] += v.Luminance()
	}
}
