package raster

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"catchlight/light"
	"catchlight/material/fresnel"
	"catchlight/render/camera"
	"catchlight/render/frozen"
	"catchlight/render/prepare"
	"catchlight/render/raster/cover"
	"catchlight/render/raster/shading"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Look is a scene ready to be drawn by any camera. Nothing writes to it after Bake.
type Look struct {
	maker   *prepare.Maker
	scene   *frozen.Scene // without its camera
	set     scene.Raster
	workers int
	notes   []string // what the raster look leaves out of this scene

	solids  []solid
	bounds  geom.Box
	clear   []solid // what lets through what lies behind it
	casters []caster
	lamps   []lamp
	far     []farLight
	even    colour.RGB // radiance of constant lights
	ambient shading.Harmonics
	eyes    []*eyeLook          // by eye; nil where no camera sees it
	metal   []*shading.Response // by object, of conductors, dielectrics and flesh
	flesh   []*shading.Kernel   // by object; nil where light is not spread over the picture
	open    [][]float32         // by object, of flesh about an eye: how open each vertex is
	balls   []eyeball           // eyes, for what stands beside them
}

// Picture is what Draw makes: rows of Width pixels from the top left.
type Picture struct {
	Width, Height int
	Mean          []colour.RGB // linear, W/(m^2 sr), multiplied by coverage
	Alpha         []float64    // coverage
	Notes         []string     // what the raster look leaves out of this picture
}

// Bake makes all that does not depend on a frame: triangles, prefiltered surroundings, maps and tables of the eyes. Of what the maker's
// cache holds it takes what it would make alike; the bits are those of making it anew.
func Bake(ctx context.Context, m *prepare.Maker, s *frozen.Scene, set scene.Raster, workers int) (*Look, error) {
	if s.Plate {
		return nil, errors.New("a plate measures irradiance and is no picture: the raster look can't draw it")
	}
	if err := cover.CheckSamples(set.CoverageSamples); err != nil {
		return nil, err
	}
	all := *s
	all.Camera = nil
	all.Objects = slices.Clone(s.Objects)
	for i := range all.Objects { // as wide as it is, whatever the camera
		if b := &all.Objects[i]; b.Hair != nil {
			b.Hair = b.Hair.Base()
		}
	}
	in := lookInputs{all.Objects, all.Eyes, all.Lights, all.LightTag, all.LightSeen, all.ShowEnvironment, all.Settings, set}
	kept, err := prepare.Derived(m, "raster look", in, func() (*Look, error) { return bake(ctx, m, &all, set, workers) })
	if err != nil {
		return nil, err
	}
	k := *kept
	k.maker, k.workers = m, workers
	return &k, nil
}

func bake(ctx context.Context, m *prepare.Maker, s *frozen.Scene, set scene.Raster, workers int) (*Look, error) {
	k := &Look{maker: m, scene: s, set: set, workers: workers}
	k.eyes = make([]*eyeLook, len(s.Eyes))
	k.metal, k.flesh = make([]*shading.Response, len(s.Objects)), make([]*shading.Kernel, len(s.Objects))
	k.open = make([][]float32, len(s.Objects))
	k.findBalls()
	k.shapes()
	k.castShadows()
	k.lights()
	for i, l := range s.Lights {
		if f, ok := l.Form(); ok && l.Finite() && s.LightSeen[i] {
			k.solids = append(k.solids, shining(l, f))
		}
	}
	for i := range s.Objects {
		b := &s.Objects[i]
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if b.Mask&frozen.CameraRays == 0 {
			continue
		}
		k.tabulate(i, b)
	}
	return k, nil
}

