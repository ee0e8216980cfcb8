package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/imageio"
)

// A heron's float on the marsh: quick to render, for the command's own behaviour.
const float = `picture: {width: 16, height: 12, samples: 2}
camera: {orbit: {distance: 200}, fov: 20}
lights: [{name: sky, kind: constant, radiance: 0.5}]
objects: [{name: float, shape: sphere, radius: 15}]
`

// catchlight runs one command line and returns the exit code and both outputs.
func catchlight(args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = run(context.Background(), args, &out, &err)
	return code, out.String(), err.String()
}

func writeScene(t *testing.T) (dir, file string) {
	dir = t.TempDir()
	file = filepath.Join(dir, "float.yaml")
	require.NoError(t, os.WriteFile(file, []byte(float), 0o666))
	return dir, file
}

// The raster look comes out of the same command, in a budget that a flag names, and says in its report what it is.
func TestRasterLook(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	code, out, stderr := catchlight("render", file, "--look", "raster", "--budget", "lean", "--out", "a.png", "--out", "a.exr")
	require.Zero(t, code, stderr)
	require.Contains(t, out, "wrote a.png (16 x 12, raster)")
	pic, err := imageio.Read("a.exr")
	require.NoError(t, err)
	require.InDelta(t, 0.25, pic.RGB()[0][6*16+8], 0.01) // the grey of .5 in even light of .5
	data, err := os.ReadFile("a.json")
	require.NoError(t, err)
	require.Contains(t, string(data), `"bake_seconds"`)
	code, _, stderr = catchlight("render", file, "--look", "raster", "--budget", "skiff")
	require.Equal(t, exitUsage, code)
	require.Contains(t, stderr, "--budget skiff: raster.budget:")
	require.Contains(t, stderr, "is none of full, lean, middle, nor a file that ends in .yaml")
}

