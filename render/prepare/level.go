package prepare

import (
	"math"

	"catchlight/light"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

// levelSamples is how many directions toward each light measure what it brings to the grey card.
const levelSamples = 4096

// level brings the scene's lights, those from index first on, to the level of the grey card: by definition of reflectance a card
// of 18 % reads 0.18 where its irradiance has the luminance pi. Nothing shades the card.
func (p *preparer) level(first int) {
	setup := &p.d.LightSetup
	if setup.Balance == "none" || setup.Balance == "" || first == len(p.out.Lights) {
		return
	}
	at := geom.Vec{Z: 8}
	for i := range p.out.Eyes {
		at = p.out.Objects[p.out.Eyes[i].Outer].ToWorld.Point(geom.Vec{Z: 8})
		break
	}
	lights := p.out.Lights[first:]
	n := geom.Vec{Z: 1}
	if setup.Balance == "key" {
		sinA, cosA := math.Sincos(geom.Radians(setup.KeyDirection.Azimuth))
		sinE, cosE := math.Sincos(geom.Radians(setup.KeyDirection.Elevation))
		n = geom.RotateY(geom.Radians(setup.Rotation)).Vector(geom.Vec{X: sinA * cosE, Y: sinE, Z: cosA * cosE})
	} else if flux := fluxVector(lights, at); flux.Len2() > 0 {
		n = flux.Unit()
	}
	e := cardIrradiance(lights, at, n)
	if !(e > 0) || math.IsInf(e, 0) {
		p.warnf("light_setup.balance: no light reaches the card, so the lights stay as they are")
		return
	}
	k := math.Pi / e * math.Exp2(setup.EV)
	for i, l := range lights {
		lights[i] = l.Scaled(k)
	}
	p.warnf("the lights are brought to the grey card: %+.2f EV", math.Log2(k))
}

// eachSample visits directions toward the lights from at, with what one brings: luminance over density, over all samples.
func eachSample(lights []*light.Light, at geom.Vec, visit func(wi geom.Vec, l float64)) {
	for _, l := range lights {
		for i := range levelSamples {
			// The lattice of Roberts (2018), from the plastic number; any even set would do.
			_, u := math.Modf(0.5 + float64(i)*0.7548776662466927)
			_, v := math.Modf(0.5 + float64(i)*0.5698402909980532)
			if s, ok := l.Sample(at, u, v); ok && s.Pdf > 0 {
				visit(s.Wi, colour.RGB(s.L).Luminance()/s.Pdf/levelSamples)
			}
		}
	}
}

// fluxVector returns the net flux of light at a point, W/m^2: it points to where most comes from.
func fluxVector(lights []*light.Light, at geom.Vec) (f geom.Vec) {
	eachSample(lights, at, func(wi geom.Vec, l float64) { f = f.Mad(l, wi) })
	return f
}

// cardIrradiance returns the luminance of the irradiance on a card at a point that faces along n, W/m^2.
func cardIrradiance(lights []*light.Light, at, n geom.Vec) (e float64) {
	eachSample(lights, at, func(wi geom.Vec, l float64) { e += l * max(0, wi.Dot(n)) })
	return e
}