// shapes makes the triangles of what cameras see, and their bounds, but for slabs.
func (k *Look) shapes() {
	k.bounds = geom.EmptyBox()
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		if b.Mask&frozen.CameraRays == 0 {
			continue
		}
		switch b.Material.Kind {
		case frozen.Inner:
			continue // seen through the outer one
		case frozen.Hair:
			continue // drawn over the picture
		case frozen.Matched:
			k.note("%s: a volume without a surface is not drawn", b.Name)
			continue
		}
		solid := solidOf(b, int32(i))
		if k.netted(b) {
			if s, ok := k.newLow(int32(i), max(16, k.set.Triangles)); ok {
				solid = s
			} else {
				k.note("%s: the shell is not in sight of the globe's centre all round, so it keeps its %d triangles", b.Name, len(solid.tri))
			}
		}
		if b.Material.Kind == frozen.Dielectric || b.Material.Kind == frozen.TearLine {
			k.clear = append(k.clear, solid)
		} else {
			k.solids = append(k.solids, solid)
		}
		if b.Shape != frozen.Slab {
			k.bounds = k.bounds.Union(b.Bounds)
		}
	}
}

// netted reports whether a net of fewer triangles is to stand for an object.
func (k *Look) netted(b *frozen.Object) bool {
	return b.Material.Kind == frozen.Outer && k.set.Triangles > 0 && len(b.Mesh.Tri) > k.set.Triangles
}

// tabulate makes the tables of how an object responds to light.
func (k *Look) tabulate(i int, b *frozen.Object) {
	m := &b.Material
	switch m.Kind {
	case frozen.Outer:
		k.eyes[b.Eye] = k.newEyeLook(int(b.Eye))
	case frozen.Conductor:
		metal := func(c float64) colour.RGB {
			if m.Mirror {
				return colour.Grey(1)
			}
			return fresnel.Conductor(c, m.Eta, m.K)
		}
		k.metal[i] = shading.NewResponse(m.Alpha, metal).Compensated(metal(1))
	case frozen.Dielectric, frozen.TearLine:
		if m.Kind == frozen.TearLine {
			k.bakeOpen(i, b)
		}
		k.metal[i] = shading.NewResponse(m.Alpha, func(c float64) colour.RGB { return colour.Grey(fresnel.Dielectric(c, m.Index)) })
	case frozen.Soft:
		k.metal[i] = shading.NewResponse(m.Alpha, func(c float64) colour.RGB {
			if m.Flesh.Clear {
				return colour.RGB{}
			}
			return colour.Grey(m.Flesh.Coat.Reflectance(c))
		})
		if k.set.Scattering == "screen" && !m.Flesh.Solid {
			k.flesh[i] = shading.NewKernel(fleshSpread(m.Flesh), k.set.ScatteringTaps)
		}
		if b.Closed && k.about(b) {
			k.bakeOpen(i, b)
		}
	case frozen.Diffuse, frozen.Inner, frozen.Matched, frozen.Hair: // no table
	default:
		panic(fmt.Sprintf("raster: %q is of the kind %v, for which tabulate has no case", b.Name, m.Kind))
	}
}

func (k *Look) note(format string, a ...any) { k.notes = append(k.notes, fmt.Sprintf(format, a...)) }

// lights sorts the lights into lamps and surroundings, and prefilters these.
func (k *Look) lights() {
	for i, l := range k.scene.Lights {
		f, ok := l.Form()
		if !ok && k.scene.LightTag[i] != i {
			f, ok = spot(l)
		}
		switch {
		case ok:
			if k.set.Lights != "none" {
				k.lamps = append(k.lamps, newLamp(f, i))
			}
		case l.Kind == light.Constant:
			k.even = k.even.Add(l.RadianceDir(geom.Vec{Z: 1}))
		default:
			k.far = append(k.far, k.newFarLight(l))
		}
	}
	if k.set.Ambient == "harmonics" {
		k.ambient = k.harmonics().Cut(k.set.HarmonicsOrder)
	}
}

