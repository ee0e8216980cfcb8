package prepare

import (
	"fmt"
	"math"
	"sync/atomic"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/parallel"
)

const (
	underBins  = 32  // of the angle at the globe's centre, from the axis to the end of the iris zone
	underTurns = 16  // points of the iris in each
	underRays  = 256 // from each point

	// The reach of folds, of the size of the inner shell: 1 mm of a whole eye's.
	underFold = 0.025
)

// underCornea tells how the cornea changes the look of evenly lit tissue, by the angle from the axis at the globe's
// centre. Of light that reaches a place of the iris evenly (as the directions in which tissue sends it back do, by
// Lambert's law and by reciprocity) Sky is the share that came in through the shell, Iris and White those that iris and
// sclera sent, straight or by way of the shell's inner side. View is the share of light straight to the front that
// leaves. Directions are those above the smooth iris, without those that meet it again within 1 mm: that its folds
// shade each other is no doing of the cornea, is filled by light that scatters through them, and stays as it is.
//
// All lie under one shell, so that the square of its index, by which radiance grows inside, falls out: an even sky of
// radiance 1 makes tissue of reflectance A show View A (Sky + Iris B + White W), where B and W are what iris and
// sclera show within, over the square of the index.
type underCornea struct {
	Top                    float64 // radians, the end of the last bin
	Sky, Iris, White, View []float64
}

// underCornea traces what the colours of an iris painted as seen want to know; nil where they are bare. Without
// refraction the shell is a thin coat, which keeps colours as they are.
func (p *preparer) underCornea(name string, s *eyeball, d *scene.Eye) (*underCornea, error) {
	if c := &d.Iris.Colour; !c.Given || c.Painted != "seen" || !p.out.Settings.Refraction {
		return nil, nil
	}
	lens := frozen.Eye{Index: d.Cornea.Index, ReflectIndex: d.Cornea.ReflectionIndex, LimbusRadius: d.Limbus.Radius, LimbusWidth: d.Limbus.Width}
	if lens.ReflectIndex == 0 {
		lens.ReflectIndex = lens.Index
	}
	lens.Prepare()
	tear := p.out.Settings.TearFilm
	inputs := []any{shapeOf(d), p.stamps(d), lens.Index, lens.ReflectIndex, tear}
	return stage(p, "under the cornea "+name, inputs, func(*making) (*underCornea, error) {
		return s.traceUnder(&lens, tear, p.o.WorkerCount()), nil
	})
}

// traceUnder fills the bins by rays from the iris up into the dome. A bin without tissue, as in the pupil, has the values
// of the next one outward.
func (s *eyeball) traceUnder(lens *frozen.Eye, tear bool, workers int) *underCornea {
	edge := lens.LimbusRadius + lens.LimbusWidth/2
	u := &underCornea{Top: math.Asin(min(1, edge/(s.outer.Bounds().Size().X/2)))}
	for _, l := range []*[]float64{&u.Sky, &u.Iris, &u.White, &u.View} {
		*l = make([]float64, underBins)
	}
	parallel.With(underBins, workers, accel.NewScratch, func(sc *accel.Scratch, k int) {
		angle := (float64(k) + 0.5) / underBins * u.Top
		sin, cos := math.Sincos(angle)
		b := shareOf{eyeball: s, lens: lens, tear: tear, sc: sc}
		// The smooth iris: the mean normal of the ring, as its part along the axis and its part from the axis.
		var places [underTurns]geom.Vec
		var there [underTurns]bool
		var rise, lean float64
		for i := range places {
			y, x := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / underTurns)
			var n geom.Vec
			if places[i], n, there[i] = b.tissueAt(geom.Vec{X: sin * x, Y: sin * y, Z: cos}); there[i] {
				rise, lean = rise+n.Z, lean+n.X*x+n.Y*y
			}
		}
		for i, o := range places {
			y, x := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / underTurns)
			if n := (geom.Vec{X: lean * x, Y: lean * y, Z: rise}); there[i] && n.Len2() > 0 {
				b.from(o, n.Unit())
			}
		}
		if all := b.sky + b.iris + b.white + b.lost; all > 0 && b.points > 0 {
			u.Sky[k], u.Iris[k], u.White[k], u.View[k] = b.sky/all, b.iris/all, b.white/all, b.view/float64(b.points)
		}
	})
	for k := underBins - 2; k >= 0; k-- {
		if u.View[k] == 0 {
			u.Sky[k], u.Iris[k], u.White[k], u.View[k] = u.Sky[k+1], u.Iris[k+1], u.White[k+1], u.View[k+1]
		}
	}
	return u
}

// shareOf sums the shares of one bin.
type shareOf struct {
	*eyeball
	lens                   *frozen.Eye
	tear                   bool
	sc                     *accel.Scratch
	points                 int
	sky, iris, white, view float64
	lost                   float64 // mirrored into the pupil
}

// tissueAt returns the tissue in front of a direction and its normal there, where there is some.
func (b *shareOf) tissueAt(v geom.Vec) (o, n geom.Vec, ok bool) {
	var h accel.Hit
	if !b.innerBVH.Closest(b.sc, v.Mul(2*b.far), v.Neg(), 0, 2*b.far, &h) || b.inner.Part != nil && b.inner.Part[h.Prim] != mesh.Tissue {
		return o, n, false
	}
	o, n = hitOf(b.inner, &h)
	return o, n, true
}

