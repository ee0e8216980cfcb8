package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/eye"
	"catchlight/scene/gltfio"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// growing is what the command asks for.
type growing struct {
	out, object, maps, format, green, layout, meshes string
	size, bits                                       int
	tile, tileSize, tileLongest                      float64
	overwrite                                        bool
}

// mapReport is one map in the report.
type mapReport struct {
	File  string `json:"file"`
	Holds string `json:"holds"`
	Code  string `json:"code"` // from the stored 0 to 1 to the value
}

// growReport is written beside the maps.
type growReport struct {
	Scene      string        `json:"scene"`
	Body       string        `json:"object"`
	Size       int           `json:"size_px"`
	Green      string        `json:"normal_green"`
	Layout     string        `json:"layout"`
	IrisShare  float64       `json:"iris_share_of_map_radius"`
	Axial      float64       `json:"axial_length_mm"`
	Apex       float64       `json:"apex_z_mm"`
	IrisZ      float64       `json:"iris_z_mm"`
	Zones      []string      `json:"zone_ids"`
	Maps       []mapReport   `json:"maps"`
	Meshes     []string      `json:"meshes"`
	Distortion []eye.Stretch `json:"texels_per_mm"`
}

func growCommand() *cobra.Command {
	g := growing{}
	c := &cobra.Command{
		Use:   "grow SCENE --out FOLDER",
		Short: "Bake a built eye's maps and write its shells as files",
		Long: `Bake a built eye's maps and write its shells as files: colour, height, normal, roughness, occlusion, curvature (convex,
concave), thickness, zones and vessels as PNG or OpenEXR at any size up to 8192, the shells as .glb and .obj, a tileable
wobble for the tear film, and a report of what each value means and how many texels a mm gets where.

The eye is that of the first object of shape eye, or of --object. A short scene with one eye in it is description enough.`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return g.run(args[0], cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&g.out, "out", "", "folder for the files; it is made")
	overwriteFlag(f, &g.overwrite)
	f.StringVar(&g.object, "object", "", "name of the eye's object")
	f.StringVar(&g.maps, "maps", "all", "maps to bake, by name with commas; all or none")
	f.StringVar(&g.format, "format", "png", "png or exr")
	f.StringVar(&g.green, "green", "up", "where a positive green of normal maps points: up or down")
	f.StringVar(&g.layout, "layout", "whole", "whole: one radial map; apart: the iris in a second map of its own")
	f.StringVar(&g.meshes, "meshes", "glb,obj", "shell files to write, with commas; or none")
	f.IntVar(&g.size, "size", 2048, "edge of the maps in pixels, 16 to 8192")
	f.IntVar(&g.bits, "bits", 8, "bits a channel of PNG: 8 or 16; height is always 16")
	f.Float64Var(&g.tile, "wobble", 0.3, "RMS deviation of the tileable wobble's normals in degrees; 0 leaves it out")
	f.Float64Var(&g.tileSize, "wobble-tile", 8, "edge of that tile in mm")
	f.Float64Var(&g.tileLongest, "wobble-size", 4, "its longest wavelength in mm")
	return c
}

func (g *growing) check() error {
	word := func(flag, v string, of ...string) error {
		if slices.Contains(of, v) {
			return nil
		}
		return fmt.Errorf("--%s %q: must be one of %s", flag, v, strings.Join(of, ", "))
	}
	var errs []error
	if g.out == "" {
		errs = append(errs, errors.New("--out: a folder is needed"))
	}
	errs = append(errs, word("format", g.format, "png", "exr"), word("green", g.green, "up", "down"), word("layout", g.layout, "whole", "apart"))
	if g.size < 16 || g.size > 8192 {
		errs = append(errs, fmt.Errorf("--size %d: must be 16 to 8192", g.size))
	}
	if g.bits != 8 && g.bits != 16 {
		errs = append(errs, fmt.Errorf("--bits %d: must be 8 or 16", g.bits))
	}
	if g.tile < 0 || g.tile > 30 || math.IsNaN(g.tile) {
		errs = append(errs, fmt.Errorf("--wobble %g: must be 0 to 30 degrees", g.tile))
	}
	for _, k := range list(g.maps) {
		if k != "all" && k != "none" && !slices.Contains(eye.Kinds(), eye.Kind(k)) {
			errs = append(errs, fmt.Errorf("--maps %q: known are all, none, %v", k, eye.Kinds()))
		}
	}
	for _, k := range list(g.meshes) {
		if k != "none" {
			errs = append(errs, word("meshes", k, "glb", "obj"))
		}
	}
	if err := errors.Join(errs...); err != nil {
		return usageError{err}
	}
	return nil
}

func list(s string) []string { return strings.Split(s, ",") }

func (g *growing) run(path string, stdout, stderr io.Writer) error {
	if err := g.check(); err != nil {
		return err
	}
	d, err := scene.Load(path)
	if err != nil {
		return err
	}
	var b *scene.Object
	for i := range d.Objects {
		if q := &d.Objects[i]; q.Eye != nil && (q.Name == g.object || g.object == "" && b == nil) {
			b = q
		}
	}
	switch {
	case b == nil && g.object != "":
		return usageError{fmt.Errorf("--object %s: %s has no eye of that name", g.object, path)}
	case b == nil:
		return usageError{fmt.Errorf("%s: there is no eye in it", path)}
	case b.Eye.Asset != nil:
		return usageError{fmt.Errorf("%s: the shells of %s come from a file; only a built eye can be grown", path, b.Name)}
	}
	if err := g.guard(render.Files(d)); err != nil {
		return err
	}
	par, err := b.Eye.Params()
	if err != nil {
		return err
	}
	par.MapSize = g.size
	fmt.Fprintln(stderr, "growing", b.Name)
	for _, n := range g.names() {
		imageio.Sweep(filepath.Join(g.out, n))
	}
	e, err := eye.Grow(par)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(g.out, 0o777); err != nil {
		return err
	}
	r := growReport{Scene: path, Body: b.Name, Size: g.size, Green: g.green, Layout: g.layout, IrisShare: par.IrisShare,
		Axial: e.AxialLength, Apex: e.ApexZ, IrisZ: e.IrisZ, Distortion: e.Distortion(g.size),
		Zones: []string{"0 pupil", "1 pupillary zone", "2 ciliary zone", "3 limbus", "4 bulbar white", "5 white toward the nose", "6 back"}}
	if err := g.bakeAll(e, &r, stderr); err != nil {
		return err
	}
	if err := g.writeMeshes(e, b.Eye, &r); err != nil {
		return err
	}
	text, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return err
	}
	name := filepath.Join(g.out, "grown.json")
	if err := writeBytes(name, append(scene.Stamp(text), '\n')); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "wrote %d maps and %d meshes into %s; %s says what they hold\n", len(r.Maps), len(r.Meshes), g.out, name)
	return nil
}