// spot returns a distant disc in place of a hot spot that was cut out of an environment: of its irradiance, middle and width. ok is false
// where nothing shines.
func spot(l *light.Light) (f light.Form, ok bool) {
	const side = 96
	var e colour.RGB
	var mean geom.Vec
	total := 0.0
	for i := range side * side {
		s, ok := l.Sample(geom.Vec{}, (float64(i%side)+0.5)/side, (float64(i/side)+0.5)/side)
		if !ok || s.Pdf <= 0 {
			continue
		}
		e = e.Add(s.L.Scale(1 / s.Pdf / (side * side)))
		w := s.L.Luminance() / s.Pdf
		mean, total = mean.Mad(w, s.Wi), total+w
	}
	if total <= 0 {
		return f, false
	}
	// Over a disc of angular radius a the mean of the unit directions has the length 1 - a^2/4.
	m := mean.Len() / total
	f = light.Form{Kind: light.Distant, Frame: geom.NewFrame(mean.Unit()), Radius: 2 * math.Sqrt(max(1e-7, 1-m)), NX: 1, NY: 1}
	f.Radiance = e.Scale(1 / f.Solid())
	return f, true
}

// frame is one drawing of a look.
type frame struct {
	*Look
	camera        *camera.Camera
	view          cover.View
	width, height int
	flat          bool     // the camera is orthographic
	at            geom.Vec // of the camera
	back          geom.Vec // unit, from the scene to an orthographic camera
	cards         []lamp

	pass   *cover.Pass
	buf    *cover.Buffer
	sheets *cover.Pass // clear surfaces; nil without any
	over   *cover.Buffer
	wet    []float32 // by pixel, the share that tears cover; nil without any
	onEyes []*shadow // by lamp; see shadows
	onAll  []*shadow
	skin   *skin
	out    *Picture
}

// shaded is what a fragment sends to the camera: l at once, and a times the irradiance e once that has been spread by the kernel
// (nil: as it is).
type shaded struct {
	l, e, a colour.RGB
	kernel  *shading.Kernel
	owner   any // whose tissue it is: light is spread within one
}

// about reports whether an object reaches into an eye, as the lids about it do.
func (k *Look) about(b *frozen.Object) bool {
	for i := range k.balls {
		q := &k.balls[i]
		c := q.centre
		in := geom.Vec{X: max(b.Bounds.Lo.X, min(c.X, b.Bounds.Hi.X)), Y: max(b.Bounds.Lo.Y, min(c.Y, b.Bounds.Hi.Y)), Z: max(b.Bounds.Lo.Z, min(c.Z, b.Bounds.Hi.Z))}
		if in.Sub(c).Len() < 0.95*q.radius {
			return true
		}
	}
	return false
}

// mirrored returns the surroundings about the direction r.
func (k *Look) mirrored(r geom.Vec, alpha float64) colour.RGB {
	if k.set.Reflection == "none" {
		return colour.RGB{}
	}
	return k.around(r, alpha)
}

// glints returns what a surface mirrors of lamps, r being the mirrored view, before its response, and the share of its view that lamps
// with a place take from the surroundings behind them.
func (k *Look) glints(lamps []lamp, f *fragment, n, r geom.Vec, alpha float64) (out colour.RGB, share float64) {
	if len(lamps) == 0 {
		return out, 0
	}
	lobe := shading.NewLobe(f.wo, n, max(alpha, 1e-4))
	for i := range lamps {
		l := &lamps[i]
		if s := l.gloss(f.sf.P, &lobe, r, alpha); s > 0 {
			out = out.Add(l.Radiance.Scale(s))
			if l.Kind != light.Distant {
				share += s
			}
		}
	}
	return out, min(1, share)
}

// gloss returns what a plain surface of normal n mirrors, times its response.
func (k *frame) gloss(f *fragment, n geom.Vec, alpha float64, response colour.RGB) colour.RGB {
	alpha = widen(alpha, f.bend)
	r := geom.Reflect(f.wo, n)
	lit, share := k.glints(k.lamps, f, n, r, alpha)
	out := k.mirrored(r, alpha).Scale(1 - share).Add(lit)
	if k.open[f.sf.Object] == nil && k.set.Reflection != "none" {
		if l, s := k.reflected(f.sf.P, r, alpha); s > 0 {
			out = out.Scale(1 - s).Add(l.Scale(s))
		}
	}
	return out.Mul(response)
}

