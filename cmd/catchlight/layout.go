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
	"catchlight/scene/asset"
	"catchlight/scene/edit"
	"catchlight/scene/geom"
	"catchlight/scene/gltfio"
	"catchlight/scene/layout"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
	finder "catchlight/scene/pupil"
	"catchlight/scene/shells"
	"catchlight/scene/texture"
)

// layoutName is the report of the command, layoutScene the scene that it writes, layoutMesh the shells.
const (
	layoutName  = "layout.json"
	layoutScene = "scene.yaml"
	layoutMesh  = "eye.glb"
)

// keptLayout is the way back: the coordinates that an earlier layout kept as the file's second set.
const keptLayout = "kept"

// layingOut is what the command asks for.
type layingOut struct {
	out, object, kind string
	share, cover      float64
	size              int
	also              []string
	mirror, overwrite bool

	d      *scene.Description
	o      *scene.Object
	shells [2]*laidShell // outer, inner
	todo   []carried
	files  []string // written
	report layoutReport
	said   []string
}

// laidShell is one shell with its two sets of coordinates.
type laidShell struct {
	name  string
	from  *mesh.Mesh
	look  asset.Material
	carry *layout.Carry
	to    *mesh.Mesh
	old   []geom.UV // of to's vertices
	disc  *layout.Disc
}

type layoutReport struct {
	Layout string      `json:"layout"`
	Share  float64     `json:"iris_share_of_disc_radius,omitempty"`
	Cover  float64     `json:"disc_covers_degrees,omitempty"`
	Mirror bool        `json:"mirrored"`
	Times  float64     `json:"iris_texels_over_planar"`
	Worst  float64     `json:"worst_stretch_on_the_white"`
	Maps   []layoutMap `json:"maps"`
	Files  []string    `json:"files"`
}

type layoutMap struct {
	Key   string   `json:"key"`
	Kind  string   `json:"kind"`
	Files []string `json:"files"`
	Size  int      `json:"size_px"`
	Least float64  `json:"texels_over_source_least"` // of 95 parts in a hundred of the iris, or the shell
	Mid   float64  `json:"texels_over_source_median"`
}

func layoutCommand() *cobra.Command {
	l := layingOut{}
	c := &cobra.Command{
		Use:   "layout SCENE --out FOLDER",
		Short: "Lay an eye of your own out anew in the texture plane and carry its maps over, and back, or over to the other eye",
		Long: `Lay an eye of your own out anew in the texture plane and carry its maps over.

SCENE has an eye whose shells come from a file ("catchlight adopt" proposes one; a grown eye's folder is one too). The folder gets
the shells as eye.glb with new texture coordinates, the maps on them, and a scene that shows the same eye.

  --layout radial   the front is one disc; the iris gets --share of its radius, the white the least stretch that is possible then
  --layout island   the iris in a tile of its own (1002), the white in another without stretch (1001)
  --layout kept     back to the coordinates that the shells had before; eye.glb keeps them as its second set
  --mirror          make the other eye's shells and maps

Colours are filtered in linear light, heights as they are, normals turned into their new frame by their slopes; where a map shrinks
texels are means over their area, where it grows a cubic goes through them. Other maps that lie on the shells are carried with --also
FILE=data, FILE=normal, FILE=colour or FILE=ids, where ids are numbers of parts, which are never mixed.`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return l.run(args[0], cmd.OutOrStdout()) },
	}
	f := c.Flags()
	f.StringVar(&l.out, "out", "", "folder for the files; it is made")
	overwriteFlag(f, &l.overwrite)
	f.StringVar(&l.object, "object", "", "name of the eye's object")
	f.StringVar(&l.kind, "layout", layout.Radial, "radial, island or kept")
	f.Float64Var(&l.share, "share", layout.UsualShare, "with radial: how much of the disc's radius the iris gets, 0.2 to 0.9")
	f.Float64Var(&l.cover, "cover", layout.UsualCover, "angle from the axis that the disc reaches to, 45 to 120 degrees; the back is an isle")
	f.IntVar(&l.size, "size", 0, "edge of the maps in pixels, 16 to 8192; 0: as wide as each was")
	f.StringArrayVar(&l.also, "also", nil, "FILE=KIND: carry another map of the inner shell; kinds are colour, data, normal, ids")
	f.BoolVar(&l.mirror, "mirror", false, "make the other eye's")
	return c
}

