package raster

import (
	"math"
	"sync"

	"catchlight/render/accel"
	"catchlight/render/frozen"
	"catchlight/render/raster/shading"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
	"catchlight/scene/parallel"
)

// Occlusion: how much of the surroundings plain objects such as lids and cards hide from an eye, and what they show in the mirror of its
// tear film. Both are baked from one place: the centre of the eye.

// skyShare is ambient occlusion by direction from the eye's centre, with one bounce: for each direction the share of the surroundings
// that the outer shell there still sees past plain objects, and the irradiance that these objects send in their place.
//
// Source: Landis, Production-Ready Global Illumination, SIGGRAPH course 2002 (baked ambient occlusion), with one bounce of light.
type skyShare struct {
	n   int
	pix []float32 // 4 a texel
}

const (
	skySide   = 96
	skyPoints = 64
)

// skyRays is where the rays of a skyShare end: those of a texel are bounces first[i] to first[i+1], the others are open.
type skyRays struct {
	open    []float32 // share that is open
	bounces []bounce
	first   []int32
}

func (k *Look) newSkyRays(y *eyeLook) *skyRays {
	v := &skyRays{open: make([]float32, skySide*skySide)}
	texels := make([][]bounce, len(v.open))
	scratch := newScratches()
	frozen.Directions(skySide, func(i int, d geom.Vec) {
		v.open[i] = 1
		sc := scratch.Get().(*accel.Scratch)
		defer scratch.Put(sc)
		far := 4 * y.e.Far
		var sp frozen.ShellPoint
		if !k.scene.CastOuter(sc, y.e, d.Mul(far), d.Neg(), 0, far, false, &sp) {
			return
		}
		to := &y.object.ToWorld
		p, f := to.Point(sp.P), geom.NewFrame(to.Vector(sp.N).Unit())
		for s := range skyPoints {
			const side = 8
			r := geom.Ray{O: p, D: f.World(geom.CosineHemisphere((float64(s%side)+0.5)/side, (float64(s/side)+0.5)/side))}
			if h, ok := k.nearest(sc, r, frozen.ShadowRays, y.e); ok {
				texels[i] = append(texels[i], k.bounceOff(r, &h))
			}
		}
		v.open[i] = float32(skyPoints-len(texels[i])) / skyPoints
	}, k.workers)
	v.bounces, v.first = joined(texels)
	return v
}

// lit returns the share of light for bounces of the given radiance.
func (v *skyRays) lit(glow []colour.RGB) *skyShare {
	out := &skyShare{n: skySide, pix: make([]float32, 4*len(v.open))}
	for i, open := range v.open {
		var sum colour.RGB
		for _, l := range glow[v.first[i]:v.first[i+1]] {
			sum = sum.Add(l)
		}
		o := out.pix[4*i : 4*i+4]
		o[0] = open
		for c := range sum {
			o[1+c] = float32(sum[c] * math.Pi / skyPoints)
		}
	}
	return out
}

// at returns what is left of the irradiance e of the surroundings at a place of the outer shell (eye frame), with what objects send.
func (v *skyShare) at(p geom.Vec, e colour.RGB) colour.RGB {
	if v == nil {
		return e
	}
	uv := chart(p)
	q := sample(v.pix, v.n, uv.U, uv.V)
	return e.Scale(q[0]).Add(colour.RGB{q[1], q[2], q[3]})
}

// newScratches returns scratch space for rays, one a worker.
func newScratches() *sync.Pool { return &sync.Pool{New: func() any { return accel.NewScratch() }} }

// nearest finds the first object about an eye that a ray meets, clear ones and the eye's own shells left out.
func (k *Look) nearest(sc *accel.Scratch, r geom.Ray, mask frozen.Mask, own *frozen.Eye) (h frozen.Hit, ok bool) {
	h = frozen.Hit{T: math.Inf(1), Object: -1, Light: -1}
	inv := geom.Vec{X: 1 / r.D.X, Y: 1 / r.D.Y, Z: 1 / r.D.Z}
	for i := range k.scene.Objects {
		b := &k.scene.Objects[i]
		if q := int32(i); b.Mask&mask == 0 || q == own.Outer || q == own.Inner || b.Material.Kind == frozen.Outer || letsThrough(b.Material.Kind) {
			continue
		}
		if _, _, near := b.Bounds.Hit(r.O, inv, 1e-6, h.T); near && b.Closest(sc, r, 1e-6, h.T, &h) {
			h.Object, ok = int32(i), true
		}
	}
	return h, ok
}

