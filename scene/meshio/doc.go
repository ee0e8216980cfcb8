// Package meshio reads files of meshes: Wavefront .obj with its .mtl, .ply and .stl here, .glb and .gltf through
// package gltfio. All give the same asset.Asset.
//
// Units: .obj, .ply and .stl state none, so the caller must; a *UnitError says what each would make of the file.
// Texture coordinates are turned to run down, as everywhere here; in .obj and .ply they run up (.ply: common practice,
// no published source). Axes are left as they are.
//
// Nothing outside the folder of the file is opened and no address is fetched. Memory is taken for what is there, not
// for what a header claims. A reader goes on after a mistake and reports up to MaxProblems of them, each with its line
// (text) or byte (binary).
//
// Not read: curves and surfaces of .obj, its points and lines; a note says so where a file has them. Vertex colours are read and not
// rendered: in whole numbers, and in .obj, they are sRGB, else linear (common practice, no published source).
//
// Sources: Wavefront, Object Files (.obj) and Material Library File (.mtl), appendix B of its manual, 1995; Turk, The
// PLY Polygon File Format, 1994; 3D Systems, StereoLithography Interface Specification, 1988.
package meshio

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
)

// Limits of what is read. A file that asks for more is an error.
const (
	MaxFile      = 1 << 30 // bytes of a file
	MaxVertices  = 1 << 24
	MaxTriangles = 1 << 24
	MaxTexels    = 1 << 28 // in all pictures together
	MaxProblems  = 20      // reported of one file
	MaxParts     = 1 << 12 // objects, groups and materials together make parts
)

// UnitError asks for the unit of a file whose format states none.
type UnitError struct {
	File string
	Long float64 // longest side, in the file's unit
	Hint string  // the line of the file's comments that speaks of a unit, or ""
}

func (e *UnitError) Error() string {
	s := e.File + ": " + asset.UnitQuestion(e.Long)
	if e.Hint != "" {
		s += fmt.Sprintf("; a comment in it says %q", e.Hint)
	}
	return s
}

// Read returns what the file path shows, in mm. unit is the word for the unit of a file that has none of its own
// (asset.Unit), "" for glTF. An error is a Problems, a *UnitError, one of package gltfio, or comes from the operating
// system, and names the file.
func Read(path, unit string) (*asset.Asset, error) { return ReadMorphed(path, unit, nil) }

// ReadIn is Read with a unit that counts only for formats without one of their own; "" is mm.
func ReadIn(path, unit string) (*asset.Asset, error) {
	switch states := !slices.Contains([]string{".obj", ".ply", ".stl"}, strings.ToLower(filepath.Ext(path))); {
	case states:
		unit = ""
	case unit == "":
		unit = "mm"
	}
	return Read(path, unit)
}

// ReadMorphed is Read with weights of morph targets, which only glTF has.
func ReadMorphed(path, unit string, weights gltfio.Weights) (*asset.Asset, error) {
	return ReadSets(path, unit, weights, nil)
}

// ReadSets is ReadMorphed with the sets of texture coordinates of nodes; other formats than glTF have set 0 alone.
func ReadSets(path, unit string, weights gltfio.Weights, sets gltfio.Sets) (*asset.Asset, error) {
	ending := strings.ToLower(filepath.Ext(path))
	if advice := asset.Advice(ending); advice != "" {
		return nil, fmt.Errorf("%s: %s", path, advice)
	}
	if ending == ".glb" || ending == ".gltf" {
		if unit != "" {
			return nil, fmt.Errorf("%s: unit is %s, but glTF files are in metres by their standard; leave unit out", path, unit)
		}
		return gltfio.ReadSets(path, weights, sets)
	}
	if len(weights) > 0 {
		return nil, fmt.Errorf("%s: morph targets are given, and only glTF files have them", path)
	}
	for node, n := range sets {
		if n > 0 {
			return nil, fmt.Errorf("%s: uv_set %d of %s: only glTF files have more than one set of texture coordinates; this one has set 0 alone", path, n, node)
		}
	}
	mm, ok := asset.Unit(unit)
	if !ok && unit != "" {
		return nil, fmt.Errorf("%s: unit %q is none of mm, cm, m, inch", path, unit)
	}
	text, err := readFile(os.Open, path)
	if err != nil {
		return nil, err
	}
	r := newReader(path)
	r.read(ending, text)
	return r.result(mm)
}

