package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/base"
	"catchlight/scene/eye"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/grown"
	"catchlight/scene/imageio"
	"catchlight/scene/layout"
	"catchlight/scene/meshio"
)

// baseName is the report of the command.
const baseName = "base.json"

// basing is what the command asks for.
type basing struct {
	out, object, side string
	levels, pupils    []string
	maps              int
	overwrite         bool
}

// baseReport is what the file beside the meshes says.
type baseReport struct {
	Version int              `json:"version"` // of order and coordinates
	Scene   string           `json:"scene,omitempty"`
	Frame   grown.Frame      `json:"frame"`
	Pupil   basePupil        `json:"pupil"`
	Layout  baseLayout       `json:"layout"`
	Levels  []baseLevel      `json:"levels"`
	Maps    []string         `json:"maps,omitempty"`
	Loops   map[string][]int `json:"loops"` // of level 1's shells, "outer limbus" and so on: places in the order of the .obj, from 0
}

type basePupil struct {
	Rest    float64            `json:"rest_mm"`
	Targets map[string]float64 `json:"targets_mm"` // a weight w of one gives rest + w (target - rest)
}

type baseLayout struct {
	Share   float64 `json:"iris_share_of_disc_radius"`
	Cover   float64 `json:"disc_covers_degrees"`
	Stretch float64 `json:"worst_stretch"`
	Sets    string  `json:"texture_coordinates"`
}

type baseLevel struct {
	Level   int                `json:"level"`
	Files   []string           `json:"files"`
	Sides   int                `json:"sides"`
	Faces   map[string]int     `json:"faces"`
	Outline float64            `json:"outline_error_mm"`
	Px      map[string]float64 `json:"outline_error_px"` // by how many pixels across the globe is in the shot
	Half    int                `json:"half_a_pixel_to_px"`
}