func (l *layingOut) check() error {
	var errs []error
	if l.out == "" {
		errs = append(errs, errors.New("--out: a folder is needed"))
	}
	if !slices.Contains([]string{layout.Radial, layout.Island, keptLayout}, l.kind) {
		errs = append(errs, fmt.Errorf("--layout %q: must be one of %s, %s, %s", l.kind, layout.Radial, layout.Island, keptLayout))
	}
	if !(l.share >= 0.2 && l.share <= 0.9) {
		errs = append(errs, fmt.Errorf("--share %g: must be 0.2 to 0.9", l.share))
	}
	if !(l.cover >= 45 && l.cover <= 120) {
		errs = append(errs, fmt.Errorf("--cover %g: must be 45 to 120 degrees", l.cover))
	}
	if l.size != 0 && (l.size < 16 || l.size > 8192) {
		errs = append(errs, fmt.Errorf("--size %d: must be 16 to 8192, or 0 for the size of each map", l.size))
	}
	for _, a := range l.also {
		file, kind, ok := strings.Cut(a, "=")
		if !ok || file == "" || !slices.Contains([]layout.Kind{layout.Colour, layout.Data, layout.Normal, layout.IDs}, layout.Kind(kind)) {
			errs = append(errs, fmt.Errorf("--also %q: give FILE=colour, FILE=data, FILE=normal or FILE=ids", a))
		}
	}
	if l.mirror && l.kind == keptLayout {
		errs = append(errs, errors.New("--mirror has no meaning with --layout kept"))
	}
	if err := errors.Join(errs...); err != nil {
		return usageError{err}
	}
	return nil
}

func (l *layingOut) run(path string, stdout io.Writer) error {
	if err := l.check(); err != nil {
		return err
	}
	var err error
	if l.d, err = scene.Load(path); err != nil {
		return err
	}
	if err := l.pick(path); err != nil {
		return err
	}
	if l.todo, err = l.list(); err != nil {
		return err
	}
	if err := l.guard(); err != nil {
		return err
	}
	if err := l.lay(); err != nil {
		return err
	}
	if err := os.MkdirAll(l.out, 0o777); err != nil {
		return err
	}
	changes, err := l.maps()
	if err != nil {
		return err
	}
	more, err := l.writeShells()
	if err != nil {
		return err
	}
	if err := l.writeScene(path, append(more, changes...)); err != nil {
		return err
	}
	l.report.Files = append(l.files, layoutName)
	text, err := json.MarshalIndent(&l.report, "", "  ")
	if err != nil {
		return err
	}
	if err := writeBytes(filepath.Join(l.out, layoutName), append(scene.Stamp(text), '\n')); err != nil {
		return err
	}
	for _, s := range l.said {
		fmt.Fprintln(stdout, s)
	}
	fmt.Fprintf(stdout, "wrote %s with %d maps; the iris has %.2f times the texels of a projection along the axis in maps of one size, the white is stretched %.2f times at most\n",
		filepath.Join(l.out, layoutScene), len(l.report.Maps), l.report.Times, l.report.Worst)
	return nil
}

// pick finds the eye.
func (l *layingOut) pick(path string) error {
	for i := range l.d.Objects {
		q := &l.d.Objects[i]
		if q.Eye == nil || l.object != "" && q.Name != l.object {
			continue
		}
		a := q.Eye.Asset
		switch {
		case a == nil:
			return usageError{fmt.Errorf("%s: %s is a built eye, which has no file; grow it first: catchlight grow, then catchlight adopt", path, q.Name)}
		case a.Outer == "" || a.Inner == "":
			return usageError{fmt.Errorf("%s: %s borrows a shell from the built-in eye; both have to come from the file", path, q.Name)}
		}
		l.o = q
		return nil
	}
	if l.object != "" {
		return usageError{fmt.Errorf("--object %s: %s has no eye of that name", l.object, path)}
	}
	return usageError{fmt.Errorf("%s: there is no eye in it", path)}
}

// guard refuses to write over what an earlier run did not make, and over what the scene reads.
func (l *layingOut) guard() error {
	made := madeBy(l.out, layoutName, func(data []byte) []string {
		var r layoutReport
		if json.Unmarshal(data, &r) != nil || r.Layout == "" {
			return nil
		}
		return r.Files
	})
	names := []string{layoutScene, layoutMesh, layoutName}
	if err := job.CheckFolder(l.out, names, made, l.overwrite); err != nil {
		return err
	}
	var outputs []string
	for _, n := range names {
		outputs = append(outputs, filepath.Join(l.out, n))
	}
	return job.CheckOutputs(outputs, render.Files(l.d), l.overwrite)
}

