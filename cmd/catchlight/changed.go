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
	"runtime"
	"slices"
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
explain: in some pixel by much, in some tile of 16 x 16 pixels by less, or in a part of the eye by little. The more pixels and
pictures there are, the more a single one must differ: without a real change the alarm is false at most once in a hundred times
(--alarm) over all of them together. To find small changes, take more samples, or another --seed for NEW, so that the grain of
both is independent.

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
		tellChanged(stdout, q)
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
	note := ""
	if a.Zone == nil && b.Zone == nil {
		if b.Zone, err = zonesOf(ctx, new, b.W, b.H); err != nil {
			note = "parts of the eye are not told apart: " + err.Error()
		}
	}
	r, err := changed.Compare(a, b, alarm, f.allow, zoneNames())
	if err != nil {
		return nil, fmt.Errorf("%s and %s: %w", old, new, err)
	}
	if f.mask != "" {
		if err := writeMask(filepath.Join(f.mask, maskName(name)), r); err != nil {
			return nil, err
		}
	}
	return &changedPicture{Picture: name, Same: r.Same, Changed: r.Changed, Pixels: r.Pixels, Tiles: r.Tiles, Worst: r.Worst,
		At: [2]int{r.WorstX, r.WorstY}, Parts: r.Zones, Note: note}, nil
}

func zoneNames() (out []string) {
	for z := range render.Zones {
		out = append(out, z.String())
	}
	return out
}

// zonesOf finds the parts of the eye in a picture by the scene that its report names, where that is still the same.
func zonesOf(ctx context.Context, path string, w, h int) ([]float32, error) {
	var r report
	data, err := os.ReadFile(strings.TrimSuffix(path, filepath.Ext(path)) + ".json")
	if err == nil {
		err = json.Unmarshal(data, &r)
	}
	if err != nil {
		return nil, errors.New("the picture holds none (render with --passes surfaces), and no report lies beside it")
	}
	d, err := r.scene()
	if err != nil {
		return nil, errors.New("the picture holds none (render with --passes surfaces), and the scene of its report can't be read")
	}
	id, err := render.IdentityOf(d)
	if err != nil {
		return nil, err
	}
	if id.Scene != r.Identity.Scene || d.Picture.Width != w || d.Picture.Height != h {
		return nil, errors.New("the picture holds none (render with --passes surfaces), and the scene of its report is another by now")
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

// tellChanged prints what became of a picture.
func tellChanged(stdout io.Writer, q *changedPicture) {
	switch {
	case q.Same:
		fmt.Fprintf(stdout, "%s: the same to the bit\n", q.Picture)
		return
	case !q.Changed:
		fmt.Fprintf(stdout, "%s: not changed; grain explains it\n", q.Picture)
	default:
		fmt.Fprintf(stdout, "%s: CHANGED; surely %d pixels and %d tiles, most at %d,%d\n", q.Picture, q.Pixels, q.Tiles, q.At[0], q.At[1])
	}
	for _, z := range q.Parts {
		word := ""
		if z.Changed {
			word = ", changed"
		}
		old, new := lumaOf(z.Old), lumaOf(z.New)
		ratio := "-"
		if old > 0 {
			ratio = fmt.Sprintf("%+.2f %%", 100*(new/old-1))
		}
		fmt.Fprintf(stdout, "  %-11s %9s, %.1f standard errors, %d of %d pixels beyond 3 (at most %.0f by chance)%s\n", z.Name, ratio, z.Sigmas, z.Marked, z.Pixels, z.Chance, word)
	}
	if q.Note != "" {
		fmt.Fprintf(stdout, "  %s\n", q.Note)
	}
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
