package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/changed"
	"catchlight/render/job"
	"catchlight/scene/imageio"
)

type changedFlags struct {
	alarm     float64
	allow     float64
	mask      string
	json      string
	overwrite bool
}

// errChanged says that pictures are not what they were.
var errChanged = errors.New("changed")

func changedCommand() *cobra.Command {
	var f changedFlags
	c := &cobra.Command{
		Use:   "changed OLD NEW",
		Short: "Tell whether a render really changed, or differs by its grain alone",
		Long: `Tell whether a render really changed, or differs by its grain alone.

OLD and NEW are two .exr pictures that catchlight made of one view, or two folders of them; in folders pictures of the same name
are compared. Use it after a change that should leave pictures alone: keep a folder of good renders, render again, compare.

Each .exr says how noisy every pixel is. Two pictures are called changed where they differ by more than their grain can
explain: in some pixel by much, in some square of 16 x 16 pixels by less, or in the mean of a part of the eye by little. The more
pixels and pictures there are, the more a single one must differ: without a real change the alarm is false at most once in a hundred
times (--alarm) over all of them together.

No change found does not mean that there is none. For each part it says from what per cent on a change of its mean, in red, green or
blue, would have been found nineteen times in twenty. To find smaller ones, take more samples, and another --seed for NEW, so that the
grain of both is independent. Where the reports beside the pictures show that cameras, lights or scenes differ, it says so first.

It ends with code 0 where nothing changed and with 3 where something did, so that scripts can ask.

  --mask FOLDER   writes NAME.png for each picture: white where the difference is beyond three standard errors, grey below;
                  by chance at most about one pixel in 125 is white
  --json FILE     writes all numbers

  catchlight changed good/keeper.exr new/keeper.exr
  catchlight changed good new --mask out/mask --json out/changed.json`,
		Args: exactly(2, "two pictures or two folders are needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runChanged(cmd.Context(), args[0], args[1], &f, cmd.OutOrStdout())
		},
	}
	fl := c.Flags()
	fl.Float64Var(&f.alarm, "alarm", 0.01, "how often all of it may be called changed by chance, in (0, 0.5]")
	fl.Float64Var(&f.allow, "allow", 0, "relative difference that does not count, for instance 0.01 for one per cent")
	fl.StringVar(&f.mask, "mask", "", "folder for a mask of each picture")
	fl.StringVar(&f.json, "json", "", "file for all numbers")
	overwriteFlag(fl, &f.overwrite)
	return c
}

// changedPicture is what the JSON says of a pair.
type changedPicture struct {
	Picture string         `json:"picture"`
	Same    bool           `json:"same_bits"`
	Changed bool           `json:"changed"`
	Pixels  int            `json:"pixels_changed"`
	Tiles   int            `json:"tiles_changed"`
	Worst   float64        `json:"largest_sigmas"`
	At      [2]int         `json:"largest_at"`
	Parts   []changed.Zone `json:"parts"`
	Note    string         `json:"note,omitempty"`
	Differ  string         `json:"scenes_differ,omitempty"` // by what the two are not of one scene
}

// changedReport is the JSON of the command.
type changedReport struct {
	Program  string           `json:"program"`
	Old      string           `json:"old"`
	New      string           `json:"new"`
	Alarm    float64          `json:"false_alarm"`
	Allow    float64          `json:"allowed_difference"`
	Changed  int              `json:"pictures_changed"`
	Pictures []changedPicture `json:"pictures"`
}

// pairs lists what is to be compared: names, relative to two folders. missing are those that only the old one has.
func pairs(old, new string) (names, missing []string, err error) {
	a, err := os.Stat(old)
	if err != nil {
		return nil, nil, err
	}
	b, err := os.Stat(new)
	if err != nil {
		return nil, nil, err
	}
	if a.IsDir() != b.IsDir() {
		return nil, nil, usageError{fmt.Errorf("changed: give two pictures or two folders; of %s and %s one is a folder", old, new)}
	}
	if !a.IsDir() {
		return []string{""}, nil, nil
	}
	err = filepath.WalkDir(old, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || strings.ToLower(filepath.Ext(path)) != ".exr" || strings.HasPrefix(d.Name(), ".") {
			return err
		}
		name, err := filepath.Rel(old, path)
		if err != nil {
			return err
		}
		if _, err := os.Stat(filepath.Join(new, name)); err != nil {
			missing = append(missing, name)
			return nil
		}
		names = append(names, name)
		return nil
	})
	if err == nil && len(names)+len(missing) == 0 {
		err = fmt.Errorf("%s: there is no .exr picture in it", old)
	}
	slices.Sort(names)
	return names, missing, err
}

