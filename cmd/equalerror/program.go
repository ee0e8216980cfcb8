package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"

	"catchlight/scene/colour"
	"catchlight/scene/imageio"
)

// program is a catchlight binary and how it is called.
type program struct {
	name, path string
	scenes     string // folder
	out        string // where its pictures go
	samples    string // the flag for samples a pixel
	picture    string // the key of the picture's settings
}

// newProgram finds out which keys a program knows. Its scenes lie in the folder scenes; empty takes those of the baseline, in a
// copy of old keys where it has those.
func newProgram(ctx context.Context, name, path, scenes, dir string) (*program, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	help, err := exec.CommandContext(ctx, path, "render", "--help").CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("%s render --help: %w", path, err)
	}
	p := &program{name: name, path: path, scenes: scenes, out: filepath.Join(dir, name+".pfm"), samples: "--samples", picture: "picture"}
	if strings.Contains(string(help), "--spp ") {
		p.samples, p.picture = "--spp", "film"
		if scenes == "" {
			p.scenes = filepath.Join(dir, "then")
			return p, oldScenes(p.scenes)
		}
	}
	if p.scenes == "" {
		p.scenes = baseline
	}
	return p, nil
}

// oldScenes lays the baseline's scenes of old keys beside the files that they read.
func oldScenes(dir string) error {
	if err := os.CopyFS(dir, os.DirFS(filepath.Join(baseline, "then"))); err != nil {
		return err
	}
	for _, folder := range []string{"hdri", "assets"} {
		if err := os.CopyFS(filepath.Join(dir, folder), os.DirFS(filepath.Join(baseline, folder))); err != nil {
			return err
		}
	}
	return nil
}

// render renders a scene and returns its light row by row, and the processor time that the program took in all, in seconds.
func (p *program) render(ctx context.Context, name string, size, samples, seed int) (pic []colour.RGB, cpu float64, err error) {
	c := exec.CommandContext(ctx, p.path, "render", filepath.Join(p.scenes, name+".yaml"), "--size", fmt.Sprintf("%dx%d", size, size),
		p.samples, strconv.Itoa(samples), "--seed", strconv.Itoa(seed), "--workers", "1", "--set", p.picture+".denoise=false", "--out", p.out)
	if out, err := c.CombinedOutput(); err != nil {
		return nil, 0, fmt.Errorf("%s: %w\n%s", c, err, out)
	}
	cpu = (c.ProcessState.UserTime() + c.ProcessState.SystemTime()).Seconds()
	m, err := imageio.Read(p.out)
	if err != nil {
		return nil, 0, err
	}
	q := m.RGB()
	pic = make([]colour.RGB, m.W*m.H)
	for i := range pic {
		pic[i] = colour.RGB{float64(q[0][i]), float64(q[1][i]), float64(q[2][i])}
	}
	return pic, cpu, nil
}
