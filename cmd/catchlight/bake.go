package main

import (
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/bake"
	units "catchlight/scene/asset"
	"catchlight/scene/builtin"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
	"catchlight/scene/meshio"
)

// bakeFlags is what the command asks for.
type bakeFlags struct {
	out, unit, maps, cage, writeCage, hit, ids, green, group string
	only, packs, pairs, blockers                             []string
	size, samples, bits, aoRays, inRays, levels, workers     int
	pad, reach, inAngle, inReach, edge, soft                 float64
	heightRange, thickRange                                  float64
	dither, align, yes, lean, overwrite, look                bool
	proof                                                    string
	proofSize, proofSamples                                  int
}

const bakeLong = `Bake maps of a high mesh onto the texture coordinates of a low one: normal (as glTF has it), height in mm, curvature in 1/mm, convex
and concave edges, position in mm, occlusion, thickness in mm, ids, soft masks of them, and the high mesh's colour. LOW and HIGH are .glb, .gltf,
.obj, .ply or .stl; HIGH needs no texture coordinates and may have millions of triangles.

Before a ray is cast it is said how well the two lie on each other, in numbers and in the picture alignment.png: most bad maps come from meshes that
do not. --look says this and ends. --align proposes the motion that would lay HIGH on LOW, says of each number whether the shape holds it at all,
and moves HIGH, in memory alone, if you answer y (--yes: without asking).

Parts of LOW that share a material share one picture; parts that lie on each other in it get their own. Each is cast on the part of HIGH of
the same name (but for "low" and "high"), else on what lies nearest; --pair says it. A part is darkened by what it is cast on alone, so a cornea does not
darken an iris; --blockers says what else does.

Raw values stay in FOLDER/planes, so that the same command goes on after a stop, and one map, one pack or one setting again costs only
that. --lean throws them away at the end. bake.json says what each file holds and how its numbers are read.`

