package prepare

import (
	"fmt"
	"math"

	"catchlight/light"
	"catchlight/render/camera"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/parallel"
	"catchlight/scene/raw"
	"catchlight/scene/texture"
)

// evenLight is the contrast up to which a sky is left to chance behind a cornea: what the solver would take away of its
// noise is not worth its time. Measured on the default eye, variance times time with the solver over without it: a
// constant sky 1.35, a sky over dark ground (contrast 1.5) 1.2, a city square (2.8) 0.6, a room with a window (3.6) 0.3.
const evenLight = 2

// addLight puts a light into the scene that counts as light tag on the film.
func (p *preparer) addLight(l *light.Light, seen bool, tag int) {
	p.out.Lights = append(p.out.Lights, l)
	p.out.LightTag = append(p.out.LightTag, tag)
	p.out.LightSides = append(p.out.LightSides, -1)
	p.out.LightSeen = append(p.out.LightSeen, seen)
	p.out.LightSampled = append(p.out.LightSampled, !l.Even(evenLight))
}

func (p *preparer) lights() {
	type spotsOf struct {
		lights []*light.Light
		seen   bool
		tag    int
	}
	var spots []spotsOf
	for i := range p.d.Lights {
		s := &p.d.Lights[i]
		if !s.On {
			continue
		}
		if s.Kind == "flag" {
			p.flag(s)
			continue
		}
		l, err := p.light(s)
		if err != nil {
			p.fail("lights."+s.Name, err)
			continue
		}
		if l.Note != "" {
			p.warnf("light %s: %s", s.Name, l.Note)
		}
		spots = append(spots, spotsOf{l.Spots(), s.CameraVisible, len(p.out.Lights)})
		p.addLight(l, s.CameraVisible, len(p.out.Lights))
	}
	// They come last, so that the random numbers of other lights are the same with and without them.
	for _, q := range spots {
		for _, l := range q.lights {
			p.addLight(l, q.seen, q.tag)
		}
	}
	if p.d.Picture.Passes.Lights {
		p.sides()
	}
	if len(p.out.Lights) == 0 {
		p.warnf("there is no light: the picture is black")
		return
	}
	// Deep vertices choose one light by what each sends to the middle of the objects, but none is left out.
	box := geom.EmptyBox()
	for i := range p.out.Objects {
		if p.out.Objects[i].Shape != frozen.Slab {
			box = box.Union(p.out.Objects[i].Bounds)
		}
	}
	var mid geom.Vec
	for i := range p.out.Eyes {
		mid = p.out.Objects[p.out.Eyes[i].Outer].Bounds.Centre()
	}
	if len(p.out.Eyes) == 0 && !box.Empty() {
		mid = box.Centre()
	}
	var sum, n float64
	for i, l := range p.out.Lights {
		e := 0.0
		if p.out.LightSampled[i] {
			e, n = l.Irradiance(mid), n+1
		}
		p.out.LightPick = append(p.out.LightPick, e)
		sum += e
	}
	for i, e := range p.out.LightPick {
		if !p.out.LightSampled[i] {
			continue
		}
		q := 1 / n
		if sum > 0 && !math.IsInf(sum, 0) {
			q = 0.9*e/sum + 0.1/n
		}
		p.out.LightPick[i] = q
	}
}

// sides gives each environment six tags, one for each side that it shines from, behind those of all lights. Its hot spots share them.
func (p *preparer) sides() {
	s := p.out
	next := len(s.Lights)
	for i, l := range s.Lights {
		if l.Kind != light.Environment || s.LightTag[i] != i {
			continue
		}
		for k, tag := range s.LightTag {
			if tag == i {
				s.LightSides[k] = next
			}
		}
		next += len(frozen.SideNames)
	}
}

// lit notes how light falls on the objects that are walked in.
func (p *preparer) lit() {
	var walked []*frozen.Object
	var centres []geom.Vec
	for i := range p.out.Objects {
		if b := &p.out.Objects[i]; b.Material.Kind == frozen.Soft || b.Material.Kind == frozen.Inner {
			walked, centres = append(walked, b), append(centres, b.Bounds.Centre())
		}
	}
	// All that lights are made from: those of the scene, objects that shine, and where the level is measured.
	var shine []scene.Object
	for i := range p.d.Objects {
		if b := &p.d.Objects[i]; b.Material.Kind == "emissive" {
			shine = append(shine, *b)
		}
	}
	var level []geom.Vec
	for i := range p.out.Eyes {
		level = append(level, p.out.Objects[p.out.Eyes[i].Outer].ToWorld.Point(geom.Vec{Z: 8}))
	}
	list, err := stage(p, "light on flesh", []any{p.d.Lights, p.d.LightSetup, shine, level, centres}, func(m *making) ([]*frozen.Lit, error) {
		for i := range p.d.Lights {
			if f := p.d.Lights[i].File; f != "" {
				m.opens(string(f))
			}
		}
		out := make([]*frozen.Lit, len(centres))
		parallel.Each(len(out), p.o.WorkerCount(), func(i int) { out[i] = frozen.NewLit(p.out.Lights, centres[i]) })
		return out, nil
	})
	if err != nil {
		p.fail("lights", err)
		return
	}
	for i, b := range walked {
		b.Lit = list[i]
	}
}