// maskName is the name of a picture's mask in the folder.
func maskName(name string) string {
	return strings.TrimSuffix(name, filepath.Ext(name)) + ".png"
}

func runChanged(ctx context.Context, old, new string, f *changedFlags, stdout io.Writer) error {
	switch {
	case !(f.alarm > 0 && f.alarm <= 0.5):
		return usageError{fmt.Errorf("--alarm %g is outside (0, 0.5]", f.alarm)}
	case !(f.allow >= 0 && f.allow <= 1):
		return usageError{fmt.Errorf("--allow %g is outside [0, 1]", f.allow)}
	}
	names, missing, err := pairs(old, new)
	if err != nil {
		return err
	}
	var outputs []string
	for _, n := range names {
		if f.mask != "" {
			outputs = append(outputs, filepath.Join(f.mask, maskName(maskOf(n, new))))
		}
	}
	if f.json != "" {
		outputs = append(outputs, f.json)
	}
	if err := job.CheckOutputs(outputs, []string{old, new}, f.overwrite); err != nil {
		return err
	}
	for _, o := range outputs {
		if err := writable(o); err != nil {
			return err
		}
	}
	r := changedReport{Program: versionText(), Old: old, New: new, Alarm: f.alarm, Allow: f.allow, Changed: len(missing), Pictures: []changedPicture{}}
	for _, n := range names {
		if ctx.Err() != nil {
			return errInterrupted
		}
		q, err := f.pair(ctx, filepath.Join(old, n), filepath.Join(new, n), maskOf(n, new), f.alarm/float64(len(names)))
		if err != nil {
			return err
		}
		if q.Changed {
			r.Changed++
		}
		r.Pictures = append(r.Pictures, *q)
		tellChanged(stdout, q, f.allow)
	}
	for _, n := range missing {
		r.Pictures = append(r.Pictures, changedPicture{Picture: n, Changed: true, Parts: []changed.Zone{}, Note: "missing in " + new})
		fmt.Fprintf(stdout, "%s: missing in %s\n", n, new)
	}
	if f.json != "" {
		if err := writeJSON(f.json, r); err != nil {
			return err
		}
	}
	if r.Changed > 0 {
		return fmt.Errorf("%w: %d of %d pictures", errChanged, r.Changed, len(r.Pictures))
	}
	return nil
}

// maskOf is the name that a picture goes by: that in its folder, or its own.
func maskOf(name, new string) string {
	if name == "" {
		return filepath.Base(new)
	}
	return name
}

// pair compares two pictures.
func (f *changedFlags) pair(ctx context.Context, old, new, name string, alarm float64) (*changedPicture, error) {
	a, err := changed.Read(old)
	if err != nil {
		return nil, err
	}
	b, err := changed.Read(new)
	if err != nil {
		return nil, err
	}
	differ, note := scenesDiffer(old, new, a, b), ""
	if a.W == b.W && a.H == b.H && a.Zone == nil && b.Zone == nil {
		if b.Zone, err = zonesOf(ctx, new, b.W, b.H); err != nil {
			a.Zone, _ = zonesOf(ctx, old, a.W, a.H)
		}
		if a.Zone == nil && err != nil {
			note = "the parts of the eye can't be told apart: " + err.Error()
		}
	}
	r, err := changed.Compare(a, b, alarm, f.allow, zoneNames())
	if err != nil {
		if differ != "" {
			err = fmt.Errorf("%w; %s", err, differ)
		}
		return nil, fmt.Errorf("%s and %s: %w", old, new, err)
	}
	if f.mask != "" {
		if err := writeMask(filepath.Join(f.mask, maskName(name)), r); err != nil {
			return nil, err
		}
	}
	return &changedPicture{Picture: name, Same: r.Same, Changed: r.Changed, Pixels: r.Pixels, Tiles: r.Tiles, Worst: r.Worst,
		At: [2]int{r.WorstX, r.WorstY}, Parts: r.Zones, Note: note, Differ: differ}, nil
}

func zoneNames() (out []string) {
	for z := range render.Zones {
		out = append(out, z.String())
	}
	return out
}