func TestMistakes(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	require.NoError(t, os.Mkdir("folder.png", 0o777))
	require.NoError(t, os.WriteFile("reed", nil, 0o666))
	for _, c := range []struct {
		args string
		code int
		want string
	}{
		{"rendre x", exitUsage, `no command "rendre"; did you mean render?`},
		{"fly", exitUsage, `no command "fly"; see catchlight --help`},
		{"render", exitUsage, "render: one scene file is needed, 0 given; see catchlight render --help"},
		{"render a b", exitUsage, "render: one scene file is needed, 2 given; see catchlight render --help"},
		{"render nest.yaml", exitUsage, "nest.yaml: cannot be read: no such file or directory"},
		{"sheet " + file + " --distance --pupils 2", exitUsage, "--pupils has no meaning with --distance, which shows both looks in the scene's own light"},
		{"sheet " + file + " --distance --pixels-per-degree 5", exitUsage, "--pixels-per-degree 5 is outside [10, 300]"},
		{"sheet " + file + " --pixels-per-degree 50", exitUsage, "--pixels-per-degree has no meaning without --distance"},
		{"sheet " + file + " --distance", exitFailed, file + ": the scene has no eye"},
		{"inspect", exitUsage, "inspect: an eye, a scene, or a high and a low mesh are needed, 0 arguments given; see catchlight inspect --help"},
		{"inspect " + file + " --gate red", exitUsage, `--gate "red" must be error, warning or never`},
		{"inspect " + file + " --shot 3", exitUsage, "--shot 3 is outside [16, 65536]"},
		{"inspect " + file + " --limits nest.yaml", exitUsage, "open nest.yaml: no such file or directory"},
		{"inspect " + file, exitFailed, file + ": the scene has no eye"},
		{"inspect nest.glb", exitFailed, "open nest.glb: no such file or directory"},
		{"scale", exitUsage, "scale: one scene file is needed, 0 given; see catchlight scale --help"},
		{"scale " + file + " --walks 10", exitUsage, "--walks 10 is outside [1000, 100000000]"},
		{"scale " + file + " --size 64x32", exitUsage, "--size 64x32: cells are square, 64x64 to 2048x2048"},
		{"scale " + file, exitFailed, file + ": the scene has no eye"},
		{"render " + file + " --fast", exitUsage, "unknown flag: --fast"},
		{"render " + file + " --samples x", exitUsage, `invalid argument "x" for "--samples" flag`},
		{"render " + file + " --samples 0", exitUsage, "--samples 0: picture.samples: 0 is outside [1, 1048576]"},
		{"render " + file + " --look oil", exitUsage, "--look oil: known are raster, traced"},
		{"render " + file + " --look raster --samples 4", exitUsage, "--samples has no meaning with --look raster, which takes no samples"},
		{"render " + file + " --seed -1", exitUsage, "--seed -1: picture.seed: -1 is outside [0, 2147483647]"},
		{"render " + file + " --size 3x", exitUsage, `--size "3x": give width and height in pixels as WxH, for instance 640x640`},
		{"render " + file + " --size 3x4x5", exitUsage, `--size "3x4x5": give width and height in pixels as WxH, for instance 640x640`},
		{"render " + file + " --size 0x99999", exitUsage, "--size 0x99999: picture.width: 0 is outside [1, 16384] px\n--size 0x99999: picture.height: 99999 is outside [1, 16384] px"},
		{"render " + file + " --size 16000x16000", exitUsage, "--size 16000x16000: picture.height: 16000 x 16000 is more than 100 million pixels"},
		{"render " + file + " --workers -1", exitUsage, "--workers -1 is outside [0, 4096]"},
		{"render " + file + " --out a.jpg", exitUsage, `--out a.jpg: the ending ".jpg" is not one of .png .hdr .pfm .exr .tif`},
		{"render " + file + " --out a.png --out ./a.png", exitUsage, "--out ./a.png: given twice"},
		{"render " + file + " --out folder.png", exitFailed, "folder.png: is a folder"},
		{"render " + file + " --out reed/a.png", exitFailed, "reed/a.png: its folder can't be made: mkdir reed: not a directory"},
		{"render " + file + " --set picture.sp=3", exitUsage, "--set picture.sp=3: picture.sp: unknown key; did you mean samples?"},
		{"present", exitUsage, "present: one scene file is needed, 0 given; see catchlight present --help"},
		{"present " + file + " --ground sand", exitUsage, "--ground sand: known are plain, transparent"},
		{"present " + file, exitFailed, file + ": the scene has no eye"},
		{"render " + file + " --memory 0.01", exitUsage, "--memory 0.01 is outside [0.05, 1024] GB"},
		{"render " + file + " --stages-limit -1", exitUsage, "--stages-limit -1 is outside [0, 1e+06] GB"},
		{"render " + file + " --passes lights", exitUsage, "--passes: they go into .exr files; give one, as --out NAME.exr"},
		{"render " + file + " --passes moons --out a.exr", exitUsage, "--passes moons: known are lights, paths, surfaces, errors, all"},
		{"relight", exitUsage, "relight: one .exr picture is needed, 0 given; see catchlight relight --help"},
		{"relight nest.exr", exitFailed, "open nest.exr: no such file or directory"},
		{"changed a", exitUsage, "changed: two pictures or two folders are needed, 1 given; see catchlight changed --help"},
		{"changed nest nest", exitFailed, "stat nest: no such file or directory"},
		{"watch", exitUsage, "watch: one scene file is needed, 0 given; see catchlight watch --help"},
		{"watch nest.yaml", exitFailed, "nest.yaml: there is no such file to watch: no such file or directory"},
		{"watch " + file + " --crop iris", exitUsage, "--crop: zoom into the picture on the page; what is seen is traced first"},
		{"watch " + file + " --pixels 256", exitUsage, "--pixels: choose the size on the page"},
		{"watch " + file + " --samples 4", exitUsage, "--samples: the page goes on to the scene's own; change picture.samples there or with --set picture.samples=N"},
		{"watch " + file + " --overwrite", exitUsage, "--overwrite: nothing is written over: a finished picture takes a name that is free"},
		{"watch " + file + " --port 70000", exitUsage, "--port 70000 is outside [0, 65535]"},
		{"watch " + file + " --host tide.example:80", exitUsage, "--host tide.example:80: give a name or a number of an address, without a port"},
		{"watch " + file + " --journal off --set view.exposure=99", exitUsage, "--set view.exposure=99: view.exposure: 99 is outside [-40, 40] EV"},
		{"keys all", exitUsage, "keys: no arguments are needed, 1 given; see catchlight keys --help"},
		{"check-picture", exitUsage, "check-picture: one picture is needed, 0 given; see catchlight check-picture --help"},
		{"check-picture nest.png", exitFailed, "open nest.png: no such file or directory"},
	} {
		code, stdout, stderr := catchlight(strings.Fields(c.args)...)
		require.Equal(t, c.want+"\n", stderr, c.args)
		require.Equal(t, c.code, code, c.args)
		require.Empty(t, stdout, c.args)
	}
	names, err := filepath.Glob("*")
	require.NoError(t, err)
	require.Equal(t, []string{"float.yaml", "folder.png", "reed"}, names, "a mistake leaves nothing behind")
}