func bakeCommand() *cobra.Command {
	f := bakeFlags{}
	c := &cobra.Command{
		Use:   "bake LOW HIGH --out FOLDER",
		Short: "Bake maps of a sculpt onto a low mesh, and say first how well the two lie on each other",
		Long:  bakeLong,
		Args:  exactly(2, "a low mesh with texture coordinates and a high mesh are needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return f.run(cmd, args[0], args[1])
		},
	}
	fl := c.Flags()
	fl.StringVar(&f.out, "out", "", "folder for the files; it is made")
	overwriteFlag(fl, &f.overwrite)
	fl.StringVar(&f.unit, "unit", "", "unit of files that state none (.obj, .ply, .stl): mm, cm, m or inch; default mm")
	fl.StringVar(&f.maps, "maps", "normal,height,curvature,convex,concave,position,occlusion,thickness,ids", "maps to bake, with commas, of "+strings.Join(bake.Maps, ", ")+"; colour is added where HIGH has one; all")
	fl.StringSliceVar(&f.only, "only", nil, "make only these maps, packs or kinds of map, and these anew; other files stay")
	fl.IntVar(&f.size, "size", 2048, "edge of the maps in texels, 16 to 8192")
	fl.IntVar(&f.samples, "samples", 2, "samples along a texel's side, 1 to 4: 2 is 4 rays a texel")
	fl.IntVar(&f.bits, "bits", 16, "bits a channel: 8 or 16 in PNG, 32 in OpenEXR; positions are always 32, ids 8")
	fl.BoolVar(&f.dither, "dither", true, "dither what is stored in 8 bits by a code of triangular noise; never heights and ids")
	fl.Float64Var(&f.pad, "pad", 48, "texels about each island that take the nearest texel's value, for smaller copies: 48 serves five of them; 0: everywhere")
	fl.StringVar(&f.cage, "cage", "", "how far outside LOW rays begin, and how far beneath it they end: mm, or a file with a mesh about LOW; default: what 999 of 1000 places of HIGH need and a fifth")
	fl.StringVar(&f.writeCage, "write-cage", "", "write the cage as a mesh of LOW's own triangles (.obj or .glb), to change and to give as --cage, also for another LOW")
	fl.StringVar(&f.hit, "hit", "first", "first: the first surface that faces the ray, as seen from outside; nearest: the one nearest to LOW, for skins one behind the other")
	fl.IntVar(&f.aoRays, "occlusion-rays", 64, "rays of occlusion a texel")
	fl.Float64Var(&f.reach, "reach", 2, "mm; what is further away does not darken; 0: nothing is too far")
	fl.IntVar(&f.inRays, "thickness-rays", 16, "rays of thickness a texel")
	fl.Float64Var(&f.inAngle, "thickness-angle", 30, "degrees; half of the cone that thickness looks into")
	fl.Float64Var(&f.inReach, "thickness-reach", 10, "mm; a ray that meets nothing so far counts as this")
	fl.Float64Var(&f.edge, "edge", 0.25, "mm; radius from which on convex and concave are full")
	fl.StringVar(&f.ids, "ids", "part", "what ids tell apart: part, material or colour (flat vertex colours)")
	fl.Float64Var(&f.soft, "soft", 0, "mm; how soft the masks' borders are (standard deviation); 0: a texel")
	fl.IntVar(&f.levels, "height-levels", 0, "measure heights against LOW subdivided so often (Loop), as a renderer does that subdivides before it displaces; 0: against LOW's facets")
	fl.Float64Var(&f.heightRange, "height-range", 0, "mm to either side that the codes of heights span; 0: what there is, rounded up to 1, 2 or 5")
	fl.Float64Var(&f.thickRange, "thickness-range", 0, "mm that the codes of thickness span; 0: as above")
	fl.StringVar(&f.green, "green", "up", "where a positive green of normal maps points: up (glTF) or down")
	fl.StringVar(&f.group, "group", "auto", "which parts of LOW share a picture: auto (by material), apart or one")
	fl.StringSliceVar(&f.pairs, "pair", nil, "LOW=HIGH or LOW=HIGH+HIGH: which parts belong together; NAME/2 is the second largest island of NAME")
	fl.StringSliceVar(&f.blockers, "blockers", nil, "LOW=HIGH+HIGH: what darkens a part")
	fl.StringArrayVar(&f.packs, "pack", nil, "NAME=CHANNEL,CHANNEL,CHANNEL: a file of channels, each a map, normal.r and the like, or a number of 0 to 1; may be given several times")
	fl.BoolVar(&f.look, "look", false, "say how the two lie on each other, and end")
	fl.BoolVar(&f.align, "align", false, "propose the motion that lays HIGH on LOW, and apply it on a yes")
	fl.BoolVar(&f.yes, "yes", false, "apply what --align proposes without asking")
	fl.BoolVar(&f.lean, "lean", false, "keep no raw values in FOLDER/planes")
	fl.IntVar(&f.workers, "workers", 0, "goroutines; 0: one for each processor")
	fl.StringVar(&f.proof, "proof", "", "show LOW with its maps and HIGH in one light, where they differ and which map is to blame; --proof=NAME takes the light of a set-up (see catchlight lights)")
	fl.Lookup("proof").NoOptDefVal = "plain"
	fl.IntVar(&f.proofSize, "proof-size", 256, "edge of the proof's pictures in pixels")
	fl.IntVar(&f.proofSamples, "proof-samples", 32, "samples a pixel of the proof's pictures")
	return c
}