// from adds a place of the iris with the normal of the smooth iris.
func (b *shareOf) from(o, n geom.Vec) {
	o = o.Mad(1e-4*b.far, n)
	view, met := b.leaves(o, geom.Vec{Z: 1})
	if !met {
		return
	}
	b.points++
	b.view += view
	f := geom.NewFrame(n)
	for i := range underRays {
		_, turn := math.Modf((float64(i) + 0.5) * 0.6180339887498949)
		b.follow(o, f.World(geom.CosineHemisphere((float64(i)+0.5)/underRays, turn)), 1.0/underRays)
	}
}

// leaves returns the share of light along a ray that leaves the shell where it first meets it.
func (b *shareOf) leaves(o, d geom.Vec) (float64, bool) {
	var h accel.Hit
	if !b.outerBVH.Closest(b.sc, o, d, 0, math.Inf(1), &h) {
		return 0, false
	}
	_, n := hitOf(b.outer, &h)
	return 1 - b.lens.FacetOut(min(1, math.Abs(d.Dot(n))), b.tear), true
}

// follow follows a ray under the shell and all that is mirrored of it.
func (b *shareOf) follow(o, d geom.Vec, w float64) {
	for turn := range 16 {
		var in, out accel.Hit
		far := math.Inf(1)
		met := b.outerBVH.Closest(b.sc, o, d, 0, far, &out)
		if met {
			far = out.T
		}
		if b.innerBVH.Closest(b.sc, o, d, 0, far, &in) {
			if turn == 0 && in.T < underFold*b.far {
				return
			}
			if b.inner.Part == nil || b.inner.Part[in.Prim] == mesh.Tissue {
				q, _ := hitOf(b.inner, &in)
				z := b.lens.TissueZone(q)
				b.iris, b.white = b.iris+w*z, b.white+w*(1-z)
			} else {
				b.lost += w
			}
			return
		}
		if !met {
			b.sky += w
			return
		}
		q, n := hitOf(b.outer, &out)
		mirrored := b.lens.FacetOut(min(1, math.Abs(d.Dot(n))), b.tear)
		b.sky += w * (1 - mirrored)
		if w *= mirrored; w < 1e-4/underRays {
			return
		}
		if n.Dot(d) > 0 {
			n = n.Neg()
		}
		o, d = q.Mad(1e-5*b.far, n), d.Mad(-2*d.Dot(n), n).Unit()
	}
}

// hitOf returns the place of a hit and the unit normal there.
func hitOf(m *mesh.Mesh, h *accel.Hit) (q, n geom.Vec) {
	t := m.Tri[h.Prim]
	a, b, c := m.P[t[0]], m.P[t[1]], m.P[t[2]]
	n = b.Sub(a).Cross(c.Sub(a))
	if m.N != nil {
		n = geom.Mix(m.N[t[0]], m.N[t[1]], m.N[t[2]], h.U, h.V)
	}
	return geom.Mix(a, b, c, h.U, h.V), n.Unit()
}

// at returns the values of a direction, linear between the middles of bins.
func (u *underCornea) at(v geom.Vec) (sky, iris, white, view float64) {
	x := max(0, min(math.Acos(max(-1, min(1, v.Z)))/u.Top*underBins-0.5, underBins-1))
	k := min(int(x), underBins-2)
	f := x - float64(k)
	mix := func(l []float64) float64 { return l[k] + f*(l[k+1]-l[k]) }
	return mix(u.Sky), mix(u.Iris), mix(u.White), mix(u.View)
}

// bare returns what turns a colour that an iris is to show into that of its tissue. What iris and sclera show within is
// taken as even: the mean of what is painted.
func (u *underCornea) bare(iris, white *paint, zone func(v geom.Vec) float64, most float64, m *making) func(v geom.Vec, seen colour.RGB) colour.RGB {
	const rings, turns = 128, 64
	var within, sclera colour.RGB
	var wi, ws float64
	for k := range rings {
		sin, cos := math.Sincos((float64(k) + 0.5) / rings * math.Pi / 2)
		for i := range turns {
			y, x := math.Sincos(2 * math.Pi * (float64(i) + 0.5) / turns)
			v := geom.Vec{X: sin * x, Y: sin * y, Z: cos}
			if z := zone(v); z > 0.5 {
				_, _, _, view := u.at(v)
				within, wi = within.Add(iris.exact(v).Scale(sin/max(view, 0.1))), wi+sin
			} else {
				sclera, ws = sclera.Add(white.exact(v).Scale(sin)), ws+sin
			}
		}
	}
	within, sclera = within.Scale(1/max(wi, 1e-9)), sclera.Scale(1/max(ws, 1e-9))
	var once atomic.Bool
	return func(v geom.Vec, seen colour.RGB) (a colour.RGB) {
		sky, in, out, view := u.at(v)
		over := false
		for c, q := range seen {
			a[c] = q / max(view, 0.1) / max(sky+in*within[c]+out*sclera[c], 0.05)
			over = over || a[c] > most
		}
		if over && zone(v) > 0.5 && !once.Swap(true) {
			m.notes = append(m.notes, fmt.Sprintf("iris.colour: painted as seen, and brighter in places than tissue under this cornea can be; it is held at %g", most))
		}
		return a
	}
}