func TestRender(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	code, stdout, stderr := catchlight("render", file, "--stats", "sub/stats.json")
	require.Zero(t, code, stderr)
	require.Equal(t, "wrote out/float.png (16 x 12, 2 samples)\n", stdout)
	code, stdout, stderr = catchlight("render", file, "-o", "sub/a.pfm", "-o", "sub/a.tif", "--size", "8x4", "--samples", "3", "--set", "lights.sky.ev=1")
	require.Zero(t, code, stderr)
	require.Equal(t, "wrote sub/a.pfm (8 x 4, 3 samples)\nwrote sub/a.tif (8 x 4, 3 samples)\n", stdout)
	pic, err := imageio.Read("sub/a.pfm")
	require.NoError(t, err)
	require.Equal(t, [2]int{8, 4}, [2]int{pic.W, pic.H})
	require.InDelta(t, 1.0, pic.RGB()[0][0], 1e-6) // a corner sees the sky: radiance 0.5, and one stop more
	data, err := os.ReadFile("sub/stats.json")
	require.NoError(t, err)
	var stats map[string]any
	require.NoError(t, json.Unmarshal(data, &stats))
	require.Equal(t, file, stats["scene"])

	code, stdout, stderr = catchlight("check-picture", "sub/a.pfm")
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "sub/a.pfm: 8 x 4, mean ")
}

// cancelAt is a writer that cancels once a text went through it.
type cancelAt struct {
	bytes.Buffer
	text   string
	cancel func()
}

func (c *cancelAt) Write(p []byte) (int, error) {
	if bytes.Contains(p, []byte(c.text)) {
		c.cancel()
	}
	return c.Buffer.Write(p)
}

// An interrupt leaves a whole picture under a name of its own, says how many samples it has, and exits with 130.
func TestInterrupt(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var stdout bytes.Buffer
	stderr := cancelAt{text: "rendering", cancel: cancel}
	code := run(ctx, []string{"render", file, "--samples", "1048576", "--out", "a.pfm"}, &stdout, &stderr)
	require.Equal(t, exitInterrupted, code, stderr.String())
	require.Regexp(t, `^wrote a\.partial\.pfm \(16 x 12, [1-9][0-9]* samples?\)\n$`, stdout.String())
	require.NoFileExists(t, "a.pfm")
	pic, err := imageio.Read("a.partial.pfm")
	require.NoError(t, err)
	require.InDelta(t, 0.5, pic.RGB()[0][0], 1e-6)
}

func TestPrints(t *testing.T) {
	code, stdout, _ := catchlight("example")
	require.Zero(t, code)
	_, err := scene.Parse("example.yaml", []byte(stdout))
	require.NoError(t, err)
	code, stdout, _ = catchlight("keys")
	require.Zero(t, code)
	require.Contains(t, stdout, "`picture.samples`")
	code, stdout, _ = catchlight("version")
	require.Zero(t, code)
	require.Regexp(t, `^catchlight \S+.* go1\.\d+`, stdout)
	code, stdout, _ = catchlight()
	require.Zero(t, code)
	require.Contains(t, stdout, "Usage:")
}

