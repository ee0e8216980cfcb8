package accel

import (
	"errors"
	"math"
	"math/bits"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"unsafe"

	"catchlight/scene/geom"
)

// icosphere returns a closed sphere of 20 * 4^levels triangles with outward winding.
func icosphere(levels int, radius float64, mid geom.Vec) (p []geom.Vec, tri [][3]uint32) {
	g := (1 + math.Sqrt(5)) / 2
	p = []geom.Vec{
		{X: -1, Y: g}, {X: 1, Y: g}, {X: -1, Y: -g}, {X: 1, Y: -g},
		{Y: -1, Z: g}, {Y: 1, Z: g}, {Y: -1, Z: -g}, {Y: 1, Z: -g},
		{X: g, Z: -1}, {X: g, Z: 1}, {X: -g, Z: -1}, {X: -g, Z: 1},
	}
	tri = [][3]uint32{
		{0, 11, 5}, {0, 5, 1}, {0, 1, 7}, {0, 7, 10}, {0, 10, 11}, {1, 5, 9}, {5, 11, 4}, {11, 10, 2}, {10, 7, 6},
		{7, 1, 8}, {3, 9, 4}, {3, 4, 2}, {3, 2, 6}, {3, 6, 8}, {3, 8, 9}, {4, 9, 5}, {2, 4, 11}, {6, 2, 10}, {8, 6, 7},
		{9, 8, 1},
	}
	for range levels {
		mids := map[[2]uint32]uint32{}
		half := func(a, b uint32) uint32 {
			k := [2]uint32{min(a, b), max(a, b)}
			m, ok := mids[k]
			if !ok {
				m = uint32(len(p))
				p = append(p, p[a].Unit().Add(p[b].Unit()))
				mids[k] = m
			}
			return m
		}
		next := make([][3]uint32, 0, 4*len(tri))
		for _, t := range tri {
			a, b, c := half(t[0], t[1]), half(t[1], t[2]), half(t[2], t[0])
			next = append(next, [3]uint32{t[0], a, c}, [3]uint32{t[1], b, a}, [3]uint32{t[2], c, b}, [3]uint32{a, b, c})
		}
		tri = next
	}
	for i := range p {
		p[i] = p[i].Unit().Mul(radius).Add(mid)
	}
	return p, tri
}

