package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/inspect"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/adopt"
	units "catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/measure"
	"catchlight/scene/mend"
	"catchlight/scene/mesh"
)

// errFaults and errWarned say that an inspection found what its gate holds back.
var (
	errFaults = errors.New("the gate is closed: there are errors")
	errWarned = errors.New("the gate is closed: there are warnings")
)

type inspectFlags struct {
	limits, json string
	page, mend   string
	overwrite    bool
	drafts       bool
	size, spp    int
	gate         string
	only, set    []string
	unit, side   string
	mate, base   string // the other eye, or the eye that this one is a variant of
	mateMaps     string // folder of its maps
	factor, cage float64
	across       int
	workers      int
	all, print   bool
	codes        bool
}

func inspectCommand() *cobra.Command {
	var f inspectFlags
	c := &cobra.Command{
		Use:   "inspect EYE [MAP-FOLDER] | SCENE | HIGH LOW",
		Short: "Say what is wrong with an eye before it is rendered: numbers, places, what shows, and how to mend it",
		Long: `Say what is wrong with an eye before it is rendered: scale, layers, meshes, texture coordinates, maps.

EYE is a file of meshes, MAP-FOLDER the folder of its pictures; SCENE is a scene file, whose first eye is looked at; HIGH and
LOW are two files of meshes that should lie on each other. Nothing is changed.

Each finding has a number with its normal range and the range's source, where it is, what it does to the picture, and what to do.
Its severity goes by what shows where the globe is --shot pixels wide: what is off by half a pixel or 2 levels is a warning, by 3
pixels or 12 levels an error; where a finding is rated otherwise, it says why. --print-limits shows the table of all thresholds;
--limits FILE takes a studio's own.

As a gate in a pipeline: the exit code is 4 where there is an error, and with --gate warning 5 where there is a warning; --gate
never leaves it 0.`,
		Args: func(_ *cobra.Command, args []string) error {
			if f.print || f.codes || len(args) == 1 || len(args) == 2 {
				return nil
			}
			return usageError{fmt.Errorf("inspect: an eye, a scene, or a high and a low mesh are needed, %d arguments given; see catchlight inspect --help", len(args))}
		},
		RunE: func(cmd *cobra.Command, args []string) error { return runInspect(cmd, args, &f) },
	}
	fl := c.Flags()
	fl.StringVar(&f.limits, "limits", "", "file of thresholds that differ from the built-in ones")
	fl.BoolVar(&f.print, "print-limits", false, "print the table of thresholds and end")
	fl.BoolVar(&f.codes, "print-codes", false, "print every code of a finding and what it means, and end")
	fl.StringVar(&f.json, "json", "", "write the findings to this file")
	fl.StringSliceVar(&f.only, "only", nil, "look at these groups alone: scale, layers, mesh, coordinates, maps, pairs, highlow")
	fl.StringVar(&f.page, "page", "", "write one page with pictures to this file, which needs no other")
	fl.StringVar(&f.mend, "mend", "", "write a copy of EYE to this file with what is safe to mend: unit, axes, winding, normals; maps whose green is turned over go beside it")
	overwriteFlag(fl, &f.overwrite)
	fl.BoolVar(&f.drafts, "drafts", true, "render three drafts under light for the page, with the worst findings marked")
	fl.IntVar(&f.size, "size", 384, "pixels of a draft's side")
	fl.IntVar(&f.spp, "samples", 16, "samples per pixel of a draft")
	fl.StringVar(&f.gate, "gate", "error", "least severity that fails: error, warning or never")
	fl.StringArrayVar(&f.set, "set", nil, "KEY=VALUE put over the scene; may be given again")
	fl.StringVar(&f.unit, "unit", "", "unit of the file's lengths, of a format that has none: mm, cm, m or inch")
	fl.Float64Var(&f.factor, "factor", 0, "factor from the file's size to true size, after its unit; 0: none")
	fl.Float64Var(&f.cage, "cage", 0, "mm outside and inside the low mesh from which a bake is to begin; 0: the one that is found")
	fl.StringVar(&f.side, "side", "", "which eye of a pair: left or right")
	fl.StringVar(&f.mate, "mate", "", "the other eye of the pair, to compare: a file of meshes or a scene")
	fl.StringVar(&f.base, "base", "", "the eye that this one is a variant of, to compare: a file of meshes or a scene")
	fl.StringVar(&f.mateMaps, "mate-maps", "", "folder of the maps of --mate or --base")
	fl.IntVar(&f.across, "shot", 1024, "pixels that the globe is wide in the shot that it is judged for")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that work; 0 is one per processor")
	fl.BoolVar(&f.all, "all", false, "list what was measured and is fine, too")
	return c
}