// Pictures that nobody wants: black, one value, not finite.
func TestCheckPicture(t *testing.T) {
	t.Chdir(t.TempDir())
	inf := float32(math.Inf(1))
	for name, c := range map[string]struct {
		pix  []float32
		want string
	}{
		"grey":     {[]float32{1, 1, 1, 1, 1, 1}, "the picture is of one value\n"},
		"infinite": {[]float32{1, inf, 0, 0, 1, 2}, "the picture holds values that are not finite\n"},
	} {
		file := name + ".pfm"
		require.NoError(t, imageio.WritePFM(file, 2, 1, 3, c.pix))
		code, _, stderr := catchlight("check-picture", file)
		require.Equal(t, exitFailed, code)
		require.Equal(t, c.want, stderr)
	}
	require.NoError(t, imageio.WritePNG("black.png", 2, 1, 3, []uint8{0, 0, 0, 4, 0, 0}, nil))
	code, _, stderr := catchlight("check-picture", "black.png")
	require.Equal(t, exitFailed, code)
	require.Equal(t, "the picture is black\n", stderr)
	require.NoError(t, imageio.WritePNG("white.png", 2, 1, 3, []uint8{255, 255, 255, 0, 0, 0}, nil))
	code, stdout, stderr := catchlight("check-picture", "white.png")
	require.Equal(t, exitFailed, code)
	require.Equal(t, "white.png: 2 x 1, mean 0.5, range 0 to 1, clipped 50.00 %, not finite 0\n", stdout)
	require.Equal(t, "the picture is blown out\n", stderr)
}

// Every scene that we ship loads: its keys are known, its values in range, its files there.
func TestShippedScenes(t *testing.T) {
	files, err := filepath.Glob("../../scenes/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range files {
		d, err := scene.Load(f)
		require.NoError(t, err)
		require.NotEmpty(t, d.About, f)
	}
}

// The parts of a picture's samples, merged, are the picture of one run, byte for byte; so is one that went on. What does
// not fit together is refused.
func TestShardsAndContinue(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	ok := func(args ...string) {
		t.Helper()
		code, _, stderr := catchlight(args...)
		require.Zero(t, code, stderr)
	}
	bad := func(want string, args ...string) {
		t.Helper()
		code, _, stderr := catchlight(args...)
		require.NotZero(t, code)
		require.Contains(t, stderr, want)
	}
	same := func(a, b string) {
		t.Helper()
		x, err := os.ReadFile(a)
		require.NoError(t, err)
		y, err := os.ReadFile(b)
		require.NoError(t, err)
		require.True(t, bytes.Equal(x, y), "%s and %s differ", a, b)
	}
	ok("render", file, "--samples", "12", "-o", "one.exr", "-o", "one.png")
	for _, i := range []string{"1/3", "3/3", "2/3"} {
		ok("render", file, "--samples", "12", "-o", "part.png", "--shard", i)
	}
	ok("merge", "part.shard-2-of-3.film", "part.shard-1-of-3.film", "part.shard-3-of-3.film", "-o", "joined.exr", "-o", "joined.png")
	same("one.exr", "joined.exr")
	same("one.png", "joined.png")
	bad("a part is missing", "merge", "part.shard-1-of-3.film", "part.shard-3-of-3.film", "-o", "x.exr")
	bad("is in both", "merge", "part.shard-1-of-3.film", "part.shard-1-of-3.film", "-o", "x.exr")
	ok("render", file, "--samples", "12", "--seed", "5", "-o", "other.png", "--shard", "2/3")
	bad("it is of another scene", "merge", "part.shard-1-of-3.film", "other.shard-2-of-3.film", "-o", "x.exr")
	bad("--shard \"4/3\"", "render", file, "--shard", "4/3")
	bad("--shard with --error", "render", file, "--shard", "1/3", "--error", "draft")
	bad("--error \"fine\" is none of draft, final, print", "render", file, "--error", "fine")

	bad("--continue: there is no", "render", file, "-o", "more.exr", "--continue")
	ok("render", file, "--samples", "5", "-o", "more.exr", "--keep")
	bad("more.film is there already", "render", file, "--samples", "12", "-o", "more.exr", "--keep")
	ok("render", file, "--samples", "12", "-o", "more.exr", "--continue")
	same("one.exr", "more.exr")
	bad("it is of another scene", "render", file, "--seed", "5", "-o", "more.exr", "--continue")
}