// zonesOf finds the parts of the eye in a picture by the scene that its report names, where that is still the same.
func zonesOf(ctx context.Context, path string, w, h int) ([]float32, error) {
	bare := path + " was rendered without --passes surfaces, and "
	r, err := reportOf(path)
	if err != nil {
		return nil, errors.New(bare + "no report lies beside it that names its scene")
	}
	d, err := r.scene()
	if err != nil {
		return nil, fmt.Errorf("%sthe scene that its report names can't be read from this folder: %w", bare, err)
	}
	id, err := render.IdentityOf(d)
	if err != nil {
		return nil, err
	}
	if id.Scene != r.Identity.Scene || d.Picture.Width != w || d.Picture.Height != h {
		return nil, fmt.Errorf("%s%s, the scene that its report names, is another by now", bare, r.Scene)
	}
	o := render.Options{Workers: runtime.GOMAXPROCS(0)}
	p, err := render.Prepare(ctx, d, o)
	if err != nil {
		return nil, err
	}
	out := make([]float32, w*h)
	for i, z := range p.Regions(o).Zone {
		out[i] = float32(z)
	}
	return out, nil
}

// tellChanged prints what became of a picture; allow is the relative difference that did not count.
func tellChanged(stdout io.Writer, q *changedPicture, allow float64) {
	say := func(format string, list ...any) { fmt.Fprintf(stdout, format+"\n", list...) }
	if q.Differ != "" {
		say("%s: %s; what follows may come of that", q.Picture, q.Differ)
	}
	switch {
	case q.Same:
		say("%s: the same to the bit", q.Picture)
		return
	case !q.Changed:
		say("%s: no change found; grain explains all that differs", q.Picture)
	default:
		say("%s: CHANGED, %s; most at pixel %d,%d", q.Picture, whereChanged(q), q.At[0], q.At[1])
	}
	for _, z := range q.Parts {
		say("  %-11s %s", z.Name, partText(&z, allow))
	}
	if q.Note != "" {
		say("  %s", q.Note)
	}
}

// whereChanged says in what a change was found.
func whereChanged(q *changedPicture) string {
	var out []string
	some := func(n int, one, many string) {
		switch {
		case n == 1:
			out = append(out, "in 1 "+one)
		case n > 1:
			out = append(out, fmt.Sprintf("in %d %s", n, many))
		}
	}
	some(q.Pixels, "pixel by itself", "pixels by themselves")
	some(q.Tiles, "square of 16 x 16 pixels", "squares of 16 x 16 pixels")
	parts := 0
	for _, z := range q.Parts {
		if z.Changed {
			parts++
		}
	}
	some(parts, "mean below", "means below")
	return "found " + strings.Join(out, ", ")
}

// partText says what became of the mean of a part.
func partText(z *changed.Zone, allow float64) string {
	old, new := lumaOf(z.Old), lumaOf(z.New)
	by := ""
	if old > 0 {
		by = fmt.Sprintf("%+.2f %%", 100*(new/old-1))
	}
	if z.Changed {
		if by == "" {
			by = "from no light"
		}
		return fmt.Sprintf("CHANGED, mean %s (%.1f standard errors); %d of %d pixels beyond 3, by chance at most %.0f", by, z.Sigmas, z.Marked, z.Pixels, z.Chance)
	}
	text := "no change found"
	switch {
	case z.Least > 0:
		text += fmt.Sprintf("; one of %s %% or more would have been", upTo(100*z.Least))
	case by != "" && allow > 0:
		text += "; none can be found with so much grain and so much allowed"
	case by != "":
		text += "; none can be found with so much grain"
	}
	if by != "" {
		text += fmt.Sprintf(" (mean %s, within its grain)", by)
	}
	return text
}

// upTo writes a number with two digits, rounded up.
func upTo(v float64) string {
	step := math.Pow(10, math.Floor(math.Log10(v))-1)
	return strconv.FormatFloat(math.Ceil(v/step-1e-9)*step, 'f', max(0, int(-math.Round(math.Log10(step)))), 64)
}

// lumaOf is the luminance of a colour of Rec. 709.
func lumaOf(c [3]float64) float64 { return 0.2126*c[0] + 0.7152*c[1] + 0.0722*c[2] }

// writeMask writes white where a pixel differs by more than three standard errors, and grey below.
func writeMask(path string, r *changed.Report) error {
	pix := make([]byte, len(r.Marks))
	for i, s := range r.Sigmas {
		pix[i] = byte(min(42*s, 126))
		if r.Marks[i] {
			pix[i] = 255
		}
	}
	return imageio.WritePNG(path, r.Width, r.Height, 1, pix, nil)
}