// check says what is wrong with the flags.
func (f *bakeFlags) check() error {
	var errs []error
	bad := func(ok bool, format string, args ...any) {
		if !ok {
			errs = append(errs, fmt.Errorf(format, args...))
		}
	}
	word := func(flag, v string, of ...string) {
		bad(slices.Contains(of, v), "--%s %q: must be one of %s", flag, v, strings.Join(of, ", "))
	}
	span := func(flag string, v, lo, hi float64) {
		bad(v >= lo && v <= hi, "--%s %g is outside [%g, %g]", flag, v, lo, hi)
	}
	bad(f.out != "" || f.look, "--out: a folder is needed")
	word("hit", f.hit, "first", "nearest")
	word("ids", f.ids, "part", "material", "colour")
	word("green", f.green, "up", "down")
	word("group", f.group, "auto", "apart", "one")
	if _, ok := units.Unit(f.unit); f.unit != "" && !ok {
		bad(false, "--unit %q must be mm, cm, m or inch", f.unit)
	}
	bad(slices.Contains([]int{8, 16, 32}, f.bits), "--bits %d: must be 8, 16 or 32", f.bits)
	span("size", float64(f.size), 16, 8192)
	span("samples", float64(f.samples), 1, 4)
	span("pad", f.pad, 0, 8192)
	span("occlusion-rays", float64(f.aoRays), 1, 65536)
	span("thickness-rays", float64(f.inRays), 1, 65536)
	span("reach", f.reach, 0, 1e6)
	span("thickness-angle", f.inAngle, 0.1, 90)
	span("thickness-reach", f.inReach, 1e-3, 1e6)
	span("edge", f.edge, 1e-4, 1e4)
	span("soft", f.soft, 0, 1e3)
	span("height-levels", float64(f.levels), 0, 5)
	span("height-range", f.heightRange, 0, 1e6)
	span("thickness-range", f.thickRange, 0, 1e6)
	span("workers", float64(f.workers), 0, 4096)
	span("proof-size", float64(f.proofSize), 64, 2048)
	span("proof-samples", float64(f.proofSamples), 8, 65536)
	for _, m := range f.names() {
		bad(slices.Contains(bake.Maps, m), "--maps %q: known are %s, all", m, strings.Join(bake.Maps, ", "))
	}
	for _, p := range f.packs {
		if _, err := bake.ParsePack(p); err != nil {
			errs = append(errs, fmt.Errorf("--pack %w", err))
		}
	}
	for flag, list := range map[string][]string{"pair": f.pairs, "blockers": f.blockers} {
		if _, err := bake.ParsePairs(list); err != nil {
			errs = append(errs, fmt.Errorf("--%s %w", flag, err))
		}
	}
	for _, o := range f.only {
		ok := slices.Contains(bake.Maps, o) || slices.ContainsFunc(f.packs, func(p string) bool { return strings.HasPrefix(p, o+"=") })
		bad(ok, "--only %q: no map or pack has this name", o)
	}
	bad(!f.yes || f.align, "--yes has no meaning without --align")
	if end := strings.ToLower(filepath.Ext(f.writeCage)); f.writeCage != "" {
		bad(end == ".obj" || end == ".glb", "--write-cage %s: the ending must be .obj or .glb", f.writeCage)
	}
	if mm, err := strconv.ParseFloat(f.cage, 64); err == nil {
		span("cage", mm, 1e-6, 1e6)
	}
	if err := errors.Join(errs...); err != nil {
		return usageError{err}
	}
	return nil
}

// names are the maps that are asked for, in order.
func (f *bakeFlags) names() []string {
	if f.maps == "all" {
		return bake.Maps
	}
	return list(f.maps)
}

// baking is a bake under way.
type baking struct {
	*bakeFlags
	low, high       []bake.Part
	lowSum, highSum string
	sets            []*bake.Set
	report          bake.Report
	stdout, stderr  io.Writer
	progress        *reporter
}

func (f *bakeFlags) run(cmd *cobra.Command, lowFile, highFile string) error {
	if err := f.check(); err != nil {
		return err
	}
	b := &baking{bakeFlags: f, stdout: cmd.OutOrStdout(), stderr: cmd.ErrOrStderr()}
	b.progress = newReporter(b.stderr)
	defer b.progress.done()
	ctx := cmd.Context()
	if err := b.read(lowFile, highFile); err != nil {
		return err
	}
	if err := b.lie(ctx, cmd.InOrStdin()); err != nil {
		return err
	}
	if f.look {
		return nil
	}
	err := b.bake(ctx)
	if ctx.Err() != nil {
		args, _ := ctx.Value(argsKey{}).([]string)
		return fmt.Errorf("%w; go on with: %s", errInterrupted, commandLine(args))
	}
	return err
}

