package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/geom"
)

type turntableFlags struct {
	jobFlags
	frames int
	fps    int
	sweep  string
	reach  float64
	arc    float64
	beside bool
	stop   float64 // f-number; 0 leaves the scene's
	poster int
}

func turntableCommand() *cobra.Command {
	var f turntableFlags
	c := &cobra.Command{
		Use:   "turntable SCENE",
		Short: "Turn the eye, then the lights; frames, animations, a poster and a page that turns by hand",
		Long: `Let the eye look to either side while camera and lights stand still, then turn the lights once round while the eye stands still.

Without --sweep a bare eye turns by 70 degrees to either side, one in lids by 30; --reach says how far. --sweep turn turns the eye
once round instead; --arc DEGREES turns eye and lights by a part of that: from half of it on one side of the front, which is how the
scene has them, to half of it on the other, both ends included. --sweep gaze lets the eye look round in a circle, --sweep pupil opens
and closes the pupil; --reach is then in degrees or in mm. Where eye and lights turn, half of the frames go to each; 96 frames at 12 a
second are 8 seconds. Frames have seeds of their own, so grain does not stand still; how much two frames of the same pose differ is
measured and written to report.json beside what the error bars foretell.

--f-number gives the camera a thin lens of that aperture, sharp on the iris wherever it turns. --beside, with two looks, adds both side
by side. --poster picks the frame that stands for the whole.

The folder gets LOOK-NNNN.exr and .png, LOOK.apng (an animated PNG that loops), LOOK.mp4 where ffmpeg is on the machine,
poster.png, and player.html: one file, offline, turned by drag and keys, blinking between the looks, with a little dome that shows
where the lights stand. A stopped turntable goes on when the same command is given again. --shard i/n makes every n-th frame, for
many machines.`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runTurntable(cmd, args[0], &f) },
	}
	fl := c.Flags()
	f.add(fl, "out/turntable-NAME")
	fl.StringVar(&f.lights, "lights", "", "light set-up whose lights stand in for the scene's own: a name or a file")
	fl.IntVar(&f.frames, "frames", 96, "frames, an even number from 2 to 2000")
	fl.IntVar(&f.fps, "fps", 12, "frames a second, 1 to 60")
	fl.StringVar(&f.sweep, "sweep", "sides", "what moves: sides (eye to either side, then lights), turn (eye once round, then lights), gaze, pupil")
	fl.Float64Var(&f.reach, "reach", 0, "how far the eye turns to either side (degrees; 70 bare, 30 in lids without it), a gaze goes (20) or a pupil (mm either way, 1.5)")
	fl.Float64Var(&f.arc, "arc", 360, "how far the eye and the lights turn, degrees in (0, 360]; less than 360 is centred on the front; makes --sweep turn")
	fl.BoolVar(&f.beside, "beside", false, "with two looks: also both side by side, as beside.apng, beside.mp4 and in the player")
	fl.Float64Var(&f.stop, "f-number", 0, "depth of field of a lens with this aperture, in (0, 1000], sharp on the iris (close-ups from a metre: 8 to 32); 0 leaves the scene's camera")
	fl.IntVar(&f.poster, "poster", 0, "frame that is poster.png and that the player shows first, from 1; 0 takes one by itself")
	return c
}

// pose is one frame: what it shows and the overrides that make it so.
type pose struct {
	caption string
	sets    []string
	lights  float64 // how far they are turned, degrees
}

// angle returns how far frame i of n of a turn is turned, in degrees: even steps of a whole turn from the front, or of an arc from end
// to end.
func (f *turntableFlags) angle(i, n int) float64 {
	if f.arc == 360 {
		return 360 * float64(i) / float64(n)
	}
	return f.arc * (float64(i)/float64(n-1) - 0.5)
}

