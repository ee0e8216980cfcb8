// Package render makes a picture of a scene: Prepare turns a description into a frozen scene, Render traces it into a
// film in rounds, and a Result is developed and written.
//
//	Description --Prepare--> Prepared (frozen scene) --Render--> Result (film) --Write--> files
//
// After Prepare nothing writes to the scene, so any number of workers share it.
package render

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"

	"catchlight/light"
	"catchlight/material/fresnel"
	"catchlight/material/medium"
	"catchlight/material/microfacet"
	"catchlight/material/tissue"
	"catchlight/render/accel"
	"catchlight/render/camera"
	"catchlight/render/film"
	"catchlight/render/frozen"
	"catchlight/render/view"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/texture"
)

// Progress hears how work goes on. Its methods are called from one goroutine at a time.
type Progress interface {
	Phase(name string)
	Advance(done, total int64)
}

// Options say how to work; they never change the picture.
type Options struct {
	Workers  int // 0 takes one per processor
	Progress Progress
	Cache    *Cache // keeps what overrides leave unchanged; nil builds all anew
	Keep     *Keep  // saves the film as it goes, and takes up what is saved there
	Shard    Shard  // renders only a part of the samples, for a film to be merged with others
}

func (o Options) workers() int {
	if o.Workers > 0 {
		return o.Workers
	}
	return runtime.GOMAXPROCS(0)
}

func (o Options) phase(name string) {
	if o.Progress != nil {
		o.Progress.Phase(name)
	}
}

// Prepared is a scene ready to render.
type Prepared struct {
	Description *scene.Description
	Scene       *frozen.Scene
	Filter      film.Filter
	Warnings    []string
	Bytes       int64 // of the hierarchies
	Triangles   int64 // in them

	view *view.View
}

// preparer gathers what Prepare makes.
type preparer struct {
	d    *scene.Description
	o    Options
	out  *frozen.Scene
	warn []string
	errs []error

	meshes map[string]*instance
}

func (p *preparer) warnf(format string, a ...any) { p.warn = append(p.warn, fmt.Sprintf(format, a...)) }

func (p *preparer) fail(key string, err error) {
	p.errs = append(p.errs, fmt.Errorf("%s: %s: %w", p.d.File, key, err))
}

