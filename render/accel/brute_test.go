package accel

import (
	"math"
	"math/rand/v2"
	"testing"

	"catchlight/scene/geom"
)

// The plain twin: every triangle in double precision, with no hierarchy.

// bruteHit is what the twin finds: the closest hit, and how near, in barycentric coordinates, any ray-triangle test
// within the interval came to being decided otherwise.
type bruteHit struct {
	Hit
	ok bool
}

// meet tests one triangle. margin is the least barycentric coordinate, in units of 1 (negative outside), and grazing
// the sine of the angle between ray and plane. ok is false where they are parallel or the triangle has no area.
func meet(p0, p1, p2, o, d geom.Vec) (t, u, v, margin, grazing float64, ok bool) {
	e1, e2 := p1.Sub(p0), p2.Sub(p0)
	n := e1.Cross(e2)
	den := n.Dot(d)
	if den == 0 {
		return
	}
	t = n.Dot(p0.Sub(o)) / den
	q := o.Mad(t, d).Sub(p0)
	n2 := n.Len2()
	u, v = q.Cross(e2).Dot(n)/n2, e1.Cross(q).Dot(n)/n2
	return t, u, v, min(u, v, 1-u-v), math.Abs(den) / (n.Len() * d.Len()), true
}

// brute returns the closest hit in (tmin, tmax].
func brute(p []geom.Vec, tri [][3]uint32, o, d geom.Vec, tmin, tmax float64) (h bruteHit) {
	h.T = tmax
	for i, x := range tri {
		t, u, v, margin, _, ok := meet(p[x[0]], p[x[1]], p[x[2]], o, d)
		if ok && margin >= 0 && t > tmin && t <= h.T {
			h = bruteHit{Hit{t, u, v, uint32(i)}, true}
		}
	}
	return h
}

// doubtful reports whether a ray whose hit is at t = first (tmax if it has none) passes so close to an edge, to a
// parallel triangle or to an end of its interval before that, that single precision may decide otherwise. size is that
// of the mesh.
func doubtful(p []geom.Vec, tri [][3]uint32, o, d geom.Vec, tmin, tmax, first, size float64) bool {
	eps := 4e-6 * size // position
	for _, x := range tri {
		a, b, c := p[x[0]], p[x[1]], p[x[2]]
		t, _, _, margin, grazing, ok := meet(a, b, c, o, d)
		long := max(b.Sub(a).Len(), c.Sub(b).Len(), a.Sub(c).Len())
		area2 := b.Sub(a).Cross(c.Sub(a)).Len()
		if !ok || area2 < eps*long {
			if nearTriangle(a, b, c, o, d, 4*eps) {
				return true
			}
			continue
		}
		tol := eps / grazing // position error in the plane
		alt := area2 / long  // least altitude
		if margin < -tol/alt {
			continue
		}
		tt := tol / d.Len()
		if t < tmin-tt || t > first+tt {
			continue
		}
		if margin < tol/alt || t < tmin+tt || t > tmax-tt && !math.IsInf(tmax, 1) {
			return true
		}
	}
	return false
}

// nearTriangle reports whether the line o + t d comes closer than eps to the box about a triangle.
func nearTriangle(a, b, c, o, d geom.Vec, eps float64) bool {
	box := geom.EmptyBox().Grow(a).Grow(b).Grow(c)
	e := geom.Vec{X: eps, Y: eps, Z: eps}
	box.Lo, box.Hi = box.Lo.Sub(e), box.Hi.Add(e)
	_, _, ok := box.Hit(o, geom.Vec{X: 1 / d.X, Y: 1 / d.Y, Z: 1 / d.Z}, math.Inf(-1), math.Inf(1))
	return ok
}

// eachKernel runs f with every kernel this machine has.
func eachKernel(t *testing.T, f func(t *testing.T)) {
	for _, k := range kernels() {
		t.Run(k, func(t *testing.T) {
			defer selectKernel(k)()
			f(t)
		})
	}
}