// check says what is wrong with the flags.
func (f *inspectFlags) check() error {
	switch {
	case !slices.Contains([]string{"error", "warning", "never"}, f.gate):
		return usageError{fmt.Errorf("--gate %q must be error, warning or never", f.gate)}
	case f.side != "" && f.side != "left" && f.side != "right":
		return usageError{fmt.Errorf("--side %q must be left or right", f.side)}
	case f.mate != "" && f.base != "":
		return usageError{errors.New("--mate and --base: compare with one at a time")}
	case f.mateMaps != "" && f.mate == "" && f.base == "":
		return usageError{errors.New("--mate-maps says where the maps of --mate or --base are, and neither is given")}
	case f.across < 16 || f.across > 65536:
		return usageError{fmt.Errorf("--shot %d is outside [16, 65536]", f.across)}
	case !(f.factor >= 0 && f.factor <= 1e9):
		return usageError{fmt.Errorf("--factor %g is outside [0, 1000000000]", f.factor)}
	case f.size < 64 || f.size > 2048:
		return usageError{fmt.Errorf("--size %d is outside [64, 2048]", f.size)}
	case f.spp < 1 || f.spp > 65536:
		return usageError{fmt.Errorf("--samples %d is outside [1, 65536]", f.spp)}
	case !(f.cage >= 0 && f.cage <= 1e6):
		return usageError{fmt.Errorf("--cage %g is outside [0, 1000000] mm", f.cage)}
	case f.workers < 0 || f.workers > 4096:
		return usageError{fmt.Errorf("--workers %d is outside [0, 4096]", f.workers)}
	}
	for _, g := range f.only {
		if !slices.Contains(inspect.Groups, inspect.Group(g)) {
			return usageError{fmt.Errorf("--only %q must be of %v", g, inspect.Groups)}
		}
	}
	if _, ok := units.Unit(f.unit); f.unit != "" && !ok {
		return usageError{fmt.Errorf("--unit %q must be mm, cm, m or inch", f.unit)}
	}
	return nil
}

// groups are those that are looked at; nil for all.
func (f *inspectFlags) groups() (list []inspect.Group) {
	for _, g := range f.only {
		list = append(list, inspect.Group(g))
	}
	return list
}

func runInspect(cmd *cobra.Command, args []string, f *inspectFlags) error {
	stdout, stderr := cmd.OutOrStdout(), cmd.ErrOrStderr()
	if err := f.check(); err != nil {
		return err
	}
	limits := inspect.Builtin()
	if f.limits != "" {
		var err error
		if limits, err = inspect.LoadLimits(f.limits); err != nil {
			return usageError{err}
		}
	}
	switch {
	case f.print:
		return limits.WriteTable(stdout)
	case f.codes:
		return printCodes(stdout)
	}
	report := newReporter(stderr)
	defer report.done()
	for _, a := range args {
		if info, err := os.Stat(a); err == nil && info.Size() > 10e6 {
			report.Phase("reading " + filepath.Base(a))
		}
	}
	switch end := strings.ToLower(filepath.Ext(args[0])); {
	case f.mend != "" && (end == ".yaml" || end == ".yml"):
		return usageError{errors.New("--mend has no meaning for a scene; name its file of meshes")}
	case len(f.set) > 0 && end != ".yaml" && end != ".yml":
		return usageError{errors.New("--set has no meaning for a file of meshes; name a scene")}
	}
	s, d, err := inspected(cmd.Context(), args, f, report)
	if err != nil {
		return err
	}
	if err := f.join(cmd.Context(), s, args, report); err != nil {
		return err
	}
	out, err := inspect.Look(cmd.Context(), s, inspect.Options{Limits: limits, Shot: inspect.Shot{Across: float64(f.across)},
		Workers: render.Options{Workers: f.workers}.Count(), Progress: report, Cage: f.cage, Groups: f.groups()})
	report.done()
	if err != nil {
		if cmd.Context().Err() != nil {
			return errInterrupted
		}
		return err
	}
	if err := out.WriteText(stdout, f.all); err != nil {
		return err
	}
	if f.json != "" {
		if err := writeJSON(f.json, out); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s\n", f.json)
	}
	if f.page != "" {
		if err := writePage(cmd.Context(), out, d, f, report); err != nil {
			return err
		}
		report.done()
		fmt.Fprintf(stdout, "wrote %s\n", f.page)
	}
	if f.mend != "" {
		if err := f.mended(out, stdout); err != nil {
			return err
		}
	}
	return f.verdict(out)
}

