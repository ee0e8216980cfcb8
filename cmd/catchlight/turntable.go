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
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"catchlight/render/job"
	"catchlight/render/page"
	"catchlight/render/prepare"
	"catchlight/scene"
	"catchlight/scene/colour"
)

type turntableFlags struct {
	jobFlags
	frames int
	fps    int
	sweep  string
	reach  float64
	arc    float64
}

func turntableCommand() *cobra.Command {
	var f turntableFlags
	c := &cobra.Command{
		Use:   "turntable SCENE",
		Short: "Turn the eye once round, then the lights; frames, animations and a page that turns by hand",
		Long: `Turn the eye once round while camera and lights stand still, then the lights once round while the eye stands still.

--arc DEGREES turns each by a part of that: from half of it on one side of the front, which is how the scene has them, to half of it
on the other, both ends included.

--sweep gaze lets the eye look round in a circle instead, --sweep pupil opens and closes the pupil; --reach says how far, in
degrees or in mm. Half of the frames go to each turn. Frames have seeds of their own, so grain does not stand still; how much
two frames of the same pose differ is measured and written to report.json beside what the error bars foretell.

The folder gets LOOK-NNNN.exr and .png, LOOK.apng (an animated PNG that loops), LOOK.mp4 where ffmpeg is on the machine, and
player.html: one file, offline, turned by drag and keys, blinking between the looks. A stopped turntable goes on when the
same command is given again. --shard i/n makes every n-th frame, for many machines.`,
		Args: exactly(1, "one scene file is needed"),
		RunE: func(cmd *cobra.Command, args []string) error { return runTurntable(cmd, args[0], &f) },
	}
	fl := c.Flags()
	f.add(fl, "out/turntable-NAME")
	fl.StringVar(&f.lights, "lights", "", "light set-up whose lights stand in for the scene's own: a name or a file")
	fl.IntVar(&f.frames, "frames", 48, "frames, an even number from 2 to 2000")
	fl.IntVar(&f.fps, "fps", 12, "frames a second, 1 to 60")
	fl.StringVar(&f.sweep, "sweep", "turn", "what moves: turn (eye, then lights), gaze, pupil")
	fl.Float64Var(&f.reach, "reach", 0, "how far a gaze (degrees, 20 without it) or a pupil (mm either way, 1.5 without it) goes")
	fl.Float64Var(&f.arc, "arc", 360, "how far the eye and the lights turn, degrees in (0, 360]; less than 360 is centred on the front")
	return c
}

// pose is one frame: what it shows and the overrides that make it so.
type pose struct {
	caption string
	sets    []string
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
		out = append(out, pose{caption, sets})
		return err
	}
	n := f.frames
	for i := range n {
		var err error
		switch phase := 2 * math.Pi * float64(i) / float64(n); f.sweep {
		case "turn":
			half := n / 2
			if i < half {
				a := f.angle(i, half)
				sets, e := turnEyes(d, a, 0)
				err = add(fmt.Sprintf("eye turned by %.4g°", a), sets, e)
			} else {
				a := f.angle(i-half, half)
				err = add(fmt.Sprintf("lights turned by %.4g°", a), []string{fmt.Sprintf("light_setup.rotation=%.10g", d.LightSetup.Rotation+a)}, nil)
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
	case f.arc != 360 && f.sweep != "turn":
		return usageError{fmt.Errorf("--arc %g: only for --sweep turn; --reach says how far the others go", f.arc)}
	case f.arc != 360 && f.frames < 4:
		return usageError{fmt.Errorf("--frames %d: an arc wants 4 at least, two ends of each turn", f.frames)}
	}
	switch f.sweep {
	case "turn":
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
		return usageError{fmt.Errorf("--sweep %s: known are turn, gaze, pupil", f.sweep)}
	}
	return nil
}

func runTurntable(cmd *cobra.Command, path string, f *turntableFlags) error {
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
	d, notes, err := prepare.Framed(cmd.Context(), d, prepare.Options{Workers: f.workers}) // the camera stands still while the eye turns
	if err != nil {
		return err
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
	j, err := openJob(cmd, dir, path, shots, &f.jobFlags, shownNames(names, shots))
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
func shownNames(looks []string, shots []*shot) []string {
	out := []string{"player.html"}
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
	player := page.Player{Title: sceneName(d.File) + ": " + map[string]string{"turn": "the eye turns, then the lights", "gaze": "the eye looks round", "pupil": "the pupil opens and closes"}[f.sweep],
		Width: d.Picture.Width, Height: d.Picture.Height, Delay: 1000 / f.fps}
	for _, p := range poses {
		player.Captions = append(player.Captions, p.caption)
	}
	per := len(poses) + 1
	measured := map[string]grain{}
	var movies []string
	for k, name := range names {
		var frames []*image.NRGBA
		look := page.Look{Name: name}
		var first, again []colour.RGB
		for i, s := range shots[k*per : (k+1)*per] {
			m, lit, err := seen(j, s)
			if err != nil {
				return err
			}
			if i == 0 {
				first = lit
			}
			if i == per-1 {
				again = lit
				break
			}
			var b bytes.Buffer
			if err := png.Encode(&b, m); err != nil {
				return err
			}
			if err := writeBytes(j.Path(s.name+".png"), b.Bytes()); err != nil {
				return err
			}
			frames, look.Frames = append(frames, m), append(look.Frames, b.Bytes())
		}
		g, err := grainOf(j, shots[k*per], shots[(k+1)*per-1], first, again)
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