// names are the files that are to be written into the folder.
func (g *growing) names() []string {
	out := []string{"grown.json"}
	for _, k := range eye.Kinds() {
		if g.maps == "none" || g.maps != "all" && !slices.Contains(list(g.maps), string(k)) {
			continue
		}
		out = append(out, string(k)+"."+g.format)
		if g.layout == "apart" {
			out = append(out, string(k)+"_iris."+g.format)
		}
	}
	if g.tile > 0 && g.maps != "none" {
		out = append(out, "wobble."+g.format)
	}
	for _, k := range list(g.meshes) {
		if k != "none" {
			out = append(out, "eye."+k)
		}
	}
	return out
}

// guard refuses to write over what an earlier run did not make, and over what the scene reads.
func (g *growing) guard(inputs []string) error {
	made := madeBy(g.out, "grown.json", func(data []byte) (out []string) {
		var r growReport
		if json.Unmarshal(data, &r) != nil || r.IrisShare == 0 {
			return nil
		}
		for _, m := range r.Maps {
			out = append(out, m.File)
		}
		return append(append(out, r.Meshes...), "grown.json")
	})
	if err := job.CheckFolder(g.out, g.names(), made, g.overwrite); err != nil {
		return err
	}
	var outputs []string
	for _, n := range g.names() {
		outputs = append(outputs, filepath.Join(g.out, n))
	}
	return job.CheckOutputs(outputs, inputs, g.overwrite)
}

// code says how a map's values are stored in 0 to 1: value = scale stored + offset.
type code struct {
	scale, offset float64
	srgb          bool
	holds         string
}

var codes = map[eye.Kind]code{
	eye.Colour:    {1, 0, true, "albedo with vessels"},
	eye.Height:    {1, -0.5, false, "relief in mm"},
	eye.Normal:    {2, -1, false, "tangent-space normal of the relief"},
	eye.Roughness: {1, 0, false, "roughness of the wet surface"},
	eye.Occlusion: {1, 0, false, "share of the sky that the relief leaves free"},
	eye.Convex:    {20, 0, false, "mean curvature in 1/mm where the relief bulges"},
	eye.Concave:   {20, 0, false, "mean curvature in 1/mm where it is hollow"},
	eye.Thickness: {1, 0, false, "thickness of the tissue in mm"},
	eye.Zones:     {255, 0, false, "zone id (stored value times 255)"},
	eye.Vessels:   {1, 0, false, "density of the vessels"},
}

func (g *growing) bakeAll(e *eye.Eye, r *growReport, stderr io.Writer) error {
	for _, k := range eye.Kinds() {
		if g.maps == "none" || g.maps != "all" && !slices.Contains(list(g.maps), string(k)) {
			continue
		}
		fmt.Fprintln(stderr, "baking", k)
		for _, q := range []struct {
			suffix string
			bake   func(eye.Kind, int, func(int, []float32)) error
		}{{"", e.Bake}, {"_iris", e.BakeIris}} {
			if q.suffix != "" && g.layout != "apart" {
				continue
			}
			m, err := g.write(string(k)+q.suffix, k, func(row func(int, []float32)) error { return q.bake(k, g.size, row) })
			if err != nil {
				return err
			}
			r.Maps = append(r.Maps, m)
		}
	}
	if g.tile > 0 && g.maps != "none" {
		m, err := g.write("wobble", eye.Normal, func(row func(int, []float32)) error {
			return eye.Tile(g.size, g.tileSize, g.tileLongest, g.tile, 1, row)
		})
		if err != nil {
			return err
		}
		m.Holds = fmt.Sprintf("tileable normals of the tear film for a square of %g mm, %g degrees RMS", g.tileSize, g.tile)
		r.Maps = append(r.Maps, m)
	}
	return nil
}

