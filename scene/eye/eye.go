package eye

import (
	"math"

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
	nets  map[string]*net // of vessels, by layer
}

// Build checks p and makes the eye; see the package comment. It uses as many workers as the scheduler offers; their
// number does not change the result.
func Build(p Params) (*Eye, error) {
	e, err := Grow(p)
	if err == nil {
		e.maps(keepNone)
	}
	return e, err
}

// Grow is Build without the maps Colour and Vessels, which stay nil; Bake makes them and others at any size.
func Grow(p Params) (*Eye, error) {
	e, err := Form(p)
	if err == nil {
		e.layers(keepNone)
	}
	return e, err
}

// Form makes what the list of layers leaves alone: the shells, and the iris as it is beneath its layers. Painted makes
// the rest; until then the eye has no colour.
func Form(p Params) (*Eye, error) {
	e, err := Lay(p)
	if err != nil {
		return nil, err
	}
	prof, c := newProfile(&e.Params), e.chart
	w := newWobble(&e.Params, c, prof)
	e.iris = newIris(&e.Params, e.IrisZ)
	sh := newShells(&e.Params, prof, w, e.iris)
	parallel.Both(func() {
		e.Outer = sh.outer(c)
	}, func() {
		e.iris.tissue = growTissue(&e.Params, e.iris, tissueDensity(&e.Params, c))
	})
	e.Inner = sh.inner(c)
	return e, nil
}

// Lay checks p and lays out the eye, without shells or colour: where each point looks up its colour, its zone and the lengths of Eye.
func Lay(p Params) (*Eye, error) {
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
	return e, nil
}

// Painted returns an eye of the same form with the layers and maps of p, of which it takes what Repaint does. keep
// holds each layer by what it depends on. e stays as it is.
func (e *Eye) Painted(p Params, keep Keep) (*Eye, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	q := *e
	q.Params = Repaint(e.Params, p)
	q.layers(keep)
	q.maps(keep)
	return &q, nil
}

// Flat returns Colour as it is seen under Vessels, as one map: for shells that nothing lies on top of.
func (e *Eye) Flat() *texture.Image {
	n, _, _ := e.Colour.Size()
	pix := make([]float32, 3*n*n)
	parallel.Runs(n, 8, func(y0, y1 int) {
		for at := 3 * y0 * n; at < 3*y1*n; at++ {
			x, y, k := at/3%n, at/3/n, at%3
			f := e.Vessels.At(x, y, k)
			pix[at] = float32(e.Colour.At(x, y, k) * f * f) // light crosses it twice
		}
	})
	return texture.NewImage(n, n, 3, pix)
}

// Films reports whether something lies on top of the white, so that Vessels is not 1 everywhere.
func (e *Eye) Films() bool {
	for i := range e.Params.Paint {
		if l := &e.Params.Paint[i]; l.Into == "film" && e.Params.gain(l) != 0 {
			return true
		}
	}
	return false
}

// Repaint returns p with what paints it in place of its own: all that Form leaves alone.
func Repaint(p, by Params) Params {
	p.Paint, p.ScleraColour, p.Redness, p.Mottling, p.Veins = by.Paint, by.ScleraColour, by.Redness, by.Mottling, by.Veins
	p.Generic, p.Arcus, p.Cloud, p.MapSize = by.Generic, by.Arcus, by.Cloud, by.MapSize
	p.Zones = by.Zones
	p.Pattern, p.Sector.Pattern = p.Pattern.dyed(&by.Pattern), p.Sector.Pattern.dyed(&by.Sector.Pattern)
	return p
}

// dyed returns a pattern with what colours another one: its relief stays.
func (p IrisPattern) dyed(by *IrisPattern) IrisPattern {
	p.Stroma, p.StromaHue, p.Ground, p.PigmentHue = by.Stroma, by.StromaHue, by.Ground, by.PigmentHue
	p.PupillaryPigment, p.CiliaryPigment, p.OuterPigment = by.PupillaryPigment, by.CiliaryPigment, by.OuterPigment
	p.LimbalRing, p.Freckles = by.LimbalRing, by.Freckles
	return p
}

// layers grows the vessels and lays the layers on the iris.
func (e *Eye) layers(keep Keep) {
	p := &e.Params
	ir := *e.iris
	e.iris = &ir
	e.nets = map[string]*net{}
	var grow []*Layer
	for i := range p.Paint {
		if l := &p.Paint[i]; l.isNet() && p.wanted(l) {
			grow = append(grow, l)
		}
	}
	nets := make([]*net, len(grow))
	s := shape{p.GlobeRadius, p.LimbusRadius, p.LimbusWidth, p.Left, p.Seed, p.MapSize, p.IrisShare, 1}
	parallel.Both(func() {
		parallel.Each(len(grow), 2, func(i int) {
			l := grow[i]
			nets[i] = keep("vessels "+l.Name, []any{s, l.bare(), p.open()}, func() any { return newNet(p, l) }).(*net)
		})
	}, func() {
		ir.tissue = ir.tissue.painted(p, keep)
	})
	for i, l := range grow {
		e.nets[l.Name] = nets[i]
	}
}

// maps makes Colour and Vessels.
func (e *Eye) maps(keep Keep) {
	e.Colour, e.Vessels = newCanvas(e, e.Params.MapSize, 1, keep).paint()
}

// Zone returns the weight of the iris zone in [0, 1] at a point in the eye frame, on or in the eye: 1 over the iris, 0
// over the sclera and behind the equator, with a smooth blend of LimbusWidth about LimbusRadius between. On the front
// of the eye it depends on the distance from the axis alone; it fades out above the equator, deep inside the globe.
func (e *Eye) Zone(p geom.Vec) float64 {
	w, _ := e.chart.zone(p)
	return w
}

// Relief returns the relief of the iris at a place of the map, in units of its height between ridges and the floors of crypts: about -0.6
// to 0.6, and 0 in the pupil and from near the root outward, where an iris may lie close under its cornea.
func (e *Eye) Relief(uv geom.UV) float64 {
	x, y := (uv.U-0.5)/e.chart.perMM, (0.5-uv.V)/e.chart.perMM
	if math.Hypot(x, y) > e.IrisRadius+0.1 {
		return 0
	}
	_, rho := e.iris.polar(x, y)
	return e.iris.tissue.height(x, y) * geom.Smoothstep(0, 0.05, rho) * (1 - geom.Smoothstep(0.75, 0.95, rho))
}

// SurfaceUV returns where in the map a point on or in the eye looks up its colour. On the inner shell it equals the
// mesh's texture coordinates. It is continuous but on the axis behind the globe's centre, where all directions meet at
// the rim of the map, which has one colour.
func (e *Eye) SurfaceUV(p geom.Vec) geom.UV { return e.chart.uv(p) }