func randVec(r *rand.Rand, size float64) geom.Vec {
	return geom.Vec{X: (2*r.Float64() - 1) * size, Y: (2*r.Float64() - 1) * size, Z: (2*r.Float64() - 1) * size}
}

// randDir returns a direction of length 1e-3 to 1e3, every fourth with one or two components exactly 0.
func randDir(r *rand.Rand) geom.Vec {
	for {
		d := randVec(r, 1)
		if r.IntN(4) == 0 {
			c := [3]float64{d.X, d.Y, d.Z}
			for range 1 + r.IntN(2) {
				c[r.IntN(3)] = math.Copysign(0, r.Float64()-0.5)
			}
			d = geom.Vec{X: c[0], Y: c[1], Z: c[2]}
		}
		if l := d.Len(); l > 0.05 {
			return d.Mul(math.Pow(10, 6*r.Float64()-3))
		}
	}
}

// soup returns n random triangles about mid: some connected in strips, some slivers, some axis-aligned, some without
// area, some twice.
func soup(r *rand.Rand, n int, size float64, mid geom.Vec) (p []geom.Vec, tri [][3]uint32) {
	for len(tri) < n {
		at := randVec(r, size).Add(mid)
		e := size * math.Pow(10, -2*r.Float64())
		a, b, c := at, at.Add(randVec(r, e)), at.Add(randVec(r, e))
		switch r.IntN(8) {
		case 0: // sliver
			c = geom.Lerp(a, b, r.Float64()).Add(randVec(r, e*1e-3))
		case 1: // axis-aligned
			b.X, c.X = a.X, a.X
		case 2:
			b.Y, c.Y = a.Y, a.Y
		case 3: // no area
			if r.IntN(2) == 0 {
				c = b
			} else {
				c = geom.Lerp(a, b, 0.5)
			}
		}
		k := uint32(len(p))
		p = append(p, a, b, c)
		tri = append(tri, [3]uint32{k, k + 1, k + 2})
		if r.IntN(3) > 0 { // a strip goes on, with either sense
			for range r.IntN(4) {
				k = uint32(len(p))
				p = append(p, at.Add(randVec(r, e)))
				x := [3]uint32{k - 2, k - 1, k}
				s := r.IntN(3)
				x = [3]uint32{x[s], x[(s+1)%3], x[(s+2)%3]}
				if r.IntN(2) == 0 {
					x[0], x[1] = x[1], x[0]
				}
				tri = append(tri, x)
			}
		}
		if r.IntN(10) == 0 {
			tri = append(tri, tri[len(tri)-1])
		}
	}
	return p, tri[:n]
}

