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
	"catchlight/scene/builtin"
	"catchlight/scene/eye"
	"catchlight/scene/gltfio"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// growing is what the command asks for.
type growing struct {
	out, object, maps, format, green, layout, meshes string
	size, bits                                       int
	strands                                          strandFlags
	tile, tileSize, tileLongest                      float64
	overwrite                                        bool

	packed []uint8 // red occlusion, green roughness, blue metallic, as glTF 2.0 packs them; nil where no .glb is written
	has    [2]bool // which of the two were baked
}

func growCommand() *cobra.Command {
	g := growing{}
	c := &cobra.Command{
		Use:   "grow SCENE --out FOLDER",
		Short: "Bake a built eye's maps and write its shells as files",
		Long: `Bake a built eye's maps and write its shells as files: colour, height, normal, roughness, occlusion, curvature (convex,
concave), thickness, zones and vessels as PNG or OpenEXR at any size up to 8192, a soft mask of each part of the eye and
all of them in colours, the shells as .glb (with its maps) and .obj, a tileable wobble for the tear film, and a report of
what each value means, where up and the nose are, and how many texels a mm gets where.

The shells' shape has the relief of the iris and the wobble of the tear film in it. The map normal has all of the
relief, for a smooth shell; normal_detail has what these shells lack, and the .glb carries that one. "catchlight adopt FOLDER/eye.glb FOLDER" reads all of it back.

--strands makes the iris of clusters of strands of your own, modelled as meshes or as the lines of an .obj: they are set round the pupil,
varied, turned over, bent with the fabric and round crypts. Two tests say whether copies show. --guide lets the relief follow a height map.

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
	f.StringVar(&g.meshes, "meshes", "glb,obj", "shell files to write, with commas: glb, obj, and head for head.glb, the eye or the pair in its lids; or none")
	f.IntVar(&g.size, "size", 2048, "edge of the maps in pixels, 16 to 8192")
	f.IntVar(&g.bits, "bits", 0, "bits a channel of PNG: 8 or 16; 0: 16 for normals and wobble, 8 for others; height is always 16")
	g.strands.add(f)
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
	if g.bits != 0 && g.bits != 8 && g.bits != 16 {
		errs = append(errs, fmt.Errorf("--bits %d: must be 8 or 16, or 0 to choose by the map", g.bits))
	}
	if g.tile < 0 || g.tile > 30 || math.IsNaN(g.tile) {
		errs = append(errs, fmt.Errorf("--wobble %g: must be 0 to 30 degrees", g.tile))
	}
	for _, k := range list(g.maps) {
		if k != "all" && k != "none" && k != "masks" && !slices.Contains(eye.Kinds(), eye.Kind(k)) {
			errs = append(errs, fmt.Errorf("--maps %q: known are all, none, masks, %v", k, eye.Kinds()))
		}
	}
	for _, k := range list(g.meshes) {
		if k != "none" {
			errs = append(errs, word("meshes", k, "glb", "obj", "head"))
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
	b, err := g.eyeOf(d, path)
	if err != nil {
		return err
	}
	if err := g.guard(render.Files(d)); err != nil {
		return err
	}
	par, err := b.Eye.Params()
	if err != nil {
		return err
	}
	par.MapSize = g.size
	if par.Own, err = g.strands.read(); err != nil {
		return err
	}
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
	keys, err := b.ShellKeys()
	if err != nil {
		return err
	}
	r := grown.Report{Scene: path, Object: b.Name, Size: g.size, Green: g.green, Layout: g.layout, IrisShare: par.IrisShare,
		Frame: grown.FrameOf(b.Eye.Side), Globe: par.GlobeRadius, Limbus: par.LimbusRadius, Width: par.LimbusWidth, Reach: par.LimbusReach, MapSize: b.Eye.MapSize, Keys: keys,
		Shells: "the shape of both has the tear film's wobble, that of the inner one the iris' relief too: the maps height, normal and wobble would add them a second time; " +
			"normal_detail has what the shape lacks, the relief of the vessels; the .glb carries it",
		Axial: e.AxialLength, Apex: e.ApexZ, IrisZ: e.IrisZ, Distortion: e.Distortion(g.size),
		Zones: []string{"0 pupil", "1 pupillary zone", "2 ciliary zone", "3 limbus", "4 bulbar white", "5 white toward the nose", "6 back"}}
	for _, k := range []string{"iris.colour", "iris.normal", "iris.height", "sclera.colour", "cornea.normal", "cornea.height"} {
		if keys[k] != "" {
			fmt.Fprintf(stderr, "note: %s of the scene is not baked: the maps are those of the built eye; %s names it\n", k, grown.Name)
		}
	}
	g.strands.tell(e, &r, stdout)
	if err := g.bakeAll(e, &r, stderr); err != nil {
		return err
	}
	if err := g.writeMeshes(e, b.Eye, &r); err != nil {
		return err
	}
	if err := g.writeHead(d, b, e, &r); err != nil {
		return err
	}
	name, err := g.report(&r)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "wrote %d maps and %d meshes into %s; %s says what they hold\n", len(r.Maps), len(r.Meshes), g.out, name)
	return nil
}

// eyeOf finds the eye that is to be grown.
func (g *growing) eyeOf(d *scene.Description, path string) (*scene.Object, error) {
	var b *scene.Object
	for i := range d.Objects {
		if q := &d.Objects[i]; q.Eye != nil && (q.Name == g.object || g.object == "" && b == nil) {
			b = q
		}
	}
	switch {
	case b == nil && g.object != "":
		return nil, usageError{fmt.Errorf("--object %s: %s has no eye of that name", g.object, path)}
	case b == nil:
		return nil, usageError{fmt.Errorf("%s: there is no eye in it", path)}
	case b.Eye.Asset != nil:
		return nil, usageError{fmt.Errorf("%s: the shells of %s come from a file; only a built eye can be grown", path, b.Name)}
	}
	return b, g.canHead(d, b)
}

// names are the files that are to be written into the folder.
func (g *growing) names() []string {
	out := []string{grown.Name}
	for _, k := range g.wanted() {
		out = append(out, string(k)+"."+g.format)
		if g.layout == "apart" {
			out = append(out, string(k)+"_iris."+g.format)
		}
	}
	if slices.Contains(g.wanted(), eye.MaskPupil) {
		out = append(out, "preview.png")
	}
	if g.tile > 0 && g.maps != "none" {
		out = append(out, "wobble."+g.format)
	}
	for _, k := range list(g.meshes) {
		if k == "head" {
			out = append(out, headFile)
		} else if k != "none" {
			out = append(out, "eye."+k)
		}
	}
	return out
}

// guard refuses to write over what an earlier run did not make, and over what the scene reads.
func (g *growing) guard(inputs []string) error {
	made := madeBy(g.out, grown.Name, func(data []byte) (out []string) {
		var r grown.Report
		if json.Unmarshal(data, &r) != nil || r.IrisShare == 0 {
			return nil
		}
		for _, m := range r.Maps {
			out = append(out, m.File)
		}
		for _, m := range r.Meshes {
			out = append(out, m.File)
		}
		return append(out, grown.Name)
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

// report sums up the files and writes the report.
func (g *growing) report(r *grown.Report) (name string, err error) {
	for i := range r.Maps {
		if r.Maps[i].Sum, err = builtin.Hash(filepath.Join(g.out, r.Maps[i].File)); err != nil {
			return "", err
		}
	}
	for i := range r.Meshes {
		if r.Meshes[i].Sum, err = builtin.Hash(filepath.Join(g.out, r.Meshes[i].File)); err != nil {
			return "", err
		}
	}
	text, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return "", err
	}
	name = filepath.Join(g.out, grown.Name)
	return name, writeBytes(name, append(scene.Stamp(text), '\n'))
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
	eye.Normal:    {2, -1, false, "tangent-space normal of the relief, for a smooth shell"},
	eye.Detail:    {2, -1, false, "tangent-space normal of what the shells' shape lacks of the relief"},
	eye.Roughness: {1, 0, false, "roughness of the wet surface"},
	eye.Occlusion: {1, 0, false, "share of the sky that the relief leaves free"},
	eye.Convex:    {20, 0, false, "mean curvature in 1/mm where the relief bulges"},
	eye.Concave:   {20, 0, false, "mean curvature in 1/mm where it is hollow"},
	eye.Thickness: {1, 0, false, "thickness of the tissue in mm"},
	eye.Zones:     {255, 0, false, "zone id (stored value times 255)"},
	eye.Vessels:   {1, 0, false, "density of the vessels"},
}

func init() {
	for _, k := range eye.Masks() {
		codes[k] = code{1, 0, false, strings.ReplaceAll(strings.TrimPrefix(string(k), "mask_"), "_", " ") + ": share of it at a place, soft at its edges"}
	}
}

// wanted returns the maps that are asked for.
func (g *growing) wanted() (out []eye.Kind) {
	asked := func(k string) bool { return g.maps == "all" || g.maps != "none" && slices.Contains(list(g.maps), k) }
	for _, k := range eye.Kinds() {
		if asked(string(k)) {
			out = append(out, k)
		}
	}
	if asked("masks") {
		out = append(out, eye.Masks()...)
	}
	return out
}

func (g *growing) bakeAll(e *eye.Eye, r *grown.Report, stderr io.Writer) error {
	if slices.Contains(list(g.meshes), "glb") && g.layout == "whole" {
		g.packed = slices.Repeat([]uint8{255, 255, 0}, g.size*g.size)
	}
	for _, k := range g.wanted() {
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
	if slices.Contains(g.wanted(), eye.MaskPupil) {
		if err := g.preview(e, r); err != nil {
			return err
		}
	}
	if g.tile > 0 && g.maps != "none" {
		m, err := g.write("wobble", eye.Normal, func(row func(int, []float32)) error {
			return eye.Tile(g.size, g.tileSize, g.tileLongest, g.tile, 1, row)
		})
		if err != nil {
			return err
		}
		m.Kind = "wobble"
		m.Holds = fmt.Sprintf("tileable normals of the tear film for a square of %g mm, %g degrees RMS", g.tileSize, g.tile)
		r.Maps = append(r.Maps, m)
	}
	return nil
}

// mostPreview is the longest edge of the preview in pixels.
const mostPreview = 1024

// preview writes the parts in their colours, and their legend.
func (g *growing) preview(e *eye.Eye, r *grown.Report) error {
	n := min(g.size, mostPreview)
	m := grown.Map{File: "preview.png", Kind: "preview", Holds: "the parts of the eye in the colours of preview_legend, blended by the masks", Code: "sRGB, to look at"}
	if err := imageio.WritePNG(filepath.Join(g.out, m.File), n, n, 3, e.Preview(n), nil); err != nil {
		return err
	}
	r.Maps = append(r.Maps, m)
	for _, p := range eye.Parts() {
		r.Legend = append(r.Legend, grown.Colour{Part: p.Name, Mask: string(p.Mask) + "." + g.format, Zone: p.Zone,
			Colour: fmt.Sprintf("#%02x%02x%02x", p.Colour[0], p.Colour[1], p.Colour[2])})
	}
	return nil
}

// pack keeps a row of occlusion or roughness for the .glb, whatever the format of the file beside it.
func (g *growing) pack(name string, k eye.Kind, y int, v []float32) {
	at := map[eye.Kind]int{eye.Occlusion: 0, eye.Roughness: 1}
	ch, ok := at[k]
	if !ok || g.packed == nil || name != string(k) {
		return
	}
	for x, f := range v {
		g.packed[3*(y*g.size+x)+ch] = uint8(255*min(1, max(0, f)) + 0.5)
	}
}

// normals says whether a map holds normals.
func normals(k eye.Kind) bool { return k == eye.Normal || k == eye.Detail }

// deep says whether a map is written in 16 bits a channel. Eight bits would hold but a few normals of a gentle relief.
func (g *growing) deep(k eye.Kind) bool {
	switch {
	case k == eye.Height:
		return true
	case k == eye.Zones:
		return false
	case g.bits == 0:
		return normals(k)
	}
	return g.bits == 16
}

// write bakes one map into its file. Only the stored form is kept in memory.
func (g *growing) write(name string, k eye.Kind, bake func(row func(int, []float32)) error) (grown.Map, error) {
	c, n := codes[k], k.Channels()
	rep := grown.Map{File: name + "." + g.format, Kind: k, Holds: c.holds, Code: fmt.Sprintf("value = %g stored %+g", c.scale, c.offset)}
	if c.srgb && g.format == "png" {
		rep.Code = "sRGB; " + rep.Code
	}
	if g.format == "exr" {
		rep.Code = "value as it is, linear"
		c.scale, c.offset = 1, 0
	}
	var text map[string]string
	if k == eye.Height {
		zero, scale := -c.offset/c.scale, c.scale
		rep.Zero, rep.Scale = &zero, &scale
		text = map[string]string{grown.ZeroText: fmt.Sprint(zero), grown.ScaleText: fmt.Sprint(scale)}
	}
	if ch := slices.Index([]eye.Kind{eye.Occlusion, eye.Roughness}, k); ch >= 0 {
		g.has[ch] = true
		plain := bake
		bake = func(row func(int, []float32)) error {
			return plain(func(y int, v []float32) { g.pack(name, k, y, v); row(y, v) })
		}
	}
	path := filepath.Join(g.out, rep.File)
	flip := func(v float32, ch int) float64 {
		if normals(k) && ch == 1 && g.green == "down" {
			v = -v
		}
		return float64(v)
	}
	if g.format == "exr" {
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
		return rep, imageio.WriteEXR(path, g.size, g.size, ch, text)
	}
	stored := func(v float32, ch int) float64 {
		x := (flip(v, ch) - c.offset) / c.scale
		if c.srgb {
			x = srgb(x)
		}
		return min(1, max(0, x))
	}
	if g.deep(k) {
		pix := make([]uint16, g.size*g.size*n)
		if err := bake(func(y int, v []float32) {
			for i := range v {
				pix[y*g.size*n+i] = uint16(stored(v[i], i%n)*65535 + 0.5)
			}
		}); err != nil {
			return rep, err
		}
		return rep, imageio.WritePNG16(path, g.size, g.size, n, pix, text)
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

// writeMeshes writes both shells. The .glb carries those maps that were baked.
func (g *growing) writeMeshes(e *eye.Eye, d *scene.Eye, r *grown.Report) error {
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
			if parts, err = g.parts(e, inner, d, r); err == nil {
				err = gltfio.Write(path, parts)
			}
		case "obj":
			err = meshio.WriteOBJ(path, []meshio.Part{{Name: "outer", Mesh: e.Outer}, {Name: "inner", Mesh: inner}}, r.Frame.Text(), "the relief of the iris and the wobble of the tear film are in the shape")
		default:
			continue
		}
		if err != nil {
			return err
		}
		r.Meshes = append(r.Meshes, grown.Mesh{File: name})
	}
	return nil
}

// parts returns the shells with their looks for the .glb. Occlusion and roughness are packed as glTF 2.0 has it. The outer shell is
// clear: its wobble is in its shape, so it has no normal map.
func (g *growing) parts(e *eye.Eye, inner *mesh.Mesh, d *scene.Eye, r *grown.Report) ([]gltfio.Part, error) {
	extras := map[string]any{"up": r.Frame.Up, "front": r.Frame.Front, "nose": r.Frame.Nose, "side": r.Frame.Side, "relief": "in the shape"}
	in := gltfio.Look{BaseColour: [3]float64{0.4, 0.36, 0.33}, Roughness: 0.5}
	out := gltfio.Look{BaseColour: [3]float64{1, 1, 1}, Roughness: d.Cornea.Roughness, IOR: d.Cornea.Index, Transmission: 1, Thickness: d.Iris.Depth}
	if g.layout == "whole" {
		colour, err := g.picture(r, eye.Colour)
		if err != nil {
			return nil, err
		}
		if colour != nil {
			in.BaseMap, in.BaseColour = colour, [3]float64{1, 1, 1}
		}
		if in.NormalMap, err = g.picture(r, eye.Detail); err != nil {
			return nil, err
		}
		if g.has[0] || g.has[1] {
			packed, err := imageio.EncodePNG(g.size, g.size, 3, g.packed)
			if err != nil {
				return nil, err
			}
			if g.has[0] {
				in.OcclusionMap = packed
			}
			if g.has[1] {
				in.RoughMap, in.Roughness = packed, 1
				out.RoughMap, out.Roughness = packed, 1
			}
		}
	}
	return []gltfio.Part{
		{Name: "outer", Mesh: e.Outer, Look: out, Extras: extras},
		{Name: "inner", Mesh: inner, Look: in, Extras: extras},
	}, nil
}

// picture returns a baked map as glTF wants it: a PNG, its green up; nil where it was not baked. The file beside the .glb serves
// where it is one already.
func (g *growing) picture(r *grown.Report, k eye.Kind) ([]byte, error) {
	m := r.Map(string(k) + "." + g.format)
	if m == nil {
		return nil, nil
	}
	path := filepath.Join(g.out, m.File)
	if g.format == "png" && (!normals(k) || g.green == "up") {
		return os.ReadFile(path)
	}
	p, err := imageio.Read(path)
	if err != nil {
		return nil, err
	}
	pix := make([]uint16, 3*p.W*p.H)
	for ch, plane := range p.RGB() {
		for i, f := range plane {
			v := float64(f)
			switch {
			case g.format == "exr" && normals(k):
				v = 0.5 + 0.5*v
			case g.format == "exr":
				v = srgb(v)
			}
			if normals(k) && ch == 1 && g.green == "down" {
				v = 1 - v
			}
			pix[3*i+ch] = uint16(65535*min(1, max(0, v)) + 0.5)
		}
	}
	return imageio.EncodePNG16(p.W, p.H, 3, pix)
}
