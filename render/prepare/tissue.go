package prepare

import (
	"errors"
	"fmt"
	"math"

	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// front is the answer of eyeball.front for each texel of a volume map: u, v, weight.
type front []float32

// coat is the tissue's maps over the volume.
type coat struct {
	colour, alpha *frozen.VolumeMap
	vessels       *frozen.VolumeMap // nil without vessels on top

	meanIris, meanWhite colour.RGB
}

// mean takes the means of both zones.
func (c *coat) mean(d *scene.Eye) *coat {
	limb := math.Atan2(d.Limbus.Radius, d.Globe.Radius)
	c.meanIris = c.colour.Mean(func(v geom.Vec) bool {
		a := math.Acos(v.Z)
		return a < 0.9*limb && a > 0.45*limb
	})
	c.meanWhite = c.colour.Mean(func(v geom.Vec) bool {
		a := math.Acos(v.Z)
		return a > 1.3*limb && a < math.Pi/2
	})
	return c
}

// paint is the colour of a zone: a map, what multiplies it, and where it lies.
type paint struct {
	texture.Map
	tint colour.RGB
	on   *chart
}

// at returns the colour of texel i of the volume maps, whose direction is v.
func (p *paint) at(i int, v geom.Vec) colour.RGB { return p.RGB(p.on.at(i, v), 0).Mul(p.tint) }

// exact returns the colour in front of any direction.
func (p *paint) exact(v geom.Vec) colour.RGB { return p.RGB(p.on.exact(v), 0).Mul(p.tint) }

// tissue makes the maps over the volume.
//
// Long: what a map of the volume holds is put together once, in this order.
func (p *preparer) tissue(name string, s *eyeball, d *scene.Eye) (*coat, error) {
	workers := p.o.WorkerCount()
	look, exact, err := p.directions(name, nil, d, s.front)
	if err != nil {
		return nil, err
	}
	main := &chart{shell: "inner", mesh: s.inner,
		exact: func(v geom.Vec) geom.UV { uv, _ := exact(v); return uv },
		at:    func(i int, v geom.Vec) geom.UV { uv, _ := look(i, v); return uv },
	}
	iris, white := paint{on: main}, paint{on: main}
	if iris.on, err = p.chart(name, "iris.colour", s, d, &d.Iris.Colour, main); err != nil {
		return nil, fmt.Errorf("iris.colour: %w", err)
	}
	whiteOn := &d.Sclera.Colour
	if !whiteOn.Given && s.own.outerWhite {
		whiteOn = &scene.MapSpec{Shell: "outer"}
	}
	if white.on, err = p.chart(name, "sclera.colour", s, d, whiteOn, main); err != nil {
		return nil, fmt.Errorf("sclera.colour: %w", err)
	}
	under, err := p.underCornea(name, s, d)
	if err != nil {
		return nil, err
	}
	inputs := p.coatReads(d, under)
	return storedStage(p, "tissue "+name, inputs, coatStoreOf(d), func(m *making) (*coat, error) {
		painted, err := p.painted(name, s, d)
		if err != nil {
			return nil, err
		}
		if err := p.tissueMaps(s, d, m, painted, &iris, &white); err != nil {
			return nil, err
		}
		c := &coat{}
		if painted != nil && !d.Sclera.Colour.Given && painted.Films() {
			vessels := texture.FromImage(painted.Vessels, texture.Clamp)
			c.vessels = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
				uv, _ := look(i, v)
				return vessels.RGB(uv, 0)
			}, workers)
		}
		mostIris, mostWhite := most(&d.Iris.Colour, d.Iris.SigmaS), most(&d.Sclera.Colour, d.Sclera.SigmaS)
		lend := s.lentMap.Valid() && !s.own.picture
		lendIris, lendWhite := lend && !d.Iris.Colour.Given, lend && !d.Sclera.Colour.Given && !s.own.outerWhite
		bare := func(_ geom.Vec, seen colour.RGB) colour.RGB { return seen }
		if under != nil {
			bare = under.bare(&iris, &white, func(v geom.Vec) float64 { _, w := exact(v); return w }, mostIris, m)
		}
		c.colour = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
			_, w := look(i, v)
			var in, out colour.RGB
			if w > 0 {
				in = bare(v, iris.at(i, v))
			}
			if w < 1 {
				out = white.at(i, v)
			}
			if lendIris || lendWhite {
				l := s.lentMap.RGB(s.lent(v), 0)
				if lendIris {
					in = l
				}
				if lendWhite {
					out = l.Mul(d.Sclera.Tint)
				}
			}
			return colour.Lerp(upTo(out, mostWhite), upTo(in, mostIris), w)
		}, workers)
		if d.Iris.SigmaS == nil && d.Sclera.SigmaS == nil {
			c.alpha = c.colour.Map(func(q colour.RGB) colour.RGB { return albedo(q, nil, nil) }, workers)
			return c.mean(d), nil
		}
		c.alpha = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
			_, w := look(i, v)
			return colour.Lerp(albedo(upTo(white.at(i, v), mostWhite), d.Sclera.SigmaA, d.Sclera.SigmaS),
				albedo(upTo(bare(v, iris.at(i, v)), mostIris), d.Iris.SigmaA, d.Iris.SigmaS), w)
		}, workers)
		return c.mean(d), nil
	})
}

