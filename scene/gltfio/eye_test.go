package gltfio

import (
	"math"
	"testing"

	"catchlight/scene/geom"
	"catchlight/scene/mesh"

	"gonum.org/v1/gonum/mat"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tol)
	}
}

// Facts of the licensed eye that came with it, found by an independent reader: triangles, vertices in the file and
// distinct positions, size of the box and enclosed volume in mm, closedness.
func TestEye(t *testing.T) {
	for _, c := range []struct {
		file, node                  string
		triangles, vertices, welded int
		size                        geom.Vec
		volume                      float64
	}{
		{"ict_right_eye", "RightEye_Outer_ScleraCornea", 1536, 802, 770, geom.Vec{X: 30.04, Y: 30.90, Z: 33.06}, 15327},
		{"ict_right_eye", "RightEye_Inner_IrisBody", 1596, 918, 800, geom.Vec{X: 28.61, Y: 28.64, Z: 29.25}, 3554},
		{"ict_right_eye_axial24mm", "RightEye_Outer_ScleraCornea", 1536, 802, 770, geom.Vec{X: 21.72, Y: 22.39, Z: 24.00}, 5829},
		{"ict_right_eye_axial24mm", "RightEye_Inner_IrisBody", 1596, 918, 800, geom.Vec{X: 20.76, Y: 20.75, Z: 20.99}, 1352},
	} {
		a, err := Read("../../testdata/eye/" + c.file + ".glb")
		if err != nil {
			t.Fatal(err)
		}
		if len(a.Nodes) != 2 || len(a.Notes) != 0 {
			t.Fatalf("%s: %d nodes, notes %q", c.file, len(a.Nodes), a.Notes)
		}
		for _, n := range a.Nodes {
			if n.Name != c.node {
				continue
			}
			m := n.Mesh
			if len(m.Tri) != c.triangles || len(m.P) != c.vertices || len(m.N) != c.vertices || len(m.UV) != c.vertices {
				t.Errorf("%s %s: %d triangles, %d vertices", c.file, c.node, len(m.Tri), len(m.P))
			}
			welded := mesh.Weld(&mesh.Mesh{P: m.P, Tri: m.Tri}, 1e-5)
			if len(welded.P) != c.welded {
				t.Errorf("%s %s: %d positions, want %d", c.file, c.node, len(welded.P), c.welded)
			}
			if open, bad := mesh.Closed(m); open != 0 || bad != 0 {
				t.Errorf("%s %s: %d open edges, %d others", c.file, c.node, open, bad)
			}
			s := m.Bounds().Size()
			for i := range 3 {
				near(t, c.file+" "+c.node+" size", s.At(i), c.size.At(i), 0.006)
			}
			near(t, c.file+" "+c.node+" volume", m.Volume(), c.volume, 0.5)
			for i, v := range m.N {
				if math.Abs(v.Len()-1) > 1e-9 {
					t.Fatalf("normal %d has the length %v", i, v.Len())
				}
			}
			c.node = ""
		}
		if c.node != "" {
			t.Errorf("%s: no node %s", c.file, c.node)
		}
	}
}

// The place in the head and the direction of gaze of the source: the eye's poles are 33.13 mm apart about
// (-31.56, 36.06, 79.94) mm, and the axis points along (-0.0758, -0.0046, 0.9971). The corneal apex is a pole of the
// outer mesh: the vertex where 32 meridians meet in front.
func TestEyePlace(t *testing.T) {
	a, err := Read("../../testdata/eye/ict_right_eye.glb")
	if err != nil {
		t.Fatal(err)
	}
	m := mesh.Weld(&mesh.Mesh{P: a.Nodes[0].Mesh.P, Tri: a.Nodes[0].Mesh.Tri}, 0)
	valence := make([]int, len(m.P))
	for _, tri := range m.Tri {
		for _, v := range tri {
			valence[v]++
		}
	}
	var poles []geom.Vec
	for v, n := range valence {
		if n == 32 {
			poles = append(poles, m.P[v])
		}
	}
	if len(poles) != 2 {
		t.Fatalf("%d poles of 32 meridians, want 2", len(poles))
	}
	front, back := poles[0], poles[1]
	if front.Z < back.Z {
		front, back = back, front
	}
	axis := front.Sub(back)
	near(t, "axial length", axis.Len(), 33.13, 0.006)
	near(t, "place", geom.Lerp(front, back, 0.5).Sub(geom.Vec{X: -31.56, Y: 36.06, Z: 79.94}).Len(), 0, 0.01)
	near(t, "gaze", axis.Unit().Sub(geom.Vec{X: -0.0758, Y: -0.0046, Z: 0.9971}).Len(), 0, 2e-4)
}