func mustBuild(t testing.TB, p []geom.Vec, tri [][3]uint32) *BVH {
	t.Helper()
	b, err := Build(p, tri, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// No ray leaves a closed sphere, wherever inside it starts, though each aims at a vertex, an edge or along an axis at
// the tessellation's symmetries. ACCEL_LEAK_RAYS=2000000 makes the run longer.
func TestNoLeaks(t *testing.T) {
	rays := 210_000
	if s := os.Getenv("ACCEL_LEAK_RAYS"); s != "" {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 {
			t.Fatalf("ACCEL_LEAK_RAYS is %q: not a positive number", s)
		}
		rays = n
	}
	spheres := []struct {
		levels int
		radius float64
		mid    geom.Vec
	}{
		{1, 12, geom.Vec{}},
		{4, 12, geom.Vec{X: 31, Y: -7, Z: 3}},
		{6, 12, geom.Vec{X: 0.5}},
	}
	eachKernel(t, func(t *testing.T) {
		s := NewScratch()
		for i, sp := range spheres {
			p, tri := icosphere(sp.levels, sp.radius, sp.mid)
			b := mustBuild(t, p, tri)
			r := rand.New(rand.NewPCG(3, uint64(i)))
			n := rays / len(spheres)
			inscribed := sp.radius
			for _, x := range tri {
				normal := p[x[1]].Sub(p[x[0]]).Cross(p[x[2]].Sub(p[x[0]])).Unit()
				inscribed = min(inscribed, normal.Dot(p[x[0]].Sub(sp.mid)))
			}
			closest, occluded := 0, 0
			for j := range n {
				x := tri[r.IntN(len(tri))]
				target := p[x[0]]
				switch j & 3 {
				case 0:
					target = geom.Lerp(p[x[1]], p[x[2]], r.Float64())
				case 1:
					target = geom.Lerp(p[x[0]], p[x[1]], 0.5)
				}
				// inside the inscribed ball, often close to the surface, so that rays graze it
				o := randVec(r, 1).Unit().Mul(inscribed * (1 - math.Pow(10, -4*r.Float64()))).Add(sp.mid)
				if j%7 == 0 {
					o = sp.mid
				}
				d := target.Sub(o)
				switch j % 11 {
				case 3: // along an axis, in the plane of a vertex
					c := [3]float64{}
					c[r.IntN(3)] = 1
					d = geom.Vec{X: c[0], Y: c[1], Z: c[2]}
					o = geom.Lerp(sp.mid, target, 0.5)
				case 5:
					d.Y = 0
				case 7:
					d = d.Unit()
				}
				if d.Len() == 0 {
					d.X = 1
				}
				var h Hit
				if !b.Closest(s, o, d, 0, math.Inf(1), &h) {
					closest++
				}
				if !b.Occluded(s, o, d, 0, math.Inf(1)) {
					occluded++
				}
			}
			if closest+occluded > 0 {
				t.Errorf("%d triangles: of %d rays, %d closest-hit and %d any-hit rays left the sphere", len(tri), n, closest, occluded)
			}
		}
	})
}

// From outside, rays at the vertices and edges in sight meet the sphere too.
func TestNoHolesFromOutside(t *testing.T) {
	p, tri := icosphere(4, 12, geom.Vec{})
	b := mustBuild(t, p, tri)
	eachKernel(t, func(t *testing.T) {
		s := NewScratch()
		r := rand.New(rand.NewPCG(5, 1))
		for j := range 20_000 {
			x := tri[r.IntN(len(tri))]
			q := geom.Lerp(p[x[0]], p[x[1]], float64(j&1)*r.Float64())
			o := q.Add(q.Unit().Mul(math.Pow(10, 6*r.Float64()-2))).Add(randVec(r, 1e-3))
			var h Hit
			if !b.Closest(s, o, q.Sub(o), 0, 2, &h) || !b.Occluded(s, o, q.Sub(o), 0, 2) {
				t.Fatalf("ray %d from %v to %v meets nothing", j, o, q)
			}
			if e := o.Mad(h.T, q.Sub(o)).Sub(q).Len(); e > 1e-4 {
				t.Fatalf("ray %d is stopped %g mm from the point it aims at", j, e)
			}
		}
	})
}

// The two kernels find the same, but for rays that rounding decides.
func TestKernelsAgree(t *testing.T) {
	if len(kernels()) < 2 {
		t.Skip("this machine or build has one kernel only")
	}
	r := rand.New(rand.NewPCG(13, 0))
	for scene := range 6 {
		p, tri := soup(r, []int{1, 5, 40, 400, 3000, 20000}[scene], 12, randVec(r, 30))
		if scene == 3 { // a shell twice over
			p, tri = icosphere(3, 12, geom.Vec{X: 2})
			tri = append(tri, tri...)
		}
		b := mustBuild(t, p, tri)
		s := NewScratch()
		mid := b.Bounds().Centre()
		differ, hits := 0, 0
		const n = 30_000
		for range n {
			o, d := randVec(r, 15).Add(mid), randDir(r)
			tmin, tmax := 0.0, math.Inf(1)
			if r.IntN(3) == 0 {
				tmin, tmax = r.Float64()/d.Len(), 10*r.Float64()/d.Len()
			}
			var h [2]Hit
			var ok, occ [2]bool
			for i, name := range kernels() {
				back := selectKernel(name)
				ok[i] = b.Closest(s, o, d, tmin, tmax, &h[i])
				occ[i] = b.Occluded(s, o, d, tmin, tmax)
				back()
			}
			if ok[0] != occ[0] || ok[1] != occ[1] {
				t.Fatalf("scene %d: closest and any hit differ: %v, %v", scene, ok, occ)
			}
			if ok[0] != ok[1] || ok[0] && math.Abs(h[0].T-h[1].T)*d.Len() > 1e-5 {
				differ++
			}
			if ok[0] {
				hits++
			}
		}
		if differ > n/2000 || scene > 1 && hits < n/100 {
			t.Errorf("scene %d: %d of %d rays differ, %d hits", scene, differ, n, hits)
		}
		t.Logf("scene %d: %d of %d rays differ, %d hits", scene, differ, n, hits)
	}
}

func TestBuildErrors(t *testing.T) {
	p := []geom.Vec{{}, {X: 1}, {Y: 1}}
	one := [][3]uint32{{0, 1, 2}}
	nan := []geom.Vec{{}, {X: 1}, {Y: math.NaN()}}
	inf := []geom.Vec{{}, {Z: math.Inf(-1)}, {Y: 1}}
	if _, err := Build(p, nil, Options{}); !errors.Is(err, ErrEmpty) {
		t.Errorf("no triangles: %v", err)
	}
	for _, c := range []struct {
		name string
		p    []geom.Vec
		tri  [][3]uint32
		want string
	}{
		{"index", p, [][3]uint32{{0, 1, 2}, {0, 3, 1}}, "triangle 1 has vertex index 3: outside [0, 2]"},
		{"large index", p, [][3]uint32{{0, 1, math.MaxUint32}}, "vertex index 4294967295"},
		{"no positions", nil, one, "triangle 0 has vertex index 0"},
		{"NaN", nan, one, "position 2 is (0, NaN, 0) mm"},
		{"infinite", inf, one, "position 1 is (0, 0, -Inf) mm"},
		{"too far", []geom.Vec{{X: 1e31}, {}, {}}, one, "outside [-1e+30, 1e+30]"},
	} {
		b, err := Build(c.p, c.tri, Options{})
		if b != nil || err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
	if err := checkCount(1<<28 + 1); err == nil || checkCount(1<<28) != nil {
		t.Errorf("too many triangles: %v", err)
	}
}

func TestOddRays(t *testing.T) {
	p, tri := icosphere(2, 1, geom.Vec{})
	b := mustBuild(t, p, tri)
	nan, inf := math.NaN(), math.Inf(1)
	x := geom.Vec{X: 1}
	eachKernel(t, func(t *testing.T) {
		s := NewScratch()
		for _, c := range []struct {
			name       string
			o, d       geom.Vec
			tmin, tmax float64
			want       bool
		}{
			{"plain", geom.Vec{}, x, 0, inf, true},
			{"negative zero", geom.Vec{X: math.Copysign(0, -1)}, geom.Vec{X: math.Copysign(0, -1), Y: -1}, math.Copysign(0, -1), inf, true},
			{"no direction", geom.Vec{}, geom.Vec{}, 0, inf, false},
			{"NaN direction", geom.Vec{}, geom.Vec{X: 1, Y: nan}, 0, inf, false},
			{"infinite direction", geom.Vec{}, geom.Vec{X: inf}, 0, inf, false},
			{"NaN origin", geom.Vec{Z: nan}, x, 0, inf, false},
			{"infinite origin", geom.Vec{X: -inf}, x, 0, inf, false},
			{"NaN tmin", geom.Vec{}, x, nan, inf, false},
			{"NaN tmax", geom.Vec{}, x, 0, nan, false},
			{"empty interval", geom.Vec{}, x, 1, 1, false},
			{"behind", geom.Vec{X: 2}, x, 0, inf, false},
			{"behind, negative tmin", geom.Vec{X: 2}, x, -10, inf, false},
			{"short", geom.Vec{}, x, 0, 0.9, false},
			{"past", geom.Vec{}, x, 1.1, inf, false},
			{"far away", geom.Vec{X: -1e9}, x, 0, inf, true},
			{"far away, aside", geom.Vec{X: -1e9, Y: 1.1}, x, 0, inf, false},
			{"far away, short", geom.Vec{X: -1e9}, x, 0, 1e9 - 2, false},
			{"long direction", geom.Vec{X: -2}, geom.Vec{X: 1e200}, 0, inf, true},
			{"short direction", geom.Vec{X: -2}, geom.Vec{X: 2e-300}, 0, inf, true},
			{"denormal direction", geom.Vec{X: -2}, geom.Vec{X: 5e-324}, 0, inf, false},
		} {
			h := Hit{T: -1}
			if got := b.Closest(s, c.o, c.d, c.tmin, c.tmax, &h); got != c.want {
				t.Errorf("%s: closest %v, want %v", c.name, got, c.want)
			}
			if got := b.Occluded(s, c.o, c.d, c.tmin, c.tmax); got != c.want {
				t.Errorf("%s: occluded %v, want %v", c.name, got, c.want)
			}
			if !c.want && h != (Hit{T: -1}) {
				t.Errorf("%s: changed %+v", c.name, h)
			}
			if c.want && !(h.T > 0 && h.U >= 0 && h.V >= 0 && h.U+h.V <= 1+1e-15) {
				t.Errorf("%s: %+v", c.name, h)
			}
			if p := c.o.Mad(h.T, c.d).Len(); c.want && !(p > 0.9 && p < 1.0001) {
				t.Errorf("%s: met %g mm from the centre, T = %g", c.name, p, h.T)
			}
		}
		var none BVH
		if none.Closest(s, geom.Vec{}, x, 0, inf, new(Hit)) || none.Occluded(s, geom.Vec{}, x, 0, inf) {
			t.Error("the empty hierarchy is met")
		}
	})
}

// A ray that starts at -0, exactly in the plane of a padded box, enters it at -0; the kernels order distances by their
// bits, where that would be the farthest of all.
func TestNegativeZeroDistance(t *testing.T) {
	p := []geom.Vec{
		{X: -1, Y: -0.5, Z: 1}, {X: 1, Y: -1, Z: 1}, {X: 1, Y: 1, Z: -1}, // about the ray, but not in its way
		{X: -0.5, Y: -2 * boxPad, Z: -0.5}, {X: 0.5, Y: -0.5, Z: -0.5}, {Y: -0.9, Z: 0.6}, // in its way
	}
	var tri [][3]uint32
	for range 6 {
		tri = append(tri, [3]uint32{0, 1, 2}, [3]uint32{3, 4, 5})
	}
	zero := math.Copysign(0, -1)
	o, d := geom.Vec{X: zero, Y: zero, Z: zero}, geom.Vec{X: 0.1, Y: -1, Z: 0.1}
	want := brute(p, tri, o, d, 0, math.Inf(1))
	if !want.ok || want.Prim&1 == 0 || brute(p, tri[:1], o, d, 0, math.Inf(1)).ok {
		t.Fatalf("the twin meets %+v", want)
	}
	b := mustBuild(t, p, tri)
	n := b.nodeAt(b.root)
	if b.stats.Nodes != 1 || b.stats.Leaves != 2 || n.b[3][0]*n.b[3][1] != 0 {
		t.Fatalf("no box ends at 0: %v, %+v", n.b[3], b.stats)
	}
	eachKernel(t, func(t *testing.T) {
		var h Hit
		if !b.Closest(NewScratch(), o, d, 0, math.Inf(1), &h) || math.Abs(h.T-want.T) > 2e-7 {
			t.Errorf("T = %g, want %g", h.T, want.T)
		}
	})
}

// series returns n triangles, half to either side of the origin, each ratio times as large and as far as the last.
func series(n int, ratio float64) (p []geom.Vec, tri [][3]uint32) {
	for i := range n {
		x := math.Copysign(math.Pow(ratio, float64(i/2)), 0.5-float64(i&1))
		k := uint32(len(p))
		p = append(p, geom.Vec{X: x}, geom.Vec{X: x, Y: x}, geom.Vec{X: x, Z: x})
		tri = append(tri, [3]uint32{k, k + 1, k + 2})
	}
	return p, tri
}

// Meshes whose trees could grow deep, or whose boxes have no volume.
func TestHardMeshes(t *testing.T) {
	meshes := map[string]func() ([]geom.Vec, [][3]uint32){
		"point": func() ([]geom.Vec, [][3]uint32) {
			return []geom.Vec{{X: 5, Y: 5, Z: 5}}, make([][3]uint32, 1000)
		},
		"copies": func() ([]geom.Vec, [][3]uint32) {
			p := []geom.Vec{{}, {X: 1}, {Y: 1}}
			tri := make([][3]uint32, 5000)
			for i := range tri {
				tri[i] = [3]uint32{0, 1, 2}
			}
			return p, tri
		},
		"geometric series": func() ([]geom.Vec, [][3]uint32) { return series(1600, 0.9) },
		"fan": func() (p []geom.Vec, tri [][3]uint32) {
			const n = 20000
			p = append(p, geom.Vec{})
			for i := range n {
				s, c := math.Sincos(2 * math.Pi * float64(i) / n)
				p = append(p, geom.Vec{X: c, Y: s})
				tri = append(tri, [3]uint32{0, uint32(1 + i), uint32(1 + (i+1)%n)})
			}
			return p, tri
		},
		"flat": func() (p []geom.Vec, tri [][3]uint32) {
			p, tri = icosphere(3, 1, geom.Vec{})
			for i := range p {
				p[i].Z = 0
			}
			return p, tri
		},
	}
	for name, make := range meshes {
		p, tri := make()
		b := mustBuild(t, p, tri)
		st := b.Stats()
		if 7*st.Depth+2 > stackSize || st.Triangles != len(tri) {
			t.Errorf("%s: %+v", name, st)
		}
		eachKernel(t, func(t *testing.T) {
			s := NewScratch()
			r := rand.New(rand.NewPCG(1, 1))
			met := 0
			for range 2000 {
				o := randVec(r, 2).Add(b.Bounds().Centre())
				x := tri[r.IntN(min(len(tri), 100))]
				d := geom.Mix(p[x[0]], p[x[1]], p[x[2]], 0.3, 0.3).Sub(o)
				var h Hit
				if b.Closest(s, o, d, 0, 2, &h) {
					met++
					if !(h.T > 0 && h.T <= 2) || !(h.U >= 0 && h.V >= 0) || h.Prim >= uint32(len(tri)) {
						t.Fatalf("%s: %+v", name, h)
					}
				}
			}
			if name != "point" && met < 1950 {
				t.Errorf("%s: only %d of 2000 rays meet the triangle they aim at", name, met)
			}
		})
	}
}

// Close to the limit of depth the tree halves the number of pairs.
func TestDepthLimit(t *testing.T) {
	p, tri := series(800, 0.5)
	v := make([]vert, len(p))
	for i, q := range p {
		v[i] = vert{float32(q.X), float32(q.Y), float32(q.Z)}
	}
	pairs := makePairs(v, tri)
	free := binaryDepth(newSAH(pairRefs(pairs, v), 1, maxBinary), 0)
	limit := bits.Len(uint(len(pairs))) + 1
	got := binaryDepth(newSAH(pairRefs(pairs, v), 1, limit), 0)
	if got > limit || free <= limit {
		t.Errorf("%d pairs: %d levels, limit %d, %d without", len(pairs), got, limit, free)
	}
}

// binaryDepth is the number of inner nodes on the longest way down.
func binaryDepth(s *sah, ni int32) int {
	n := &s.nodes[ni]
	if n.l < 0 {
		return 0
	}
	return 1 + max(binaryDepth(s, n.l), binaryDepth(s, n.r))
}

// Every triangle is in the arena, in boxes that hold it, and the tree does not depend on the number of workers.
func TestTree(t *testing.T) {
	p, tri := icosphere(6, 12, geom.Vec{X: 3})
	var first []block
	for _, w := range []int{1, 2, 7} {
		b, err := Build(p, tri, Options{Workers: w})
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = b.mem
		}
		if len(first) != len(b.mem) {
			t.Fatalf("%d workers: %d blocks, one worker: %d", w, len(b.mem), len(first))
		}
		for i := range first {
			if first[i] != b.mem[i] {
				t.Fatalf("%d workers: block %d differs", w, i)
			}
		}
	}
	b := mustBuild(t, p, tri)
	seen := make([]bool, len(tri))
	all := [6]float32{-2, 2, -2, 2, -2, 2}
	b.visit(b.root, all, func(l *leaf, in [6]float32) {
		for i, k := range l.prim {
			seen[k] = true
			for a := range 3 {
				for _, x := range []float32{l.v0[a][i&3], l.v2[a][i&3], l.w[a][i]} {
					if x < in[2*a]+boxPad/2 || x > in[2*a+1]-boxPad/2 {
						t.Fatalf("triangle %d sticks out of its box", k)
					}
				}
			}
		}
	})
	for i, ok := range seen {
		if !ok {
			t.Fatalf("triangle %d is in no leaf", i)
		}
	}
	if st := b.Stats(); st.Paired < 0.9 || st.Bytes != 64*len(b.mem) || st.Bytes != 256*(st.Nodes+st.Leaves) {
		t.Errorf("%+v", st)
	}
	if got := b.Bounds(); math.Abs(got.Lo.X+9) > 0.01 || math.Abs(got.Hi.X-15) > 0.01 {
		t.Errorf("bounds %v", got)
	}
}

// visit calls f for each leaf below ref with the intersection of the boxes above it.
func (b *BVH) visit(ref uint32, in [6]float32, f func(*leaf, [6]float32)) {
	if ref&leafBit != 0 {
		f(b.leafAt(ref), in)
		return
	}
	n := b.nodeAt(ref)
	for i, c := range n.child {
		if c == noRef {
			continue
		}
		x := in
		for a := range 3 {
			x[2*a] = max(x[2*a], n.b[2*a][i])
			x[2*a+1] = min(x[2*a+1], n.b[2*a+1][i])
		}
		b.visit(c, x, f)
	}
}

func TestNoAllocation(t *testing.T) {
	p, tri := icosphere(4, 12, geom.Vec{})
	b := mustBuild(t, p, tri)
	eachKernel(t, func(t *testing.T) {
		s := NewScratch()
		var h Hit
		i := 0.0
		if n := testing.AllocsPerRun(1000, func() {
			i += 0.01
			o, d := geom.Vec{X: 20}, geom.Vec{X: -1, Y: i / 10}
			b.Closest(s, o, d, 0, 100, &h)
			b.Occluded(s, o, d, 0, 100)
		}); n != 0 {
			t.Errorf("%v allocations a ray", n)
		}
	})
}

// Workers share a hierarchy; the race detector looks on.
func TestManyWorkers(t *testing.T) {
	p, tri := icosphere(4, 12, geom.Vec{})
	b := mustBuild(t, p, tri)
	var got [4]float64
	var wg sync.WaitGroup
	for w := range got {
		wg.Go(func() {
			s := NewScratch()
			r := rand.New(rand.NewPCG(1, 2))
			for range 2000 {
				var h Hit
				b.Closest(s, randVec(r, 5), randDir(r), 0, math.Inf(1), &h)
				got[w] += h.T
			}
		})
	}
	wg.Wait()
	for _, x := range got {
		if x != got[0] || x == 0 {
			t.Errorf("workers disagree: %v", got)
		}
	}
}

// nodeAt and leafAt look at the block a ref leads to.
func (b *BVH) nodeAt(ref uint32) *node { return (*node)(unsafe.Pointer(&b.mem[ref])) }

func (b *BVH) leafAt(ref uint32) *leaf { return (*leaf)(unsafe.Pointer(&b.mem[ref&^leafBit])) }
