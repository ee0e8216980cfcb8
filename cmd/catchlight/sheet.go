package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render/imgcmp"
	"catchlight/render/job"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/chart"
	"catchlight/scene/geom"
)

type sheetFlags struct {
	jobFlags
	lightRigs []string
	pupils    []string
	gaze      []string
	views     []string
	vary      []string
	balls     bool
	chart     bool
	pages     []string
	distance  bool
	perDegree float64
}

func sheetCommand() *cobra.Command {
	var f sheetFlags
	c := &cobra.Command{
		Use:   "sheet SCENE",
		Short: "Render a scene in many variations onto one page with captions",
		Long: `Render a scene in many variations onto one page with captions.

The first axis given, in the order of the flags below, makes the columns; all others together make the rows:

  --lights window,low-sun,night     light set-ups by name or file
  --looks traced                    ways to make the picture
  --pupils 2,4,6                    mm across
  --gaze 0:0,20:0,0:15              azimuth:elevation in degrees
  --views 0:0,45:5                  camera about its aim, azimuth:elevation in degrees
  --vary KEY=a,b,c                  values of any key of the scene, picture.seed too; twice at most

--balls adds a grey ball of 18 % and a mirror ball, --chart a colour chart of 24 published patches, both in each column's
light. Each cell is an OpenEXR file with a report in the folder; the page is sheet.png, or what --page says. A cell whose
scene, program and samples are those of an earlier one comes from the cache and is not rendered again. A stopped sheet goes
on when the same command is given again. --shard i/n makes every n-th cell, for many machines.

--distance makes another page: both looks from portrait, conversation and across the room, at the right size for an observer with
--pixels-per-degree, resampled in linear light; from where on the looks can't be told apart, and from where on pupil, colour of
the iris, veins and scattering are not seen. That is told by FLIP: how strongly a difference strikes the eye when one picture takes
the other's place, 0 to 1. What is not seen from clearly further than grain alone is marked. It goes to
out/distance-NAME/distance.png, with distance.json.

  catchlight sheet scenes/salt_widow.yaml --lights window,low-sun,graze --pupils 2,5 --balls --chart --error draft`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runSheet(cmd, args[0], &f) },
	}
	fl := c.Flags()
	f.add(fl, "out/sheet-NAME")
	fl.StringSliceVar(&f.lightRigs, "lights", nil, "light set-ups of lights, by name or file")
	fl.StringSliceVar(&f.pupils, "pupils", nil, "pupils in mm across")
	fl.StringSliceVar(&f.gaze, "gaze", nil, "where the eyes look, azimuth:elevation in degrees")
	fl.StringSliceVar(&f.views, "views", nil, "where the camera stands about its aim, azimuth:elevation in degrees")
	fl.StringArrayVar(&f.vary, "vary", nil, "KEY=a,b,c: values of a key; twice at most")
	fl.BoolVar(&f.balls, "balls", false, "add a grey ball and a mirror ball in each column's light")
	fl.BoolVar(&f.chart, "chart", false, "add a 24-patch colour chart in each column's light")
	fl.BoolVar(&f.distance, "distance", false, "show what is seen from how far instead")
	fl.Float64Var(&f.perDegree, "pixels-per-degree", imgcmp.DeskViewing, "with --distance: what an observer resolves; normal sight is 60")
	fl.StringSliceVar(&f.pages, "page", []string{"png"}, "forms of the page: png, svg, pdf")
	fl.StringVar(&f.cache, "cache", filepath.Join("out", "cache"), "folder of cells by content; empty for none")
	return c
}

// step is one value on an axis.
type step struct {
	label string
	look  string // "" leaves it
	apply func(d *scene.Description) (*scene.Description, error)
}

type axis []step

// with makes a step of overrides.
func with(label string, sets func(d *scene.Description) ([]string, error)) step {
	return step{label: label, apply: func(d *scene.Description) (*scene.Description, error) {
		s, err := sets(d)
		if err != nil {
			return nil, err
		}
		return d.With(s...)
	}}
}