// crevices returns the share of diffuse light from above that the relief about each texel lets in, from the highest slope within reach in
// each of some directions, at every few texels and linear between.
//
// Source: Max, Horizon Mapping: Shadows for Bump-Mapped Surfaces, The Visual Computer 4, 1988: with the horizon at the angle h in a
// direction, cos^2 h of the cosine-weighted light from there passes over it.
func (r *relief) crevices(workers int) []float32 {
	const turns, steps, reach = 12, 7, 0.5 // reach in mm
	every := max(1, r.n/512)
	m := r.n / every
	coarse := make([]float32, m*m)
	texel := 2 * r.reach / float64(r.n)
	parallel.Each(m, workers, func(j int) {
		for i := range m {
			x0, y0 := i*every+every/2, j*every+every/2
			z := r.z[y0*r.n+x0]
			coarse[j*m+i] = 1
			if r.open[y0*r.n+x0] == 0 {
				continue
			}
			sum := 0.0
			for t := range turns {
				sin, cos := math.Sincos(2 * math.Pi * (float64(t) + 0.5) / turns)
				high := 0.0
				for s := range steps {
					d := max(1.5*texel, reach*math.Pow((float64(s)+1)/steps, 2))
					x, y := x0+int(math.Round(d*cos/texel)), y0-int(math.Round(d*sin/texel))
					if x < 0 || y < 0 || x >= r.n || y >= r.n || r.open[y*r.n+x] == 0 {
						continue
					}
					high = max(high, float64(r.z[y*r.n+x]-z)/d)
				}
				sum += 1 / (1 + high*high)
			}
			coarse[j*m+i] = float32(sum / turns)
		}
	})
	out := make([]float32, r.n*r.n)
	c := relief{reach: r.reach, n: m}
	parallel.Each(r.n, workers, func(j int) {
		for i := range r.n {
			out[j*r.n+i] = float32(c.read(coarse, ((float64(i)+0.5)/float64(r.n)*2-1)*r.reach, (1-(float64(j)+0.5)/float64(r.n)*2)*r.reach))
		}
	})
	return out
}

// surround is what stands about an eye: by direction from its centre, the distance of the first plain object and the light that it sends.
type surround struct {
	centre  geom.Vec
	n       int
	dist    []float32 // mm; +Inf where nothing stands
	blocks  blocks    // of dist
	bounces []bounce
	bounce  []int32      // by direction; -1 where nothing stands
	l       []colour.RGB // of the bounces
	most    float64      // the largest distance
	least   float64
}

// newSurround looks round from the eye's centre, without light. It is nil where nothing stands about it.
func (k *Look) newSurround(y *eyeLook) *surround {
	n := 2 * k.set.PrefilterSize // sharper than the surroundings: what stands near is mirrored large
	p := &surround{centre: y.object.ToWorld.T, n: n, dist: make([]float32, n*n), bounce: make([]int32, n*n), least: math.Inf(1)}
	rows := make([][]bounce, n)
	parallel.With(n, k.workers, accel.NewScratch, func(sc *accel.Scratch, j int) {
		for i := range n {
			r := geom.Ray{O: p.centre, D: shading.Direction(n, i, j).Unit()}
			h, ok := k.nearest(sc, r, frozen.ReflectionRays, y.e)
			p.dist[j*n+i], p.bounce[j*n+i] = float32(h.T), -1
			if ok {
				p.bounce[j*n+i] = int32(len(rows[j]))
				rows[j] = append(rows[j], k.bounceOff(r, &h))
			}
		}
	})
	var first []int32
	p.bounces, first = joined(rows)
	for i, d := range p.dist {
		if d := float64(d); !math.IsInf(d, 1) {
			p.most, p.least = max(p.most, d), min(p.least, d)
		}
		if p.bounce[i] >= 0 {
			p.bounce[i] += first[i/n]
		}
	}
	if p.most == 0 {
		return nil
	}
	p.blocks = newBlocks(p.dist, n, 8)
	return p
}

// lit returns it with bounces of the given radiance.
func (b *surround) lit(glow []colour.RGB) *surround {
	out := *b
	out.l = glow
	return &out
}

// surroundSteps is the number of places along a mirrored ray that are checked against the distances.
const surroundSteps = 14

// meets follows a mirrored ray from p past the distances of what stands about the eye. share is how much of it ends on an object, l the light from there.
//
// Source: Szirmay-Kalos, Aszodi, Lazanyi and Premecz, Approximate Ray-Tracing on the GPU with Distance Impostors, CGF 24(3), 2005; a walk
// in even steps and a bisection in place of their secant, which can step past what is thin.
func (b *surround) meets(p, d geom.Vec) (l colour.RGB, share float64) {
	o := p.Sub(b.centre)
	// The ray leaves the ball that holds all objects at t1, and enters the shell where they stand at t0.
	root := func(radius float64) float64 {
		m := o.Dot(d)
		return -m + math.Sqrt(max(0, m*m-o.Len2()+radius*radius))
	}
	t0, t1 := 0.0, root(min(b.most, 60*b.least))
	if q := root(b.least * 0.98); q > 0 && o.Len() < b.least {
		t0 = q
	}
	over := func(t float64) bool { // whether the point lies behind the nearest object
		x := o.Mad(t, d)
		u, v := shading.Place(x)
		n, r := float64(b.n), x.Len()
		i, j := min(b.n-1, int(u*n)), min(b.n-1, int(v*n))
		return r >= float64(b.blocks.least[j/8*b.blocks.n+i/8]) && r >= float64(b.dist[j*b.n+i])
	}
	last := t0
	for i := 1; i <= surroundSteps; i++ {
		s := float64(i) / surroundSteps
		t := t0 + (t1-t0)*s*s
		if over(t) {
			lo, hi := last, t
			for range 5 {
				if m := (lo + hi) / 2; over(m) {
					hi = m
				} else {
					lo = m
				}
			}
			return b.read(o.Mad(hi, d), o.Mad(hi, d).Len())
		}
		last = t
	}
	return l, 0
}

// read returns the light about a direction of what stands no farther than the point there, and the share of the four texels that do.
func (b *surround) read(x geom.Vec, r float64) (l colour.RGB, share float64) {
	u, v := shading.Place(x)
	for _, q := range taps(b.n, u, v) {
		if float64(b.dist[q.at]) <= r*1.05 {
			l, share = l.Add(b.l[b.bounce[q.at]].Scale(q.w)), share+q.w
		}
	}
	if share > 0 {
		l = l.Scale(1 / share)
	}
	return l, share
}