// surroundings is the picture of an environment, and what there is to say of it.
type surroundings struct {
	picture *texture.Image
	notes   []string
}

var surroundingsStore = &store[*surroundings]{
	write: func(w *raw.Writer, s *surroundings) {
		texture.Write(w, s.picture)
		raw.Value(w, len(s.notes))
		for _, n := range s.notes {
			raw.Text(w, n)
		}
	},
	read: func(r *raw.Reader) *surroundings {
		s := &surroundings{picture: texture.Read(r)}
		if s.picture == nil {
			return nil // with something left to read
		}
		for n := raw.ReadValue[int](r); n > 0 && r.Err() == nil; n-- {
			s.notes = append(s.notes, raw.ReadText(r))
		}
		return s
	},
}

// surroundings reads or paints the picture of an environment.
func (p *preparer) surroundings(s *scene.Light) (*surroundings, error) {
	return storedStage(p, "surroundings "+s.Name, s.File, surroundingsStore, func(m *making) (*surroundings, error) {
		m.opens(string(s.File))
		pic, err := imageio.Read(string(s.File))
		if err != nil {
			return nil, err
		}
		if err := pic.Plain(true); err != nil {
			return nil, fmt.Errorf("%s: %w", s.File, err)
		}
		pic.Working()
		q := &surroundings{notes: append(pic.Notes, pic.LatLong()...)}
		img, notes := clampNegative(pic)
		for _, n := range notes {
			q.notes = append(q.notes, fmt.Sprintf("light %s: %s", s.Name, n))
		}
		q.picture = img
		return q, nil
	})
}

// light makes a light. One with a profile is a stage, at 0 EV: what is measured of a profile does not change with exposure.
func (p *preparer) light(s *scene.Light) (*light.Light, error) {
	if s.Profile == nil {
		return p.makeLight(s, &p.d.LightSetup)
	}
	q, setup := *s, p.d.LightSetup
	q.EV, setup.EV = 0, 0
	l, err := stage(p, "light "+s.Name, []any{q, setup}, func(*making) (*light.Light, error) { return p.makeLight(&q, &setup) })
	if k := math.Exp2(s.EV + p.d.LightSetup.EV); err == nil && k != 1 {
		l = l.Scaled(k)
	}
	return l, err
}

func (p *preparer) makeLight(s *scene.Light, setup *scene.LightSetup) (*light.Light, error) {
	gain := s.Tint.Scale(math.Exp2(s.EV + setup.EV))
	turn := geom.RotateY(geom.Radians(setup.Rotation))
	radiance := func(area float64) colour.RGB {
		if s.Power != nil {
			return light.PowerToRadiance(colour.Grey(*s.Power), area).Mul(gain)
		}
		return s.Radiance.Mul(gain)
	}
	var shape []light.FlatOption
	if q := s.Profile; q != nil {
		shape = append(shape, light.WithProfile(light.Profile{Core: q.Core, Edge: q.Edge, Soft: q.Soft, Noise: q.Noise, Sky: q.Sky, Horizon: q.Horizon,
			Ground: q.Ground, Curtain: q.Curtain, Cloth: q.Cloth, Seed: uint64(q.Seed)}))
	}
	switch s.Kind {
	case "constant":
		return light.NewConstant(s.Name, s.Radiance.Mul(gain))
	case "environment":
		// At 0 EV and rotation 0: neither changes its tables.
		l, err := stage(p, "light "+s.Name, []any{s.File, s.Tint, s.HotSpots}, func(m *making) (*light.Light, error) {
			m.opens(string(s.File))
			around, err := p.surroundings(s)
			if err != nil {
				return nil, err
			}
			m.notes = append(m.notes, around.notes...)
			var opts []light.EnvironmentOption
			if s.HotSpots {
				opts = append(opts, light.WithHotSpots())
			}
			return light.NewEnvironment(s.Name, around.picture, 0, s.Tint, opts...)
		})
		if err != nil {
			return nil, err
		}
		return l.Rotated(geom.Radians(s.Rotation + setup.Rotation)).Exposed(math.Exp2(s.EV + setup.EV))
	case "rectangle":
		c := centre(s)
		fr := turned(turn, geom.Facing(s.Target.Sub(c), geom.Radians(s.Roll)))
		return light.NewRectangle(s.Name, fr, turn.Point(c), s.Width, s.Height, radiance(light.OpenArea(s.Width, s.Height, s.Panes[0], s.Panes[1], s.Bar)), false,
			append([]light.FlatOption{light.WithPanes(s.Panes[0], s.Panes[1], s.Bar)}, shape...)...)
	case "disc":
		c := centre(s)
		return light.NewDisc(s.Name, turned(turn, geom.Facing(s.Target.Sub(c), 0)), turn.Point(c), s.Radius, radiance(math.Pi*s.Radius*s.Radius), false, shape...)
	case "sphere":
		return light.NewSphere(s.Name, turn.Point(centre(s)), s.Radius, radiance(4*math.Pi*s.Radius*s.Radius))
	case "distant":
		dir := turn.Vector(camera.Orbit(geom.Vec{}, geom.Radians(s.Orbit.Azimuth), geom.Radians(s.Orbit.Elevation), 1))
		if s.Irradiance != nil {
			return light.NewDistantIrradiance(s.Name, dir, geom.Radians(s.Angle), s.Irradiance.Mul(gain))
		}
		return light.NewDistant(s.Name, dir, geom.Radians(s.Angle), s.Radiance.Mul(gain))
	}
	return nil, fmt.Errorf("unknown kind %q", s.Kind)
}