// diffuse returns the irradiance on a plain surface of normal n, below the coat of flesh where there is one (nil: none): as it counts
// for what the coat lets out again.
func (k *frame) diffuse(f *fragment, n geom.Vec, coat *frozen.Flesh, face *frozen.Face) colour.RGB {
	e := k.ambient.Irradiance(n)
	if k.set.Occlusion != "none" && k.open[f.sf.Object] == nil {
		e = k.beneath(f.sf.P, n, e)
	} else {
		e = e.Mul(opened(f.open, f.tint))
	}
	for i := range k.lamps {
		l := &k.lamps[i]
		c := l.cosine(f.sf.P, n)
		if c <= 0 {
			continue
		}
		c *= k.onAll[i].lit(f.sf.P, n, k.set.Shadow)
		if coat != nil {
			d, _, sin, _ := l.toward(f.sf.P)
			c *= coat.Out(face, steepness(d.Dot(n), 0.7*sin))
		}
		e = e.Add(l.strength().Scale(c))
	}
	return e
}

// shade returns what a fragment sends to the camera.
func (k *frame) shade(f *fragment) (out shaded) {
	b := &k.scene.Objects[f.sf.Object]
	m := &b.Material
	if b.Bump.Valid() {
		f.sf.Ns = k.mapped(f, f.sf.Ns, &b.Bump, b.BumpGain)
	}
	ng, n := f.facing()
	if m.Kind != frozen.Diffuse {
		n = turn(f.wo, ng, n)
	}
	switch m.Kind {
	case frozen.Outer:
		return k.outer(f)
	case frozen.Diffuse:
		out.l = k.colour(&m.Colour, f.sf.UV, f.ux, f.uy).Mul(k.diffuse(f, n, nil, nil)).Scale(1 / math.Pi)
	case frozen.Conductor:
		out.l = k.gloss(f, n, m.Alpha, k.metal[f.sf.Object].At(f.wo.Dot(n)))
	case frozen.Soft:
		var response colour.RGB
		var face frozen.Face
		if m.Flesh.Gloss == nil {
			response = k.metal[f.sf.Object].At(f.wo.Dot(n))
			out.l = k.gloss(f, n, m.Alpha, response)
		} else {
			n, face = k.relief(f, n, m.Flesh.Gloss)
			out.l, response = k.twoLobes(f, n, &face, m.Flesh.Gloss)
		}
		coat := m.Flesh
		if m.Flesh.Clear {
			coat = nil
		}
		f.tint = k.colour(&m.Colour, f.sf.UV, f.ux, f.uy)
		out.kernel, out.e, out.owner = k.flesh[f.sf.Object], k.diffuse(f, n, coat, &face), m.Flesh
		out.a = f.tint.Mul(colour.Grey(1).Sub(response)).Scale(1 / math.Pi)
	default:
		panic(fmt.Sprintf("raster: %q is of the kind %v, which shade does not draw", k.scene.Objects[f.sf.Object].Name, m.Kind))
	}
	return out
}

// frame returns a drawing by a camera that has nothing on it yet.
func (k *Look) frame(c *camera.Camera, width, height int) *frame {
	f := &frame{Look: k, camera: c, width: width, height: height, at: c.Position(), back: c.Frame().N}
	size, _ := c.PixelSpread()
	f.flat = size > 0
	near, far := 0.01, 1000.0
	if f.flat && !k.bounds.Empty() {
		m := k.bounds.Centre().Sub(f.at).Dot(f.back.Neg())
		r := k.bounds.Size().Len()/2 + 1
		near, far = m-r, m+r
	}
	f.view = cover.Of(c, width, height, near, far)
	f.paintCards()
	return f
}