// mended writes a copy with what is safe to mend, and says what it did.
func (f *inspectFlags) mended(out *inspect.Report, stdout io.Writer) error {
	m := out.Mend()
	if m.Changes.None() && len(m.Green) == 0 {
		fmt.Fprintln(stdout, "nothing was found that is safe to mend; no copy is written")
		return nil
	}
	write := func(file string, do func() ([]string, error)) error {
		if _, err := os.Lstat(file); err == nil && !f.overwrite {
			return fmt.Errorf("--mend %s: is there already; nothing is written over without --overwrite", file)
		}
		did, err := do()
		if err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s: %s\n", file, strings.Join(did, "; "))
		return nil
	}
	if !m.Changes.None() {
		if err := write(f.mend, func() ([]string, error) { return mend.File(out.Subject.File, f.mend, m.Changes) }); err != nil {
			return err
		}
	}
	for _, file := range m.Green {
		to := filepath.Join(filepath.Dir(f.mend), filepath.Base(file))
		if err := write(to, func() ([]string, error) {
			did, err := mend.Green(file, to)
			return []string{did}, err
		}); err != nil {
			return err
		}
	}
	return nil
}

// verdict is what the gate says.
func (f *inspectFlags) verdict(out *inspect.Report) error {
	switch {
	case f.gate == "never" || out.Worst < inspect.Warning:
		return nil
	case out.Worst == inspect.Error:
		return errFaults
	case f.gate == "warning":
		return errWarned
	}
	return nil
}

// inspected reads what the arguments name; d is the scene that shows it, nil where there is none.
func inspected(ctx context.Context, args []string, f *inspectFlags, report *reporter) (s *inspect.Subject, d *scene.Description, err error) {
	names, err := adopt.LoadNames("")
	if err != nil {
		return nil, nil, err
	}
	q := inspect.Source{Asset: args[0], Side: f.side, Unit: f.unit, Factor: f.factor, Names: names}
	if len(args) == 2 {
		info, err := os.Stat(args[1])
		if err != nil || !info.IsDir() {
			s, err = inspectedPair(args, f)
			return s, nil, err
		}
		q.Folder = args[1]
	}
	if end := strings.ToLower(filepath.Ext(args[0])); slices.Contains([]string{".yaml", ".yml"}, end) {
		return inspectedScene(ctx, q, f, report)
	}
	if s, err = inspect.Read(q); err != nil {
		return nil, nil, err
	}
	if f.page != "" && f.drafts {
		d = proposedScene(s)
	}
	return s, d, nil
}

// inspectedPair reads a high and a low mesh.
func inspectedPair(args []string, f *inspectFlags) (*inspect.Subject, error) {
	var parts [2]*inspect.Part
	var notes []string
	for i, a := range args {
		p, n, err := inspect.ReadMesh(a, f.unit)
		if err != nil {
			return nil, err
		}
		parts[i], notes = p, append(notes, n...)
	}
	s, err := inspect.NewPair(parts[0], parts[1])
	if err == nil {
		s.Notes = notes
	}
	return s, err
}

