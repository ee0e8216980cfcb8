package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// asProgram makes the test binary act as the program itself, so that a test can kill it.
const asProgram = "CATCHLIGHT_TEST_RUN"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	os.Setenv(stagesVariable, "off") // tests leave the user's folders alone
	os.Exit(m.Run())
}

func program(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self, args...)
	c.Env = append(os.Environ(), asProgram+"=1")
	return c
}

const heron = `picture: {width: 16, height: 16, samples: 4}
camera: {kind: orthographic, width: 26, orbit: {distance: 200}}
lights: [{name: sky, kind: constant, radiance: 0.5}, {name: lamp, kind: disc, radius: 60, orbit: {azimuth: 40, elevation: 20, distance: 500}, radiance: 40}]
objects: [{name: eye, shape: eye, map_size: 128}]
`

func writeHeron(t *testing.T) string {
	dir := t.TempDir()
	t.Chdir(dir)
	require.NoError(t, os.WriteFile("heron.yaml", []byte(heron), 0o666))
	return "heron.yaml"
}

// folder reads all files of a folder, hidden ones too, but for the report, which holds times.
func folder(t *testing.T, dir string) map[string]string {
	t.Helper()
	out := map[string]string{}
	list, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range list {
		data, err := os.ReadFile(filepath.Join(dir, e.Name()))
		require.NoError(t, err)
		out[e.Name()] = string(data)
	}
	require.Contains(t, out, "report.json")
	delete(out, "report.json")
	return out
}

func sameFolder(t *testing.T, want map[string]string, dir string) {
	t.Helper()
	got := folder(t, dir)
	for n := range got {
		require.Contains(t, want, n, "left over")
	}
	for n, data := range want {
		require.Contains(t, got, n)
		require.True(t, data == got[n], "%s differs", n)
	}
}

// A sheet that is killed at 20 moments, and a turntable at 2 (at as many as CATCHLIGHT_KILLS says: an eye takes a second to
// grow in each process), taken up again, end with the files of runs that were left alone, and no others. What a kill leaves
// under a final name is whole.
func TestKilledJobsGoOn(t *testing.T) {
	file := writeHeron(t)
	require.NoError(t, os.WriteFile("float.yaml", []byte(float), 0o666))
	turns := 2
	if n, err := strconv.Atoi(os.Getenv("CATCHLIGHT_KILLS")); err == nil {
		turns = n
	}
	for _, c := range []struct {
		dir, args string
		kills     int
	}{
		{"turn", "turntable " + file + " --frames 6 --samples 6 --size 32x32 --keep-every 1ms", turns},
		{"sheet", "sheet float.yaml --vary picture.seed=1,2,3 --vary lights.sky.ev=0,1 --balls --samples 16 --size 64x64 --keep-every 1ms --cache=", 20},
	} {
		args := strings.Fields(c.args)
		began := time.Now()
		out, err := program(t, append(args, "-o", c.dir+"-one")...).CombinedOutput()
		require.NoError(t, err, string(out))
		took := time.Since(began)
		want := folder(t, c.dir+"-one")
		r := rand.New(rand.NewPCG(7, 11))
		kills := 0
		dir := ""
		for n := 0; kills < c.kills; n++ {
			require.Less(t, n, 400, "it ends before it can be killed")
			if dir == "" {
				dir = fmt.Sprintf("%s-killed-%d", c.dir, n)
			}
			p := program(t, append(args, "-o", dir)...)
			require.NoError(t, p.Start())
			time.Sleep(time.Duration(r.Float64() * float64(took)))
			require.NoError(t, p.Process.Signal(syscall.SIGKILL))
			err := p.Wait()
			for _, f := range must(filepath.Glob(filepath.Join(dir, "*.exr"))) {
				_, err := imageio.Read(f)
				require.NoError(t, err, "%s is half written", f)
			}
			if err == nil {
				// It had ended; begin another.
				sameFolder(t, want, dir)
				dir = ""
				continue
			}
			kills++
		}
		if dir != "" {
			out, err := program(t, append(args, "-o", dir)...).CombinedOutput()
			require.NoError(t, err, string(out))
			sameFolder(t, want, dir)
		}
	}
}

func must(list []string, err error) []string {
	if err != nil {
		panic(err)
	}
	return list
}