// centre is where a light is in the light set-up's own frame.
func centre(s *scene.Light) geom.Vec {
	if s.Position != nil {
		return *s.Position
	}
	return camera.Orbit(s.Target, geom.Radians(s.Orbit.Azimuth), geom.Radians(s.Orbit.Elevation), s.Orbit.Distance)
}

// flag puts an opaque card among the objects, where a light of its place would be.
func (p *preparer) flag(s *scene.Light) {
	c := centre(s)
	turn := geom.RotateY(geom.Radians(p.d.LightSetup.Rotation))
	f := turned(turn, geom.Facing(s.Target.Sub(c), geom.Radians(s.Roll)))
	half := geom.Vec{X: s.Width / 2, Y: s.Height / 2}
	b := frozen.Object{Name: s.Name, Shape: frozen.Rectangle, Size: half, Eye: -1, Mask: frozen.ReflectionRays,
		ToWorld:  geom.Affine{M: [3]geom.Vec{{X: f.S.X, Y: f.T.X, Z: f.N.X}, {X: f.S.Y, Y: f.T.Y, Z: f.N.Y}, {X: f.S.Z, Y: f.T.Z, Z: f.N.Z}}, T: turn.Point(c)},
		Material: frozen.Material{Kind: frozen.Diffuse, Colour: texture.Constant(s.Colour)}}
	if p.d.Effects.Shadow {
		b.Mask |= frozen.ShadowRays
	}
	if s.CameraVisible {
		b.Mask |= frozen.CameraRays
	}
	p.add(b, geom.Box{Lo: half.Neg(), Hi: half})
}

func turned(turn geom.Affine, f geom.Frame) geom.Frame {
	return geom.Frame{S: turn.Vector(f.S), T: turn.Vector(f.T), N: turn.Vector(f.N)}
}

// maxRadiance is the most that a texel of an environment shines: what a scene may give a light.
const maxRadiance = 1e12

// clampNegative returns an environment's picture with negative and non-finite texels set to zero and those above maxRadiance
// set to it, and says how many.
func clampNegative(pic *imageio.Picture) (*texture.Image, []string) {
	planes := pic.RGB()
	n := pic.W * pic.H
	pix := make([]float32, 3*n)
	bad, worst := 0, float32(0)
	bright, first, high := 0, 0, colour.RGB{}
	for i := 0; i < n; i++ {
		if v := (colour.RGB{float64(planes[0][i]), float64(planes[1][i]), float64(planes[2][i])}); v.Finite() && max(v[0], v[1], v[2]) > maxRadiance {
			if bright++; bright == 1 {
				first, high = i, v
			}
		}
		for c := 0; c < 3; c++ {
			v := planes[c][i]
			if !(v >= 0) || math.IsInf(float64(v), 0) {
				bad++
				worst = min(worst, v)
				v = 0
			}
			pix[3*i+c] = min(v, maxRadiance)
		}
	}
	img := texture.NewImage(pic.W, pic.H, 3, pix)
	var notes []string
	if bad > 0 {
		notes = append(notes, fmt.Sprintf("%d values of the picture are negative or not finite (lowest %g) and count as 0", bad, worst))
	}
	if bright > 0 {
		notes = append(notes, fmt.Sprintf("%d texels of the picture shine brighter than %g, first at u %.4g, v %.4g with (%.4g, %.4g, %.4g); they count as %g",
			bright, float64(maxRadiance), (float64(first%pic.W)+0.5)/float64(pic.W), (float64(first/pic.W)+0.5)/float64(pic.H), high[0], high[1], high[2], float64(maxRadiance)))
	}
	return img, notes
}