// Draw draws the frame that a camera sees.
func (k *Look) Draw(ctx context.Context, c *camera.Camera, width, height int) (*Picture, error) {
	f := k.frame(c, width, height)
	f.pass, f.skin = cover.NewPass(f.view), newSkin(width, height)
	for i := range k.solids {
		s := &k.solids[i]
		s.addTo(f.pass, int32(i), s.side, k.workers)
	}
	f.buf = f.pass.Draw(k.set.CoverageSamples, k.workers)
	f.shadows(f.region())
	f.laySheets()
	p := &Picture{Width: width, Height: height, Mean: make([]colour.RGB, width*height), Alpha: make([]float64, width*height), Notes: k.notes}
	if r, _ := c.Lens(); r > 0 {
		p.Notes = append(p.Notes[:len(p.Notes):len(p.Notes)], "the lens is drawn as a pinhole, without blur")
	}
	f.out = p
	parallel.Each(height, k.workers, func(y int) {
		if ctx.Err() != nil {
			return
		}
		for x := range width {
			f.pixel(x, y)
		}
	})
	f.glaze(ctx)
	f.hairs(ctx)
	f.skin.spread(ctx, p.Mean, k.workers)
	if k.set.Glare > 0 {
		p.Mean = shading.Glare(p.Mean, width, height, k.set.GlareField, k.set.Glare, k.workers)
	}
	return p, ctx.Err()
}

// glaze draws what is clear over the picture: it mirrors, and lets what lies behind through straight. Only the nearest clear surface of a
// sample shows. Where nothing lies behind, what passes comes from the surroundings along the ray bent once.
//
// The usual fake of glass and of wet edges: common practice, no published source.
func (k *frame) glaze(ctx context.Context) {
	if k.sheets == nil {
		return
	}
	pass, buf, n := k.sheets, k.over, k.buf.Samples
	parallel.Each(k.height, k.workers, func(y int) {
		if ctx.Err() != nil {
			return
		}
		for x := range k.width {
			i := y*k.width + x
			count, best := 0, cover.None
			var mx, my float64
			for s := i * n; s < (i+1)*n; s++ {
				if buf.ID[s] != cover.None && buf.Depth[s] > k.buf.Depth[s] {
					ox, oy := cover.Offset(n, s-i*n)
					mx, my, count, best = mx+ox, my+oy, count+1, buf.ID[s]
				}
			}
			if count == 0 {
				continue
			}
			f := k.fragment(pass, k.clear, best, float64(x)+mx/float64(count), float64(y)+my/float64(count))
			m := &k.scene.Objects[f.sf.Object].Material
			if m.Kind == frozen.TearLine {
				k.tears(x, y)
				continue
			}
			ng, ns := f.facing()
			ns = turn(f.wo, ng, ns)
			response := k.metal[f.sf.Object].At(f.wo.Dot(ns))
			l := k.gloss(&f, ns, m.Alpha, response)
			w := float64(count) / float64(n)
			open := 1 - k.out.Alpha[i]
			if k.scene.ShowEnvironment {
				open = 1 - k.solid(i)
			}
			if d, ok := geom.Refract(f.wo, ns, m.Index); ok {
				l = l.Add(k.around(d, m.Alpha).Mul(colour.Grey(1).Sub(response)).Scale(open))
			}
			for c := range response {
				pass := 1 - w*response[c]
				if open > 0 { // the surroundings behind give way to the bent ones
					pass -= w * (1 - response[c]) * open
				}
				k.out.Mean[i][c] = pass*k.out.Mean[i][c] + w*l[c]
				k.skin.a[i][c] *= float32(pass)
			}
			k.out.Alpha[i] = max(k.out.Alpha[i], w)
		}
	})
}