func baseCommand() *cobra.Command {
	b := basing{}
	c := &cobra.Command{
		Use:   "base [SCENE] --out FOLDER",
		Short: "Write a base mesh of an eye in clean quads, with levels of detail and a pupil that moves",
		Long: `Write a base mesh of an eye to begin with: both shells in quads at true scale, with loops at pupil, collarette, limbus, equator
and seams, and strips for the tears and for the shade of the lids. Version 1 of order and texture coordinates never changes;
with a scene the places are those of its eye, without one those of the program's defaults.

Level 1 is the base. Level 0 is finer, levels 2 and 3 have half the sides each; their vertices are some of the base's, in the same
places. The report says how far each outline lies inside the eye, in pixels by shot.

.obj files hold the quads, .glb files the same cut along one diagonal that no shape changes. The .glb's inner shell has morph targets
that move the pupil between 2 and 8 mm, or as far as the eye allows: a weight of 1 is the target's name, and weights between give
sizes between. Its second set of texture coordinates is that of the maps of "catchlight grow".

--maps SIZE bakes the eye's colour and relief and the pupil's edge as a mask for these, with a scene that renders them; --pupils 2,3,4,6,8
writes them for other pupils too, the fibres remapped along the radius, for programs that move no vertices.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{fmt.Errorf("base: one scene file at most, %d given; see catchlight base --help", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			path := ""
			if len(args) > 0 {
				path = args[0]
			}
			return b.run(path, cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&b.out, "out", "", "folder for the files; it is made")
	overwriteFlag(f, &b.overwrite)
	f.StringVar(&b.object, "object", "", "name of the eye's object")
	f.StringVar(&b.side, "side", "", "right or left; without it the scene's, or right")
	f.IntVar(&b.maps, "maps", 0, "edge of the maps in pixels, 64 to 8192; 0 bakes none")
	f.StringSliceVar(&b.pupils, "pupils", nil, "with --maps: pupils in mm across to write maps for")
	f.StringSliceVar(&b.levels, "levels", []string{"0", "1", "2", "3"}, "levels to write")
	return c
}

// eye is the eye that the base is made of.
func (b *basing) eye(path string) (p eye.Params, side string, inputs []string, err error) {
	if b.side != "" && b.side != "right" && b.side != "left" {
		return p, "", nil, usageError{fmt.Errorf("--side %q: must be one of right, left", b.side)}
	}
	p, side = eye.Defaults(), "right"
	if path != "" {
		d, err := scene.Load(path)
		if err != nil {
			return p, "", nil, err
		}
		o, err := plainEye(d, path, b.object)
		if err != nil {
			return p, "", nil, err
		}
		if p, err = o.Eye.Params(); err != nil {
			return p, "", nil, err
		}
		side, inputs = o.Eye.Side, render.Files(d)
	}
	if b.side != "" && b.side != side {
		side = b.side
		p.PupilOffset[0] = -p.PupilOffset[0]
	}
	p.Left = side == "left"
	return p, side, inputs, nil
}

// plainEye is the object of that name, or the first eye, that is built and not from a file.
func plainEye(d *scene.Description, path, name string) (*scene.Object, error) {
	for i := range d.Objects {
		q := &d.Objects[i]
		if q.Eye == nil || name != "" && q.Name != name {
			continue
		}
		if q.Eye.Asset != nil {
			return nil, usageError{fmt.Errorf("%s: the shells of %s come from a file; a built eye is needed", path, q.Name)}
		}
		return q, nil
	}
	if name != "" {
		return nil, usageError{fmt.Errorf("--object %s: %s has no eye of that name", name, path)}
	}
	return nil, usageError{fmt.Errorf("%s: there is no eye in it", path)}
}

// wanted are the levels asked for.
func (b *basing) wanted() (list []int, err error) {
	for _, w := range b.levels {
		n, err := strconv.Atoi(w)
		if err != nil || n < 0 || n >= base.Levels {
			return nil, usageError{fmt.Errorf("--levels %q: must be 0 to %d, with commas", w, base.Levels-1)}
		}
		if !slices.Contains(list, n) {
			list = append(list, n)
		}
	}
	if len(list) == 0 {
		return nil, usageError{errors.New("--levels: one level at least")}
	}
	return list, nil
}

func levelFile(level int, ending string) string {
	if level == base.Base {
		return "base" + ending
	}
	return fmt.Sprintf("level_%d%s", level, ending)
}

func (b *basing) run(path string, stdout io.Writer) error {
	if b.out == "" {
		return usageError{errors.New("--out: a folder is needed")}
	}
	levels, err := b.wanted()
	if err != nil {
		return err
	}
	sizes, err := b.sizes()
	if err != nil {
		return err
	}
	if b.maps != 0 && (b.maps < 64 || b.maps > 8192) {
		return usageError{fmt.Errorf("--maps %d: must be 64 to 8192, or 0 for none", b.maps)}
	}
	if b.maps != 0 && !slices.Contains(levels, base.Base) {
		return usageError{fmt.Errorf("--maps: their scene shows level %d; add it to --levels", base.Base)}
	}
	p, side, inputs, err := b.eye(path)
	if err != nil {
		return err
	}
	names := []string{baseName, "wires.png"}
	for _, l := range levels {
		names = append(names, levelFile(l, ".obj"), levelFile(l, ".glb"))
	}
	names = append(names, b.mapNames(sizes)...)
	if err := b.guard(names, inputs); err != nil {
		return err
	}
	if err := os.MkdirAll(b.out, 0o777); err != nil {
		return err
	}
	disc, err := layout.NewDisc(12, 5.85, layout.UsualShare, layout.UsualCover)
	if err != nil {
		return err
	}
	r := baseReport{Version: base.Version, Scene: path, Frame: grown.FrameOf(side), Loops: map[string][]int{},
		Layout: baseLayout{layout.UsualShare, layout.UsualCover, disc.Stretch(), "TEXCOORD_0, and those of the .obj, are the base's own; TEXCOORD_1 are those of the maps of catchlight grow"}}
	for _, l := range levels {
		s, err := base.Make(p, l)
		if err != nil {
			return err
		}
		v, err := b.write(s, &r, p)
		if err != nil {
			return err
		}
		r.Levels = append(r.Levels, *v)
		fmt.Fprintf(stdout, "%s: %d faces, %d sides; its outline lies at most %.4f mm inside the eye's: half a pixel where the globe is %d px across\n",
			levelFile(l, ".glb"), v.Faces["all"], v.Sides, v.Outline, v.Half)
	}
	r.Maps = b.mapNames(sizes)
	if b.maps > 0 {
		if err := b.writeMaps(p, side, sizes); err != nil {
			return err
		}
	}
	text, err := json.MarshalIndent(&r, "", "  ")
	if err != nil {
		return err
	}
	name := filepath.Join(b.out, baseName)
	if err := writeBytes(name, append(scene.Stamp(text), '\n')); err != nil {
		return err
	}
	if b.maps > 0 {
		lo, hi := r.Pupil.least(), r.Pupil.most()
		var list []string
		for _, d := range []float64{lo, 3, 4, 6, hi} {
			list = append(list, strconv.FormatFloat((d-r.Pupil.Rest)/(hi-r.Pupil.Rest), 'f', 4, 64))
		}
		fmt.Fprintf(stdout, "a sheet of pupils of %.3g, 3, 4, 6 and %.3g mm: catchlight sheet %s --looks traced,raster --vary objects.eye.asset.morph.0.weight=%s\n",
			lo, hi, filepath.Join(b.out, baseScene), strings.Join(list, ","))
	}
	fmt.Fprintf(stdout, "the pupil moves from %.3g to %.3g mm by morph targets; %s names loops and errors\n", r.Pupil.least(), r.Pupil.most(), name)
	return nil
}

func (p *basePupil) least() float64 {
	v := p.Rest
	for _, t := range p.Targets {
		v = min(v, t)
	}
	return v
}

func (p *basePupil) most() float64 {
	v := p.Rest
	for _, t := range p.Targets {
		v = max(v, t)
	}
	return v
}

// guard refuses to write over what an earlier run did not make, and over what the scene reads.
func (b *basing) guard(names, inputs []string) error {
	made := madeBy(b.out, baseName, func(data []byte) (out []string) {
		var r baseReport
		if json.Unmarshal(data, &r) != nil || r.Version == 0 {
			return nil
		}
		out = []string{baseName, "wires.png"}
		for _, l := range r.Levels {
			out = append(out, l.Files...)
		}
		return append(out, r.Maps...)
	})
	if err := job.CheckFolder(b.out, names, made, b.overwrite); err != nil {
		return err
	}
	var outputs []string
	for _, n := range names {
		outputs = append(outputs, filepath.Join(b.out, n))
	}
	return job.CheckOutputs(outputs, inputs, b.overwrite)
}

// write writes a level's files and says what they hold.
func (b *basing) write(s *base.Set, r *baseReport, p eye.Params) (*baseLevel, error) {
	v := &baseLevel{Level: s.Level, Sides: len(s.Outer.Loops[0].Places), Faces: map[string]int{}, Px: map[string]float64{}}
	var quads []meshio.Quads
	for _, m := range s.Meshes() {
		q := meshio.Quads{Name: m.Name, P: m.P, N: m.N, UV: m.UV}
		for _, f := range m.Quads {
			var g [4][2]uint32
			for k, c := range f {
				g[k] = [2]uint32{c.P, c.UV}
			}
			q.Faces = append(q.Faces, g)
		}
		quads = append(quads, q)
		v.Faces[m.Name] = len(m.Quads)
		v.Faces["all"] += len(m.Quads)
		for _, l := range m.Loops {
			if s.Level != base.Base {
				continue
			}
			list := make([]int, len(l.Places))
			for i, p := range l.Places {
				list[i] = int(p)
			}
			r.Loops[m.Name+" "+l.Name] = list
		}
	}
	v.Files = []string{levelFile(s.Level, ".obj"), levelFile(s.Level, ".glb")}
	if err := meshio.WriteQuads(filepath.Join(b.out, v.Files[0]), quads, r.Frame.Text(), fmt.Sprintf("base version %d, level %d", base.Version, s.Level)); err != nil {
		return nil, err
	}
	parts, pupil := baseParts(s, p, r.Frame)
	r.Pupil = pupil
	if err := gltfio.Write(filepath.Join(b.out, v.Files[1]), parts); err != nil {
		return nil, err
	}
	var err error
	if v.Outline, err = base.Outline(p, s.Outer); err != nil {
		return nil, err
	}
	for _, d := range base.Shots {
		v.Px[strconv.Itoa(int(d))] = v.Outline * d / (2 * p.GlobeRadius)
	}
	v.Half = int(0.5 / v.Outline * 2 * p.GlobeRadius)
	if s.Level == base.Base {
		w, h, pix := s.Picture(480)
		if err := imageio.WritePNG(filepath.Join(b.out, "wires.png"), w, h, 3, pix, nil); err != nil {
			return nil, err
		}
	}
	return v, nil
}

// targetName is a morph target's, by its pupil.
func targetName(diameter float64) string {
	return "pupil_" + strconv.FormatFloat(diameter, 'f', -1, 64)
}

// baseParts are the nodes of the .glb.
func baseParts(s *base.Set, p eye.Params, f grown.Frame) (parts []gltfio.Part, pupil basePupil) {
	looks := map[string]gltfio.Look{
		"outer":           {BaseColour: [3]float64{1, 1, 1}, IOR: 1.336, Transmission: 1, Thickness: p.IrisDepth},
		"inner":           {BaseColour: [3]float64{0.4, 0.36, 0.33}, Roughness: 0.5},
		"tear_strip":      {BaseColour: [3]float64{1, 1, 1}, IOR: 1.336, Transmission: 1},
		"occlusion_strip": {BaseColour: [3]float64{0.02, 0.012, 0.01}, Roughness: 1},
	}
	pupil = basePupil{Rest: s.Pupils[0], Targets: map[string]float64{}}
	for _, m := range s.Meshes() {
		t, from := m.Triangles()
		q := gltfio.Part{Name: m.Name, Mesh: t, Look: looks[m.Name], Extras: map[string]any{"up": f.Up, "front": f.Front, "nose": f.Nose, "side": f.Side,
			"base_version": base.Version, "level": s.Level}}
		if m.Chart != nil {
			q.UV1 = make([]geom.UV, len(from))
			for i, k := range from {
				q.UV1[i] = m.Chart[k]
			}
		}
		if m == s.Inner {
			for i, to := range []struct{ at, n []geom.Vec }{{s.Narrow, s.NarrowN}, {s.Wide, s.WideN}} {
				d := s.Pupils[i+1]
				name := targetName(d)
				move := gltfio.Target{Name: name, P: make([]geom.Vec, len(from)), N: make([]geom.Vec, len(from))}
				for v, k := range from {
					move.P[v], move.N[v] = to.at[k].Sub(m.P[k]), to.n[k].Sub(m.N[k])
				}
				q.Targets = append(q.Targets, move)
				pupil.Targets[name] = d
			}
		}
		parts = append(parts, q)
	}
	return parts, pupil
}
