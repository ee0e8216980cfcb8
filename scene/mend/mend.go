package mend

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/geom"
	"catchlight/scene/imageio"
)

// MaxFile is the most bytes of a file that is mended.
const MaxFile = 1 << 30

// Changes is what is to be done.
type Changes struct {
	Factor float64     // on all lengths; 0 and 1: none
	Turn   geom.Affine // of all places about the origin, after the factor; zero or the unit matrix: none
	// Over are nodes, as package asset names them, whose triangles are turned over, Negate those whose normals are.
	Over, Negate []string
}

// None reports whether nothing is to be done.
func (c *Changes) None() bool {
	return !c.scales() && !c.turns() && len(c.Over)+len(c.Negate) == 0
}

func (c *Changes) scales() bool { return c.Factor != 0 && c.Factor != 1 }

func (c *Changes) turns() bool {
	return c.Turn.M != [3]geom.Vec{} && c.Turn.M != geom.Identity().M
}

// matrix is factor and turn as columns, in the order of glTF.
func (c *Changes) matrix() (m [16]float64) {
	k := 1.0
	if c.scales() {
		k = c.Factor
	}
	r := geom.Identity().M
	if c.turns() {
		r = c.Turn.M
	}
	for row, v := range r {
		m[row], m[4+row], m[8+row] = k*v.X, k*v.Y, k*v.Z
	}
	m[15] = 1
	return m
}

// File writes the copy dst of src, which must be another file with the same ending, and says what it did, a line each.
func File(src, dst string, c Changes) (did []string, err error) {
	end := strings.ToLower(filepath.Ext(src))
	if strings.ToLower(filepath.Ext(dst)) != end {
		return nil, fmt.Errorf("%s: a mended copy of %s has its ending, %s", dst, filepath.Base(src), end)
	}
	if a, err := os.Stat(src); err == nil {
		if b, err := os.Stat(dst); err == nil && os.SameFile(a, b) {
			return nil, fmt.Errorf("%s: is the file itself; name a copy", dst)
		}
	}
	work := map[string]func([]byte, *Changes) ([]byte, []string, error){".obj": obj, ".glb": glb, ".gltf": gltf}[end]
	if work == nil {
		return nil, fmt.Errorf("%s: %s can't be mended; export it as .glb or .obj", src, end)
	}
	if end == ".gltf" && filepath.Clean(filepath.Dir(src)) != filepath.Clean(filepath.Dir(dst)) {
		return nil, fmt.Errorf("%s: a .gltf names other files, so its copy must lie beside it, in %s", dst, filepath.Dir(src))
	}
	f, err := os.Open(src)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // it was read only
	data, err := io.ReadAll(io.LimitReader(f, MaxFile+1))
	if err != nil {
		return nil, err
	}
	if len(data) > MaxFile {
		return nil, fmt.Errorf("%s: is larger than %d bytes", src, MaxFile)
	}
	out, did, err := work(data, &c)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", src, err)
	}
	return did, imageio.WriteAtomic(dst, func(w io.Writer) error {
		_, err := w.Write(out)
		return err
	})
}

// did says what was done to lengths and axes.
func (c *Changes) did() (list []string) {
	if c.scales() {
		list = append(list, fmt.Sprintf("all lengths are %.6g times what they were", c.Factor))
	}
	if c.turns() {
		m := c.Turn.M
		list = append(list, fmt.Sprintf("all is turned: what was +X, +Y, +Z is now (%.3g, %.3g, %.3g), (%.3g, %.3g, %.3g), (%.3g, %.3g, %.3g)",
			m[0].X, m[1].X, m[2].X, m[0].Y, m[1].Y, m[2].Y, m[0].Z, m[1].Z, m[2].Z))
	}
	return list
}

// node is a name without the numbers that package asset puts behind it.
func node(name string) string {
	name, _, _ = strings.Cut(name, "/")
	if i := strings.LastIndex(name, "#"); i > 0 && strings.Trim(name[i+1:], "0123456789") == "" {
		name = name[:i]
	}
	return name
}

// has reports whether a node is listed.
func has(list []string, name string) bool {
	return slices.ContainsFunc(list, func(s string) bool { return node(s) == name })
}