// Prepare makes everything that rendering reads: meshes, hierarchies, maps, lights, camera. It reports all that is
// wrong in one go.
func Prepare(ctx context.Context, d *scene.Description, o Options) (*Prepared, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	p := &preparer{d: d, o: o, out: &frozen.Scene{}}
	if err := p.checkForecast(); err != nil {
		return nil, err
	}
	p.settings()
	for i := range d.Objects {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		b := &d.Objects[i]
		if !d.Shown(b) {
			continue
		}
		o.phase("preparing " + b.Name)
		if b.Shape == "eye" {
			p.eyes(b)
		} else {
			p.object(b)
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	p.balance()
	o.phase("preparing lights")
	p.lights()
	p.camera()
	var filter film.Filter
	if k, err := film.ParseFilter(d.Picture.Filter); err != nil {
		p.fail("picture.filter", err)
	} else if filter, err = film.NewFilter(k, d.Picture.FilterWidth/2); err != nil {
		p.fail("picture.filter_width", err)
	}
	look, err := viewOf(&d.View)
	if err != nil {
		p.fail("view", err)
	}
	if len(p.out.Objects) == 0 && len(p.out.Lights) == 0 {
		p.fail("objects", errors.New("the scene holds no object and no light"))
	}
	if len(p.errs) > 0 {
		return nil, errors.Join(p.errs...)
	}
	bytes, triangles := size(p.out)
	return &Prepared{Description: d, Scene: p.out, Filter: filter, Warnings: p.warn, Bytes: bytes, Triangles: triangles, view: look}, nil
}

func (p *preparer) settings() {
	t := &p.d.Advanced
	e := &p.d.Effects
	p.out.Settings = frozen.Settings{
		MaxDepth: t.MaxDepth, ExactExit: t.Exit == "exact", Manifold: t.Manifold, Split: t.Split, Guided: t.Guided, LightSamples: t.LightSamples,
		Refraction: e.Refraction, Caustic: e.Caustic, Scattering: e.Scattering, Coat: e.TearFilm, Shadow: e.Shadow,
	}
	p.out.ShowEnvironment = p.d.View.Background == "environment"
}

// place returns the map from an object's frame to the world.
func place(pl *scene.Transform) geom.Affine {
	return geom.Scale(pl.Scale).
		Then(geom.RotateX(geom.Radians(pl.Rotate.X))).
		Then(geom.RotateY(geom.Radians(pl.Rotate.Y))).
		Then(geom.RotateZ(geom.Radians(pl.Rotate.Z))).
		Then(geom.Translate(pl.Translate))
}

func (p *preparer) mask(b *scene.Object) frozen.Mask {
	var m frozen.Mask
	if b.Visibility.Camera {
		m |= frozen.CameraRays
	}
	if b.Visibility.Shadow && (p.d.Effects.Shadow || b.Shape == "eye") {
		m |= frozen.ShadowRays
	}
	if b.Visibility.Reflection {
		m |= frozen.ReflectionRays
	}
	return m
}

// add puts an object into the scene, with its bounds in the world.
func (p *preparer) add(b frozen.Object, local geom.Box) int32 {
	b.ToLocal = b.ToWorld.Inverse()
	b.Scale = math.Cbrt(math.Abs(b.ToWorld.Det()))
	box := geom.EmptyBox()
	for i := 0; i < 8; i++ {
		c := local.Lo
		if i&1 != 0 {
			c.X = local.Hi.X
		}
		if i&2 != 0 {
			c.Y = local.Hi.Y
		}
		if i&4 != 0 {
			c.Z = local.Hi.Z
		}
		box = box.Grow(b.ToWorld.Point(c))
	}
	pad := 1e-5 * (box.Size().MaxAbs() + 1e-3)
	b.Bounds = geom.Box{Lo: box.Lo.Sub(geom.Vec{X: pad, Y: pad, Z: pad}), Hi: box.Hi.Add(geom.Vec{X: pad, Y: pad, Z: pad})}
	p.out.Objects = append(p.out.Objects, b)
	return int32(len(p.out.Objects) - 1)
}

// object makes a plain object.
func (p *preparer) object(b *scene.Object) {
	f := frozen.Object{Name: b.Name, ToWorld: place(&b.Transform), Mask: p.mask(b), Eye: -1}
	var local geom.Box
	switch b.Shape {
	case "sphere":
		f.Shape, f.Closed = frozen.Sphere, true
		f.Size = geom.Vec{X: b.Radius}
		local = geom.Box{Lo: geom.Vec{X: -b.Radius, Y: -b.Radius, Z: -b.Radius}, Hi: geom.Vec{X: b.Radius, Y: b.Radius, Z: b.Radius}}
	case "disc":
		f.Shape = frozen.Disc
		f.Size = geom.Vec{X: b.Radius}
		local = geom.Box{Lo: geom.Vec{X: -b.Radius, Y: -b.Radius}, Hi: geom.Vec{X: b.Radius, Y: b.Radius}}
	case "rectangle":
		f.Shape = frozen.Rectangle
		f.Size = b.Size.Mul(0.5)
		local = geom.Box{Lo: geom.Vec{X: -f.Size.X, Y: -f.Size.Y}, Hi: geom.Vec{X: f.Size.X, Y: f.Size.Y}}
	case "box":
		f.Shape, f.Closed = frozen.Box, true
		f.Size = b.Size.Mul(0.5)
		local = geom.Box{Lo: f.Size.Neg(), Hi: f.Size}
	case "slab":
		f.Shape, f.Closed = frozen.Slab, true
		f.Size = geom.Vec{Z: b.Thickness}
		const far = 1e9
		local = geom.Box{Lo: geom.Vec{X: -far, Y: -far, Z: -b.Thickness}, Hi: geom.Vec{X: far, Y: far}}
	case "mesh":
		q, err := p.mesh(b)
		if err != nil {
			p.fail("objects."+b.Name+".file", err)
			return
		}
		f.Shape, f.Mesh, f.BVH, f.Closed = frozen.Mesh, q.mesh, q.bvh, true
		local = q.mesh.Bounds()
		if c := b.OpacityMask; c != nil {
			f.Closed = false
			if f.OpacityMask, err = p.cutout(b, q.mesh); err != nil {
				p.fail("objects."+b.Name+".opacity_mask", err)
				return
			}
		}
	}
	m := &b.Material
	if m.Kind == "emissive" {
		p.emissive(b, &f)
		return
	}
	f.Material = p.material(b, m)
	p.warn = append(p.warn, tileNotes("objects."+b.Name+".material.colour", f.Mesh, &f.Material.Colour)...)
	if f.Material.HasMedium && !f.Closed {
		p.fail("objects."+b.Name+".material.inside", fmt.Errorf("a %s encloses no volume; only sphere, box, slab and mesh can hold a medium", b.Shape))
	}
	p.add(f, local)
}

func (p *preparer) material(b *scene.Object, m *scene.Material) frozen.Material {
	key := "objects." + b.Name + ".material"
	out := frozen.Material{Eta: m.Eta, K: m.K, Mirror: m.Mirror, Index: m.Index, Alpha: m.Roughness * m.Roughness}
	switch m.Kind {
	case "diffuse":
		out.Kind = frozen.Diffuse
	case "conductor":
		out.Kind = frozen.Conductor
	case "dielectric":
		out.Kind = frozen.Dielectric
	case "matched":
		out.Kind = frozen.Matched
	}
	tex, err := p.texture(key+".colour", &m.Colour, true)
	if err != nil {
		p.fail(key+".colour", err)
	}
	out.Colour = tex
	if m.Kind == "tissue" {
		out.Kind, out.Flesh = frozen.Soft, flesh(m, &tex)
	}
	if in := m.Inside; in != nil {
		if m.Kind != "dielectric" && m.Kind != "matched" {
			p.fail(key+".inside", fmt.Errorf("a %s surface lets no light in; only dielectric and matched objects can hold a medium", m.Kind))
			return out
		}
		var med medium.Medium
		switch {
		case in.Colour != nil && in.MeanFreePath != nil:
			alpha := colour.RGB{}
			for c := range alpha {
				// The inversion is for isotropic scattering: with g it gives the reduced albedo, undone here.
				a := tissue.SingleScatterAlbedo(in.Colour[c])
				alpha[c] = a / (1 - in.G + a*in.G)
			}
			med, err = medium.New(*in.MeanFreePath, alpha, in.G)
		case in.SigmaA != nil && in.SigmaS != nil:
			med, err = medium.FromCoefficients(*in.SigmaA, *in.SigmaS, in.G)
		default:
			err = errors.New("give sigma_a and sigma_s, or colour and mean_free_path")
		}
		if err != nil {
			p.fail(key+".inside", err)
		}
		out.HasMedium, out.Medium = true, med
	}
	return out
}

// balance tabulates rough dielectrics for every step of the index that they may make: against air and whatever else may
// lie on their other side.
func (p *preparer) balance() {
	others := []float64{1}
	for i := range p.out.Objects {
		switch m := &p.out.Objects[i].Material; m.Kind {
		case frozen.Dielectric:
			others = append(others, m.Index)
		case frozen.Outer:
			others = append(others, p.out.Eyes[p.out.Objects[i].Eye].Index)
		}
	}
	slices.Sort(others)
	others = slices.Compact(others)
	for i := range p.out.Objects {
		m := &p.out.Objects[i].Material
		if m.Kind != frozen.Dielectric || m.Alpha < microfacet.MinAlpha {
			continue
		}
		for _, n := range others {
			for _, eta := range []float64{m.Index / n, n / m.Index} {
				if eta != 1 {
					m.Rough = append(m.Rough, frozen.RoughSide{Eta: eta, Share: microfacet.NewBalance(m.Alpha, eta, func(c float64) float64 { return fresnel.Dielectric(c, eta) })})
				}
			}
		}
	}
}

// flesh makes the object under a map: one that is deep shows the brightest colour of the map, looked for on a grid.
func flesh(m *scene.Material, tex *texture.Map) *frozen.Flesh {
	top := tex.RGB(geom.UV{}, 0)
	const n = 128
	for i := range n * n {
		if !tex.Varies() {
			break
		}
		c := tex.RGB(geom.UV{U: (float64(i%n) + 0.5) / n, V: (float64(i/n) + 0.5) / n}, 1.0/n)
		for k := range top {
			top[k] = max(top[k], c[k])
		}
	}
	f := &frozen.Flesh{Top: top, Clear: m.Index == 1, Solid: !m.Scattering, Alpha: albedo(top, nil, nil)}
	f.Sigma, f.Guide = zone(top, m.ScatterRadius, nil, nil, 1)
	if !f.Clear {
		f.Coat = tissue.NewCoat(m.Index)
		if a := m.Roughness * m.Roughness; a >= microfacet.MinAlpha {
			r := frozen.NewRoughCoat(a, &f.Coat)
			f.Rough = &r
		}
	}
	return f
}

// emissive turns an emissive object into a light of the same shape and place.
func (p *preparer) emissive(b *scene.Object, f *frozen.Object) {
	key := "objects." + b.Name
	m := &b.Material
	if m.Radiance == nil {
		p.fail(key+".material.radiance", errors.New("an emissive material needs a radiance"))
		return
	}
	s := b.Transform.Scale
	fr := geom.Frame{S: f.ToWorld.Vector(geom.Vec{X: 1}).Unit(), T: f.ToWorld.Vector(geom.Vec{Y: 1}).Unit(), N: f.ToWorld.Vector(geom.Vec{Z: 1}).Unit()}
	var l *light.Light
	var err error
	switch b.Shape {
	case "sphere":
		l, err = light.NewSphere(b.Name, b.Transform.Translate, b.Radius*s, *m.Radiance)
	case "disc":
		l, err = light.NewDisc(b.Name, fr, b.Transform.Translate, b.Radius*s, *m.Radiance, false)
	case "rectangle":
		l, err = light.NewRectangle(b.Name, fr, b.Transform.Translate, b.Size.X*s, b.Size.Y*s, *m.Radiance, false)
	default:
		err = fmt.Errorf("a %s can't be emissive; sphere, rectangle and disc can", b.Shape)
	}
	if err != nil {
		p.fail(key, err)
		return
	}
	p.addLight(l, b.Visibility.Camera, len(p.out.Lights))
}

// texture makes a map of a spec as a stage of its own; colours says that 8- and 16-bit pictures hold colour unless the
// spec says otherwise. key is the place of the spec in the scene.
func (p *preparer) texture(key string, s *scene.MapSpec, colours bool) (texture.Map, error) {
	return stage(p, "map "+key, []any{s, colours}, func(m *making) (texture.Map, error) { return p.picture(m, s, colours) })
}

// picture makes a map of a spec within the stage m.
func (p *preparer) picture(m *making, s *scene.MapSpec, colours bool) (texture.Map, error) {
	if s.File == "" {
		return texture.Constant(s.Value.Scale(s.Gain).Add(colour.Grey(s.Offset))), nil
	}
	as := imageio.As{SRGB: s.Space == "srgb" || s.Space == "p3" || s.Space == "auto" && colours, Colour: colours, Channel: s.Channel}
	from, other := spaces[s.Space]
	if other {
		as.Colour = false // the scene's word goes before the file's
	}
	t, err := m.read(s.File, s.Tiling, as)
	if other && err == nil {
		turn, e := from.ToRec709()
		if err = e; err == nil {
			t = t.Turned(&turn)
		}
	}
	return t.Scaled(s.Gain, s.Offset), err
}

// normals makes the map of a normal map.
func (p *preparer) normals(key string, s *scene.NormalMap) (texture.Map, error) {
	return stage(p, "map "+key, s, func(m *making) (texture.Map, error) {
		t, err := m.read(s.File, s.Tiling, imageio.As{Slopes: true})
		if s.Green == "down" {
			t = t.GreenDown()
		}
		return t, err
	})
}

// read reads a picture or a set of tiles, one picture at a time.
func (m *making) read(path scene.Path, wrap string, as imageio.As) (texture.Map, error) {
	one := func(file string) (*texture.Image, error) {
		m.opens(file)
		im, notes, err := imageio.ReadTexture(file, as)
		if err != nil {
			return nil, err
		}
		m.notes = append(m.notes, prefixed(filepath.Base(file)+": ", notes)...)
		im.BuildMips()
		// What decoding left behind goes before the next picture comes: without this the heap grows to the sum of both.
		if w, h, _ := im.Size(); w*h >= bigPicture {
			debug.FreeOSMemory()
		}
		return im, nil
	}
	tiles, err := scene.TileFiles(path)
	if err != nil {
		return texture.Map{}, err
	}
	if len(tiles) == 0 {
		im, err := one(string(path))
		if err != nil {
			return texture.Map{}, err
		}
		return texture.FromImage(im, wraps[wrap]), nil
	}
	pictures := map[int]*texture.Image{}
	for _, n := range slices.Sorted(maps.Keys(tiles)) {
		if pictures[n], err = one(tiles[n]); err != nil {
			return texture.Map{}, err
		}
	}
	set, err := texture.NewTiles(pictures)
	if err != nil {
		return texture.Map{}, fmt.Errorf("%s: %w", path, err)
	}
	return texture.FromTiles(set), nil
}

// spaces are the primaries and whites of the colour spaces that a map may be in beside Rec. 709.
var spaces = map[string]colour.Primaries{
	"p3": colour.P3, "linear-rec2020": colour.Rec2020, "linear-ap1": colour.AP1,
}

// bigPicture is the number of texels from which a picture's decoding is cleaned up after at once.
const bigPicture = 1 << 22

// wraps by their words; "" is the zero value of a description made in code.
var wraps = map[string]texture.Wrap{"": texture.Repeat, "repeat": texture.Repeat, "clamp": texture.Clamp, "mirror": texture.Mirror}

func prefixed(prefix string, notes []string) []string {
	out := make([]string, len(notes))
	for i, n := range notes {
		out[i] = prefix + n
	}
	return out
}

// instance is a mesh with its hierarchy, which objects of the same file share.
type instance struct {
	mesh *mesh.Mesh
	bvh  *accel.BVH
}

// mesh returns the mesh of an object. Objects that differ in place, material and rays alone share one.
func (p *preparer) mesh(b *scene.Object) (*instance, error) {
	q := *b
	q.Name, q.On, q.Transform, q.OpacityMask, q.Visibility = "", false, scene.Transform{}, nil, scene.Visibility{}
	q.Material = scene.Material{Kind: q.Material.Kind} // what a closed volume asks of a mesh
	key, err := json.Marshal(q)
	if err != nil {
		return nil, err
	}
	if i := p.meshes[string(key)]; i != nil {
		return i, nil
	}
	m, err := p.readMesh(b)
	if err != nil {
		return nil, err
	}
	bvh, err := p.hierarchy(m)
	if err != nil {
		return nil, err
	}
	if p.meshes == nil {
		p.meshes = map[string]*instance{}
	}
	i := &instance{m, bvh}
	p.meshes[string(key)] = i
	return i, nil
}

// opacity mask reads the mask of an object.
func (p *preparer) cutout(b *scene.Object, m *mesh.Mesh) (*frozen.OpacityMask, error) {
	c := b.OpacityMask
	if m.UV == nil {
		return nil, errors.New("the mesh has no texture coordinates to lay it on")
	}
	t, err := stage(p, "opacity mask "+b.Name, c, func(k *making) (texture.Map, error) {
		return k.read(c.File, c.Tiling, imageio.As{Channel: c.Channel})
	})
	return &frozen.OpacityMask{Map: t, Threshold: c.Threshold}, err
}

func (p *preparer) hierarchy(m *mesh.Mesh) (*accel.BVH, error) {
	return accel.Build(m.P, m.Tri, accel.Options{Workers: p.o.workers()})
}

// size adds up the hierarchies of a scene, each once.
func size(s *frozen.Scene) (bytes, triangles int64) {
	seen := map[*accel.BVH]bool{}
	for i := range s.Objects {
		if b := s.Objects[i].BVH; b != nil && !seen[b] {
			seen[b] = true
			bytes += int64(b.Stats().Bytes)
			triangles += int64(b.Stats().Triangles)
		}
	}
	return
}

// evenLight is the contrast up to which a sky is left to chance behind a cornea: what the solver would take away of its
// noise is not worth its time. Measured on the default eye, variance times time with the solver over without it: a
// constant sky 1.35, a sky over dark ground (contrast 1.5) 1.2, a city square (2.8) 0.6, a room with a window (3.6) 0.3.
const evenLight = 2

// addLight puts a light into the scene that counts as light tag on the film.
func (p *preparer) addLight(l *light.Light, seen bool, tag int) {
	p.out.Lights = append(p.out.Lights, l)
	p.out.LightTag = append(p.out.LightTag, tag)
	p.out.LightSeen = append(p.out.LightSeen, seen)
	p.out.LightBent = append(p.out.LightBent, !l.Even(evenLight))
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
	var sum float64
	for _, l := range p.out.Lights {
		e := l.Irradiance(mid)
		p.out.LightPick = append(p.out.LightPick, e)
		sum += e
	}
	n := float64(len(p.out.Lights))
	for i, e := range p.out.LightPick {
		q := 1 / n
		if sum > 0 && !math.IsInf(sum, 0) {
			q = 0.9*e/sum + 0.1/n
		}
		p.out.LightPick[i] = q
	}
}

func (p *preparer) light(s *scene.Light) (*light.Light, error) {
	setup := &p.d.LightSetup
	gain := s.Tint.Scale(math.Exp2(s.EV + setup.EV))
	turn := geom.RotateY(geom.Radians(setup.Rotation))
	radiance := func(area float64) colour.RGB {
		if s.Power != nil {
			return light.PowerToRadiance(colour.Grey(*s.Power), area).Mul(gain)
		}
		return s.Radiance.Mul(gain)
	}
	// Where it is and how it faces in the light set-up's own frame, and in the turned one.
	centre := func() geom.Vec {
		if s.Position != nil {
			return *s.Position
		}
		return camera.Orbit(s.Target, geom.Radians(s.Orbit.Azimuth), geom.Radians(s.Orbit.Elevation), s.Orbit.Distance)
	}
	switch s.Kind {
	case "constant":
		return light.NewConstant(s.Name, s.Radiance.Mul(gain))
	case "environment":
		return stage(p, "light "+s.Name, []any{s.File, s.Rotation + setup.Rotation, gain, s.HotSpots}, func(m *making) (*light.Light, error) {
			m.opens(string(s.File))
			pic, err := imageio.Read(string(s.File))
			if err != nil {
				return nil, err
			}
			pic.Working()
			m.notes = append(append(m.notes, pic.Notes...), pic.LatLong()...)
			img, notes := clampNegative(pic)
			for _, n := range notes {
				m.notes = append(m.notes, fmt.Sprintf("light %s: %s", s.Name, n))
			}
			var opts []light.EnvironmentOption
			if s.HotSpots {
				opts = append(opts, light.WithHotSpots())
			}
			return light.NewEnvironment(s.Name, img, geom.Radians(s.Rotation+setup.Rotation), gain, opts...)
		})
	case "rectangle":
		c := centre()
		fr := turned(turn, facing(s.Target.Sub(c), geom.Radians(s.Roll)))
		return light.NewRectangle(s.Name, fr, turn.Point(c), s.Width, s.Height, radiance(light.OpenArea(s.Width, s.Height, s.Panes[0], s.Panes[1], s.Bar)), false,
			light.WithPanes(s.Panes[0], s.Panes[1], s.Bar))
	case "disc":
		c := centre()
		return light.NewDisc(s.Name, turned(turn, facing(s.Target.Sub(c), 0)), turn.Point(c), s.Radius, radiance(math.Pi*s.Radius*s.Radius), false)
	case "sphere":
		return light.NewSphere(s.Name, turn.Point(centre()), s.Radius, radiance(4*math.Pi*s.Radius*s.Radius))
	case "distant":
		dir := turn.Vector(camera.Orbit(geom.Vec{}, geom.Radians(s.Orbit.Azimuth), geom.Radians(s.Orbit.Elevation), 1))
		if s.Irradiance != nil {
			return light.NewDistantIrradiance(s.Name, dir, geom.Radians(s.Angle), s.Irradiance.Mul(gain))
		}
		return light.NewDistant(s.Name, dir, geom.Radians(s.Angle), s.Radiance.Mul(gain))
	}
	return nil, fmt.Errorf("unknown kind %q", s.Kind)
}

func turned(turn geom.Affine, f geom.Frame) geom.Frame {
	return geom.Frame{S: turn.Vector(f.S), T: turn.Vector(f.T), N: turn.Vector(f.N)}
}

// facing returns the frame of a rectangle that faces along n with its height upward, turned by roll about n.
func facing(n geom.Vec, roll float64) geom.Frame {
	n = n.Unit()
	up := geom.Vec{Y: 1}
	if math.Abs(n.Y) > 0.999 {
		up = geom.Vec{Z: 1}
	}
	s := up.Cross(n).Unit()
	t := n.Cross(s)
	sin, cos := math.Sincos(roll)
	return geom.Frame{S: s.Mul(cos).Mad(sin, t), T: t.Mul(cos).Mad(-sin, s), N: n}
}

// clampNegative returns an environment's picture with negative and non-finite texels set to zero, and says how many.
func clampNegative(pic *imageio.Picture) (*texture.Image, []string) {
	planes := pic.RGB()
	n := pic.W * pic.H
	pix := make([]float32, 3*n)
	bad, worst := 0, float32(0)
	for i := 0; i < n; i++ {
		for c := 0; c < 3; c++ {
			v := planes[c][i]
			if !(v >= 0) || math.IsInf(float64(v), 0) {
				bad++
				worst = min(worst, v)
				v = 0
			}
			pix[3*i+c] = v
		}
	}
	img := texture.NewImage(pic.W, pic.H, 3, pix)
	if bad == 0 {
		return img, nil
	}
	return img, []string{fmt.Sprintf("%d values of the picture are negative or not finite (lowest %g) and count as 0", bad, worst)}
}

// cameraOf is the camera of a description.
func cameraOf(d *scene.Description) camera.Config {
	c := &d.Camera
	k := camera.Config{
		Width: d.Picture.Width, Height: d.Picture.Height, Aim: c.Target, Up: c.Up,
		FocalLength: c.FocalLength, SensorWidth: c.SensorWidth, FOV: geom.Radians(c.FOV), FNumber: c.FNumber, Focus: c.FocusDistance,
		FrameWidth: c.Width, Shift: c.Shift,
	}
	switch {
	case c.Position != nil:
		k.Position = *c.Position
	case c.Orbit != nil:
		k.Position = camera.Orbit(c.Target, geom.Radians(c.Orbit.Azimuth), geom.Radians(c.Orbit.Elevation), c.Orbit.Distance)
	default:
		k.Position = c.Target.Add(geom.Vec{Z: 1000})
	}
	switch c.Kind {
	case "perspective":
		k.Kind = camera.Perspective
	case "orthographic":
		k.Kind = camera.Orthographic
	case "plate":
		k.Kind = camera.Plate
		k.Normal = geom.Vec{Z: 1}
		if c.Normal != nil {
			k.Normal = *c.Normal
		}
		k.Position = c.Target
	}
	return k
}

func (p *preparer) camera() {
	k := cameraOf(p.d)
	if p.out.Plate = k.Kind == camera.Plate; p.out.Plate {
		p.out.PlateNormal = k.Normal.Unit()
	}
	cam, err := camera.New(k)
	if err != nil {
		p.fail("camera", err)
		return
	}
	p.out.Camera = &cam
	// Which objects the camera stands in: a ray upward meets each such object's surface from inside first.
	sc := accel.NewScratch()
	dir := geom.Vec{X: 0.37, Y: 0.81, Z: 0.45}.Unit()
	var enclosing []int32
	for i := range p.out.Objects {
		b := &p.out.Objects[i]
		if !b.Closed || b.Material.Kind == frozen.Inner {
			continue
		}
		var h frozen.Hit
		r := geom.Ray{O: k.Position, D: dir}
		if b.Closest(sc, r, 0, math.Inf(1), &h) {
			h.Object = int32(i)
			if sf := p.out.Surface(r, &h); sf.Ng.Dot(dir) > 0 {
				enclosing = append(enclosing, int32(i))
			}
		}
	}
	p.out.CameraIn = enclosing
}
