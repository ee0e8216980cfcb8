package prepare

import (
	"errors"
	"fmt"

	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/texture"
)

// front is the answer of eyeball.front for each texel of a volume map: u, v, weight.
type front []float32

// coat is the tissue's maps over the volume.
type coat struct {
	colour, alpha *frozen.VolumeMap
	vessels       *frozen.VolumeMap // nil without vessels on top
}

// tissue makes the maps over the volume. With a cache the way from directions to texture coordinates is a stage of its
// own, so that a saved picture costs a look-up a texel.
func (p *preparer) tissue(name string, s *eyeball, d *scene.Eye) (*coat, error) {
	workers := p.o.WorkerCount()
	// Rounded as the table keeps it, so that a cache changes no bit.
	look := func(_ int, v geom.Vec) (geom.UV, float64) {
		uv, w := s.front(v)
		return geom.UV{U: float64(float32(uv.U)), V: float64(float32(uv.V))}, float64(float32(w))
	}
	if p.o.Cache != nil {
		table, err := stage(p, "front "+name, []any{shapeOf(d), p.stamps(d)}, func(*making) (front, error) {
			t := make(front, 3*d.MapSize*d.MapSize)
			frozen.Directions(d.MapSize, func(i int, v geom.Vec) {
				uv, w := s.front(v)
				t[3*i], t[3*i+1], t[3*i+2] = float32(uv.U), float32(uv.V), float32(w)
			}, workers)
			return t, nil
		})
		if err != nil {
			return nil, err
		}
		look = func(i int, _ geom.Vec) (geom.UV, float64) {
			return geom.UV{U: float64(table[3*i]), V: float64(table[3*i+1])}, float64(table[3*i+2])
		}
	}
	inputs := []any{shapeOf(d), p.stamps(d), d.Iris.Colour, d.Sclera.Colour, d.Sclera.Tint,
		d.Iris.SigmaA, d.Iris.SigmaS, d.Sclera.SigmaA, d.Sclera.SigmaS}
	return stage(p, "tissue "+name, inputs, func(m *making) (*coat, error) {
		iris, white, irisTint, whiteTint, err := p.tissueMaps(s, d, m)
		if err != nil {
			return nil, err
		}
		c := &coat{}
		if s.grown != nil && !d.Sclera.Colour.Given && d.Sclera.Veins > 0 {
			vessels := texture.FromImage(s.grown.Vessels, texture.Clamp)
			c.vessels = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
				uv, _ := look(i, v)
				return vessels.RGB(uv, 0)
			}, workers)
		}
		mostIris, mostWhite := most(&d.Iris.Colour, d.Iris.SigmaS), most(&d.Sclera.Colour, d.Sclera.SigmaS)
		lend := s.lentMap.Valid() && !s.own.picture
		lendIris, lendWhite := lend && !d.Iris.Colour.Given, lend && !d.Sclera.Colour.Given
		c.colour = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
			uv, w := look(i, v)
			in, out := iris.RGB(uv, 0).Mul(irisTint), white.RGB(uv, 0).Mul(whiteTint)
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
			return c, nil
		}
		c.alpha = frozen.NewVolumeMap(d.MapSize, func(i int, v geom.Vec) colour.RGB {
			uv, w := look(i, v)
			return colour.Lerp(albedo(upTo(white.RGB(uv, 0).Mul(whiteTint), mostWhite), d.Sclera.SigmaA, d.Sclera.SigmaS),
				albedo(upTo(iris.RGB(uv, 0).Mul(irisTint), mostIris), d.Iris.SigmaA, d.Iris.SigmaS), w)
		}, workers)
		return c, nil
	})
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

// tissueMaps returns the maps of the iris and of the sclera and what multiplies them: the scene's, else what the asset
// or the built eye brings.
func (p *preparer) tissueMaps(s *eyeball, d *scene.Eye, m *making) (iris, white texture.Map, irisTint, whiteTint colour.RGB, err error) {
	irisTint, whiteTint = colour.Grey(1), d.Sclera.Tint
	if s.grown != nil {
		iris = texture.FromImage(s.grown.Colour, texture.Clamp)
		white = iris
	} else {
		iris, white, irisTint = s.own.iris, s.own.white, s.own.tint
		whiteTint = whiteTint.Mul(s.own.tint)
	}
	if d.Iris.Colour.Given {
		var e error
		if iris, e = p.picture(m, "iris.colour", &d.Iris.Colour, true); e != nil {
			err = errors.Join(err, fmt.Errorf("iris.colour: %w", e))
		}
		m.notes = append(m.notes, tileNotes("iris.colour", s.inner, &iris)...)
		irisTint = colour.Grey(1)
	}
	if d.Sclera.Colour.Given {
		var e error
		if white, e = p.picture(m, "sclera.colour", &d.Sclera.Colour, true); e != nil {
			err = errors.Join(err, fmt.Errorf("sclera.colour: %w", e))
		}
		m.notes = append(m.notes, tileNotes("sclera.colour", s.inner, &white)...)
		whiteTint = d.Sclera.Tint
	}
	if s := d.Iris.SigmaS; s != nil {
		iris, irisTint = texture.Constant(reflectance(d.Iris.SigmaA, s)), colour.Grey(1)
	}
	if s := d.Sclera.SigmaS; s != nil {
		white, whiteTint = texture.Constant(reflectance(d.Sclera.SigmaA, s)), colour.Grey(1)
	}
	return
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
