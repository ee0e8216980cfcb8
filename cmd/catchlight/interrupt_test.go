package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene/imageio"
)

// until reads a running program's text up to a word.
func until(t *testing.T, r *os.File, word string) {
	t.Helper()
	var text []byte
	b := make([]byte, 256)
	for !bytes.Contains(text, []byte(word)) {
		n, err := r.Read(b)
		require.NoError(t, err, string(text))
		text = append(text, b[:n]...)
	}
}

// A closed terminal, told by a signal or by a pipe that nobody reads, ends a render as Ctrl-C does: with what there is, and
// with the code of an interrupt. A program that was told to outlive its terminal does.
func TestClosedTerminal(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	start := func(c *exec.Cmd) (read *os.File) {
		r, w, err := os.Pipe()
		require.NoError(t, err)
		c.Stderr = w
		require.NoError(t, c.Start())
		w.Close()
		return r
	}
	long := []string{"render", file, "--samples", "1048576", "--out"}
	c := program(t, append(long, "hup.pfm")...)
	r := start(c)
	until(t, r, "rendering")
	time.Sleep(50 * time.Millisecond)
	for range 3 { // a shell and the system may both say it
		require.NoError(t, c.Process.Signal(syscall.SIGHUP))
	}
	err := c.Wait()
	r.Close()
	require.Equal(t, exitInterrupted, c.ProcessState.ExitCode(), "%v", err)
	_, err = imageio.Read("hup.partial.pfm")
	require.NoError(t, err)

	c = program(t, append(long, "pipe.pfm")...)
	start(c).Close()
	err = c.Wait()
	require.Equal(t, exitInterrupted, c.ProcessState.ExitCode(), "%v", err)
	require.NoFileExists(t, "pipe.pfm")

	self, err := os.Executable()
	require.NoError(t, err)
	c = exec.Command("sh", "-c", `trap "" HUP; exec "$0" "$@"`, self, "render", file, "--samples", "20000", "--out", "nohup.pfm")
	c.Env = append(os.Environ(), asProgram+"=1")
	r = start(c)
	until(t, r, "rendering")
	require.NoError(t, c.Process.Signal(syscall.SIGHUP))
	go func() { // its notes must find a reader
		b := make([]byte, 256)
		for {
			if _, err := r.Read(b); err != nil {
				return
			}
		}
	}()
	require.NoError(t, c.Wait())
	require.FileExists(t, "nohup.pfm")
}

// An interrupt says by what command it goes on, and that command does, to the bits of one run.
func TestInterruptSaysHowToGoOn(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "the keeper's")
	require.NoError(t, os.Mkdir(dir, 0o777))
	t.Chdir(dir)
	require.NoError(t, os.WriteFile("my float.yaml", []byte(float), 0o666))
	interrupt := func(at string, args ...string) (stderr string) {
		ctx, cancel := context.WithCancel(context.Background())
		defer cancel()
		errs := cancelAt{text: at, cancel: cancel}
		var out bytes.Buffer
		require.Equal(t, exitInterrupted, run(ctx, args, &out, &errs), errs.String())
		return errs.String()
	}
	const spp = "--samples=300"
	text := interrupt("rendering", "render", "my float.yaml", "--keep", spp, "-o", "a.pfm", "--set", "lights.sky.radiance=[1, 1, 1]")
	const line = `catchlight render 'my float.yaml' --samples=300 -o a.pfm --set 'lights.sky.radiance=[1, 1, 1]' --continue`
	require.Contains(t, text, "interrupted; go on with: "+line+"\n")
	// A shell takes the line apart to the same words.
	said, err := exec.Command("sh", "-c", `catchlight() { printf '%s\0' "$@"; }; `+line).Output()
	require.NoError(t, err)
	code, _, stderr := catchlight(strings.Split(strings.TrimSuffix(string(said), "\x00"), "\x00")...)
	require.Zero(t, code, stderr)
	code, _, stderr = catchlight("render", "my float.yaml", spp, "-o", "b.pfm", "--set", "lights.sky.radiance=1")
	require.Zero(t, code, stderr)
	a, err := os.ReadFile("a.pfm")
	require.NoError(t, err)
	b, err := os.ReadFile("b.pfm")
	require.NoError(t, err)
	require.True(t, bytes.Equal(a, b))
	require.Contains(t, interrupt("rendering", "render", "my float.yaml", "--samples=1048576", "-o", "c.pfm"), "interrupted; with --keep it could go on\n")
	require.Contains(t, interrupt("pictures to make", "sheet", "my float.yaml", "--vary", "picture.seed=1,2", "-o", "it's", "--cache="),
		`interrupted; go on with: catchlight sheet 'my float.yaml' --vary picture.seed=1,2 -o 'it'\''s' --cache=`+"\n")
}