// bearing reads azimuth:elevation in degrees.
func bearing(flag, text string) (az, el float64, err error) {
	a, e, ok := strings.Cut(text, ":")
	if ok {
		az, err = strconv.ParseFloat(strings.TrimSpace(a), 64)
		if err == nil {
			el, err = strconv.ParseFloat(strings.TrimSpace(e), 64)
		}
	}
	if !ok || err != nil || !(math.Abs(az) <= 360 && math.Abs(el) <= 89.9) {
		return 0, 0, usageError{fmt.Errorf("--%s %q: give azimuth:elevation in degrees, within 360 and 89.9, for instance 20:5", flag, text)}
	}
	return az, el, nil
}

// axes turns the flags into axes, in their order.
func (f *sheetFlags) axes(scenePath string) ([]axis, error) {
	var out []axis
	add := func(a axis) {
		if len(a) > 0 {
			out = append(out, a)
		}
	}
	var a axis
	for _, w := range f.lightRigs {
		file, err := findLightSetup(scenePath, w)
		if err != nil {
			return nil, err
		}
		a = append(a, step{label: lightSetupName(file), apply: func(d *scene.Description) (*scene.Description, error) { return d.WithLightSetup(file) }})
	}
	add(a)
	names, err := checkLooks(f.looks)
	if err != nil {
		return nil, err
	}
	a = nil
	for _, n := range names {
		if len(f.looks) > 0 {
			a = append(a, step{label: n, look: n})
		}
	}
	add(a)
	a = nil
	for _, w := range f.pupils {
		mm, err := strconv.ParseFloat(w, 64)
		if err != nil || !(mm > 0) {
			return nil, usageError{fmt.Errorf("--pupils %q: give mm across, for instance 2,4.5", w)}
		}
		a = append(a, with("pupil "+w+" mm", func(d *scene.Description) ([]string, error) { return pupilEyes(d, mm) }))
	}
	add(a)
	a = nil
	for _, w := range f.gaze {
		az, el, err := bearing("gaze", w)
		if err != nil {
			return nil, err
		}
		a = append(a, with(fmt.Sprintf("gaze %g°, %g°", az, el), func(d *scene.Description) ([]string, error) { return lookEyes(d, az, el) }))
	}
	add(a)
	a = nil
	for _, w := range f.views {
		az, el, err := bearing("views", w)
		if err != nil {
			return nil, err
		}
		a = append(a, with(fmt.Sprintf("from %g°, %g°", az, el), func(d *scene.Description) ([]string, error) {
			_, _, dist := cameraBearing(d)
			return []string{"camera.position=null", fmt.Sprintf("camera.orbit={azimuth: %.10g, elevation: %.10g, distance: %.10g}", az, el, dist)}, nil
		}))
	}
	add(a)
	if len(f.vary) > 2 {
		return nil, usageError{fmt.Errorf("--vary: %d keys; two at most", len(f.vary))}
	}
	for _, v := range f.vary {
		key, list, ok := strings.Cut(v, "=")
		values := splitValues(list)
		if !ok || key == "" || slices.Contains(values, "") {
			return nil, usageError{fmt.Errorf("--vary %q: give KEY=a,b,c", v)}
		}
		a = nil
		for _, x := range values {
			a = append(a, with(lastKey(key)+" "+x, func(*scene.Description) ([]string, error) { return []string{key + "=" + x}, nil }))
		}
		add(a)
	}
	return out, nil
}

// splitValues cuts at commas that stand in no brackets.
func splitValues(list string) []string {
	depth, from := 0, 0
	var out []string
	for i, c := range list {
		switch c {
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case ',':
			if depth == 0 {
				out = append(out, strings.TrimSpace(list[from:i]))
				from = i + 1
			}
		}
	}
	return append(out, strings.TrimSpace(list[from:]))
}

// lastKey is the end of a key, enough to know it by.
func lastKey(key string) string {
	parts := strings.Split(key, ".")
	return strings.Join(parts[max(0, len(parts)-2):], ".")
}