// coatReads is all that the maps over the volume are made from.
func (p *preparer) coatReads(d *scene.Eye, under *underCornea) []any {
	return []any{shapeOf(d), p.stamps(d), d.Iris.Colour, d.Sclera.Colour, d.Sclera.Tint,
		d.Iris.SigmaA, d.Iris.SigmaS, d.Sclera.SigmaA, d.Sclera.SigmaS, under,
		d.Paint, d.Sclera.BaseColour, d.Sclera.Veins, d.Sclera.Redness, d.Sclera.Mottling, d.Sclera.ToneDown, d.Iris.Arcus, d.Cornea.Clouding, d.Iris.Tint, d.Iris.Pigment,
		d.Iris.Collarette, d.Iris.Ciliary, d.Iris.Margin}
}

// painted returns a built eye with its paint, or nil.
func (p *preparer) painted(name string, s *eyeball, d *scene.Eye) (*eye.Eye, error) {
	if s.grow == nil {
		return nil, nil
	}
	par, err := d.Params()
	if err != nil {
		return nil, err
	}
	grown, err := s.grow()
	if err != nil {
		return nil, err
	}
	return grown.Painted(par, p.layers(name))
}

// layers keeps each layer of an eye's paint as a stage.
func (p *preparer) layers(name string) eye.Keep {
	if p.o.Cache == nil {
		return func(_ string, _ any, make func() any) any { return make() }
	}
	return func(layer string, inputs any, make func() any) any {
		v, err := stage(&preparer{o: p.o}, name+" "+layer, inputs, func(*making) (any, error) { return make(), nil })
		if err != nil { // inputs without a form in JSON
			return make()
		}
		return v
	}
}

// stamps tells the state of the files that the shells are made from.
func (p *preparer) stamps(d *scene.Eye) []string {
	var out []string
	add := func(path scene.Path) {
		if path != "" {
			s := StampOf(string(path))
			out = append(out, fmt.Sprint(s.Path, s.size, s.time))
		}
	}
	if d.Asset != nil {
		add(d.Asset.File)
	}
	for _, h := range []*scene.HeightMap{d.Cornea.Height, d.Iris.Height} {
		if h != nil {
			add(h.File)
		}
	}
	return out
}

// tissueMaps fills the maps of the iris and of the sclera and what multiplies them: the scene's, else what the asset
// or the built eye brings.
func (p *preparer) tissueMaps(s *eyeball, d *scene.Eye, m *making, painted *eye.Eye, iris, white *paint) (err error) {
	iris.tint, white.tint = colour.Grey(1), d.Sclera.Tint
	if painted != nil {
		iris.Map = texture.FromImage(painted.Colour, texture.Clamp)
		white.Map = iris.Map
	} else {
		iris.Map, white.Map, iris.tint = s.own.iris, s.own.white, s.own.tint
		white.tint = white.tint.Mul(s.own.whiteTint)
	}
	for _, q := range []struct {
		key   string
		spec  *scene.MapSpec
		to    *paint
		given colour.RGB // what multiplies the scene's map
	}{{"iris.colour", &d.Iris.Colour, iris, colour.Grey(1)}, {"sclera.colour", &d.Sclera.Colour, white, d.Sclera.Tint}} {
		if !q.spec.Given {
			continue
		}
		t, e := p.picture(m, q.key, q.spec, true)
		if e != nil {
			err = errors.Join(err, fmt.Errorf("%s: %w", q.key, e))
			continue
		}
		m.notes = append(m.notes, tileNotes(q.key, q.to.on.mesh, &t)...)
		q.to.Map, q.to.tint = t, q.given
	}
	if s := d.Iris.SigmaS; s != nil {
		iris.Map, iris.tint = texture.Constant(reflectance(d.Iris.SigmaA, s)), colour.Grey(1)
	}
	if s := d.Sclera.SigmaS; s != nil {
		white.Map, white.tint = texture.Constant(reflectance(d.Sclera.SigmaA, s)), colour.Grey(1)
	}
	if err == nil {
		m.notes = append(m.notes, fine("iris.colour", d, true, iris.on, &iris.Map)...)
		m.notes = append(m.notes, fine("sclera.colour", d, false, white.on, &white.Map)...)
	}
	return err
}

// most is the largest reflectance that a zone's colour is let through with: 1 for a plain value or coefficients.
func most(s *scene.MapSpec, scatter *colour.RGB) float64 {
	if scatter != nil || s.Given && s.File == "" {
		return 1
	}
	return maxColour
}

// upTo keeps a colour within 0 to top.
func upTo(c colour.RGB, top float64) colour.RGB {
	for k, v := range c {
		c[k] = max(0, min(v, top))
	}
	return c
}
