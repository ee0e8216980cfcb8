package eye

import (
	"math"
	"sync"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// small returns defaults that build fast: a coarse mesh and a small map.
func small() Params {
	p := Defaults()
	p.MeshDetail, p.MapSize = 0.5, 256
	return p
}

var builtSmall = sync.OnceValues(func() (*Eye, error) { return Build(small()) })

func smallEye(t testing.TB) *Eye {
	e, err := builtSmall()
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// A closed manifold has each edge in exactly two triangles, once in each direction; positions are welded first.
func requireClosed(t *testing.T, name string, m *mesh.Mesh) {
	t.Helper()
	id := map[geom.Vec]int{}
	weld := make([]int, len(m.P))
	for i, p := range m.P {
		if !p.Finite() {
			t.Fatalf("%s: vertex %d is %v", name, i, p)
		}
		j, ok := id[p]
		if !ok {
			j = len(id)
			id[p] = j
		}
		weld[i] = j
	}
	type edge struct{ a, b int }
	seen := map[edge]int{}
	for _, tr := range m.Tri {
		for k := range 3 {
			seen[edge{weld[tr[k]], weld[tr[(k+1)%3]]}]++
		}
	}
	for e, n := range seen {
		if n != 1 || seen[edge{e.b, e.a}] != 1 || e.a == e.b {
			t.Fatalf("%s: edge %v is used %d times, its reverse %d times", name, e, n, seen[edge{e.b, e.a}])
		}
	}
	// Euler's formula for a surface without handles: V - E + F = 2.
	if x := len(id) - len(seen)/2 + len(m.Tri); x != 2 {
		t.Errorf("%s: Euler characteristic %d, want 2", name, x)
	}
}

// volume is positive where triangles wind outward (divergence theorem).
func volume(m *mesh.Mesh) float64 {
	v := 0.0
	for _, tr := range m.Tri {
		v += m.P[tr[0]].Dot(m.P[tr[1]].Cross(m.P[tr[2]]))
	}
	return v / 6
}

func TestShellsAreClosed(t *testing.T) {
	e := smallEye(t)
	requireClosed(t, "outer", e.Outer)
	requireClosed(t, "inner", e.Inner)
	p := small()
	p.PupilClosed = true
	c, err := Build(p)
	if err != nil {
		t.Fatal(err)
	}
	requireClosed(t, "inner, pupil closed", c.Inner)

	ball := 4.0 / 3 * math.Pi * 12 * 12 * 12
	out, in := volume(e.Outer), volume(e.Inner)
	if out < ball || out > 1.03*ball {
		t.Errorf("outer shell: volume %g mm^3, want that of a ball (%g) and a corneal cap", out, ball)
	}
	if in < 0.9*ball || in > out {
		t.Errorf("inner shell: volume %g mm^3, the outer's is %g", in, out)
	}
}

func TestSurfaceUVMatchesMesh(t *testing.T) {
	e := smallEye(t)
	for i, p := range e.Inner.P {
		if uv := e.SurfaceUV(p); uv != e.Inner.UV[i] {
			t.Fatalf("vertex %d at %v: mesh %v, SurfaceUV %v", i, p, e.Inner.UV[i], uv)
		}
	}
}