// An interrupt ends a job with exit code 130; given again it goes on and ends with the same files. Parts of it, merged, do too.
func TestJobInterruptAndParts(t *testing.T) {
	file := writeHeron(t)
	args := []string{"turntable", file, "--frames", "4", "--samples", "3", "--size", "24x24"}
	code, stdout, stderr := catchlight(append(args, "-o", "one")...)
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "5 frames: 5 rendered, 0 there already")
	want := folder(t, "one")

	ctx, cancel := context.WithCancel(context.Background())
	errs := cancelAt{text: "5 pictures to make", cancel: cancel}
	var out bytes.Buffer
	require.Equal(t, exitInterrupted, run(ctx, append(args, "-o", "two"), &out, &errs), errs.String())
	cancel()
	code, _, stderr = catchlight(append(args, "-o", "two")...)
	require.Zero(t, code, stderr)
	sameFolder(t, want, "two")
	code, stdout, _ = catchlight(append(args, "-o", "two")...)
	require.Zero(t, code)
	require.Contains(t, stdout, "0 rendered, 5 there already")

	for _, i := range []string{"2/2", "1/2"} {
		code, stdout, stderr = catchlight(append(args, "-o", "part"+i[:1], "--shard", i)...)
		require.Zero(t, code, stderr)
		require.Contains(t, stdout, "left to other parts")
	}
	code, _, stderr = catchlight("merge", "part1", "-o", "whole")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "2 of 5 pictures are in no part")
	code, _, stderr = catchlight("merge", "part1", "part2", "-o", "whole")
	require.Zero(t, code, stderr)
	sameFolder(t, want, "whole")
}

// Cells come from the cache whatever sheet made them; only what changed is rendered.
func TestSheetCache(t *testing.T) {
	file := writeHeron(t)
	code, stdout, stderr := catchlight("sheet", file, "--pupils", "2,4", "--size", "16x16", "-o", "a", "--page", "png,svg,pdf")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "2 cells: 2 rendered")
	code, stdout, stderr = catchlight("sheet", file, "--pupils", "2,3,4", "--vary", "view.exposure=0,1", "--size", "16x16", "-o", "b")
	require.Zero(t, code, stderr)
	// The third pupil is new; exposure changes no cell's light, so its second row comes from the first.
	require.Contains(t, stdout, "6 cells: 1 rendered, 0 there already, 5 from the cache")
	for _, n := range []string{"sheet.png", "sheet.svg", "sheet.pdf"} {
		info, err := os.Stat(filepath.Join("a", n))
		require.NoError(t, err)
		require.Greater(t, info.Size(), int64(1000), n)
	}
	pic, err := imageio.Read("a/row1-column1.exr")
	require.NoError(t, err)
	for _, c := range []string{"R", "A", "error.R", "samples", "display.error"} {
		require.NotNil(t, pic.Channel(c), c)
	}
}

