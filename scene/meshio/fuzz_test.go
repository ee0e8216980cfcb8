package meshio

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"catchlight/scene/asset"
)

// sound fails where what a reader says of a file can't be relied on: an asset whose triangles name vertices that are
// not there, or numbers that are not finite; or that it took too long.
func sound(t *testing.T, ending, text string) {
	t.Helper()
	start := time.Now()
	r := newReader(filepath.Join(t.TempDir(), "a"+ending))
	r.read(ending, text)
	a, err := r.result(1)
	if d := time.Since(start); d > 5*time.Second {
		t.Errorf("took %v", d)
	}
	if (a == nil) == (err == nil) {
		t.Fatalf("asset %v, error %v", a != nil, err)
	}
	if err != nil {
		return
	}
	check(t, a)
}

func check(t *testing.T, a *asset.Asset) {
	t.Helper()
	if len(a.Nodes) == 0 {
		t.Error("no error and no node")
	}
	for _, n := range a.Nodes {
		m := n.Mesh
		if len(m.Tri) == 0 || len(m.N) != len(m.P) || m.UV != nil && len(m.UV) != len(m.P) {
			t.Fatalf("%d triangles, %d positions, %d normals, %d texture coordinates", len(m.Tri), len(m.P), len(m.N), len(m.UV))
		}
		for _, tri := range m.Tri {
			for _, v := range tri {
				if int(v) >= len(m.P) {
					t.Fatalf("vertex %d of %d", v, len(m.P))
				}
			}
		}
		for i, p := range m.P {
			if !p.Finite() || !m.N[i].Finite() || math.Abs(m.N[i].Len()-1) > 1e-6 {
				t.Fatalf("vertex %d at %v, normal %v", i, p, m.N[i])
			}
			if m.UV != nil && (math.IsNaN(m.UV[i].U) || math.IsNaN(m.UV[i].V)) {
				t.Fatalf("vertex %d has texture coordinates %v", i, m.UV[i])
			}
		}
	}
}

func FuzzOBJ(f *testing.F) {
	f.Add("mtllib a.mtl\no a\ng b\ns 1\nv 0 0 0 1 0 0\nv 1 0 0\nv 1 1 0\nv 0 1e0 0\nv .5 .2 0\nvt 0 1\nvn 0 0 1\nusemtl x\nf 1/1/1 2/1/1 \\\n3/1/1 4/1/1 5/1/1\ns off\nf -1 -2 -3\n")
	f.Add("v 0 0 0\r\nv 1 0 0\r\nv 0 1 0\r\nf 1//1 2//1 3//1\r\nvn 0 0 0\r\nl 1 2\r\n")
	f.Fuzz(func(t *testing.T, text string) { sound(t, ".obj", text) })
}

func FuzzMTL(f *testing.F) {
	f.Add("newmtl x\nKd 1 0.5 .2\nNs 10\nNi 1.3\nd -halo 0.5\nTr 0\nmap_Kd -s 1 2 3 -o 1 -mm 0 1 -clamp on -bm 2 p.png\nbump p.png\nnorm p.png\ndisp -type sphere p.png\n")
	f.Add("newmtl x\nmap_Kd ../p.png\nmap_Kd -s -o -t 1\n")
	f.Fuzz(func(t *testing.T, text string) {
		dir := t.TempDir()
		if err := writePNG(filepath.Join(dir, "p.png"), 2, 2, 128, 128, 255); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, "a.mtl"), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		r := newReader(filepath.Join(dir, "a.obj"))
		r.read(".obj", "mtllib a.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nusemtl x\nf 1/1 2/1 3/1\n")
		a, err := r.result(1)
		if err != nil {
			t.Fatal(err)
		}
		check(t, a)
		for _, n := range a.Nodes {
			if m := n.Material; !(m.Roughness >= 0 && m.Roughness <= 1 && m.IOR >= 1 && m.IOR <= 4 && m.Transmission >= 0 && m.Transmission <= 1) {
				t.Errorf("%+v", m)
			}
		}
	})
}

func FuzzPLY(f *testing.F) {
	for _, format := range []string{"ascii", "binary_little_endian", "binary_big_endian"} {
		f.Add(plyFile(format))
	}
	f.Fuzz(func(t *testing.T, text string) { sound(t, ".ply", text) })
}

func FuzzSTL(f *testing.F) {
	f.Add(stlASCII(tetrahedron(false)))
	f.Add(stlBinary("solid", tetrahedron(true)))
	f.Fuzz(func(t *testing.T, text string) { sound(t, ".stl", text) })
}