// write bakes one map into its file. Only the stored form is kept in memory.
func (g *growing) write(name string, k eye.Kind, bake func(row func(int, []float32)) error) (mapReport, error) {
	c, n := codes[k], k.Channels()
	rep := mapReport{File: name + "." + g.format, Holds: c.holds, Code: fmt.Sprintf("value = %g stored %+g", c.scale, c.offset)}
	if c.srgb && g.format == "png" {
		rep.Code = "sRGB; " + rep.Code
	}
	path := filepath.Join(g.out, rep.File)
	flip := func(v float32, ch int) float64 {
		if k == eye.Normal && ch == 1 && g.green == "down" {
			v = -v
		}
		return float64(v)
	}
	if g.format == "exr" {
		rep.Code = "value as it is, linear"
		planes := make([][]float32, n)
		for i := range planes {
			planes[i] = make([]float32, g.size*g.size)
		}
		if err := bake(func(y int, v []float32) {
			for i := range v {
				planes[i%n][y*g.size+i/n] = float32(flip(v[i], i%n))
			}
		}); err != nil {
			return rep, err
		}
		names := []string{"R", "G", "B"}
		if n == 1 {
			names = []string{"Y"}
		}
		var ch []imageio.EXRChannel
		for i, p := range planes {
			ch = append(ch, imageio.EXRChannel{Name: names[i], Half: k != eye.Height, Pix: p})
		}
		return rep, imageio.WriteEXR(path, g.size, g.size, ch, nil)
	}
	stored := func(v float32, ch int) float64 {
		x := (flip(v, ch) - c.offset) / c.scale
		if c.srgb {
			x = srgb(x)
		}
		return min(1, max(0, x))
	}
	if (g.bits == 16 || k == eye.Height) && k != eye.Zones {
		pix := make([]uint16, g.size*g.size*n)
		if err := bake(func(y int, v []float32) {
			for i := range v {
				pix[y*g.size*n+i] = uint16(stored(v[i], i%n)*65535 + 0.5)
			}
		}); err != nil {
			return rep, err
		}
		return rep, imageio.WritePNG16(path, g.size, g.size, n, pix, nil)
	}
	pix := make([]uint8, g.size*g.size*n)
	if err := bake(func(y int, v []float32) {
		for i := range v {
			pix[y*g.size*n+i] = uint8(stored(v[i], i%n)*255 + 0.5)
		}
	}); err != nil {
		return rep, err
	}
	return rep, imageio.WritePNG(path, g.size, g.size, n, pix, nil)
}

// srgb is the transfer function of IEC 61966-2-1.
func srgb(x float64) float64 {
	if x <= 0.0031308 {
		return 12.92 * x
	}
	return 1.055*math.Pow(x, 1/2.4) - 0.055
}

// writeMeshes writes both shells. The .glb carries the colour map where it was baked as an 8-bit PNG.
func (g *growing) writeMeshes(e *eye.Eye, d *scene.Eye, r *growReport) error {
	inner := e.Inner
	if g.layout == "apart" {
		inner = e.InnerApart()
	}
	for _, kind := range list(g.meshes) {
		name := "eye." + kind
		path := filepath.Join(g.out, name)
		var err error
		switch kind {
		case "glb":
			var parts []gltfio.Part
			if parts, err = g.parts(e.Outer, inner, d, r); err == nil {
				err = gltfio.Write(path, parts)
			}
		case "obj":
			err = meshio.WriteOBJ(path, []meshio.Part{{Name: "outer", Mesh: e.Outer}, {Name: "inner", Mesh: inner}})
		default:
			continue
		}
		if err != nil {
			return err
		}
		r.Meshes = append(r.Meshes, name)
	}
	return nil
}

func (g *growing) parts(outer, inner *mesh.Mesh, d *scene.Eye, r *growReport) ([]gltfio.Part, error) {
	in := gltfio.Look{BaseColour: [3]float64{1, 1, 1}, Roughness: 0.5}
	baked := slices.ContainsFunc(r.Maps, func(m mapReport) bool { return m.File == "colour.png" })
	if baked && g.layout == "whole" && g.bits == 8 {
		var err error
		if in.BaseMap, err = os.ReadFile(filepath.Join(g.out, "colour.png")); err != nil {
			return nil, err
		}
	} else {
		in.BaseColour = [3]float64{0.4, 0.36, 0.33}
	}
	return []gltfio.Part{
		{Name: "outer", Mesh: outer, Look: gltfio.Look{BaseColour: [3]float64{1, 1, 1}, Roughness: d.Cornea.Roughness, IOR: d.Cornea.Index, Transmission: 1, Thickness: d.Iris.Depth}},
		{Name: "inner", Mesh: inner, Look: in},
	}, nil
}