// The file's normals are smooth, weighted by corner angle, computed from the polygons of the source. Ours, made from
// the triangles they were cut into, agree: exactly where a quad is flat, to a few degrees on this coarse mesh.
func TestEyeNormalsAgree(t *testing.T) {
	a, err := Read("../../testdata/eye/ict_right_eye_axial24mm.glb")
	if err != nil {
		t.Fatal(err)
	}
	m := a.Nodes[0].Mesh
	bare := &mesh.Mesh{P: m.P, Tri: m.Tri}
	mesh.Normals(bare)
	sum := 0.0
	for i, n := range bare.N {
		c := n.Dot(m.N[i])
		if c < math.Cos(3*math.Pi/180) {
			t.Errorf("vertex %d: %.2f degrees between the normals", i, 180/math.Pi*math.Acos(c))
		}
		sum += c
	}
	if mean := sum / float64(len(m.N)); mean < 0.9999 {
		t.Errorf("mean cosine %v between the normals", mean)
	}
}

// Subdivided, the shell stays closed, in front and back where it was, and keeps to the hull of the coarse one.
func TestEyeSubdivides(t *testing.T) {
	a, err := Read("../../testdata/eye/ict_right_eye_axial24mm.glb")
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range a.Nodes {
		s, err := mesh.Subdivide(n.Mesh, 2)
		if err != nil {
			t.Fatal(err)
		}
		if open, bad := mesh.Closed(s); open != 0 || bad != 0 || len(s.Tri) != 16*len(n.Mesh.Tri) {
			t.Errorf("%s: %d open edges, %d others, %d triangles", n.Name, open, bad, len(s.Tri))
		}
		for _, uv := range s.UV {
			if uv.U < 0 || uv.U > 1 || uv.V < 0 || uv.V > 1 {
				t.Fatalf("%s: texture coordinate %v", n.Name, uv)
			}
		}
		b, c := n.Mesh.Bounds(), s.Bounds()
		if d := b.Union(c).Size().Sub(b.Size()); d.MaxAbs() != 0 {
			t.Errorf("%s: grows by %v mm out of its box", n.Name, d)
		}
	}
}

// The radius of the sphere fitted to the cornea within 3.6 mm of the axis, as stated with the data: 6.34 mm.
func TestEyeCornealRadius(t *testing.T) {
	a, err := Read("../../testdata/eye/ict_right_eye_axial24mm.glb")
	if err != nil {
		t.Fatal(err)
	}
	var rows, right []float64
	for _, p := range a.Nodes[0].Mesh.P {
		if p.Z > 6 && math.Hypot(p.X, p.Y) < 3.6 {
			rows = append(rows, 2*p.X, 2*p.Y, 2*p.Z, 1) // |p|^2 = 2 p.c + r^2 - |c|^2
			right = append(right, p.Len2())
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(mat.NewDense(len(right), 4, rows), mat.NewVecDense(len(right), right)); err != nil {
		t.Fatal(err)
	}
	c := geom.Vec{X: x.AtVec(0), Y: x.AtVec(1), Z: x.AtVec(2)}
	near(t, "corneal radius", math.Sqrt(x.AtVec(3)+c.Len2()), 6.34, 0.006)
}