// poses returns the frames of a loop: the pose after the last is the first again, but for an arc.
func (f *turntableFlags) poses(d *scene.Description) ([]pose, error) {
	var out []pose
	add := func(caption string, sets []string, err error) error {
		out = append(out, pose{caption: caption, sets: sets})
		return err
	}
	n := f.frames
	for i := range n {
		var err error
		switch phase := 2 * math.Pi * float64(i) / float64(n); f.sweep {
		case "turn", "sides":
			half := n / 2
			if i >= half {
				a := f.angle(i-half, half)
				err = add(fmt.Sprintf("lights turned by %.4g°", a), []string{fmt.Sprintf("light_setup.rotation=%.10g", d.LightSetup.Rotation+a)}, nil)
				out[len(out)-1].lights = a
			} else if f.sweep == "turn" {
				a := f.angle(i, half)
				sets, e := turnEyes(d, a, 0)
				err = add(fmt.Sprintf("eye turned by %.4g°", a), sets, e)
			} else {
				a := f.reach * math.Sin(2*math.Pi*float64(i)/float64(half))
				sets, e := lookEyes(d, a, 0)
				err = add(fmt.Sprintf("eye turned by %.4g°", math.Round(10*a)/10), sets, e)
			}
		case "gaze":
			az, el := f.reach*math.Sin(phase), f.reach*math.Cos(phase)/2
			sets, e := lookEyes(d, az, el)
			err = add(fmt.Sprintf("looks to %.1f°, %.1f°", az, el), sets, e)
		case "pupil":
			var sets []string
			names, e := eyes(d)
			mm := 0.0
			for i := range d.Objects {
				if b := &d.Objects[i]; len(names) > 0 && b.Eye != nil {
					if b.Eye.Iris.Pupil == 0 {
						return nil, usageError{fmt.Errorf("--sweep pupil: an eye from a file keeps its own pupil until objects.%s.iris.pupil says the size to sweep about; add --set objects.%[1]s.iris.pupil=4", b.Name)}
					}
					mm = b.Eye.Iris.Pupil - f.reach*math.Sin(phase)
					sets = append(sets, fmt.Sprintf("objects.%s.iris.pupil=%.6g", b.Name, mm))
				}
			}
			err = add(fmt.Sprintf("pupil %.2f mm", mm), sets, e)
		}
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (f *turntableFlags) check() error {
	switch {
	case f.frames < 2 || f.frames > 2000 || f.frames%2 != 0:
		return usageError{fmt.Errorf("--frames %d: give an even number from 2 to 2000", f.frames)}
	case f.fps < 1 || f.fps > 60:
		return usageError{fmt.Errorf("--fps %d is outside [1, 60]", f.fps)}
	case !(f.arc > 0 && f.arc <= 360):
		return usageError{fmt.Errorf("--arc %g is outside (0, 360] degrees", f.arc)}
	case f.poster < 0 || f.poster > f.frames:
		return usageError{fmt.Errorf("--poster %d is outside [0, %d]", f.poster, f.frames)}
	case !(f.stop >= 0 && f.stop <= 1000):
		return usageError{fmt.Errorf("--f-number %g is outside [0, 1000]", f.stop)}
	case f.beside && len(f.looks) != 2:
		return usageError{fmt.Errorf("--beside wants two looks, %d given; add --looks traced,raster", max(1, len(f.looks)))}
	case f.arc != 360 && f.sweep != "turn":
		return usageError{fmt.Errorf("--arc %g: only for --sweep turn; --reach says how far the others go", f.arc)}
	case f.arc != 360 && f.frames < 4:
		return usageError{fmt.Errorf("--frames %d: an arc wants 4 at least, two ends of each turn", f.frames)}
	}
	switch f.sweep {
	case "turn":
	case "sides": // without --reach the scene says how far
		if !(f.reach >= 0 && f.reach <= 90) {
			return usageError{fmt.Errorf("--reach %g is outside (0, 90] degrees", f.reach)}
		}
	case "gaze":
		if f.reach == 0 {
			f.reach = 20
		}
		if !(f.reach > 0 && f.reach <= 60) {
			return usageError{fmt.Errorf("--reach %g is outside (0, 60] degrees", f.reach)}
		}
	case "pupil":
		if f.reach == 0 {
			f.reach = 1.5
		}
		if !(f.reach > 0 && f.reach <= 4) {
			return usageError{fmt.Errorf("--reach %g is outside (0, 4] mm", f.reach)}
		}
	default:
		return usageError{fmt.Errorf("--sweep %s: known are sides, turn, gaze, pupil", f.sweep)}
	}
	return nil
}

// Without --reach an eye turns to either side by as many degrees; one in lids keeps its iris between them. Common practice, no
// published source.
const bareReach, liddedReach = 70.0, 30.0

// settle fills what the scene decides: how far the eye turns, the lens, and the poster.
func (f *turntableFlags) settle(d *scene.Description) (*scene.Description, error) {
	if f.sweep == "sides" && f.reach == 0 {
		f.reach = bareReach
		for i := range d.Objects {
			if b := &d.Objects[i]; b.Shape == "eye" && b.On && (d.LidsOf(b) != nil || b.Pair > 0) {
				f.reach = liddedReach
			}
		}
	}
	if f.poster == 0 {
		f.poster = 1
		if f.sweep == "sides" { // a third of the way to the first side: the cornea stands off the globe
			f.poster = 1 + int(math.Round(float64(f.frames)/2*math.Asin(1.0/3)/(2*math.Pi)))
		}
	}
	if f.stop == 0 {
		return d, nil
	}
	if d.Camera.Kind != "perspective" {
		return nil, usageError{fmt.Errorf("--f-number %g: the scene's camera is %s, which has no lens", f.stop, d.Camera.Kind)}
	}
	return d.With(fmt.Sprintf("camera.f_number=%g", f.stop), "camera.focus_on=iris", "camera.focus_distance=null")
}

func runTurntable(cmd *cobra.Command, path string, f *turntableFlags) error {
	if cmd.Flags().Changed("arc") && !cmd.Flags().Changed("sweep") {
		f.sweep = "turn"
	}
	if err := f.check(); err != nil {
		return err
	}
	names, err := checkLooks(f.looks)
	if err != nil {
		return err
	}
	d, err := f.load(path, cmd.Flags().Changed)
	if err != nil {
		return err
	}
	if d, err = smaller(d, cmd.Flags().Changed("size"), 384); err != nil {
		return err
	}
	if d, err = f.settle(d); err != nil {
		return err
	}
	if f.stages, err = stageCache(cmd.Context(), false); err != nil {
		return err
	}
	d, notes, err := prepare.Framed(cmd.Context(), d, prepare.Options{Workers: f.workers, Cache: f.stages}) // the camera stands still while the eye turns
	if err != nil {
		return err
	}
	if slices.Contains(names, "raster") && f.stop > 0 {
		notes = append(notes, "raster: this look has no lens, so all of it is sharp")
	}
	poses, err := f.poses(d)
	if err != nil {
		return err
	}
	var shots []*shot
	for _, look := range names {
		// One frame more, of the first pose and with a seed of its own: the loop's end, and a measure of grain.
		for i := range len(poses) + 1 {
			p := poses[i%len(poses)]
			seed := (d.Picture.Seed + i) & math.MaxInt32
			e, err := d.With(append(p.sets, fmt.Sprintf("picture.seed=%d", seed))...)
			if err != nil {
				return err
			}
			name := fmt.Sprintf("%s-%04d", look, i+1)
			if i == len(poses) {
				name = look + "-again"
			}
			shots = append(shots, &shot{name: name, look: look, d: e})
		}
	}
	dir := f.out
	if dir == "" {
		dir = filepath.Join("out", "turntable-"+sceneName(path))
	}
	j, err := openJob(cmd, dir, path, shots, &f.jobFlags, f.shownNames(names, shots))
	if err != nil {
		return err
	}
	defer j.Close()
	stdout, stderr := cmd.OutOrStdout(), cmd.ErrOrStderr()
	t, err := makeShots(cmd.Context(), j, shots, &f.jobFlags, "", stderr)
	if t == nil {
		return err
	}
	t.warnings = append(notes, t.warnings...)
	tell(stderr, t.warnings)
	fmt.Fprintf(stdout, "%d frames: %s\n", len(shots), t)
	if err != nil || t.others > 0 {
		return err
	}
	return f.show(cmd.Context(), j, d, names, poses, shots, t, stdout)
}

// shownNames are the files that show makes.
func (f *turntableFlags) shownNames(looks []string, shots []*shot) []string {
	out := []string{"player.html", "poster.png"}
	if f.beside {
		out = append(out, "beside.apng", "beside.mp4")
		for i := range f.frames {
			out = append(out, fmt.Sprintf("beside-%04d.png", i+1))
		}
	}
	for _, n := range looks {
		out = append(out, n+".apng", n+".mp4")
	}
	for _, s := range shots {
		if !strings.HasSuffix(s.name, "-again") {
			out = append(out, s.name+".png")
		}
	}
	return out
}

// grain is how much frames of one pose and different seeds differ, in 8-bit levels.
type grain struct {
	Measured float64 `json:"measured_rms_levels"`
	Foretold float64 `json:"foretold_by_error_bars_levels"`
}

// show writes the frames as seen, the animations, the player and the report.
func (f *turntableFlags) show(ctx context.Context, j *job.Job, d *scene.Description, names []string, poses []pose, shots []*shot, t *tally, stdout io.Writer) error {
	player := page.Player{Title: sceneName(d.File) + ": " + map[string]string{"turn": "the eye turns, then the lights", "sides": "the eye turns to either side, then the lights turn", "gaze": "the eye looks round", "pupil": "the pupil opens and closes"}[f.sweep],
		Width: d.Picture.Width, Height: d.Picture.Height, Delay: 1000 / f.fps}
	for _, p := range poses {
		player.Captions = append(player.Captions, p.caption)
		player.Turned = append(player.Turned, p.lights)
	}
	player.Poster, player.Beside = f.poster-1, f.beside
	var err error
	if player.Lamps, err = f.lamps(ctx, d); err != nil {
		return err
	}
	per := len(poses) + 1
	measured := map[string]grain{}
	var movies []string
	var rows [][]*image.NRGBA
	for k, name := range names {
		look := page.Look{Name: name}
		frames, files, ends, err := pngs(j, shots[k*per:(k+1)*per])
		if err != nil {
			return err
		}
		look.Frames = files
		if k == 0 {
			if err := writeBytes(j.Path("poster.png"), look.Frames[f.poster-1]); err != nil {
				return err
			}
		}
		rows = append(rows, frames)
		g, err := grainOf(j, shots[k*per], shots[(k+1)*per-1], ends[0], ends[1])
		if err != nil {
			return err
		}
		measured[name] = g
		player.Looks = append(player.Looks, look)
		note := fmt.Sprintf("%s: two frames of one pose differ by %.1f 8-bit levels (RMS); their error bars foretell %.1f", name, g.Measured, g.Foretold)
		if d.Picture.Denoise && name == "traced" {
			note += " before grain is taken out"
		}
		player.Notes = append(player.Notes, note+".")
		data, err := page.APNG(frames, 1000/f.fps)
		if err != nil {
			return err
		}
		if err := writeBytes(j.Path(name+".apng"), data); err != nil {
			return err
		}
		movie, err := f.movie(ctx, j, name, len(frames))
		if err != nil {
			return err
		}
		movies = append(movies, movie)
		fmt.Fprintf(stdout, "wrote %s; %s\n", j.Path(name+".apng"), movie)
	}
	if f.beside {
		movie, err := f.sideBySide(ctx, j, names, rows, stdout)
		if err != nil {
			return err
		}
		movies = append(movies, movie)
	}
	data, err := player.HTML()
	if err != nil {
		return err
	}
	if err := writeBytes(j.Path("player.html"), data); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "wrote %s\n", j.Path("player.html"))
	perFrame := 0.0
	if t.made > 0 {
		perFrame = t.seconds / float64(t.made)
	}
	return t.report(j, map[string]any{"grain_of_one_pose": measured, "seconds_per_frame": perFrame, "movies": movies})
}

// pngs writes the frames of one look as seen, all but the last, which is the first pose again. It returns them, their files, and the
// display light of the first and the last.
func pngs(j *job.Job, shots []*shot) (frames []*image.NRGBA, files [][]byte, ends [2][]colour.RGB, err error) {
	for i, s := range shots {
		m, lit, err := seen(j, s)
		if err != nil {
			return nil, nil, ends, err
		}
		if i == 0 {
			ends[0] = lit
		}
		if i == len(shots)-1 {
			ends[1] = lit
			break
		}
		var b bytes.Buffer
		if err := png.Encode(&b, m); err != nil {
			return nil, nil, ends, err
		}
		if err := writeBytes(j.Path(s.name+".png"), b.Bytes()); err != nil {
			return nil, nil, ends, err
		}
		frames, files = append(frames, m), append(files, b.Bytes())
	}
	return frames, files, ends, nil
}

// lamps says where the lights stand about the first eye, as the camera sees it.
func (f *turntableFlags) lamps(ctx context.Context, d *scene.Description) ([]page.Lamp, error) {
	p, err := render.Prepare(ctx, d, render.Options{Workers: f.workers, Cache: f.stages})
	if err != nil {
		return nil, err
	}
	var out []page.Lamp
	az, _, _ := cameraBearing(p.Description)
	toward := geom.RotateY(-geom.Radians(az))
	for _, l := range p.Lamps(0) {
		l.Dir = toward.Vector(l.Dir)
		out = append(out, page.Lamp{Name: l.Name, Even: l.Even, Share: l.Share, Dir: [3]float64{l.Dir.X, l.Dir.Y, l.Dir.Z}})
	}
	return out, nil
}

// sideBySide writes the frames of two looks beside each other, each under its name.
func (f *turntableFlags) sideBySide(ctx context.Context, j *job.Job, names []string, rows [][]*image.NRGBA, stdout io.Writer) (string, error) {
	const line = 22
	var frames []*image.NRGBA
	for i := range rows[0] {
		a, b := rows[0][i], rows[1][i]
		w := a.Bounds().Dx()
		p := &page.Page{W: 2*w + 4, H: a.Bounds().Dy() + line, Title: "beside"}
		for k, m := range []*image.NRGBA{a, b} {
			x := k * (w + 4)
			p.Text(float64(x+4), 16, 14, true, page.Start, page.Ink, page.Fit(names[k], 14, true, float64(w-8)))
			p.Image(x, line, m, names[k])
		}
		m, err := p.Draw()
		if err != nil {
			return "", err
		}
		var out bytes.Buffer
		if err := png.Encode(&out, m); err != nil {
			return "", err
		}
		if err := writeBytes(j.Path(fmt.Sprintf("beside-%04d.png", i+1)), out.Bytes()); err != nil {
			return "", err
		}
		frames = append(frames, m)
	}
	data, err := page.APNG(frames, 1000/f.fps)
	if err == nil {
		err = writeBytes(j.Path("beside.apng"), data)
	}
	if err != nil {
		return "", err
	}
	movie, err := f.movie(ctx, j, "beside", len(frames))
	if err == nil {
		fmt.Fprintf(stdout, "wrote %s; %s\n", j.Path("beside.apng"), movie)
	}
	return movie, err
}

// grainOf compares two pictures of one pose with different seeds in the display signal.
func grainOf(j *job.Job, a, b *shot, x, y []colour.RGB) (grain, error) {
	ra, err := cell(j, a)
	if err != nil {
		return grain{}, err
	}
	rb, err := cell(j, b)
	if err != nil {
		return grain{}, err
	}
	sum := 0.0
	for i := range x {
		for c := range 3 {
			v := colour.EncodeSRGB(x[i][c]) - colour.EncodeSRGB(y[i][c])
			sum += v * v
		}
	}
	return grain{255 * math.Sqrt(sum/float64(3*len(x))), 255 * math.Hypot(ra.Error.RMS, rb.Error.RMS)}, nil
}

// movie writes LOOK.mp4 from the numbered frames where ffmpeg is there, and checks what came out.
func (f *turntableFlags) movie(ctx context.Context, j *job.Job, look string, frames int) (string, error) {
	tool, err := exec.LookPath("ffmpeg")
	if err != nil {
		return "no MP4: ffmpeg is not on this machine", nil
	}
	tmp := j.Path(fmt.Sprintf(".%s.mp4.%d-1.tmp", look, os.Getpid()))
	defer os.Remove(tmp)
	cmd := exec.CommandContext(ctx, tool, "-nostdin", "-loglevel", "error", "-y", "-framerate", strconv.Itoa(f.fps), "-i", j.Path(look+"-%04d.png"),
		"-vf", "pad=ceil(iw/2)*2:ceil(ih/2)*2", "-c:v", "libx264", "-preset", "medium", "-crf", "16", "-pix_fmt", "yuv420p", "-threads", "1",
		"-movflags", "+faststart", "-fflags", "+bitexact", "-flags:v", "+bitexact", "-map_metadata", "-1", "-f", "mp4", tmp)
	if out, err := cmd.CombinedOutput(); err != nil {
		if ctx.Err() != nil {
			return "", errInterrupted
		}
		return "no MP4: ffmpeg says " + strings.TrimSpace(string(out)), nil
	}
	probe, err := exec.LookPath("ffprobe")
	if err != nil {
		return "no MP4: it can't be checked, ffprobe is not on this machine", nil
	}
	out, err := exec.CommandContext(ctx, probe, "-v", "error", "-count_frames", "-select_streams", "v:0", "-show_entries", "stream=nb_read_frames", "-of", "csv=p=0", tmp).Output()
	if n, _ := strconv.Atoi(strings.Trim(strings.TrimSpace(string(out)), ",")); err != nil || n != frames {
		return "", errors.Join(fmt.Errorf("%s.mp4: %d frames read back, %d written", look, n, frames), err)
	}
	if err := os.Rename(tmp, j.Path(look+".mp4")); err != nil {
		return "", err
	}
	return fmt.Sprintf("%s (%d frames, read back)", j.Path(look+".mp4"), frames), nil
}
