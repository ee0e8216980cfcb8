package main

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"catchlight/scene/geom"
)

// shape is an eye-like pair of closed shells of triangles: the inner one first.
type shape struct {
	p     []geom.Vec
	tri   [][3]uint32
	inner int // triangles of the inner shell
	verts int // vertices of the inner shell
}

// sizes by name: meridians and parallels of each shell.
var sizes = map[string][2]int{"4k": {48, 24}, "70k": {188, 94}, "500k": {500, 250}, "2m": {1000, 500}}

// newShape makes the shells: an inner sphere of 11.5 mm whose front is a concave iris with 60 fibres about a bowl, an
// outer one of 12 mm with a cornea of 7.8 mm.
func newShape(meridians, parallels int) *shape {
	s := &shape{}
	for k, at := range []func(theta, phi float64) geom.Vec{innerPoint, outerPoint} {
		base := uint32(len(s.p))
		put := func(q geom.Vec) uint32 {
			// As single precision has it, so that both sides trace the same triangles.
			s.p = append(s.p, geom.Vec{X: float64(float32(q.X)), Y: float64(float32(q.Y)), Z: float64(float32(q.Z))})
			return uint32(len(s.p) - 1)
		}
		north := put(at(0, 0))
		for j := 1; j < parallels; j++ {
			for i := range meridians {
				put(at(math.Pi*float64(j)/float64(parallels), 2*math.Pi*float64(i)/float64(meridians)))
			}
		}
		south := put(at(math.Pi, 0))
		v := func(j, i int) uint32 { return base + 1 + uint32((j-1)*meridians+i%meridians) }
		for i := range meridians {
			s.tri = append(s.tri, [3]uint32{north, v(1, i), v(1, i+1)})
			for j := 1; j < parallels-1; j++ {
				a, b, c, d := v(j, i), v(j+1, i), v(j+1, i+1), v(j, i+1)
				s.tri = append(s.tri, [3]uint32{a, b, c}, [3]uint32{a, c, d})
			}
			s.tri = append(s.tri, [3]uint32{south, v(parallels-1, i+1), v(parallels-1, i)})
		}
		if k == 0 {
			s.inner, s.verts = len(s.tri), len(s.p)
		}
	}
	return s
}

func innerPoint(theta, phi float64) geom.Vec {
	const radius, iris, pupil = 11.5, 6.0, 2.0
	sin, cos := math.Sincos(phi)
	edge := math.Asin(iris / radius)
	if theta >= edge {
		return geom.Vec{X: radius * math.Sin(theta) * cos, Y: radius * math.Sin(theta) * sin, Z: radius * math.Cos(theta)}
	}
	rho := theta / edge * iris
	x := rho / iris
	z := math.Sqrt(radius*radius-iris*iris) - 0.9*(1-x*x*x*x)
	if rho > pupil {
		z += 0.06 * math.Sin(math.Pi*(rho-pupil)/(iris-pupil)) * math.Sin(60*phi+3*math.Sin(4*rho))
	} else {
		z -= 1.5 * (1 - rho*rho/(pupil*pupil))
	}
	return geom.Vec{X: rho * cos, Y: rho * sin, Z: z}
}

func outerPoint(theta, phi float64) geom.Vec {
	const radius, cornea, limbus, soft = 12.0, 7.8, 6.0, 0.25
	centre := math.Sqrt(radius*radius-limbus*limbus) - math.Sqrt(cornea*cornea-limbus*limbus)
	sin, cos := math.Sincos(theta)
	d := radius
	if in := cornea*cornea - centre*centre*sin*sin; cos > 0 && in > 0 {
		c := centre*cos + math.Sqrt(in)
		h := max(soft-math.Abs(d-c), 0) / soft
		d = max(d, c) + h*h*soft/4
	}
	s, c := math.Sincos(phi)
	return geom.Vec{X: d * sin * c, Y: d * sin * s, Z: d * cos}
}

// ray is a ray as the reference library takes it.
type ray struct{ ox, oy, oz, near, dx, dy, dz, far float32 }

// set is one kind of work.
type set struct {
	name, about string
	shell       string // full: both shells in one hierarchy; inner: the inner one alone
	occluded    bool   // any hit will do
	rays        []ray
}

func direction(r *rand.Rand) geom.Vec { return geom.UniformSphere(r.Float64(), r.Float64()) }