// solid returns the share of a pixel's samples that show an object.
func (k *frame) solid(i int) float64 {
	n := k.buf.Samples
	count := 0
	for _, id := range k.buf.ID[i*n : (i+1)*n] {
		if id != cover.None {
			count++
		}
	}
	return float64(count) / float64(n)
}

// region returns a ball that holds what the picture shows, from every eighth pixel and a margin.
//
// Source of fitting shadow maps to what is seen: Lauritzen, Salvi and Lefohn, Sample Distribution Shadow Maps, I3D 2011.
func (k *frame) region() (centre geom.Vec, radius float64) {
	box := geom.EmptyBox()
	const every = 8
	for y := every / 2; y < k.height; y += every {
		for x := every / 2; x < k.width; x += every {
			if id := k.buf.ID[(y*k.width+x)*k.buf.Samples]; id != cover.None && k.solids[k.pass.Object(id)].object >= 0 {
				f := k.fragment(k.pass, k.solids, id, float64(x)+0.5, float64(y)+0.5)
				box = box.Grow(f.sf.P)
			}
		}
	}
	if box.Empty() {
		return geom.Vec{}, 1
	}
	return box.Centre(), 0.53*box.Size().Len() + 0.1
}

// pixel shades each object that a pixel's samples show once, in the middle of those samples, and adds them up by their number.
func (k *frame) pixel(x, y int) {
	n := k.buf.Samples
	i := y*k.width + x
	ids := k.buf.ID[i*n : (i+1)*n]
	var done [8]bool
	p := k.out
	for s, id := range ids {
		if done[s] || id == cover.None {
			continue
		}
		object := k.pass.Object(id)
		var mx, my float64
		count := 0
		for q := s; q < n; q++ {
			if ids[q] != cover.None && k.pass.Object(ids[q]) == object {
				done[q] = true
				ox, oy := cover.Offset(n, q)
				mx, my, count = mx+ox, my+oy, count+1
			}
		}
		// The triangle of the sample nearest to the middle stands for all.
		mx, my = mx/float64(count), my/float64(count)
		best, least := id, math.Inf(1)
		for q := s; q < n; q++ {
			if ids[q] != cover.None && k.pass.Object(ids[q]) == object {
				ox, oy := cover.Offset(n, q)
				if d := (ox-mx)*(ox-mx) + (oy-my)*(oy-my); d < least {
					best, least = ids[q], d
				}
			}
		}
		w := float64(count) / float64(n)
		p.Alpha[i] += w
		if l := k.solids[object].light; l != nil {
			pl := k.place(k.pass, k.solids, best, float64(x)+mx, float64(y)+my)
			p.Mean[i] = p.Mean[i].Add(l.Radiance(pl, k.toCamera(pl)).Scale(w))
			continue
		}
		f := k.fragment(k.pass, k.solids, best, float64(x)+mx, float64(y)+my)
		a := k.shade(&f)
		l := a.l
		if m := k.scene.Objects[f.sf.Object].Material.Kind; k.wet != nil && (m == frozen.Outer || m == frozen.Soft) {
			l = l.Scale(1 - float64(k.wet[i])) // water has one surface
		}
		if a.kernel == nil {
			l = l.Add(a.e.Mul(a.a))
		} else {
			k.skin.add(i, &a, &f, a.a.Scale(w))
		}
		p.Mean[i] = p.Mean[i].Add(l.Scale(w))
	}
	if p.Alpha[i] < 1 && k.scene.ShowEnvironment {
		p.Mean[i] = p.Mean[i].Add(k.background(x, y).Scale(1 - p.Alpha[i]))
		p.Alpha[i] = 1
	}
}

// background returns what the camera sees of the distant lights.
func (k *frame) background(x, y int) (c colour.RGB) {
	_, d, _ := k.camera.Ray(float64(x)+0.5, float64(y)+0.5, 0.5, 0.5)
	for i, l := range k.scene.Lights {
		if !l.Finite() && k.scene.LightSeen[i] {
			c = c.Add(l.RadianceDir(d))
		}
	}
	return c
}
