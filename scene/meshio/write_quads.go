package meshio

import (
	"bufio"
	"fmt"
	"io"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
)

// Quads is one object of four-sided faces to be written; places, normals and texture coordinates have an index of their own.
type Quads struct {
	Name  string
	P, N  []geom.Vec // mm; one normal a place
	UV    []geom.UV
	Faces [][4][2]uint32 // by corner: place and texture coordinates
}

// WriteQuads writes objects of quads as one .obj file in mm, +Y up, v up as the format has it, as WriteOBJ does of triangles. Their order
// is that of the slices.
func WriteQuads(path string, parts []Quads, notes ...string) error {
	return imageio.WriteAtomic(path, func(out io.Writer) error {
		w := bufio.NewWriterSize(out, 1<<16)
		objHead(w, notes)
		place, uv := uint32(1), uint32(1)
		for _, p := range parts {
			if len(p.N) != len(p.P) {
				return fmt.Errorf("%s: %s needs a normal a place", path, p.Name)
			}
			fmt.Fprintln(w, "o", p.Name)
			objVertices(w, p.P, p.UV, p.N)
			for _, f := range p.Faces {
				fmt.Fprint(w, "f")
				for _, c := range f {
					fmt.Fprintf(w, " %d/%d/%d", place+c[0], uv+c[1], place+c[0])
				}
				fmt.Fprintln(w)
			}
			place += uint32(len(p.P))
			uv += uint32(len(p.UV))
		}
		return w.Flush()
	})
}