// sets makes n rays of every kind.
func (s *shape) sets(n int) []set {
	r := rand.New(rand.NewPCG(1, 2))
	cdf := make([]float64, s.inner+1)
	for i, t := range s.tri[:s.inner] {
		cdf[i+1] = cdf[i] + s.p[t[1]].Sub(s.p[t[0]]).Cross(s.p[t[2]].Sub(s.p[t[0]])).Len()
	}
	pick := func() (p, normal geom.Vec) {
		k, _ := slices.BinarySearch(cdf, r.Float64()*cdf[s.inner])
		t := s.tri[max(0, min(k-1, s.inner-1))]
		a, b, c := s.p[t[0]], s.p[t[1]], s.p[t[2]]
		u, v := math.Sqrt(r.Float64()), r.Float64()
		p = geom.Mix(a, b, c, u*(1-v), u*v)
		normal = b.Sub(a).Cross(c.Sub(a)).Unit()
		if normal.Dot(p) < 0 && p.Z < 8 {
			normal = normal.Neg()
		}
		return
	}
	make := func(f func(i int) (o, d geom.Vec, far float64)) []ray {
		out := make([]ray, n)
		for i := range out {
			o, d, far := f(i)
			out[i] = ray{float32(o.X), float32(o.Y), float32(o.Z), 0, float32(d.X), float32(d.Y), float32(d.Z), float32(far)}
		}
		return out
	}
	side := (int(math.Ceil(math.Sqrt(float64(n)))) + 15) / 16 * 16
	camera := make(func(i int) (geom.Vec, geom.Vec, float64) {
		t, k := i/256, i%256
		x := (float64(t%(side/16)*16+k%16)+r.Float64())/float64(side)*2 - 1
		y := (float64(t/(side/16)*16+k/16)+r.Float64())/float64(side)*2 - 1
		o := geom.Vec{Z: 70}
		return o, geom.Vec{X: x * 7.8, Y: y * 7.8, Z: 9}.Sub(o).Unit(), math.Inf(1)
	})
	bounce := make(func(int) (geom.Vec, geom.Vec, float64) {
		p, normal := pick()
		return p.Mad(1e-3, normal), normal.Mad(0.9999, direction(r)).Unit(), math.Inf(1)
	})
	shadow := make(func(int) (geom.Vec, geom.Vec, float64) {
		p, normal := pick()
		d := direction(r)
		if d.Dot(normal) < 0 {
			d = d.Neg()
		}
		return p.Mad(1e-3, normal), d, math.Inf(1)
	})
	walk := func(long bool) []ray {
		return make(func(int) (geom.Vec, geom.Vec, float64) {
			p, normal := pick()
			far := 0.2 * r.ExpFloat64()
			if long {
				far = math.Inf(1)
			}
			return p.Mad(-min(1e-3+0.4*r.ExpFloat64(), 3), normal), direction(r), far
		})
	}
	segments, leaks := walk(false), walk(true)
	return []set{
		{"a", "camera, 16 x 16 tiles", "full", false, camera},
		{"b", "bounce off the inner shell, any order", "full", false, bounce},
		{"bs", "the same in tile order", "full", false, inOrder(bounce)},
		{"c-full", "occlusion, both shells", "full", true, shadow},
		{"c-inner", "occlusion, inner shell", "inner", true, shadow},
		{"d-full", "walk segments, both shells", "full", false, segments},
		{"d-inner", "walk segments, inner shell", "inner", false, segments},
		{"ds-inner", "the same in tile order", "inner", false, inOrder(segments)},
		{"e-inner", "from inside a closed shell", "inner", false, leaks},
	}
}

// inOrder sorts rays by the Morton code of their origins, which is nearly the order of a tiled renderer.
func inOrder(rays []ray) []ray {
	spread := func(x float32) uint64 {
		v := uint64(max(0, min(1023, (x+14)/28*1024)))
		v = (v | v<<16) & 0x30000ff
		v = (v | v<<8) & 0x300f00f
		v = (v | v<<4) & 0x30c30c3
		return (v | v<<2) & 0x9249249
	}
	code := func(r ray) uint64 { return spread(r.ox) | spread(r.oy)<<1 | spread(r.oz)<<2 }
	out := slices.Clone(rays)
	slices.SortStableFunc(out, func(a, b ray) int { return cmp.Compare(code(a), code(b)) })
	return out
}
