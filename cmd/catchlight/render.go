package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/scene"
	"catchlight/scene/imageio"
)

type renderFlags struct {
	out       []string
	set       []string
	lights    string
	size      string
	spp       int
	seed      int
	workers   int
	stats     string
	probe     string
	target    string
	denoise   bool
	keep      bool
	every     time.Duration
	goOn      bool
	shard     string
	memory    float64
	passes    []string
	look      string
	budget    string
	overwrite bool
}

func renderCommand() *cobra.Command {
	var f renderFlags
	c := &cobra.Command{
		Use:   "render SCENE",
		Short: "Render a scene to one or more pictures",
		Long: `Render a scene to one or more pictures.

The ending of --out picks the format: .png (as seen, 8 bit), .tif (as seen, 16 bit), .hdr, .pfm and .exr (linear, before
exposure, with layers of coverage, error and samples). Without --out the picture goes to out/NAME.png. A report in
numbers goes to NAME.json beside the first picture. Ctrl-C leaves a whole picture with fewer samples as NAME.partial.EXT
and exits with 130; a second Ctrl-C ends at once.

--error draft, final, print or a number stops each tile of 16 x 16 pixels once its standard error is at most 2, 0.75 or
0.4 8-bit levels (or that share of the display signal); --samples is then the most that a pixel gets, and 48 the least
(or --samples). A tile stops on its own samples, so such a picture reads low: by up to 0.2 % of the mean in trials with rare bright
samples, by 0.01 to 0.06 % in eyes in lids, and by 0.02 % or less of bare ones. Without --error there is no such shift.

--keep saves the sums in NAME.film now and then and at the end; --continue goes on from there, after an interrupt, a crash
or a finished render, with the samples, the error and the keys of view now asked for, to the same bits as one run. A save that
fails is told and tried again. --shard i/n renders one part of the samples into NAME.shard-i-of-n.film; catchlight merge
puts the parts together.

--passes puts parts of the picture into each .exr file, one beside the other in one file: lights (what each light adds, and each
environment from six sides: catchlight relight makes other light of them in a moment), paths (light that was seen directly, mirrored,
passed through, scattered, or focused by the cornea), surfaces (colours without light, normals, positions and depths in mm, map
coordinates, zones and parts) and errors (the noise of each pass). Lights add up to the picture, and so do paths. Before the
render it says how much memory and disk that takes; what is more than --memory waits in a file beside the picture.

Overrides name keys by path, lists by name or index:

  catchlight render scenes/ferry_keeper.yaml --samples 16 --set objects.eye.iris.pupil=2.5 --set lights.window.ev=1`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRender(cmd.Context(), args[0], &f, cmd.Flags().Changed, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	fl := c.Flags()
	fl.StringArrayVarP(&f.out, "out", "o", nil, "picture to write; repeatable")
	f.shared(fl)
	fl.StringVar(&f.look, "look", "traced", "traced, or raster: what a real-time renderer would show (settings: the scene's raster keys)")
	fl.StringVar(&f.lights, "lights", "", "light set-up whose lights stand in for the scene's own: a name (see catchlight lights) or a file")
	fl.StringVar(&f.probe, "probe", "", "render nothing, but say what pixel x,y shows: objects, places in mm, maps, texels, values")
	fl.StringVar(&f.stats, "stats", "", "write the report to this JSON file instead of NAME.json beside the first picture")
	fl.BoolVar(&f.keep, "keep", false, "save the sums in NAME.film beside the first picture, to go on from")
	fl.DurationVar(&f.every, "keep-every", time.Minute, "time between saves")
	fl.BoolVar(&f.goOn, "continue", false, "go on from NAME.film; keeps it too")
	fl.StringVar(&f.shard, "shard", "", "render part i of n of the samples, as i/n, into NAME.shard-i-of-n.film; n is 1 to 4096")
	fl.StringSliceVar(&f.passes, "passes", nil, "what .exr files hold besides the picture, with commas between: "+strings.Join(passNames, ", ")+", or all (see above)")
	memoryFlag(fl, &f.memory)
	return c
}

// shared adds the flags that all commands that trace pictures have.
func (f *renderFlags) shared(fl *pflag.FlagSet) {
	fl.IntVar(&f.spp, "samples", 0, "samples per pixel, instead of the scene's")
	fl.StringVar(&f.size, "size", "", "picture size as WxH, instead of the scene's")
	fl.IntVar(&f.seed, "seed", 0, "seed of all random numbers, instead of the scene's")
	fl.IntVar(&f.workers, "workers", 0, "goroutines that render; 0 is one per processor; never changes the picture")
	fl.StringArrayVar(&f.set, "set", nil, "override key=value; repeatable")
	fl.BoolVar(&f.denoise, "denoise", false, "show pictures with their grain taken out (picture.denoise); .exr files hold both")
	fl.StringVar(&f.budget, "budget", "", "budget of the raster look: lean, middle, full, or a .yaml file; the scene's own raster keys take precedence over it")
	overwriteFlag(fl, &f.overwrite)
	fl.StringVar(&f.target, "error", "", "stop where the picture is good enough: draft, final, print, or an error in (0, 0.5]")
}

// passNames are the words of --passes, keys of picture.passes.
var passNames = []string{"lights", "paths", "surfaces", "errors"}

// override is a key=value that a flag stands for.
type override struct{ flag, set string }

// overrides turns flags into overrides of the scene, so that they are checked where scenes are.
func (f *renderFlags) overrides(given func(flag string) bool) ([]override, error) {
	var list []override
	for _, s := range f.set {
		list = append(list, override{"--set " + s, s})
	}
	if given("budget") {
		name := f.budget
		if scene.BudgetText(name) == "" { // a file, from where the command runs
			var err error
			if name, err = filepath.Abs(name); err != nil {
				return nil, err
			}
		}
		list = append(list, override{"--budget " + f.budget, fmt.Sprintf("raster.budget=%q", name)})
	}
	if given("samples") {
		list = append(list, override{fmt.Sprintf("--samples %d", f.spp), fmt.Sprintf("picture.samples=%d", f.spp)})
	}
	if given("error") {
		e, err := render.ParseTarget(f.target)
		if err != nil {
			return nil, usageError{fmt.Errorf("--error %w", err)}
		}
		list = append(list, override{"--error " + f.target, fmt.Sprintf("picture.error=%g", e)})
		if !given("samples") && !slices.ContainsFunc(f.set, func(s string) bool { return strings.HasPrefix(strings.TrimSpace(s), "picture.samples") }) {
			list = append(list, override{"--error " + f.target, fmt.Sprintf("picture.samples=%d", render.TargetSPP)})
		}
	}
	if given("denoise") {
		list = append(list, override{"--denoise", fmt.Sprintf("picture.denoise=%t", f.denoise)})
	}
	for _, p := range f.passes {
		switch {
		case p == "all":
			for _, n := range passNames {
				list = append(list, override{"--passes all", "picture.passes." + n + "=true"})
			}
		case slices.Contains(passNames, p):
			list = append(list, override{"--passes " + p, "picture.passes." + p + "=true"})
		default:
			return nil, usageError{fmt.Errorf("--passes %s: known are %s, all", p, strings.Join(passNames, ", "))}
		}
	}
	if given("seed") {
		list = append(list, override{fmt.Sprintf("--seed %d", f.seed), fmt.Sprintf("picture.seed=%d", f.seed)})
	}
	if given("size") {
		m := sizeForm.FindStringSubmatch(f.size)
		if m == nil {
			return nil, usageError{fmt.Errorf("--size %q: give width and height in pixels as WxH, for instance 640x640", f.size)}
		}
		list = append(list, override{"--size " + f.size, "picture.width=" + m[1]}, override{"--size " + f.size, "picture.height=" + m[2]})
	}
	return list, nil
}

var sizeForm = regexp.MustCompile(`^([0-9]{1,9})[xX]([0-9]{1,9})$`)

// load reads the scene with the flags' overrides on it, and names the flags in problems.
func (f *renderFlags) load(path string, given func(string) bool) (*scene.Description, error) {
	list, err := f.overrides(given)
	if err != nil {
		return nil, err
	}
	sets := make([]string, len(list))
	for i, o := range list {
		sets[i] = o.set
	}
	var d *scene.Description
	if f.lights == "" {
		d, err = scene.Load(path, sets...)
	} else {
		var setup string
		if setup, err = findLightSetup(path, f.lights); err != nil {
			return nil, err
		}
		d, err = scene.LoadLit(path, setup, sets...)
	}
	var problems scene.Problems
	if errors.As(err, &problems) {
		for i := range problems {
			for _, o := range list {
				if problems[i].File == "--set "+o.set {
					problems[i].File = o.flag
				}
			}
		}
	}
	return d, err
}

// targets returns the pictures to write, each of a known format and none twice.
func (f *renderFlags) targets(scenePath string) ([]string, error) {
	outs := f.out
	if len(outs) == 0 {
		outs = []string{filepath.Join("out", sceneName(scenePath)+".png")}
	}
	seen := map[string]bool{}
	for _, o := range outs {
		if err := render.CheckFormat(o); err != nil {
			return nil, usageError{fmt.Errorf("--out %w", err)}
		}
		if seen[filepath.Clean(o)] {
			return nil, usageError{fmt.Errorf("--out %s: given twice", o)}
		}
		seen[filepath.Clean(o)] = true
	}
	return outs, nil
}

// checkLook refuses a look that there is not, and flags without a meaning for it.
func (f *renderFlags) checkLook(given func(flag string) bool) error {
	if looks[f.look] == nil {
		return usageError{fmt.Errorf("--look %s: known are %s", f.look, strings.Join(lookNames(), ", "))}
	}
	if f.look == "raster" {
		for _, flag := range []string{"keep", "continue", "shard", "error", "samples", "denoise", "passes"} {
			if given(flag) {
				return usageError{fmt.Errorf("--%s has no meaning with --look raster, which takes no samples", flag)}
			}
		}
	}
	return nil
}

func runRender(ctx context.Context, path string, f *renderFlags, given func(flag string) bool, stdout, stderr io.Writer) error {
	if f.workers < 0 || f.workers > 4096 {
		return usageError{fmt.Errorf("--workers %d is outside [0, 4096]", f.workers)}
	}
	resident, err := memory(f.memory)
	if err != nil {
		return err
	}
	if given("probe") {
		return runProbe(ctx, path, f, given, stdout)
	}
	if err := f.checkLook(given); err != nil {
		return err
	}
	outs, err := f.targets(path)
	if err != nil {
		return err
	}
	d, err := f.load(path, given)
	if err != nil {
		return err
	}
	outs0 := outs[0]
	if len(f.passes) > 0 && !slices.ContainsFunc(outs, func(o string) bool { return strings.ToLower(filepath.Ext(o)) == ".exr" }) {
		return usageError{errors.New("--passes: they go into .exr files; give one, as --out NAME.exr")}
	}
	base := strings.TrimSuffix(outs0, filepath.Ext(outs0))
	if f.stats == "" {
		f.stats = base + ".json"
	}
	keep, shard, err := f.keeping(d, base)
	if err != nil {
		return err
	}
	if outs, err = f.claim(outs, d, keep, shard); err != nil {
		return err
	}
	workers := f.workers
	if workers == 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	report := newReporter(stderr)
	defer report.done()
	start := time.Now()
	cache, err := stageCache(ctx, true)
	if err != nil {
		return err
	}
	opt := render.Options{Workers: workers, Progress: report, Keep: keep, Shard: shard, Cache: cache, FilmBytes: resident, Scratch: filepath.Dir(outs0)}
	p, err := render.Prepare(ctx, d, opt)
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	if f.look != "raster" {
		if err := forecast(p, opt, filepath.Dir(outs0), stderr); err != nil {
			return err
		}
	}
	prepared := time.Since(start).Seconds()
	draw := p.Render
	if f.look == "raster" {
		draw = p.Raster
	}
	r, err := draw(ctx, opt)
	report.done()
	if err != nil && r == nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	if q := r.Stats.Denoised; q != nil {
		fmt.Fprintf(stderr, "denoising took %.1f s\n", q.Seconds)
	}
	tell(stderr, r.Warnings)
	return f.leave(ctx, outs, d, r, opt, prepared, err, stdout)
}

// claim makes sure that all that a render writes can be written, and is nobody else's. It returns the pictures that it
// leaves: none where it is a part of one.
func (f *renderFlags) claim(outs []string, d *scene.Description, keep *render.Keep, shard render.Shard) ([]string, error) {
	files := append(slices.Clone(outs), f.stats)
	if shard.Count > 1 {
		outs, f.stats = nil, strings.TrimSuffix(keep.Path, ".film")+".json"
		files = []string{keep.Path, f.stats}
	}
	named := slices.Clone(files)
	for _, o := range files {
		if keep == nil || o != keep.Path {
			named = append(named, partialName(o))
		}
	}
	if keep != nil && shard.Count <= 1 {
		named = append(named, keep.Path)
	}
	if err := job.CheckOutputs(named, render.Files(d), f.overwrite); err != nil {
		return nil, err
	}
	if err := ownReport(f.stats, f.overwrite); err != nil {
		return nil, err
	}
	for _, o := range named {
		imageio.Sweep(o)
	}
	for _, o := range files {
		if err := writable(o); err != nil {
			return nil, err
		}
	}
	return outs, nil
}

// leave writes the pictures and the statistics of a render that took prepared seconds to prepare; cut is why it ended early or
// was not saved, nil where all is as asked for.
func (f *renderFlags) leave(ctx context.Context, outs []string, d *scene.Description, r *render.Result, opt render.Options, prepared float64, cut error, stdout io.Writer) error {
	partial := !r.Finished
	stats := f.stats
	if partial {
		stats = partialName(stats)
	}
	if opt.Shard.Count > 1 && !partial {
		fmt.Fprintf(stdout, "wrote %s (%d x %d, part %d of %d of %d spp)\n", opt.Keep.Path, r.Width, r.Height, opt.Shard.Index, opt.Shard.Count, r.SPP)
	}
	wrote := time.Now()
	for _, o := range outs {
		if partial {
			o = partialName(o)
		}
		if err := r.Write(o); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s (%d x %d, %s)\n", o, r.Width, r.Height, samples(r))
	}
	if err := writeStats(stats, d, r, opt.Shard, prepared, time.Since(wrote).Seconds()); err != nil {
		return err
	}
	if partial && errors.Is(cut, context.Canceled) {
		return f.interrupted(ctx, opt.Keep, cut)
	}
	return cut
}

// partialName is the name of a picture with fewer samples than asked for.
func partialName(path string) string {
	ext := filepath.Ext(path)
	return strings.TrimSuffix(path, ext) + ".partial" + ext
}

// writable makes a file's folder if need be and tries a file in it, so that no work is done in vain.
func writable(file string) error {
	dir := filepath.Dir(file)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return fmt.Errorf("%s: its folder can't be made: %w", file, err)
	}
	if info, err := os.Stat(file); err == nil && info.IsDir() {
		return fmt.Errorf("%s: is a folder", file)
	}
	t, err := os.CreateTemp(dir, ".catchlight-*")
	if err != nil {
		return fmt.Errorf("%s: can't be written there: %w", file, err)
	}
	t.Close()
	return os.Remove(t.Name())
}

// samples says what a picture holds, for a line of text.
func samples(r *render.Result) string {
	if r.Look != "" {
		return r.Look
	}
	if a := r.Achieved; a.Target > 0 {
		return fmt.Sprintf("%d to %d samples, mean %.1f; error %.5f of %.5f, %.2f %% of the pixels above", a.SPPLeast, a.SPPMost, a.SPPMean, a.Worst, a.Target, 100*a.ShareOver)
	}
	if r.SPP == 1 {
		return "1 sample"
	}
	return fmt.Sprintf("%d samples", r.SPP)
}

// keeping returns where the film is saved and which part of the samples is rendered.
func (f *renderFlags) keeping(d *scene.Description, base string) (*render.Keep, render.Shard, error) {
	shard, err := parseShard(f.shard, render.MostShards)
	if err != nil {
		return nil, shard, err
	}
	if f.every < 0 {
		return nil, shard, usageError{fmt.Errorf("--keep-every %v is negative", f.every)}
	}
	if shard.Count > 1 && d.Picture.Error > 0 {
		return nil, shard, usageError{errors.New("--shard with --error: one part of the samples can't tell the error of all; split by frames or cells, or render with --samples")}
	}
	if !f.keep && !f.goOn && shard.Count <= 1 {
		return nil, shard, nil
	}
	record, err := render.RecordOf(d)
	if err != nil {
		return nil, shard, err
	}
	k := &render.Keep{Path: base + ".film", Every: f.every, Record: record.String(), Final: true}
	if shard.Count > 1 {
		k.Path = fmt.Sprintf("%s.shard-%d-of-%d.film", base, shard.Index, shard.Count)
	}
	_, err = os.Stat(k.Path)
	switch {
	case f.goOn && errors.Is(err, fs.ErrNotExist):
		return nil, shard, usageError{fmt.Errorf("--continue: there is no %s to go on from", k.Path)}
	case !f.goOn && err == nil:
		return nil, shard, usageError{fmt.Errorf("%s is there already; --continue goes on from it, or remove it to start afresh", k.Path)}
	}
	return k, shard, nil
}

var shardForm = regexp.MustCompile(`^([0-9]{1,6})/([0-9]{1,6})$`)

// parseShard reads i/n with 1 <= i <= n <= most; an empty text is the whole.
func parseShard(text string, most int) (render.Shard, error) {
	if text == "" {
		return render.Shard{}, nil
	}
	var s render.Shard
	if m := shardForm.FindStringSubmatch(text); m != nil {
		s.Index, _ = strconv.Atoi(m[1])
		s.Count, _ = strconv.Atoi(m[2])
	}
	if s.Index < 1 || s.Index > s.Count || s.Count > most {
		return s, usageError{fmt.Errorf("--shard %q: give the part and the number of parts as i/n, with 1 <= i <= n <= %d", text, most)}
	}
	return s, nil
}

// report is what stands in the JSON beside a picture.
type report struct {
	Program        string          `json:"program"`
	Scene          string          `json:"scene"`
	Lights         string          `json:"lights,omitempty"`
	Overrides      []string        `json:"overrides"`
	Identity       render.Identity `json:"identity"`
	Shard          string          `json:"shard,omitempty"`
	Finished       string          `json:"finished"`
	PrepareSeconds float64         `json:"prepare_seconds"`
	WriteSeconds   float64         `json:"write_seconds"`
	render.Stats
}

func writeStats(path string, d *scene.Description, r *render.Result, shard render.Shard, prepare, write float64) error {
	id, err := render.IdentityOf(d)
	if err != nil {
		return err
	}
	text := ""
	if shard.Count > 1 {
		text = fmt.Sprintf("%d/%d", shard.Index, shard.Count)
	}
	return writeJSON(path, report{versionText(), d.File, d.LightSetupFile(), d.Overrides(), id, text, time.Now().UTC().Format(time.RFC3339), prepare, write, r.Stats})
}

func writeJSON(path string, v any) error {
	data, err := json.MarshalIndent(v, "", "  ")
	if err != nil {
		return err
	}
	return imageio.WriteAtomic(path, func(w io.Writer) error {
		_, err := w.Write(append(scene.Stamp(data), '\n'))
		return err
	})
}

var probeForm = regexp.MustCompile(`^([0-9]{1,6}),([0-9]{1,6})$`)

func runProbe(ctx context.Context, path string, f *renderFlags, given func(string) bool, stdout io.Writer) error {
	m := probeForm.FindStringSubmatch(f.probe)
	if m == nil {
		return usageError{fmt.Errorf("--probe %q: give a pixel as x,y, counted from the top left, for instance 320,240", f.probe)}
	}
	d, err := f.load(path, given)
	if err != nil {
		return err
	}
	cache, err := stageCache(ctx, true)
	if err != nil {
		return err
	}
	p, err := render.Prepare(ctx, d, render.Options{Workers: f.workers, Cache: cache})
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return err
	}
	x, _ := strconv.Atoi(m[1])
	y, _ := strconv.Atoi(m[2])
	q, err := p.Probe(x, y)
	if err != nil {
		return usageError{fmt.Errorf("--probe: %w", err)}
	}
	_, err = io.WriteString(stdout, q.String())
	return err
}