// Long: a table of meshes and rays.
func TestAgainstBrute(t *testing.T) {
	scenes := []struct {
		name string
		n    int
		size float64
		mid  geom.Vec
		rays int
		seed uint64
	}{
		{"one", 1, 10, geom.Vec{}, 2000, 7},
		{"two", 2, 10, geom.Vec{X: 3}, 1000, 11},
		{"nine", 9, 12, geom.Vec{Y: -40}, 2000, 11},
		{"many", 300, 12, geom.Vec{X: 31, Y: -12, Z: 7}, 4000, 11},
		{"far", 100, 12, geom.Vec{X: 1e4, Y: 1e4}, 2000, 11},
		{"tiny", 60, 1e-6, geom.Vec{}, 1000, 11},
		{"huge", 60, 1e9, geom.Vec{}, 1000, 11},
	}
	eachKernel(t, func(t *testing.T) {
		s := NewScratch()
		for i, sc := range scenes {
			r := rand.New(rand.NewPCG(sc.seed, uint64(i)))
			p, tri := soup(r, sc.n, sc.size, sc.mid)
			b, err := Build(p, tri, Options{Workers: 1})
			if err != nil {
				t.Fatal(err)
			}
			hits, checked := 0, 0
			for j := range sc.rays {
				o := randVec(r, sc.size*1.5).Add(sc.mid)
				if j%5 == 0 {
					o = randVec(r, sc.size*40).Add(sc.mid)
				}
				d := randDir(r)
				if j%2 == 0 { // towards a point of some triangle
					x := tri[r.IntN(len(tri))]
					q := geom.Mix(p[x[0]], p[x[1]], p[x[2]], r.Float64()/2, r.Float64()/2)
					d = q.Sub(o).Mul(math.Pow(10, 2*r.Float64()-1))
				}
				tmin, tmax := 0.0, math.Inf(1)
				if j%3 == 0 {
					tmin, tmax = r.Float64()*sc.size/d.Len(), 3*r.Float64()*sc.size/d.Len()
				}
				want := brute(p, tri, o, d, tmin, tmax)
				var got Hit
				ok := b.Closest(s, o, d, tmin, tmax, &got)
				occ := b.Occluded(s, o, d, tmin, tmax)
				if doubtful(p, tri, o, d, tmin, tmax, want.T, sc.size) {
					if ok { // whatever was hit, the two descriptions of the point agree
						x := tri[got.Prim]
						q := geom.Mix(p[x[0]], p[x[1]], p[x[2]], got.U, got.V)
						_, _, _, _, grazing, good := meet(p[x[0]], p[x[1]], p[x[2]], o, d)
						if e := q.Sub(o.Mad(got.T, d)).Len(); good && grazing > 1e-3 && e > 1e-4*sc.size {
							t.Errorf("%s ray %d: T and (U, V) lie %g mm apart %+v %v grz %g o %v d %v", sc.name, j, e, got, want, grazing, o, d)
						}
					}
					continue
				}
				checked++
				if ok != want.ok || occ != want.ok {
					t.Fatalf("%s ray %d: closest %v, occluded %v, want %v (%+v, %+v)", sc.name, j, ok, occ, want.ok, got, want)
				}
				if !ok {
					continue
				}
				hits++
				// The kernel's own answer: the point by T and the point by U and V both lie near the true one.
				grazing := math.Inf(1)
				{
					x := tri[got.Prim]
					_, _, _, _, g, good := meet(p[x[0]], p[x[1]], p[x[2]], o, d)
					if good {
						grazing = g
					}
					q := geom.Mix(p[x[0]], p[x[1]], p[x[2]], got.U, got.V)
					truth := o.Mad(want.T, d)
					single := 2e-6 * (sc.size + 1e-3*truth.Sub(sc.mid).Len()) / math.Min(1, grazing)
					if e := q.Sub(truth).Len(); e > single {
						t.Errorf("%s ray %d: U and V lie %g mm off", sc.name, j, e)
					}
					if e := math.Abs(got.T-want.T) * d.Len(); e > single {
						t.Errorf("%s ray %d: T lies %g mm off", sc.name, j, e)
					}
					if got.U < 0 || got.V < 0 || got.U+got.V > 1+1e-15 {
						t.Errorf("%s ray %d: U, V %g, %g", sc.name, j, got.U, got.V)
					}
				}
				b.Refine(o, d, &got)
				tol := 1e-9 * (want.T + sc.mid.Len()/d.Len())
				if math.Abs(got.T-want.T) > tol {
					t.Errorf("%s ray %d: T %.15g, want %.15g", sc.name, j, got.T, want.T)
				}
				if got.Prim != want.Prim && tri[got.Prim] != tri[want.Prim] {
					t.Errorf("%s ray %d: triangle %d, want %d", sc.name, j, got.Prim, want.Prim)
				}
				if got.Prim == want.Prim && (math.Abs(got.U-want.U) > 1e-5 || math.Abs(got.V-want.V) > 1e-5) {
					t.Errorf("%s ray %d: U, V %g, %g, want %g, %g", sc.name, j, got.U, got.V, want.U, want.V)
				}
			}
			t.Logf("%s: %d rays, %d beyond doubt, %d hits, %+v", sc.name, sc.rays, checked, hits, b.Stats())
			if hits < sc.rays/20 || checked < sc.rays/2 {
				t.Errorf("%s: only %d of %d rays checked, %d hits", sc.name, checked, sc.rays, hits)
			}
		}
	})
}
