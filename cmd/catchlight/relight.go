package main

import (
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"catchlight/render"
	"catchlight/render/film"
	"catchlight/render/job"
	"catchlight/render/relight"
	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

type relightFlags struct {
	out       []string
	ev        []string
	tint      []string
	white     []string
	off       []string
	only      []string
	exposure  float64
	overwrite bool
}

func relightCommand() *cobra.Command {
	var f relightFlags
	c := &cobra.Command{
		Use:   "relight PICTURE.exr",
		Short: "Change brightness and colour of the lights in a finished picture, without rendering again",
		Long: `Change brightness and colour of the lights in a finished picture, without rendering again.

The picture must hold what each light adds: render it once with --passes lights,errors and an --out that ends in .exr. Without any
change this command lists the lights, and how much of the picture's light each brings.

  --ev NAME=STOPS       brighter or darker: 1 is twice the light, -1 is half
  --colour NAME=R,G,B   light of another colour: what it has now times these three
  --white NAME=KELVIN   white balance, on top of the colour that the light has: that times a black body of so many kelvin, at equal
                        luminance. 3000 is warmer than before, 6500 nearly as before, 9000 cooler; a neutral light becomes that
                        black body, a warm one warmer than it
  --off NAME            without this light
  --only NAME           with this light alone

NAME is a light of the scene. An environment has six sides, as seen from straight before the eye: sky is all of them, sky.left one;
the others are right, above, below, front (where the camera stands) and behind. All flags may be repeated.

The light is exact: it is what a render with such lights would give, with the grain of these samples. Passes are mixed raw, so the
result is not denoised, also where the scene asks for it: take more samples, or set the lights in the scene and render it. Grain that
was turned up by much shows; the command says how much there is at most, and how much there was. Where a light stands and how large
it is can't be changed so. The .exr file says how noisy it is where errors were rendered, so that catchlight changed takes it.

  catchlight render scenes/ferry_keeper.yaml --passes lights,errors --out keeper.exr
  catchlight relight keeper.exr
  catchlight relight keeper.exr --ev window=-1 --white window=3200 --out evening.png --out evening.exr`,
		Args: exactly(1, "one .exr picture is needed"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRelight(args[0], &f, cmd.Flags().Changed, cmd.OutOrStdout())
		},
	}
	fl := c.Flags()
	fl.StringArrayVarP(&f.out, "out", "o", nil, "picture to write, .png (as seen) or .exr (linear); repeatable")
	fl.StringArrayVar(&f.ev, "ev", nil, "NAME=STOPS: that light so much brighter; repeatable")
	fl.StringArrayVar(&f.tint, "colour", nil, "NAME=R,G,B: that light times this colour; repeatable")
	fl.StringArrayVar(&f.white, "white", nil, "NAME=KELVIN: that light of this white balance; repeatable")
	fl.StringArrayVar(&f.off, "off", nil, "NAME: without that light; repeatable")
	fl.StringArrayVar(&f.only, "only", nil, "NAME: without all others; repeatable")
	fl.Float64Var(&f.exposure, "exposure", 0, "exposure of the picture as seen, in stops, instead of the scene's")
	overwriteFlag(fl, &f.overwrite)
	return c
}

// changes reads the flags.
func (f *relightFlags) changes(names []string) (map[string]relight.Change, error) {
	out := map[string]relight.Change{}
	each := func(flag string, list []string, set func(c *relight.Change, value string) error) error {
		for _, text := range list {
			name, value, ok := strings.Cut(text, "=")
			if !ok && flag != "off" {
				return usageError{fmt.Errorf("--%s %q: give a light and a value, as NAME=VALUE", flag, text)}
			}
			c := out[name]
			if err := set(&c, value); err != nil {
				return usageError{fmt.Errorf("--%s %q: %w", flag, text, err)}
			}
			out[name] = c
		}
		return nil
	}
	number := func(to *float64) func(value string) error {
		return func(value string) (err error) {
			if *to, err = strconv.ParseFloat(value, 64); err != nil {
				return fmt.Errorf("%q is no number", value)
			}
			return nil
		}
	}
	if err := each("ev", f.ev, func(c *relight.Change, v string) error { return number(&c.EV)(v) }); err != nil {
		return nil, err
	}
	if err := each("white", f.white, func(c *relight.Change, v string) error {
		if err := number(&c.Kelvin)(v); err != nil {
			return err
		}
		_, err := colour.BlackBody(c.Kelvin)
		return err
	}); err != nil {
		return nil, err
	}
	if err := each("colour", f.tint, func(c *relight.Change, v string) error {
		list := strings.Split(v, ",")
		if len(list) != 3 {
			return fmt.Errorf("%q is no colour; give three numbers as R,G,B", v)
		}
		for i, q := range list {
			if err := number(&c.Colour[i])(q); err != nil {
				return err
			}
		}
		if c.Colour == (colour.RGB{}) {
			c.Off = true
		}
		_, err := c.Gain()
		return err
	}); err != nil {
		return nil, err
	}
	off := slices.Clone(f.off)
	for _, n := range f.only {
		if !slices.ContainsFunc(names, func(m string) bool { return of(m, n) }) {
			return nil, usageError{fmt.Errorf("--only %s: no such light; there are %s", n, strings.Join(names, ", "))}
		}
	}
	for _, m := range names {
		if len(f.only) > 0 && !slices.ContainsFunc(f.only, func(n string) bool { return of(m, n) }) {
			off = append(off, m)
		}
	}
	err := each("off", off, func(c *relight.Change, _ string) error {
		c.Off = true
		return nil
	})
	return out, err
}

// of reports whether a light is the named one or a side of it.
func of(light, name string) bool { return light == name || strings.HasPrefix(light, name+".") }

func runRelight(path string, f *relightFlags, given func(string) bool, stdout io.Writer) error {
	for _, o := range f.out {
		if ext := strings.ToLower(filepath.Ext(o)); ext != ".png" && ext != ".exr" {
			return usageError{fmt.Errorf("--out %s: the ending %q is not one of .png .exr", o, ext)}
		}
	}
	if err := job.CheckOutputs(f.out, []string{path}, f.overwrite); err != nil {
		return err
	}
	for _, o := range f.out {
		if err := writable(o); err != nil {
			return err
		}
	}
	s, err := relight.Open(path)
	if err != nil {
		return err
	}
	changes, err := f.changes(s.Names)
	if err != nil {
		return err
	}
	if len(changes) == 0 && len(f.out) == 0 {
		return listPasses(s, stdout)
	}
	gains, err := s.Gains(changes)
	if err != nil {
		return usageError{err}
	}
	if len(f.out) == 0 {
		return usageError{fmt.Errorf("relight: --out names the picture to write")}
	}
	start := time.Now()
	p := s.Mix(gains)
	took := time.Since(start)
	fmt.Fprintf(stdout, "mixed %s in %d ms; %s\n", lightsText(s), took.Milliseconds(), relitNoise(s, p))
	if s.Attrs["denoised"] != "" {
		fmt.Fprintln(stdout, "the picture was rendered to be denoised; passes are mixed raw, so this one is not: take more samples, or render the scene with these lights")
	}
	for _, o := range f.out {
		if err := f.write(o, s, p, given); err != nil {
			return err
		}
		fmt.Fprintf(stdout, "wrote %s (%d x %d)\n", o, p.W, p.H)
	}
	return nil
}

// listPasses prints the lights of a picture.
func listPasses(s *relight.Set, stdout io.Writer) error {
	for i, n := range s.Names {
		if _, err := fmt.Fprintf(stdout, "%-24s %5.1f %% of the picture's light\n", n, 100*s.Share(i)); err != nil {
			return err
		}
	}
	return nil
}

// lightsText counts lights, and passes where environments have several.
func lightsText(s *relight.Set) string {
	n := s.Lights()
	text := fmt.Sprintf("%d lights", n)
	if n == 1 {
		text = "1 light"
	}
	if len(s.Names) > n {
		text += fmt.Sprintf(" (%d passes: an environment has one for each side)", len(s.Names))
	}
	return text
}

// relitNoise says how noisy a picture is, and how noisy it was before.
func relitNoise(s *relight.Set, p *relight.Picture) string {
	if p.Error == nil {
		return "its grain is not known, and catchlight changed does not take it: the passes hold no errors (render with --passes lights,errors)"
	}
	var light, noise float64
	n := 0
	for i, e := range p.Error {
		if l := e.Luminance(); l == l {
			noise, light, n = noise+l, light+p.Mean[i].Luminance(), n+1
		}
	}
	if light <= 0 || n == 0 {
		return "no light is left"
	}
	text := fmt.Sprintf("grain (one standard error) is at most %.2g %% of the light, in the mean over the pixels", 100*noise/light)
	if was, ok := s.Grain(); ok {
		text += fmt.Sprintf("; before it was %.2g %%; four times the samples halve it", 100*was)
	}
	return text
}

// write writes the picture in the format of the path's ending.
func (f *relightFlags) write(path string, s *relight.Set, p *relight.Picture, given func(string) bool) error {
	if strings.ToLower(filepath.Ext(path)) == ".exr" {
		return writeRelit(path, s, p)
	}
	d := &scene.Description{}
	if err := json.Unmarshal([]byte(s.Attrs[render.ViewAttr]), &d.View); err != nil {
		return fmt.Errorf("how the picture is to be shown can't be read from it: %w", err)
	}
	if given("exposure") {
		if !(f.exposure >= -40 && f.exposure <= 40) {
			return usageError{fmt.Errorf("--exposure %g is outside [-40, 40]", f.exposure)}
		}
		d.View.Exposure = f.exposure
	}
	lit, err := render.Presented(d, p.W, p.Mean, p.Alpha)
	if err != nil {
		return err
	}
	seed, _ := strconv.ParseUint(s.Attrs["seed"], 10, 64)
	pix, channels := levels(lit, p.Alpha, d.View.Background == "transparent", seed)
	return imageio.WritePNG(path, p.W, p.H, channels, pix, map[string]string{"Software": "catchlight", "relit": "yes: lights changed after the render"})
}

// writeRelit writes the linear picture.
func writeRelit(path string, s *relight.Set, p *relight.Picture) error {
	n := p.W * p.H
	plane := func(name string, half bool, at func(i int) float64) imageio.EXRChannel {
		pix := make([]float32, n)
		for i := range pix {
			pix[i] = float32(at(i))
		}
		return imageio.EXRChannel{Name: name, Half: half, Pix: pix}
	}
	out := []imageio.EXRChannel{plane("A", true, func(i int) float64 { return p.Alpha[i] })}
	for c, name := range []string{"R", "G", "B"} {
		out = append(out, plane(name, false, func(i int) float64 { return p.Mean[i][c] }))
		if p.Error != nil {
			out = append(out, plane("error."+name, true, func(i int) float64 { return p.Error[i][c] }))
		}
		if p.Interval != nil {
			out = append(out, plane("interval."+name, true, func(i int) float64 { return p.Interval[i][c] }))
		}
	}
	if p.Samples != nil {
		out = append(out, plane("samples", false, func(i int) float64 { return float64(p.Samples[i]) }))
	}
	attrs := map[string]string{"relit": "yes: lights changed after the render"}
	for _, k := range []string{"Software", "scene", "about", "samples", "seed", film.GrainAttr, render.ViewAttr} {
		if v := s.Attrs[k]; v != "" {
			attrs[k] = v
		}
	}
	return imageio.WriteEXR(path, p.W, p.H, out, attrs)
}
