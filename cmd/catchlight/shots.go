package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
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

// looks are the ways to make a picture of a scene.
var looks = map[string]func(ctx context.Context, d *scene.Description, o render.Options) (*render.Result, error){
	"traced": func(ctx context.Context, d *scene.Description, o render.Options) (*render.Result, error) {
		p, err := render.Prepare(ctx, d, o)
		if err != nil {
			return nil, err
		}
		return p.Render(ctx, o)
	},
	"raster": func(ctx context.Context, d *scene.Description, o render.Options) (*render.Result, error) {
		p, err := render.Prepare(ctx, d, o)
		if err != nil {
			return nil, err
		}
		return p.Raster(ctx, o)
	},
}

// lookNames returns the words of looks.
func lookNames() []string {
	var out []string
	for n := range looks {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}

// checkLooks returns the looks of a flag, the traced one without it.
func checkLooks(words []string) ([]string, error) {
	if len(words) == 0 {
		return []string{"traced"}, nil
	}
	for i, w := range words {
		if looks[w] == nil {
			return nil, usageError{fmt.Errorf("--looks %s: known are %s", w, strings.Join(lookNames(), ", "))}
		}
		if slices.Contains(words[:i], w) {
			return nil, usageError{fmt.Errorf("--looks %s: given twice", w)}
		}
	}
	return words, nil
}

// shot is one picture of a job.
type shot struct {
	name, look string
	d          *scene.Description
	key        string

	// Of pictures that are more than a cell: what it makes instead of the cell's files, and how. make returns nil for what is no render.
	files []string
	make  func(ctx context.Context, j *job.Job, s *shot, o render.Options) (*render.Result, error)
}

// cellReport is the JSON beside each picture of a job. It holds nothing that depends on the run: no times, no counts of a
// session, so that an interrupted job ends with the bytes of one that ran through.
type cellReport struct {
	Look      string          `json:"look"`
	Scene     string          `json:"scene"`
	Identity  render.Identity `json:"identity"`
	Overrides []string        `json:"overrides"`
	Lights    string          `json:"lights,omitempty"`
	Width     int             `json:"width"`
	Height    int             `json:"height"`
	Seed      int             `json:"seed"`
	SPP       int             `json:"samples"`
	Error     render.Achieved `json:"error"`
	Outliers  any             `json:"outliers"`
	Dropped   uint64          `json:"dropped_non_finite_samples"`
	Triangles int64           `json:"triangles"`
}

// item returns what the manifest of the job holds of the shot, and fills its key: the hash of all that its bits depend on.
// What only changes how radiance is shown does not count where samples are uniform.
func (s *shot) item() (job.Item, error) {
	if s.make != nil {
		if s.key == "" {
			var err error
			if s.key, err = presentKey(s); err != nil {
				return job.Item{}, err
			}
		}
		return job.Item{Name: s.name, Key: s.key, Files: s.files}, nil
	}
	if s.key == "" {
		c := *s.d
		if c.Picture.Error == 0 {
			c = render.WithoutView(s.d)
		}
		c.Picture.Passes = scene.Passes{} // see makeShot
		print, err := render.Fingerprint(&c)
		if err != nil {
			return job.Item{}, err
		}
		id, err := render.Program()
		if err != nil {
			return job.Item{}, err
		}
		h := sha256.Sum256([]byte(print + " " + s.look + " " + id.String()))
		s.key = hex.EncodeToString(h[:])
	}
	return job.Item{Name: s.name, Key: s.key, Files: []string{s.name + ".exr", s.name + ".json"}}, nil
}

// jobFlags are the flags of commands that make many pictures.
type jobFlags struct {
	renderFlags
	out   string
	looks []string
	cache string

	stages *render.Cache // of scenes prepared before the pictures; nil for none
}

func (f *jobFlags) add(fl *pflag.FlagSet, what string) {
	f.shared(fl)
	fl.StringVarP(&f.out, "out", "o", "", "folder to work in; "+what+" without it")
	fl.StringSliceVar(&f.looks, "looks", nil, "looks, with commas between: "+strings.Join(lookNames(), ", "))
	fl.StringVar(&f.shard, "shard", "", "make part i of n of the pictures, as i/n; catchlight merge joins the folders")
	fl.DurationVar(&f.every, "keep-every", 20*time.Second, "time between saves of the picture under way")
}

// arguments returns the command line that makes the same job, without what says where and how to work.
func arguments(cmd *cobra.Command, scenePath string) []string {
	out := []string{scenePath}
	cmd.Flags().Visit(func(f *pflag.Flag) {
		if slices.Contains([]string{"out", "shard", "workers", "keep-every", "cache", "overwrite"}, f.Name) {
			return
		}
		if list, ok := f.Value.(pflag.SliceValue); ok {
			for _, v := range list.GetSlice() {
				out = append(out, "--"+f.Name+"="+v)
			}
			return
		}
		out = append(out, "--"+f.Name+"="+f.Value.String())
	})
	return out
}

// whole shows the progress of all pictures of a job as one.
type wholeJob struct {
	r           *reporter
	done, total int64
}

const perShot = 1 << 20

func (w *wholeJob) Phase(string)     {}
func (w *wholeJob) Note(text string) { w.r.Note(text) }
func (w *wholeJob) Advance(done, total int64) {
	w.r.Advance(w.done*perShot+done*perShot/max(total, 1), w.total*perShot)
}

// tally says what became of a job's pictures.
type tally struct {
	made, kept, cached, others int // others are of other parts
	seconds                    float64
	denoised                   float64 // seconds of denoising
	times                      map[string]float64
	warnings                   []string
}

// counted is a note that begins with a number of cases.
var counted = regexp.MustCompile(`^([a-z]+: )([0-9]+) (.*)$`)

// repeated is the end of a note of several pictures.
var repeated = regexp.MustCompile(` \(([0-9]+) pictures\)$`)

// note takes up a picture's note once: cases of the same kind in several pictures are added up, and the pictures of other notes counted.
func (t *tally) note(w string) {
	m := counted.FindStringSubmatch(w)
	for i, v := range t.warnings {
		if m == nil && (v == w || repeated.ReplaceAllString(v, "") == w) {
			n := 1
			if q := repeated.FindStringSubmatch(v); q != nil && v != w {
				n, _ = strconv.Atoi(q[1])
			}
			t.warnings[i] = fmt.Sprintf("%s (%d pictures)", w, n+1)
			return
		}
		if q := counted.FindStringSubmatch(v); m != nil && q != nil && q[1] == m[1] && q[3] == m[3] {
			a, _ := strconv.Atoi(m[2])
			b, _ := strconv.Atoi(q[2])
			t.warnings[i] = fmt.Sprintf("%s%d %s", m[1], a+b, m[3])
			return
		}
	}
	t.warnings = append(t.warnings, w)
}

func (t *tally) String() string {
	s := fmt.Sprintf("%d rendered, %d there already", t.made, t.kept)
	if t.cached > 0 {
		s += fmt.Sprintf(", %d from the cache", t.cached)
	}
	if t.others > 0 {
		s += fmt.Sprintf(", %d left to other parts", t.others)
	}
	return s
}

// openJob plans shots into a folder.
// more names what the command writes besides the pictures, inputs what it reads besides their scenes.
func openJob(cmd *cobra.Command, dir, scenePath string, shots []*shot, f *jobFlags, more []string, inputs ...string) (*job.Job, error) {
	program, err := render.Program()
	if err != nil {
		return nil, err
	}
	m := job.Manifest{Kind: cmd.Name(), Args: arguments(cmd, scenePath), Program: program.String(), More: append(more, "report.json"), Overwrite: f.overwrite}
	var scenes []*scene.Description
	for _, s := range shots {
		it, err := s.item()
		if err != nil {
			return nil, err
		}
		m.Plan = append(m.Plan, it)
		scenes = append(scenes, s.d)
	}
	if m.Keys, err = shots[0].d.Keys(); err != nil {
		return nil, err
	}
	read := slices.DeleteFunc(render.Files(scenes...), func(f string) bool {
		return slices.ContainsFunc(shots, func(s *shot) bool { return s.make != nil && s.d.File == f }) // a scene file that the job writes
	})
	if err := guardJob(dir, &m, append(read, inputs...)); err != nil {
		return nil, err
	}
	j, err := job.Open(dir, m)
	if err == nil && len(j.Removed) > 0 {
		tell(cmd.ErrOrStderr(), []string{fmt.Sprintf("%s: %s of an earlier %s are no longer part of it and are gone: %s", dir, strconv.Itoa(len(j.Removed))+" files", cmd.Name(), few(j.Removed))})
	}
	return j, err
}

// few names at most four of a list.
func few(names []string) string {
	if len(names) > 4 {
		return strings.Join(names[:4], ", ") + ", ..."
	}
	return strings.Join(names, ", ")
}

// guardJob refuses a folder that holds what the job did not make, and outputs that are inputs.
func guardJob(dir string, m *job.Manifest, inputs []string) error {
	if err := job.Guard(dir, m); err != nil {
		return err
	}
	var outputs []string
	for _, n := range m.Names() {
		outputs = append(outputs, filepath.Join(dir, n))
	}
	return job.CheckOutputs(outputs, inputs, m.Overwrite)
}

// exrBytes is about what a picture takes on disk, per pixel: eleven channels that hardly pack.
const exrBytes = 32

// filmBytes is what a saved film takes, per pixel.
const filmBytes = 8*(4*8+4) + 4

// makeShots renders what is missing of a job's pictures.
func makeShots(ctx context.Context, j *job.Job, shots []*shot, f *jobFlags, cache string, stderr io.Writer) (*tally, error) {
	shard, err := parseShard(f.shard, 1<<20)
	if err != nil {
		return nil, err
	}
	t := &tally{times: map[string]float64{}}
	todo, err := t.plan(j, shots, shard, cache)
	if err != nil {
		return nil, err
	}
	if len(todo) == 0 {
		return t, nil
	}
	report := newReporter(stderr)
	defer report.done()
	report.Phase(fmt.Sprintf("%d pictures to make, %d there", len(todo), t.kept))
	show := &wholeJob{r: report, total: int64(len(todo))}
	keep := f.stages
	if keep == nil {
		if keep, err = stageCache(ctx, false); err != nil {
			return nil, err
		}
	}
	start := time.Now()
	workers := f.workers
	if workers == 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	for _, s := range todo {
		if ctx.Err() != nil {
			return t, errInterrupted
		}
		it, err := s.item()
		if err != nil {
			return t, err
		}
		if cache != "" && fromCache(j, s, cache) {
			t.cached++
		} else {
			began := time.Now()
			o := render.Options{Workers: workers, Progress: show, Cache: keep, Scratch: j.Dir}
			if err := makeShot(ctx, j, s, o, f.every, t); err != nil {
				return t, err
			}
			t.made++
			t.times[s.name] = time.Since(began).Seconds()
			if cache != "" {
				if err := toCache(j, s, cache); err != nil {
					return t, err
				}
			}
		}
		if err := j.Finish(it); err != nil {
			return t, err
		}
		if err := os.Remove(j.Path(filmName(s))); err != nil && !errors.Is(err, os.ErrNotExist) {
			return t, err
		}
		show.done++
		show.Advance(0, 1)
	}
	t.seconds = time.Since(start).Seconds()
	if t.denoised > 0 {
		report.done()
		fmt.Fprintf(stderr, "denoising took %.1f s of %.1f s\n", t.denoised, t.seconds)
	}
	return t, nil
}

// plan counts what is there, clears away films that are of no use, sees to the space on the disk, and returns what is to make.
func (t *tally) plan(j *job.Job, shots []*shot, shard render.Shard, cache string) (todo []*shot, err error) {
	films := map[string]bool{}
	var need int64
	for i, s := range shots {
		it, err := s.item()
		if err != nil {
			return nil, err
		}
		switch {
		case j.Done(it):
			t.kept++
		case shard.Count > 1 && i%shard.Count != shard.Index-1:
			t.others++
		default:
			todo = append(todo, s)
			pixels := int64(s.d.Picture.Width) * int64(s.d.Picture.Height)
			need += exrBytes * pixels
			if len(todo) == 1 {
				need += filmBytes * pixels
			}
			films[filmName(s)] = true
		}
	}
	// Films of pictures that are no longer planned are of no use.
	old, _ := filepath.Glob(j.Path(".*.film"))
	for _, o := range old {
		if !films[filepath.Base(o)] {
			if err := os.Remove(o); err != nil {
				return nil, err
			}
		}
	}
	if cache != "" {
		job.Sweep(cache)
		need *= 2
	}
	if err := j.Space(need); err != nil {
		return nil, err
	}
	return todo, nil
}

// filmName is the name of the sums of a picture under way; another scene's have another name.
func filmName(s *shot) string { return "." + s.name + "." + s.key[:12] + ".film" }

func makeShot(ctx context.Context, j *job.Job, s *shot, o render.Options, every time.Duration, t *tally) error {
	id, err := render.IdentityOf(s.d)
	if err != nil {
		return err
	}
	o.Keep = &render.Keep{Path: j.Path(filmName(s)), Every: every, Record: id.String()}
	do := s.make
	if do == nil {
		do = func(ctx context.Context, j *job.Job, s *shot, o render.Options) (*render.Result, error) {
			d := *s.d
			d.Picture.Passes = scene.Passes{} // cells hold none
			r, err := looks[s.look](ctx, &d, o)
			if err != nil {
				return nil, err
			}
			return r, r.WriteCell(j.Path(s.name + ".exr"))
		}
	}
	r, err := do(ctx, j, s, o)
	if err != nil {
		if ctx.Err() != nil {
			return errInterrupted
		}
		return fmt.Errorf("%s: %w", s.name, err)
	}
	if r == nil {
		return nil
	}
	defer r.Film.Close()
	if q := r.Stats.Denoised; q != nil {
		t.denoised += q.Seconds
	}
	for _, w := range r.Warnings {
		t.note(s.look + ": " + w)
	}
	return writeJSON(j.Path(s.name+".json"), cellReport{
		Look: s.look, Scene: filepath.Base(s.d.File), Identity: id, Overrides: s.d.Overrides(), Lights: filepath.Base(s.d.LightSetupFile()),
		Width: r.Width, Height: r.Height, Seed: s.d.Picture.Seed, SPP: r.SPP, Error: r.Achieved, Outliers: r.Stats.Outliers, Dropped: r.Stats.Dropped,
		Triangles: r.Stats.Triangles,
	})
}

// The cache holds pictures by key, whatever job made them.
func cachePath(cache string, s *shot) string { return filepath.Join(cache, s.key[:2], s.key) }

// fromCache takes a picture from the cache; it reports false where it is not there whole.
func fromCache(j *job.Job, s *shot, cache string) bool {
	from := cachePath(cache, s)
	pic, err := imageio.Read(from + ".exr")
	if err != nil || pic.W != s.d.Picture.Width || pic.H != s.d.Picture.Height {
		return false
	}
	data, err := os.ReadFile(from + ".json")
	var r cellReport
	if err != nil || json.Unmarshal(data, &r) != nil {
		return false
	}
	// The same light may have been asked for in other words.
	r.Overrides, r.Scene, r.Lights = s.d.Overrides(), filepath.Base(s.d.File), filepath.Base(s.d.LightSetupFile())
	if id, err := render.IdentityOf(s.d); err == nil {
		r.Identity = id
	}
	return job.Copy(j.Path(s.name+".exr"), from+".exr") == nil && writeJSON(j.Path(s.name+".json"), r) == nil
}

func toCache(j *job.Job, s *shot, cache string) error {
	to := cachePath(cache, s)
	if err := os.MkdirAll(filepath.Dir(to), 0o777); err != nil {
		return err
	}
	for _, ext := range []string{".json", ".exr"} {
		if err := job.Copy(to+ext, j.Path(s.name+ext)); err != nil {
			return err
		}
	}
	return nil
}

// writeBytes writes a file whole or not at all.
func writeBytes(path string, data []byte) error {
	return imageio.WriteAtomic(path, func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	})
}
