package prepare

import (
	"fmt"

	"catchlight/material/hair"
	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// usual is how all hair scatters light.
var usual = hair.Usual()

// hairs adds an object of hairs. Its colour is what their mean pigment sends back of even light: for what sees no lobes.
func (p *preparer) hairs(name string, h *accel.Curves, to geom.Affine, mask frozen.Mask) {
	p.add(frozen.Object{
		Name: name, Shape: frozen.Strands, ToWorld: to, Mask: mask, Hair: h, Eye: -1,
		Material: frozen.Material{Kind: frozen.Hair, Colour: texture.Constant(meanColour(h)), Fibre: usual},
	}, h.Bounds())
}

// meanColour returns the colour of the mean pigment of hairs.
func meanColour(h *accel.Curves) colour.RGB {
	s := h.Set()
	var eu, ph float64
	for i := range s.Eu {
		eu, ph = eu+float64(s.Eu[i]), ph+float64(s.Ph[i])
	}
	n := float64(s.Hairs())
	return hair.Albedo(usual, hair.Absorption(eu/n, ph/n))
}

// Hold makes the hairs of a scene nowhere thinner than the pixels of its camera are there.
func Hold(s *frozen.Scene, workers int) error {
	width, spread := s.Camera.PixelSpread()
	ahead, eye := s.Camera.Frame().N.Neg(), s.Camera.Position()
	for i := range s.Objects {
		b := &s.Objects[i]
		if b.Hair == nil {
			continue
		}
		held, err := b.Hair.Held(func(v geom.Vec) float64 {
			return (width + spread*max(0, ahead.Dot(b.ToWorld.Point(v).Sub(eye)))) / 2 / b.Scale
		}, accel.Options{Workers: workers})
		if err != nil {
			return fmt.Errorf("objects.%s: %w", b.Name, err)
		}
		b.Hair = held
		b.Bounds = about(b.ToWorld, held.Bounds())
	}
	return nil
}