// cameraBearing returns from where the camera looks at its aim, in degrees and mm.
func cameraBearing(d *scene.Description) (azimuth, elevation, distance float64) {
	c := &d.Camera
	switch {
	case c.Position != nil:
		v := c.Position.Sub(c.Target)
		distance = v.Len()
		return math.Atan2(v.X, v.Z) * 180 / math.Pi, math.Asin(v.Y/distance) * 180 / math.Pi, distance
	case c.Orbit != nil:
		return c.Orbit.Azimuth, c.Orbit.Elevation, c.Orbit.Distance
	}
	return 0, 0, 1000
}

// frameWidth is how many mm the picture is wide at the camera's aim.
func frameWidth(d *scene.Description) float64 {
	c := &d.Camera
	_, _, dist := cameraBearing(d)
	switch {
	case c.Kind != "perspective":
		return c.Width
	case c.FOV > 0:
		return 2 * dist * math.Tan(geom.Radians(c.FOV)/2)
	}
	return c.SensorWidth / c.FocalLength * dist
}

// cells are a planned sheet: rows of columns.
type cells struct {
	columns, rows []string
	grid          [][]*shot
	references    []*shot // one a column, or none
}

func (c *cells) shots() []*shot {
	var out []*shot
	for _, row := range c.grid {
		out = append(out, row...)
	}
	return append(out, c.references...)
}

// plan makes the scenes of all cells.
func (f *sheetFlags) plan(d *scene.Description, axes []axis) (*cells, error) {
	c := &cells{}
	columns := axis{{}}
	if len(axes) > 0 {
		columns, axes = axes[0], axes[1:]
	}
	rows := [][]step{{}}
	for _, a := range axes {
		var next [][]step
		for _, r := range rows {
			for _, s := range a {
				next = append(next, append(slices.Clone(r), s))
			}
		}
		rows = next
	}
	if n := len(columns) * len(rows); n > 400 {
		return nil, usageError{fmt.Errorf("the sheet has %d cells; 400 at most", n)}
	}
	take := func(d *scene.Description, look *string, s step) (*scene.Description, error) {
		if s.look != "" {
			*look = s.look
		}
		if s.apply == nil {
			return d, nil
		}
		return s.apply(d)
	}
	for _, col := range columns {
		c.columns = append(c.columns, col.label)
	}
	for ri, row := range rows {
		var labels []string
		for _, s := range row {
			labels = append(labels, s.label)
		}
		c.rows = append(c.rows, strings.Join(labels, "\n"))
		var line []*shot
		for ci, col := range columns {
			s := &shot{name: fmt.Sprintf("row%d-column%d", ri+1, ci+1), look: "traced", d: d}
			var err error
			for _, st := range append([]step{col}, row...) {
				if s.d, err = take(s.d, &s.look, st); err != nil {
					return nil, err
				}
			}
			line = append(line, s)
		}
		c.grid = append(c.grid, line)
	}
	if f.balls || f.chart {
		for ci := range columns {
			b := c.grid[0][ci].d
			az, el, _ := cameraBearing(b)
			sets := []string{
				"camera=" + fmt.Sprintf("{kind: orthographic, width: 30, target: [0, 0, 8], orbit: {azimuth: %.10g, elevation: %.10g, distance: 200}}", az, el),
				"objects=" + chart.Objects(f.balls, f.chart, az, el),
			}
			r, err := b.With(sets...)
			if err != nil {
				return nil, err
			}
			c.references = append(c.references, &shot{name: fmt.Sprintf("references-column%d", ci+1), look: c.grid[0][ci].look, d: r})
		}
	}
	return c, nil
}