// reader holds what is known of a file while it is read.
type reader struct {
	path     string
	asset    *asset.Asset
	problems Problems
	more     int // problems beyond MaxProblems
	said     map[string]bool
	hint     string // what a comment says of units
	budget   int    // steps left for the triangulation of polygons
	texels   int
}

func newReader(path string) *reader {
	return &reader{path: path, asset: &asset.Asset{}, said: map[string]bool{}, budget: 1 << 28}
}

// read fills r.asset in the file's own unit.
func (r *reader) read(ending, text string) {
	if text == "" {
		r.bad("", "the file is empty")
		return
	}
	switch ending {
	case ".obj":
		r.obj(text)
	case ".ply":
		r.ply(text)
	case ".stl":
		r.stl(text)
	}
	if len(r.problems) == 0 && len(r.asset.Nodes) == 0 {
		r.bad("", "the file shows no triangles")
	}
}

// result scales to mm and returns the asset, or all that is wrong.
func (r *reader) result(mm float64) (*asset.Asset, error) {
	if len(r.problems) > 0 {
		if r.more > 0 {
			r.problems = append(r.problems, Problem{File: r.path, Message: fmt.Sprintf("and %d more problems", r.more)})
		}
		return nil, r.problems
	}
	b := geom.EmptyBox()
	for _, n := range r.asset.Nodes {
		b = b.Union(n.Mesh.Bounds())
	}
	if mm == 0 {
		return nil, &UnitError{File: r.path, Long: b.Size().MaxAbs(), Hint: r.hint}
	}
	for _, n := range r.asset.Nodes {
		for i := range n.Mesh.P {
			n.Mesh.P[i] = n.Mesh.P[i].Mul(mm)
		}
		asset.Finish(n.Mesh, n.Name, r.note)
	}
	return r.asset, nil
}

// readFile reads a regular file of at most MaxFile bytes.
func readFile(open func(string) (*os.File, error), name string) (string, error) {
	f, err := open(name)
	if err != nil {
		return "", err
	}
	defer f.Close()
	st, err := f.Stat()
	switch {
	case err != nil:
		return "", err
	case !st.Mode().IsRegular():
		return "", fmt.Errorf("%s: not a regular file", name)
	case st.Size() > MaxFile:
		return "", fmt.Errorf("%s: %d bytes, at most %d are read", name, st.Size(), MaxFile)
	}
	var b strings.Builder
	b.Grow(int(st.Size()))
	if _, err := io.Copy(&b, io.LimitReader(f, MaxFile)); err != nil {
		return "", fmt.Errorf("%s: %w", name, err)
	}
	return b.String(), nil
}

// beside reads a file that the asset names: in its folder or below, never elsewhere.
func (r *reader) beside(name string) (string, error) {
	local := strings.ReplaceAll(name, `\`, "/")
	switch {
	case strings.Contains(local, "://"), strings.HasPrefix(local, "//"):
		return "", fmt.Errorf("%.200q is an address; only files beside the asset are opened", name)
	case strings.ContainsAny(local, ":\x00"), !filepath.IsLocal(filepath.FromSlash(local)):
		return "", fmt.Errorf("%.200q leaves the folder of the asset and is not opened; put the file beside the asset and name it alone", name)
	}
	// A Root follows no link out of its folder.
	root, err := os.OpenRoot(filepath.Dir(r.path))
	if err != nil {
		return "", err
	}
	defer root.Close()
	text, err := readFile(root.Open, filepath.FromSlash(local))
	var at *fs.PathError
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", fmt.Errorf("%.200q does not exist in the folder of the asset", name)
	case errors.As(err, &at):
		return "", fmt.Errorf("%.200q cannot be opened: %v", name, at.Err)
	}
	return text, err
}
