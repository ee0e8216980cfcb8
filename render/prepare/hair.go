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

// kind is a kind of hair and how many hairs it has.
type kind struct {
	name  string
	hairs int
}

// hairs adds an object for each kind of hair. Its colour is what their mean pigment sends back of even light: for what sees no lobes.
func (p *preparer) hairs(name string, g *grown, to geom.Affine, mask frozen.Mask) {
	first := 0
	for _, k := range g.kinds {
		p.add(frozen.Object{
			Name: name + "." + k.name, Shape: frozen.Strands, ToWorld: to, Mask: mask, Eye: -1,
			Hair: g.hair, First: uint32(first), End: uint32(first + k.hairs),
			Material: frozen.Material{Kind: frozen.Hair, Colour: texture.Constant(meanColour(g.hair, first, first+k.hairs)), Fibre: usual},
		}, g.hair.Bounds())
		first += k.hairs
	}
}

// meanColour returns the colour of the mean pigment of the hairs from first to end-1.
func meanColour(h *accel.Curves, first, end int) colour.RGB {
	s := h.Set()
	var eu, ph float64
	for i := first; i < end; i++ {
		eu, ph = eu+float64(s.Eu[i]), ph+float64(s.Ph[i])
	}
	n := float64(end - first)
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
		if b.First > 0 {
			b.Hair, b.Bounds = s.Objects[i-1].Hair, s.Objects[i-1].Bounds
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