// inspectedScene reads the first eye of a scene: from its file of meshes as that is, or as it is built.
func inspectedScene(ctx context.Context, q inspect.Source, f *inspectFlags, report *reporter) (*inspect.Subject, *scene.Description, error) {
	d, err := scene.Load(q.Asset, f.set...)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(d.Objects, func(b scene.Object) bool { return b.Shape == "eye" && b.On })
	if i < 0 {
		return nil, nil, fmt.Errorf("%s: the scene has no eye", q.Asset)
	}
	b := &d.Objects[i]
	// A file of meshes is looked at as it is, and needs the prepared scene for what lies about it alone.
	a := b.Eye.Asset
	var p *render.Prepared
	var trouble error
	if a == nil || slices.ContainsFunc(d.Objects, laidOn) {
		if p, trouble = render.Prepare(ctx, d, render.Options{Workers: f.workers, Progress: report}); trouble != nil && (a == nil || ctx.Err() != nil) {
			return nil, nil, trouble
		}
	}
	name := filepath.Base(q.Asset)
	var s *inspect.Subject
	if a != nil {
		q.Asset, q.Unit, q.Outer, q.Inner, q.Known.Axis = string(a.File), a.Unit, a.Outer, a.Inner, a.Axis
		if q.Factor == 0 {
			q.Factor = a.Factor
		}
		if s, err = inspect.Read(q); err == nil {
			s.AsFiled, s.Snug = a.Subdivide != nil && *a.Subdivide == 0, a.CloseGap
			err = s.MoveMaps(a.MapsShift, a.MapsTurn, a.MapsScale)
		}
	} else if s, err = builtEye(&p.Prepared, name); err == nil {
		s.AsFiled, s.Snug = true, true
	}
	if err != nil {
		return nil, nil, err
	}
	s.Name, s.Key = name, "objects."+b.Name
	s.LayMaps(sceneMaps(b.Eye))
	if trouble != nil {
		s.Notes = append(s.Notes, "the scene can't be rendered as it is, so lids and tears were not looked at: "+trouble.Error())
	} else if p != nil {
		layOn(s, &p.Prepared, d)
	}
	return s, d, nil
}

// laidOn reports whether an object is a mesh of a file that lies about an eye.
func laidOn(b scene.Object) bool {
	return b.Shape == "mesh" && b.On && inspect.RoleOf(b.Name) != inspect.Other
}

// layOn adds the scene's own meshes about the eye, in the eye's space: those that a file brings, not the lids that are built.
func layOn(s *inspect.Subject, p *prepare.Prepared, d *scene.Description) {
	outer := &p.Scene.Objects[p.Scene.Eyes[0].Outer]
	bring := func(m *mesh.Mesh, from geom.Affine) *mesh.Mesh {
		q := &mesh.Mesh{Tri: m.Tri, UV: m.UV, P: make([]geom.Vec, len(m.P))}
		k := outer.Scale
		if !s.Grown {
			k = s.MM / s.Asked
		}
		for i, v := range m.P {
			q.P[i] = s.Eye.Centre.Add(s.Eye.Frame.World(outer.ToLocal.Point(from.Point(v)).Mul(k)))
		}
		mesh.Normals(q)
		return q
	}
	for i := range d.Objects {
		b := &d.Objects[i]
		role := inspect.RoleOf(b.Name)
		if !laidOn(*b) {
			continue
		}
		for k := range p.Scene.Objects {
			if o := &p.Scene.Objects[k]; o.Name == b.Name && o.Mesh != nil {
				s.Laid.Parts = append(s.Laid.Parts, &inspect.Part{Name: b.Name, Role: role, Mesh: bring(o.Mesh, o.ToWorld)})
			}
		}
	}
	if len(s.Laid.Parts) > 0 {
		s.Laid.Shell = bring(outer.Mesh, outer.ToWorld)
	}
}

// builtEye takes the two shells of the first eye of a prepared scene, in its own frame.
func builtEye(p *prepare.Prepared, name string) (*inspect.Subject, error) {
	e := &p.Scene.Eyes[0]
	outer, inner := &p.Scene.Objects[e.Outer], &p.Scene.Objects[e.Inner]
	s, err := inspect.NewSubject(name, &inspect.Part{Name: "outer shell", Mesh: outer.Mesh}, &inspect.Part{Name: "inner shell", Mesh: inner.Mesh}, nil,
		inspect.Told{MM: inner.Scale, Known: measure.Known{Axis: geom.Vec{Z: 1}, Limbus: e.LimbusRadius}})
	if err != nil {
		return nil, err
	}
	s.Grown = true
	return s, nil
}

func printCodes(w io.Writer) error {
	for _, c := range inspect.Checks {
		for _, k := range c.Codes {
			if _, err := fmt.Fprintf(w, "%-26s %s. %s\n", k.ID, k.Title, k.Means); err != nil {
				return err
			}
		}
	}
	return nil
}