// A kept render goes on under another exposure; what is refused is named with its values.
func TestContinueSaysWhatDiffers(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	code, _, stderr := catchlight("render", file, "--samples", "3", "-o", "a.pfm", "--keep")
	require.Zero(t, code, stderr)
	code, _, stderr = catchlight("render", file, "--samples", "5", "-o", "a.pfm", "--continue", "--set", "view.exposure=2", "--set", "view.tone_mapping=neutral")
	require.Zero(t, code, stderr)
	code, _, stderr = catchlight("render", file, "--samples", "5", "-o", "a.pfm", "--continue", "--set", "lights.sky.ev=1", "--seed", "4")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "a.film: it is of another scene: picture.seed is 4, was 1; lights.sky.ev is 1, was 0\n")
	for i, seed := range []string{"1", "2"} {
		code, _, stderr = catchlight("render", file, "-o", "b.pfm", "--seed", seed, "--shard", fmt.Sprintf("%d/2", i+1))
		require.Zero(t, code, stderr)
	}
	code, _, stderr = catchlight("merge", "b.shard-1-of-2.film", "b.shard-2-of-2.film", "-o", "b.pfm")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "b.shard-2-of-2.film: it does not go with b.shard-1-of-2.film: it is of another scene: picture.seed is 1, was 2\n")
	// Parts of a sheet, with the scene changed between.
	sheet := []string{"sheet", "float.yaml", "--vary", "picture.seed=1,2", "--size", "8x8", "--cache=", "--shard"}
	code, _, stderr = catchlight(append(sheet, "1/2", "-o", "one")...)
	require.Zero(t, code, stderr)
	put(t, "float.yaml", strings.Replace(float, "radius: 15", "radius: 14", 1))
	code, _, stderr = catchlight(append(sheet, "2/2", "-o", "two")...)
	require.Zero(t, code, stderr)
	code, _, stderr = catchlight("merge", "one", "two", "-o", "whole")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "two: its plan is another than that of one: objects.float.radius is 14, was 15\n")
}

// A render sweeps what a killed save of its own files left; a shorter turntable the frames of a longer one.
func TestLeftoversAreSwept(t *testing.T) {
	file := writeHeron(t)
	put(t, "float.yaml", float)
	c := exec.Command("true")
	require.NoError(t, c.Run())
	for _, n := range []string{"a.film", "a.png", "other.film"} {
		put(t, fmt.Sprintf(".%s.%d-3.tmp", n, c.Process.Pid), "half")
	}
	code, _, stderr := catchlight("render", "float.yaml", "--keep", "-o", "a.png")
	require.Zero(t, code, stderr)
	left, err := filepath.Glob(".*.tmp")
	require.NoError(t, err)
	require.Equal(t, []string{fmt.Sprintf(".other.film.%d-3.tmp", c.Process.Pid)}, left)

	turn := []string{"turntable", file, "--size", "8x8", "--samples", "1", "-o", "turn", "--frames"}
	code, _, stderr = catchlight(append(turn, "4")...)
	require.Zero(t, code, stderr)
	require.FileExists(t, "turn/traced-0004.png")
	put(t, "turn/notes.txt", "tide at six")
	code, _, stderr = catchlight(append(turn, "2")...)
	require.Zero(t, code, stderr)
	shown, err := filepath.Glob("turn/*.*")
	require.NoError(t, err)
	var names []string
	for _, s := range shown {
		if n := filepath.Base(s); !strings.HasSuffix(n, ".mp4") {
			names = append(names, n)
		}
	}
	require.Equal(t, []string{"manifest.json", "notes.txt", "player.html", "poster.png", "report.json", "traced-0001.exr", "traced-0001.json", "traced-0001.png",
		"traced-0002.exr", "traced-0002.json", "traced-0002.png", "traced-again.exr", "traced-again.json", "traced.apng"}, names)
}