func runSheet(cmd *cobra.Command, path string, f *sheetFlags) error {
	for _, p := range f.pages {
		if !slices.Contains([]string{"png", "svg", "pdf"}, p) {
			return usageError{fmt.Errorf("--page %s: known are png, svg, pdf", p)}
		}
	}
	if f.distance {
		return runDistance(cmd, path, f)
	}
	if cmd.Flags().Changed("pixels-per-degree") {
		return usageError{errors.New("--pixels-per-degree has no meaning without --distance")}
	}
	axes, err := f.axes(path)
	if err != nil {
		return err
	}
	d, err := f.load(path, cmd.Flags().Changed)
	if err != nil {
		return err
	}
	if d, err = smaller(d, cmd.Flags().Changed("size"), 256); err != nil {
		return err
	}
	d, notes, err := prepare.Framed(cmd.Context(), d, prepare.Options{Workers: f.workers})
	if err != nil {
		return err
	}
	c, err := f.plan(d, axes)
	if err != nil {
		return err
	}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "sheet-"+sceneName(path))
	}
	shots := c.shots()
	j, err := openJob(cmd, dir, path, shots, &f.jobFlags, f.pageNames())
	if err != nil {
		return err
	}
	defer j.Close()
	t, err := makeShots(cmd.Context(), j, shots, &f.jobFlags, f.cache, cmd.ErrOrStderr())
	if t != nil {
		t.warnings = append(notes, t.warnings...)
	}
	return f.finish(cmd.Context(), j, c, d, t, err, cmd.OutOrStdout(), cmd.ErrOrStderr())
}

// pageNames are the files of the page.
func (f *sheetFlags) pageNames() []string {
	var out []string
	for _, kind := range f.pages {
		out = append(out, "sheet."+kind)
	}
	return out
}

// smaller gives the film a longer side of some pixels where no size was asked for.
func smaller(d *scene.Description, asked bool, longer int) (*scene.Description, error) {
	if asked {
		return d, nil
	}
	w, h := float64(d.Picture.Width), float64(d.Picture.Height)
	k := float64(longer) / max(w, h)
	return d.With(fmt.Sprintf("picture.width=%d", max(1, int(math.Round(w*k)))), fmt.Sprintf("picture.height=%d", max(1, int(math.Round(h*k)))))
}

// sceneName is what pages are titled and results are named by: the scene file's name, or, as adopt calls every scene file
// scene.yaml, that of the folder such a file is in.
func sceneName(path string) string {
	name := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	if folder := filepath.Base(filepath.Dir(path)); name == "scene" && strings.Trim(folder, "./\\") != "" {
		return folder
	}
	return name
}

// report writes what a job did and cost; it is the only file with times in it.
func (t *tally) report(j *job.Job, more map[string]any) error {
	r := map[string]any{
		"program": versionText(), "rendered": t.made, "there_already": t.kept, "from_cache": t.cached,
		"seconds": t.seconds, "seconds_by_picture": t.times, "denoise_seconds": t.denoised, "warnings": append([]string{}, t.warnings...),
	}
	for k, v := range more {
		r[k] = v
	}
	return writeJSON(j.Path("report.json"), r)
}

func (f *sheetFlags) finish(_ context.Context, j *job.Job, c *cells, d *scene.Description, t *tally, failed error, stdout, stderr io.Writer) error {
	if t == nil {
		return failed
	}
	tell(stderr, t.warnings)
	fmt.Fprintf(stdout, "%d cells: %s\n", len(c.shots()), t)
	if failed != nil {
		return failed
	}
	if t.others > 0 {
		return nil
	}
	p, err := c.layOut(j, d)
	if err != nil {
		return err
	}
	for _, kind := range f.pages {
		data, err := map[string]func() ([]byte, error){"png": p.PNG, "svg": p.SVG, "pdf": p.PDF}[kind]()
		if err != nil {
			return err
		}
		path := j.Path("sheet." + kind)
		if err := writeBytes(path, data); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s (%d x %d)\n", path, p.W, p.H)
	}
	return t.report(j, nil)
}

// cellWords says how many samples a cell has and how sure it is.
func cellWords(s *shot, r *cellReport) (spp, errs string) {
	spp = fmt.Sprintf("%d samples", r.SPP)
	if r.Error.Target > 0 {
		spp = fmt.Sprintf("%.0f spp (%d to %d)", r.Error.SPPMean, r.Error.SPPLeast, r.Error.SPPMost)
	}
	errs = fmt.Sprintf("error %.1f / %.1f", 255*r.Error.RMS, 255*r.Error.Worst)
	switch {
	case s.look != "traced":
		spp, errs = s.look, "no samples"
	case s.d.Picture.Denoise:
		spp += ", denoised"
	}
	return spp, errs
}