// Folders that can't be written to and disks that fill up end with an error that names them; what was made stays.
func TestNoRoom(t *testing.T) {
	file := writeHeron(t)
	require.NoError(t, os.WriteFile("taken", nil, 0o666))
	code, _, stderr := catchlight("sheet", file, "-o", "taken/sheet")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "taken/sheet: the folder can't be made: not a directory")
	require.NoError(t, os.Mkdir("small", 0o777))
	small, err := filepath.Abs("small")
	require.NoError(t, err)
	if err := syscall.Mount("tmpfs", small, "tmpfs", 0, "size=128k"); err != nil {
		t.Skipf("no small disk can be made here: %v", err)
	}
	defer syscall.Unmount(small, syscall.MNT_DETACH)
	code, _, stderr = catchlight("turntable", file, "-o", "small/turn", "--size", "64x64")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "small/turn: the work needs about ")
	require.Contains(t, stderr, "0.1 MB are free")
	// The cache's disk is full while the cells' is not.
	require.NoError(t, os.WriteFile("small/full", make([]byte, 72<<10), 0o666))
	args := []string{"sheet", file, "-o", "sheet", "--pupils", "2,3,4", "--size", "32x32"}
	code, _, stderr = catchlight(append(args, "--cache", "small")...)
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "no space left on device")
	left, err := filepath.Glob("small/*/.*")
	require.NoError(t, err)
	require.Empty(t, left, "nothing half written is left")
	require.FileExists(t, "sheet/row1-column1.exr")
	code, stdout, stderr := catchlight(append(args, "--cache", "")...)
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "3 cells: ")
	require.NoError(t, syscall.Mount("", small, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	code, _, stderr = catchlight("sheet", file, "-o", "small/sheet")
	require.Equal(t, exitFailed, code)
	require.Contains(t, stderr, "read-only file system")
}

// Mistakes in what is asked for are named before any work.
func TestJobMistakes(t *testing.T) {
	file := writeHeron(t)
	for args, want := range map[string]string{
		"sheet " + file + " --pupils wide":                 `--pupils "wide"`,
		"sheet " + file + " --gaze 20":                     `--gaze "20": give azimuth:elevation`,
		"sheet " + file + " --views 0:95":                  `--views "0:95"`,
		"sheet " + file + " --vary picture.samples":        `--vary "picture.samples": give KEY=a,b,c`,
		"sheet " + file + " --vary picture.sp=1,2":         "picture.sp: unknown key; did you mean samples?",
		"sheet " + file + " --looks painted":               "--looks painted: known are",
		"sheet " + file + " --lights nowhere":              "--lights nowhere: no such light set-up",
		"sheet " + file + " --page gif":                    "--page gif: known are png, svg, pdf",
		"sheet " + file + " --shard 3/2":                   `--shard "3/2"`,
		"turntable " + file + " --frames 3":                "--frames 3: give an even number",
		"turntable " + file + " --arc 0":                   "--arc 0 is outside (0, 360] degrees",
		"turntable " + file + " --arc 90 --sweep gaze":     "--arc 90: only for --sweep turn",
		"turntable " + file + " --arc 90 --frames 2":       "--frames 2: an arc wants 4 at least",
		"turntable " + file + " --sweep tilt":              "--sweep tilt: known are sides, turn, gaze, pupil",
		"turntable " + file + " --reach 95":                "--reach 95 is outside (0, 90] degrees",
		"turntable " + file + " --poster 97":               "--poster 97 is outside [0, 96]",
		"turntable " + file + " --f-number -1":             "--f-number -1 is outside [0, 1000]",
		"turntable " + file + " --beside":                  "--beside wants two looks, 1 given",
		"turntable " + file + " --sweep pupil --reach 9":   "--reach 9 is outside",
		"turntable " + file + " --sweep pupil --reach 3.9": "iris.pupil",
	} {
		code, _, stderr := catchlight(strings.Fields(args)...)
		require.Equal(t, exitUsage, code, "%s: %s", args, stderr)
		require.Contains(t, stderr, want, args)
	}
}

// A bare eye is turned as it stands; one in lids turns within them, on top of where it looks.
func TestLookEyes(t *testing.T) {
	const yaml = `
picture: {width: 8, height: 8, samples: 1}
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
objects:
  - {name: bare, shape: eye, transform: {rotate: [1, 2, 3]}}
  - {name: lidded, shape: eye, lids: {}}
  - {name: told, shape: eye, gaze: {azimuth: 3, elevation: -4}}
  - {name: pair, shape: eye, pair: 63, transform: {translate: [0, 0, 10]}, gaze: {target: [100, 0, 110]}}
`
	d, err := scene.Parse("look.yaml", []byte(yaml))
	require.NoError(t, err)
	sets, err := lookEyes(d, 10, 5)
	require.NoError(t, err)
	require.Equal(t, []string{"objects.bare.transform.rotate=[-4, 12, 3]",
		"objects.lidded.gaze.kappa=0", "objects.lidded.gaze.azimuth=10", "objects.lidded.gaze.elevation=5",
		"objects.told.gaze.azimuth=13", "objects.told.gaze.elevation=1",
		"objects.pair.gaze.target=null", "objects.pair.gaze.azimuth=55", "objects.pair.gaze.elevation=5"}, sets)
	_, err = d.With(sets...)
	require.NoError(t, err)
}

// Without a reach a bare eye turns by 70 degrees to either side, one in lids by 30, and comes back; then the lights turn. A lens is
// sharp on the iris.
func TestSides(t *testing.T) {
	for lids, want := range map[string][]string{
		"":           {"[0, 5, 0]", "[0, 75, 0]", "[0, 5, 0]", "[0, -65, 0]", "10", "100", "190", "280"},
		", lids: {}": {"0", "30", "0", "-30", "10", "100", "190", "280"},
	} {
		path := filepath.Join(t.TempDir(), "sides.yaml")
		require.NoError(t, os.WriteFile(path, []byte("camera: {orbit: {}}\nlights: [{name: sky, kind: constant, radiance: 1}]\nlight_setup: {rotation: 10}\nobjects: [{name: eye, shape: eye, transform: {rotate: [0, 5, 0]}"+lids+"}]\n"), 0o666))
		d, err := scene.Load(path)
		require.NoError(t, err)
		f := turntableFlags{frames: 8, fps: 12, sweep: "sides", arc: 360, stop: 4}
		require.NoError(t, f.check())
		d, err = f.settle(d)
		require.NoError(t, err)
		require.Equal(t, "iris", d.Camera.FocusOn)
		require.InDelta(t, 4, d.Camera.FNumber, 0)
		require.Equal(t, 1, f.poster)
		poses, err := f.poses(d)
		require.NoError(t, err)
		var got []string
		var turned []float64
		for _, p := range poses {
			for _, s := range p.sets {
				if k, v, _ := strings.Cut(s, "="); strings.HasSuffix(k, "rotate") || strings.HasSuffix(k, "azimuth") || strings.HasSuffix(k, "rotation") {
					got = append(got, v)
				}
			}
			_, err := d.With(p.sets...)
			require.NoError(t, err)
			turned = append(turned, p.lights)
		}
		for i := range got {
			if x, err := strconv.ParseFloat(got[i], 64); err == nil {
				got[i] = fmt.Sprint(math.Round(x) + 0)
			}
		}
		require.Equal(t, want, got)
		require.Equal(t, []float64{0, 0, 0, 0, 0, 90, 180, 270}, turned)
	}
}

// A whole turn goes round in even steps; an arc goes from one end to the other about the front, for the eye and for the lights.
func TestArcs(t *testing.T) {
	d, err := scene.Parse("arc.yaml", []byte(`
camera: {orbit: {}}
lights: [{name: sky, kind: constant, radiance: 1}]
light_setup: {rotation: 10}
objects: [{name: eye, shape: eye, transform: {rotate: [0, 5, 0]}}]
`))
	require.NoError(t, err)
	for arc, want := range map[float64][]string{
		360: {"[0, 5, 0]", "[0, 125, 0]", "[0, 245, 0]", "10", "130", "250"},
		90:  {"[0, -40, 0]", "[0, 5, 0]", "[0, 50, 0]", "-35", "10", "55"},
	} {
		f := turntableFlags{frames: 6, fps: 12, sweep: "turn", arc: arc}
		require.NoError(t, f.check())
		poses, err := f.poses(d)
		require.NoError(t, err)
		var got []string
		for _, p := range poses {
			_, v, _ := strings.Cut(p.sets[0], "=")
			got = append(got, v)
		}
		require.Equal(t, want, got)
	}
}

// A kept render that is killed at any moment, again and again, goes on to the bytes of one that ran through, passes and all; so do parts of it, killed
// and begun again by eight processes at a time.
func TestKilledRenderGoesOn(t *testing.T) {
	t.Chdir(t.TempDir())
	litScene(t)
	args := []string{"render", "lit.yaml", "--size", "100x90", "--samples", "96", "--passes", "lights", "--keep-every", "1ms", "--workers", "2"}
	began := time.Now()
	out, err := program(t, append(args, "-o", "one.exr", "--keep")...).CombinedOutput()
	require.NoError(t, err, string(out))
	took := time.Since(began)
	r := rand.New(rand.NewPCG(3, 5))
	finish := func(base, film string, more ...string) {
		t.Helper()
		kills := 0
		for n := 0; ; n++ {
			require.Less(t, n, 200)
			how := "--keep"
			if _, err := os.Stat(film); err == nil {
				how = "--continue"
			}
			var said bytes.Buffer
			p := program(t, append(append(args, "-o", base, how, "--overwrite"), more...)...)
			p.Stderr = &said
			require.NoError(t, p.Start())
			if kills < 5 {
				time.Sleep(time.Duration((0.1 + 0.8*r.Float64()) * float64(took)))
				require.NoError(t, p.Process.Signal(syscall.SIGKILL))
				kills++
			}
			if err := p.Wait(); err == nil {
				break
			} else if kills >= 5 && !strings.Contains(err.Error(), "killed") {
				t.Fatal(said.String())
			}
		}
	}
	finish("killed.exr", "killed.film")
	var group sync.WaitGroup
	for i := range 8 {
		group.Go(func() {
			name := fmt.Sprintf("part.shard-%d-of-8.film", i+1)
			how := []string{"--shard", fmt.Sprintf("%d/8", i+1), "-o", "part.exr", "--overwrite"}
			if i == 3 { // killed and begun again
				p := program(t, append(args, how...)...)
				if p.Start() == nil {
					time.Sleep(took / 2)
					_ = p.Process.Signal(syscall.SIGKILL)
					_ = p.Wait()
				}
				if _, err := os.Stat(name); err == nil {
					how = append(how, "--continue")
				}
			}
			if out, err := program(t, append(args, how...)...).CombinedOutput(); err != nil {
				t.Error(string(out))
			}
		})
	}
	group.Wait()
	code, _, stderr := catchlight("merge", "part.shard-1-of-8.film", "part.shard-2-of-8.film", "part.shard-3-of-8.film", "part.shard-4-of-8.film",
		"part.shard-5-of-8.film", "part.shard-6-of-8.film", "part.shard-7-of-8.film", "part.shard-8-of-8.film", "-o", "part.exr", "--overwrite")
	require.Zero(t, code, stderr)
	want, err := os.ReadFile("one.exr")
	require.NoError(t, err)
	for _, n := range []string{"killed.exr", "part.exr"} {
		got, err := os.ReadFile(n)
		require.NoError(t, err)
		require.True(t, bytes.Equal(want, got), "%s differs", n)
	}
}