// read reads both shells with a set of coordinates each; -1 is the file's own choice.
func (l *layingOut) read(outer, inner int) (list [2]*laidShell, err error) {
	a := l.o.Eye.Asset
	w, sets := gltfio.Weights{}, gltfio.Sets{}
	for _, m := range a.Morph {
		w[m.Target] = m.Weight
	}
	for _, q := range []struct {
		node string
		set  int
	}{{a.Outer, outer}, {a.Inner, inner}} {
		if q.set >= 0 {
			sets[q.node] = q.set
		}
	}
	file, err := meshio.ReadSets(string(a.File), a.Unit, w, sets)
	if err != nil {
		return list, err
	}
	turn, err := shells.Frame(a.Axis)
	if err != nil {
		return list, err
	}
	for i, node := range []string{a.Outer, a.Inner} {
		nodes := file.Named(node)
		if len(nodes) == 0 {
			return list, fmt.Errorf("%s lacks %q; it has %s", a.File, node, file.NodeNames())
		}
		m := asset.Merge(nodes)
		if m.UV == nil {
			return list, fmt.Errorf("%s: %q has no texture coordinates to carry maps from", a.File, node)
		}
		for k := range m.P {
			m.P[k], m.N[k] = turn.Vector(m.P[k].Mul(a.Factor)), turn.Vector(m.N[k])
		}
		list[i] = &laidShell{name: []string{"outer", "inner"}[i], from: m, look: nodes[0].Material}
	}
	shells.Centre(list[0].from, list[1].from, l.o.Eye.Limbus.Radius+l.o.Eye.Limbus.Width/2)
	return list, nil
}

// sets are the coordinates that each shell's maps are on; -1 where the file says.
func (l *layingOut) sets() (outer, inner int) {
	e := l.o.Eye
	outer, inner = -1, -1
	take := func(to *int, set *int) {
		if set != nil {
			*to = *set
		}
	}
	if n := e.Cornea.Normal; n != nil {
		take(&outer, n.UvSet)
	}
	if n := e.Cornea.Height; n != nil {
		take(&outer, n.UvSet)
	}
	for _, c := range []*scene.MapSpec{&e.Sclera.Colour, &e.Iris.Colour} {
		if c.Shell == "outer" {
			take(&outer, c.UvSet)
		} else {
			take(&inner, c.UvSet)
		}
	}
	if n := e.Iris.Normal; n != nil {
		take(&inner, n.UvSet)
	}
	if n := e.Iris.Height; n != nil {
		take(&inner, n.UvSet)
	}
	return outer, inner
}

// lay gives both shells their coordinates.
func (l *layingOut) lay() (err error) {
	outer, inner := l.sets()
	if l.shells, err = l.read(outer, inner); err != nil {
		return err
	}
	e := l.eye()
	var kept [2]*laidShell
	if l.kind == keptLayout {
		if kept, err = l.read(1, 1); err != nil {
			return fmt.Errorf("--layout kept: %w", err)
		}
	}
	for i, s := range l.shells {
		if l.kind == keptLayout {
			s.to = kept[i].from
			if len(s.to.Tri) != len(s.from.Tri) {
				return fmt.Errorf("--layout kept: the two sets of coordinates of %q have other triangles", s.name)
			}
			s.carry = &layout.Carry{From: s.from, To: s.to}
			s.old = s.from.UV
			continue
		}
		laid, err := layout.Lay(s.from, e, layout.Options{Kind: l.kind, Share: l.share, Cover: l.cover, Mirror: l.mirror})
		if err != nil {
			return fmt.Errorf("--layout %s: %w", l.kind, err)
		}
		s.to, s.disc = laid.Mesh, laid.Disc
		s.old = make([]geom.UV, len(laid.From))
		for k, v := range laid.From {
			s.old[k] = s.from.UV[v]
			if l.mirror {
				s.old[k].U = 1 - s.old[k].U
			}
		}
		s.carry = &layout.Carry{From: s.from, To: s.to, Mirror: l.mirror, Tile: laid.Tile, Over: laid.Over}
		l.report.Share, l.report.Cover = laid.Disc.Share, l.cover
	}
	in := l.shells[1].to
	l.report.Layout, l.report.Mirror = l.kind, l.mirror
	l.report.Times = layout.TimesPlanar(in, e.Globe, layout.OnIris(in, e))
	l.report.Worst = layout.TexelsOf(in, 1024, layout.OnWhite(in, e, geom.Radians(l.cover))).Stretch
	return nil
}

