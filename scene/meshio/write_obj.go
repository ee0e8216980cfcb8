package meshio

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
)

// Part is one object to be written.
type Part struct {
	Name string
	Mesh *mesh.Mesh // mm; N must be there
}

// WriteOBJ writes parts as objects of one .obj file in mm, +Y up, with normals, and texture coordinates where a part has
// them (v up, as the format has it). Numbers are written so that they read back as the same single-precision values. Notes go into the head of the file as comments, a line each.
func WriteOBJ(path string, parts []Part, notes ...string) error {
	return imageio.WriteAtomic(path, func(out io.Writer) error {
		w := bufio.NewWriterSize(out, 1<<16)
		objHead(w, notes)
		base, baseUV := 1, 1
		for _, p := range parts {
			m := p.Mesh
			if len(m.N) != len(m.P) || m.UV != nil && len(m.UV) != len(m.P) {
				return fmt.Errorf("%s: %s needs a normal a vertex", path, p.Name)
			}
			fmt.Fprintln(w, "o", p.Name)
			objVertices(w, m.P, m.UV, m.N)
			for _, t := range m.Tri {
				if m.UV != nil {
					fmt.Fprintf(w, "f %d/%d/%d %d/%d/%d %d/%d/%d\n", base+int(t[0]), baseUV+int(t[0]), base+int(t[0]),
						base+int(t[1]), baseUV+int(t[1]), base+int(t[1]), base+int(t[2]), baseUV+int(t[2]), base+int(t[2]))
				} else {
					fmt.Fprintf(w, "f %d//%d %d//%d %d//%d\n", base+int(t[0]), base+int(t[0]), base+int(t[1]), base+int(t[1]), base+int(t[2]), base+int(t[2]))
				}
			}
			base += len(m.P)
			baseUV += len(m.UV)
		}
		return w.Flush()
	})
}

// objHead writes the head of a file: its unit, and notes as comments, a line each.
func objHead(w io.Writer, notes []string) {
	fmt.Fprintln(w, "# lengths in mm")
	for _, n := range notes {
		fmt.Fprintln(w, "#", strings.ReplaceAll(n, "\n", " "))
	}
}

// objVertices writes places, texture coordinates and normals.
func objVertices(w io.Writer, places []geom.Vec, uv []geom.UV, normals []geom.Vec) {
	for _, q := range places {
		fmt.Fprintf(w, "v %.9g %.9g %.9g\n", q.X, q.Y, q.Z)
	}
	for _, q := range uv {
		fmt.Fprintf(w, "vt %.9g %.9g\n", q.U, 1-q.V)
	}
	for _, q := range normals {
		fmt.Fprintf(w, "vn %.6f %.6f %.6f\n", q.X, q.Y, q.Z)
	}
}
