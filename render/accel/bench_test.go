package accel

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/geom"
)

// shells returns two closed, slightly rough spheres of radius 11.5 and 12 mm with about n triangles together, and the
// number of triangles of the inner one, which come first. Single vertices stand at the poles.
func shells(n int) (p []geom.Vec, tri [][3]uint32, inner int) {
	rows := int(math.Sqrt(float64(n) / 8))
	cols := 2 * rows
	for _, radius := range []float64{11.5, 12} {
		base := uint32(len(p))
		for i := range rows + 1 {
			for j := range cols {
				a, b := math.Pi*float64(i)/float64(rows), 2*math.Pi*float64(j)/float64(cols)
				r := radius * (1 + 0.004*math.Sin(9*b)*math.Sin(a)*math.Sin(13*a))
				sa, ca := math.Sincos(a)
				sb, cb := math.Sincos(b)
				if i == rows {
					sa = 0
				}
				p = append(p, geom.Vec{X: r * sa * cb, Y: r * sa * sb, Z: r * ca})
			}
		}
		at := func(i, j int) uint32 { return base + uint32(i*cols+j%cols) }
		for i := range rows {
			for j := range cols {
				tri = append(tri, [3]uint32{at(i, j), at(i+1, j), at(i+1, j+1)}, [3]uint32{at(i, j), at(i+1, j+1), at(i, j+1)})
			}
		}
		if inner == 0 {
			inner = len(tri)
		}
	}
	return p, tri, inner
}

type benchRay struct {
	o, d geom.Vec
	tmax float64
}

const benchRays = 1 << 16

// cosine returns a direction about n with the density of the cosine.
func cosine(r *rand.Rand, n geom.Vec) geom.Vec {
	for {
		if d := n.Add(randBall(r)); d.Len2() > 1e-6 {
			return d.Unit()
		}
	}
}

func randBall(r *rand.Rand) geom.Vec {
	for {
		if v := randVec(r, 1); v.Len2() <= 1 && v.Len2() > 1e-6 {
			return v.Unit()
		}
	}
}

// raySet makes the rays of one kind of work.
func raySet(kind string, p []geom.Vec, tri [][3]uint32, inner int) []benchRay {
	r := rand.New(rand.NewPCG(17, 0))
	rays := make([]benchRay, benchRays)
	for i := range rays {
		x := tri[r.IntN(inner)]
		a, b, c := p[x[0]], p[x[1]], p[x[2]]
		u, v := r.Float64(), r.Float64()
		if u+v > 1 {
			u, v = 1-u, 1-v
		}
		q, n := geom.Mix(a, b, c, u, v), geom.Mix(a, b, c, u, v).Unit()
		q = q.Mad(1e-3, n)
		switch kind {
		case "coherent": // a camera at 60 mm, 256 x 256 in tiles of 16 x 16
			tile, in := i>>8, i&255
			px, py := float64(tile&15*16+in&15), float64(tile>>4*16+in>>4)
			o := geom.Vec{X: 60, Y: 5, Z: 3}
			to := geom.Vec{Y: (px - 127.5) / 128 * 11, Z: (py - 127.5) / 128 * 11}
			rays[i] = benchRay{o, to.Sub(o).Unit(), math.Inf(1)}
		case "incoherent": // a bounce off the inner shell
			rays[i] = benchRay{q, cosine(r, n.Neg()), math.Inf(1)}
			rays[i].o = q.Mad(-2e-3, n)
		case "short": // a walk below the inner shell, mean free path 0.2 mm
			rays[i] = benchRay{q.Mad(-0.4*r.ExpFloat64()-2e-3, n), randBall(r), 0.2 * r.ExpFloat64()}
		case "occluded": // from the inner shell out; the outer one stops all
			rays[i] = benchRay{q, cosine(r, n), 1000}
		}
	}
	return rays
}

func BenchmarkRays(b *testing.B) {
	for _, n := range []int{70_000, 500_000} {
		p, tri, inner := shells(n)
		h := mustBuild(b, p, tri)
		in := mustBuild(b, p, tri[:inner])
		for _, kind := range []string{"coherent", "incoherent", "short", "occluded"} {
			rays := raySet(kind, p, tri, inner)
			for _, k := range kernels() {
				b.Run(fmt.Sprintf("tris=%dk/%s/%s", n/1000, kind, k), func(b *testing.B) {
					defer selectKernel(k)()
					s := NewScratch()
					var hit Hit
					hits, i := 0, 0
					bvh := h
					if kind == "short" { // a walk meets its own shell only
						bvh = in
					}
					start := cpuSeconds()
					for b.Loop() {
						r := &rays[i&(benchRays-1)]
						i++
						if kind == "occluded" {
							if bvh.Occluded(s, r.o, r.d, 0, r.tmax) {
								hits++
							}
						} else if bvh.Closest(s, r.o, r.d, 0, r.tmax, &hit) {
							hits++
						}
					}
					if c := cpuSeconds() - start; c > 0 {
						b.ReportMetric(float64(b.N)/c/1e6, "Mrays/cpu-s")
					}
					b.ReportMetric(float64(hits)/float64(b.N), "hits/ray")
				})
			}
		}
	}
}

func BenchmarkBuild(b *testing.B) {
	for _, n := range []int{70_000, 500_000} {
		p, tri, _ := shells(n)
		for _, w := range []int{1, 2} {
			b.Run(fmt.Sprintf("tris=%dk/workers=%d", n/1000, w), func(b *testing.B) {
				b.ReportAllocs()
				start := cpuSeconds()
				for b.Loop() {
					if _, err := Build(p, tri, Options{Workers: w}); err != nil {
						b.Fatal(err)
					}
				}
				if c := cpuSeconds() - start; c > 0 {
					b.ReportMetric(c/float64(b.N), "cpu-s/op")
				}
			})
		}
	}
}

// Rays about 6000 hairs of a lid: most miss, as most rays of a picture do.
func BenchmarkHairs(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	c, err := NewCurves(tuft(6000, r), Options{})
	if err != nil {
		b.Fatal(err)
	}
	held, err := c.Held(func(geom.Vec) float64 { return 0.05 }, Options{})
	if err != nil {
		b.Fatal(err)
	}
	b.Run("hold", func(b *testing.B) {
		for b.Loop() {
			if _, err := c.Held(func(geom.Vec) float64 { return 0.05 }, Options{}); err != nil {
				b.Fatal(err)
			}
		}
	})
	s := NewScratch()
	for _, q := range []struct {
		name string
		c    *Curves
	}{{"true", c}, {"held", held}} {
		b.Run(q.name, func(b *testing.B) {
			hits := 0
			for b.Loop() {
				o := geom.UniformSphere(r.Float64(), r.Float64()).Mul(8)
				var h CurveHit
				if q.c.Closest(s, o, geom.UniformSphere(r.Float64(), r.Float64()), 0, math.Inf(1), &h) {
					hits++
				}
			}
			b.ReportMetric(float64(hits)/float64(b.N), "hits/ray")
		})
	}
}
