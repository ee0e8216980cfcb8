package eye

import (
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
	"catchlight/scene/texture"
)

// Eye is a built eye. It does not change after Build, so any number of workers may read it.
type Eye struct {
	Params Params

	Outer *mesh.Mesh // cornea, limbus and sclera with the tear film's wobble; closed
	Inner *mesh.Mesh // sclera, iris and pit; closed; Part marks what absorbs

	// Colour is the albedo over the inner shell's texture plane: linear, 3 channels, MapSize square. In the sclera zone
	// it is the colour as seen under diffuse light, in the iris zone that of bare tissue; the two blend with Zone.
	Colour *texture.Image

	// Vessels is the share of light that shallow vessels on top of the sclera let pass on one crossing, laid out as Colour.
	Vessels *texture.Image

	ApexZ       float64 // z of the undisplaced corneal apex, mm
	LimbusZ     float64 // z of the undisplaced outer shell at LimbusRadius, mm
	IrisZ       float64 // z of the pupil plane, mm: ApexZ - IrisDepth
	IrisRadius  float64 // radius of the iris root about the axis, mm
	LipRadius   float64 // half chord beyond which the inner shell lies ShellGap beneath the outer one, mm
	AxialLength float64 // corneal apex to the back of the globe, mm

	chart *chart
	iris  *iris
	veins *veins
}

// Build checks p and makes the eye; see the package comment. It uses as many workers as the scheduler offers; their
// number does not change the result.
func Build(p Params) (*Eye, error) {
	e, err := Grow(p)
	if err == nil {
		e.Colour, e.Vessels = newCanvas(&e.Params, e.chart, e.iris, e.veins, p.MapSize, 1).paint()
	}
	return e, err
}

// Grow is Build without the maps Colour and Vessels, which stay nil; Bake makes them and others at any size.
func Grow(p Params) (*Eye, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	prof := newProfile(&p)
	c := newChart(&p, prof.apex-p.IrisDepth)
	e := &Eye{Params: p, chart: c,
		ApexZ:      prof.apex,
		IrisZ:      prof.apex - p.IrisDepth,
		IrisRadius: p.irisRadius(),
		LipRadius:  p.lipRadius(),
	}
	e.LimbusZ, _, _ = prof.at(p.LimbusRadius)
	e.AxialLength = prof.apex + p.GlobeRadius

	w := newWobble(&p, c, prof)
	e.iris = newIris(&p, e.IrisZ)
	sh := newShells(&p, prof, w, e.iris)
	parallel.Both(func() {
		e.veins = newVeins(&p)
		e.Outer = sh.outer(c)
	}, func() {
		e.iris.tissue = growTissue(&p, e.iris, tissueDensity(&p, c))
	})
	e.Inner = sh.inner(c)
	return e, nil
}

// Zone returns the weight of the iris zone in [0, 1] at a point in the eye frame, on or in the eye: 1 over the iris, 0
// over the sclera and behind the equator, with a smooth blend of LimbusWidth about LimbusRadius between. On the front
// of the eye it depends on the distance from the axis alone; it fades out above the equator, deep inside the globe.
func (e *Eye) Zone(p geom.Vec) float64 {
	w, _ := e.chart.zone(p)
	return w
}

// SurfaceUV returns where in the map a point on or in the eye looks up its colour. On the inner shell it equals the
// mesh's texture coordinates. It is continuous but on the axis behind the globe's centre, where all directions meet at
// the rim of the map, which has one colour.
func (e *Eye) SurfaceUV(p geom.Vec) geom.UV { return e.chart.uv(p) }