// read reads both files and finds what belongs together.
func (b *baking) read(lowFile, highFile string) (err error) {
	b.report = bake.Report{Program: versionText(), Size: b.size, Samples: b.samples * b.samples}
	for _, q := range []struct {
		file  string
		parts *[]bake.Part
		sum   *string
		to    *bake.Input
	}{{lowFile, &b.low, &b.lowSum, &b.report.Low}, {highFile, &b.high, &b.highSum, &b.report.High}} {
		if info, err := os.Stat(q.file); err == nil && info.Size() > 10e6 {
			b.progress.Phase("reading " + filepath.Base(q.file))
		}
		var notes []string
		if *q.parts, notes, err = bake.Read(q.file, b.unit); err != nil {
			return err
		}
		for _, n := range notes {
			if !strings.Contains(n, "no texture coordinates") {
				b.note(filepath.Base(q.file) + ": " + n)
			}
		}
		for _, file := range append([]string{q.file}, meshio.Files(q.file)...) {
			sum, err := builtin.Hash(file)
			if err != nil {
				return err
			}
			*q.sum += sum
		}
		*q.to = bake.Input{File: filepath.Base(q.file), Sum: *q.sum}
		for i := range *q.parts {
			q.to.Triangles += len((*q.parts)[i].Mesh.Tri)
		}
		q.to.Parts = len(*q.parts)
	}
	b.progress.done()
	pairs, _ := bake.ParsePairs(b.pairs) // checked before
	blockers, _ := bake.ParsePairs(b.blockers)
	if b.sets, err = bake.NewSets(b.low, b.high, bake.Grouping(b.group), pairs, blockers); err != nil {
		return fmt.Errorf("%s on %s: %w", filepath.Base(highFile), filepath.Base(lowFile), err)
	}
	fmt.Fprintf(b.stdout, "low:  %s, %s\nhigh: %s, %s\n", b.report.Low.File, counts(&b.report.Low), b.report.High.File, counts(&b.report.High))
	for _, s := range b.sets {
		notes, err := s.Sound(b.size)
		for _, n := range append(s.Notes, notes...) {
			b.note(n)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func counts(q *bake.Input) string {
	parts := "1 part"
	if q.Parts != 1 {
		parts = fmt.Sprintf("%d parts", q.Parts)
	}
	return fmt.Sprintf("%s, %d triangles", parts, q.Triangles)
}

// note tells and keeps a note.
func (b *baking) note(text string) {
	if !slices.Contains(b.report.Notes, text) {
		b.report.Notes = append(b.report.Notes, text)
		tell(b.stderr, []string{text})
	}
}

// base makes a set's low mesh ready, with its cage.
func (b *baking) base(s *bake.Set, m *mesh.Mesh, found float64) (*bake.Base, error) {
	cage := found
	mm, err := strconv.ParseFloat(b.cage, 64)
	if err == nil {
		cage = mm
	}
	base := bake.NewBase(m, cage)
	if b.cage != "" && err != nil {
		parts, _, err := bake.Read(b.cage, b.unit)
		if err != nil {
			return nil, err
		}
		bare, err := base.Within(parts, found)
		if err != nil {
			return nil, fmt.Errorf("--cage %s: %s: %w", b.cage, s.Low[0].Name, err)
		}
		if bare > 0 {
			b.note(fmt.Sprintf("%s: the cage does not cover %d of %d vertices; rays begin there as far outside as they do on average", s.Low[0].Name, bare, len(m.P)))
		}
	}
	return base, nil
}

// works makes the sets ready to be cast.
func (b *baking) works() ([]*bake.Work, error) {
	var out []*bake.Work
	for i, s := range b.sets {
		lie := b.report.Sets[i].Lie
		m := s.Mesh()
		base, err := b.base(s, m, lie.Cage)
		if err != nil {
			return nil, err
		}
		high, err := bake.NewSolid(s.High, b.workers)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", s.High[0].Name, err)
		}
		blocker := high
		if !slices.EqualFunc(s.High, s.Blockers, func(a, c bake.Part) bool { return a.Name == c.Name }) {
			if blocker, err = bake.NewSolid(s.Blockers, b.workers); err != nil {
				return nil, err
			}
		}
		cast := bake.Bake{Low: base, High: high, Blocker: blocker, Nearest: b.hit == "nearest", Seed: 1, ID: bake.IDSource(b.ids), Soft: b.soft,
			Occlusion: bake.Occlusion{Rays: b.aoRays, Reach: b.reach}, Thickness: bake.Thickness{Rays: b.inRays, Angle: geom.Radians(b.inAngle), Reach: b.inReach}}
		w := &bake.Work{Name: s.Name, Tiles: b.report.Sets[i].Tiles, Size: b.size, N: b.samples, Dir: filepath.Join(b.out, "planes"), From: b.from(s, base)}
		kinds, coarse := b.kinds(high)
		main := cast
		w.Passes = []bake.Pass{{Bake: &main, Kinds: kinds}}
		if coarse {
			fine, err := mesh.Subdivide(m, b.levels)
			if err != nil {
				return nil, fmt.Errorf("--height-levels %d: %w", b.levels, err)
			}
			low, err := b.base(s, fine, lie.Cage)
			if err != nil {
				return nil, err
			}
			second := cast
			second.Low = low
			w.Passes = append(w.Passes, bake.Pass{Bake: &second, Kinds: []bake.Kind{bake.Height}, On: fmt.Sprint("subdivided ", b.levels)})
		}
		b.report.Sets[i].Cage = base.Cage[0]
		out = append(out, w)
	}
	return out, nil
}

// kinds are those that the maps and packs are made from; coarse says that heights have a pass of their own.
func (b *baking) kinds(high *bake.Solid) (kinds []bake.Kind, coarse bool) {
	kinds = []bake.Kind{bake.Cover}
	for _, n := range b.all(high) {
		k := bake.KindOf(n)
		if k == bake.Height && b.levels > 0 {
			coarse = true
		} else if !slices.Contains(kinds, k) {
			kinds = append(kinds, k)
		}
	}
	return kinds, coarse
}

// all are the maps that planes are needed for: those of the files and of the packs, or of those in --only.
func (b *baking) all(high *bake.Solid) (out []string) {
	add := func(n string) {
		if !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	for _, n := range b.files(high) {
		if b.wanted(n) {
			add(n)
		}
	}
	for _, text := range b.packs {
		if p, _ := bake.ParsePack(text); b.wanted(p.Name) {
			for _, n := range p.Uses() {
				add(n)
			}
		}
	}
	return out
}

// files are the maps that become files.
func (b *baking) files(high *bake.Solid) []string {
	out := slices.Clone(b.names())
	for _, o := range b.only {
		if slices.Contains(bake.Maps, o) && !slices.Contains(out, o) {
			out = append(out, o)
		}
	}
	if high.Coloured() && !slices.Contains(out, "colour") {
		out = append(out, "colour")
	}
	return out
}

// wanted reports whether --only leaves a map or pack in.
func (b *baking) wanted(name string) bool { return len(b.only) == 0 || slices.Contains(b.only, name) }

// from is what all values of a set depend on.
func (b *baking) from(s *bake.Set, base *bake.Base) string {
	var names []string
	for _, list := range [][]bake.Part{s.Low, s.High} {
		for i := range list {
			names = append(names, list[i].Name)
		}
	}
	motion := ""
	if b.report.Motion != nil && b.report.Applied {
		motion = fmt.Sprint(b.report.Motion.Rows)
	}
	sum := sha256.New()
	for _, c := range append([]float64{base.Depth}, base.Cage...) {
		_ = binary.Write(sum, binary.LittleEndian, c) // a hash takes everything
	}
	cage := hex.EncodeToString(sum.Sum(nil))
	return strings.Join(append(names, b.lowSum, b.highSum, b.unit, motion, cage), "\n")
}

// bake makes the maps.
func (b *baking) bake(ctx context.Context) error {
	if b.size > 4096 {
		defer debug.SetMemoryLimit(debug.SetMemoryLimit(3 << 30)) // garbage of one map would wait beside the next
	}
	b.progress.Phase("making ready for rays")
	works, err := b.works()
	if err != nil {
		return err
	}
	for _, w := range works {
		for i := range w.Passes {
			if err := w.Passes[i].Bake.Prepare(w.Passes[i].Kinds); err != nil {
				return usageError{err}
			}
		}
	}
	j, err := b.open(works)
	if err != nil {
		return err
	}
	defer j.Close()
	if err := b.keepPicture(j); err != nil {
		return err
	}
	early := b.report // so that a stop does not lose what was measured
	early.Files = b.earlier().Files
	if err := writeJSON(j.Path(bake.ReportName), &early); err != nil {
		return err
	}
	todo, room := 0, int64(0)
	for _, w := range works {
		defer w.Close()
		var anew []bake.Kind
		for _, o := range b.only {
			if slices.Contains(bake.Maps, o) {
				anew = append(anew, bake.KindOf(o))
			}
		}
		n, err := w.Open(anew)
		if err != nil {
			return err
		}
		todo += n
		room += w.Bytes()
	}
	if todo > 0 {
		if err := j.Space(room / 2); err != nil { // islands seldom fill more
			return err
		}
	}
	b.progress.Phase(fmt.Sprintf("casting rays: %d blocks of %d x %d texels", todo, 128, 128))
	done := 0
	for _, w := range works {
		_, err := w.Run(ctx, render.Options{Workers: b.workers}.Count(), func(n int) {
			done += n
			b.progress.Advance(int64(done), int64(todo))
		})
		if err != nil {
			return err
		}
	}
	b.progress.done()
	if err := b.write(ctx, j, works); err != nil {
		return err
	}
	if b.proof != "" {
		if err := b.proofs(ctx, j, works); err != nil {
			return err
		}
	}
	if b.lean {
		return os.RemoveAll(filepath.Join(b.out, "planes"))
	}
	return nil
}