// eye is what the layout has to know.
func (l *layingOut) eye() layout.Eye {
	m := l.shells[1].from
	lim := l.o.Eye.Limbus
	e := layout.Eye{Limbus: lim.Radius, Width: lim.Width}
	// The globe as the outer shell has it about its equator.
	sum, n := 0.0, 0.0
	for _, p := range l.shells[0].from.P {
		if math.Abs(p.Z) < 0.3*p.Len() {
			sum, n = sum+p.Len(), n+1
		}
	}
	if e.Globe = l.o.Eye.Globe.Radius; n > 0 {
		e.Globe = sum / n
	}
	q := finder.Find(m, geom.Vec{}, geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, lim.Radius)
	e.Plane = q.Plane
	return e
}

// mapFileName is a map's name for a file.
func mapFileName(key string) string { return strings.NewReplacer(".", "_", "/", "_").Replace(key) }

// writeShells writes both shells, and returns what the scene says of them.
func (l *layingOut) writeShells() ([]edit.Change, error) {
	var parts []gltfio.Part
	for _, s := range l.shells {
		look := gltfio.Look{BaseColour: [3]float64{0.4, 0.36, 0.33}, Roughness: 0.5}
		if s.name == "outer" {
			look = gltfio.Look{BaseColour: [3]float64{1, 1, 1}, IOR: 1.336, Transmission: 1}
		}
		parts = append(parts, gltfio.Part{Name: s.name, Mesh: s.to, Look: look, UV1: s.old})
	}
	if err := gltfio.Write(filepath.Join(l.out, layoutMesh), parts); err != nil {
		return nil, err
	}
	l.files = append(l.files, layoutMesh)
	at := "objects." + l.o.Name + "."
	list := []edit.Change{{Key: at + "asset.file", Value: layoutMesh}, {Key: at + "asset.outer", Value: "outer"}, {Key: at + "asset.inner", Value: "inner"},
		{Key: at + "asset.factor", Value: 1.0}, {Key: at + "asset.axis", Value: []any{0.0, 0.0, 1.0}}}
	if l.o.Eye.Asset.Unit != "" {
		list = append(list, edit.Change{Key: at + "asset.unit"})
	}
	if len(l.o.Eye.Asset.Morph) > 0 {
		list = append(list, edit.Change{Key: at + "asset.morph"})
	}
	if l.mirror {
		side := "left"
		if l.o.Eye.Side == "left" {
			side = "right"
		}
		list = append(list, edit.Change{Key: at + "side", Value: side})
	}
	return list, nil
}

// writeScene writes the scene beside the shells: the text of the old one with these changes and with names of other files that hold there.
func (l *layingOut) writeScene(path string, changes []edit.Change) error {
	data, err := os.ReadFile(path)
	if err != nil {
		return err
	}
	var own []scene.Use
	for _, u := range l.d.Uses() {
		if u.In == path && !strings.HasPrefix(u.File, "builtin:") {
			own = append(own, u)
		}
	}
	abs, err := filepath.Abs(l.out)
	if err != nil {
		return err
	}
	data, err = scene.Rewrite(data, own, func(u scene.Use) string {
		to, err := filepath.Abs(u.File)
		if err != nil {
			return ""
		}
		if r, err := filepath.Rel(abs, to); err == nil {
			return filepath.ToSlash(r)
		}
		return to
	})
	if err != nil {
		return err
	}
	text, err := edit.Apply(string(data), changes...)
	if err != nil {
		return fmt.Errorf("%s: its text can't be changed: %w", path, err)
	}
	to := filepath.Join(l.out, layoutScene)
	if err := writeBytes(to, []byte(text)); err != nil {
		return err
	}
	l.files = append(l.files, layoutScene)
	if _, err := scene.Load(to); err != nil {
		return fmt.Errorf("%s: what was written does not load: %w", to, err)
	}
	return nil
}

// wrapOf is a scene's word for what lies outside a picture.
func wrapOf(tiling string) texture.Wrap {
	switch tiling {
	case "clamp":
		return texture.Clamp
	case "mirror":
		return texture.Mirror
	}
	return texture.Repeat
}
