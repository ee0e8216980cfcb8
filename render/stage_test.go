package render

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"catchlight/scene"
	"catchlight/scene/colour"
	"catchlight/scene/imageio"

	"github.com/stretchr/testify/require"
)

// A turntable's frames leave every stage of Prepare as it is: neither the eye's turn nor the lights' makes one anew; the
// pupil's sweep makes the built eye.
func TestStagesOfTurns(t *testing.T) {
	const text = `
picture: {width: 8, height: 8, samples: 1}
camera: {position: [0, 0, 500]}
lights: [{name: sky, kind: constant, radiance: 1}]
objects: [{name: eye, shape: eye, map_size: 64}]
`
	path := filepath.Join(t.TempDir(), "scene.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	cache := NewCache()
	made := func(set ...string) int {
		d, err := scene.Load(path, set...)
		require.NoError(t, err)
		p, err := Prepare(context.Background(), d, Options{Cache: cache})
		require.NoError(t, err)
		return madeOf(p)
	}
	require.Positive(t, made())
	require.Zero(t, made("objects.eye.transform.rotate=[0, 45, 0]"))
	require.Zero(t, made("light_setup.rotation=90", "picture.seed=5"))
	require.Positive(t, made("objects.eye.iris.pupil=5"))
}

// madeOf counts the stages that were made, without how light falls on the eye, which every turn and light changes.
func madeOf(p *Prepared) (n int) {
	for _, s := range p.Stages {
		if s.From == "made" && s.Name != "light on flesh" {
			n++
		}
	}
	return n
}

// savePicture writes a 16 x 16 picture of one colour with a date of its own, so that a save within the file system's
// clock tick is seen too.
func savePicture(t *testing.T, file string, v uint8, at time.Time) {
	t.Helper()
	pix := make([]uint8, 3*16*16)
	for i := range pix {
		pix[i] = v
	}
	require.NoError(t, imageio.WritePNG(file, 16, 16, 3, pix, nil))
	require.NoError(t, os.Chtimes(file, at, at))
}

// A changed input makes its own stage anew and those that rest on it, and no other; pictures from a cache are those
// without one, bit for bit.
func TestStages(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "iris.png")
	now := time.Now()
	savePicture(t, file, 90, now)
	asset, err := filepath.Abs(soundEye)
	require.NoError(t, err)
	text := strings.Replace(assetScene(asset), "map_size: 128", "map_size: 128, iris: {colour: {file: iris.png}}", 1)
	path := filepath.Join(dir, "scene.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o666))
	cache := NewCache()
	look := func(c *Cache, set ...string) (*Result, int) {
		d, err := scene.Load(path, append(set, "picture.samples=1")...)
		require.NoError(t, err)
		p, err := Prepare(context.Background(), d, Options{Cache: c})
		require.NoError(t, err)
		r, err := p.Render(context.Background(), Options{})
		require.NoError(t, err)
		return r, madeOf(p)
	}
	same := func(a, b *Result) bool {
		x, y := a.Film.Develop(), b.Film.Develop()
		for i := range x.Mean {
			if x.Mean[i] != y.Mean[i] {
				return false
			}
		}
		return true
	}
	first, made := look(cache)
	require.Equal(t, 4, made, "shells, the way to the maps, tissue, tear film")
	plain, _ := look(nil)
	require.True(t, same(first, plain))
	_, made = look(cache)
	require.Zero(t, made)
	_, made = look(cache, "lights.sky.ev=1", "camera.width=25")
	require.Zero(t, made, "light and camera touch no stage of the eye")
	_, made = look(cache, "objects.eye.sclera.tint=[0.9, 0.9, 0.9]")
	require.Equal(t, 1, made, "tissue alone")
	_, made = look(cache, "objects.eye.limbus.width=1.5")
	require.Equal(t, 4, made)
	for i := range 20 {
		savePicture(t, file, uint8(40+i), now.Add(time.Duration(i+1)*time.Second))
		r, made := look(cache)
		require.Equal(t, 1, made)
		require.False(t, same(first, r))
	}
	savePicture(t, file, 90, now)
	again, _ := look(cache)
	require.True(t, same(first, again))
}

// smallEye is a built eye that takes little time.
const smallEye = `
picture: {width: 12, height: 12, samples: 1}
camera: {position: [0, 0, 500], focal_length: 900}
lights: [{name: sky, kind: constant, radiance: 1}, {name: window, kind: rectangle, orbit: {azimuth: -36, elevation: 28, distance: 1400}, width: 560, height: 720, radiance: 20}]
objects: [{name: eye, shape: eye, map_size: 64, globe: {facet_error: 0.018}, cornea: {roughness: 0.1}}]
`

// preparedSmall prepares smallEye; it returns the names of the stages that were made, and what a render shows.
func preparedSmall(t *testing.T, c *Cache, set ...string) (made []string, shown []colour.RGB) {
	t.Helper()
	d, err := scene.Parse("small.yaml", []byte(smallEye), set...)
	require.NoError(t, err)
	p, err := Prepare(context.Background(), d, Options{Cache: c})
	require.NoError(t, err)
	for _, s := range p.Stages {
		if s.From == "made" {
			made = append(made, s.Name)
		}
	}
	return made, finish(t, p).Film.Develop().Mean
}

// Colour never grows geometry, a camera or a light makes nothing, and roughness makes the tables of the tear film alone. What
// comes out has the bits of a start from nothing.
func TestColourGrowsNoShells(t *testing.T) {
	cache := NewCache()
	made, _ := preparedSmall(t, cache)
	require.Contains(t, made, "shells eye")
	for _, c := range []struct {
		set  string
		made []string
	}{
		{"objects.eye.iris.pigment=1.4", []string{"eye iris colour", "tissue eye"}},
		{"objects.eye.iris.ciliary.hue=20", []string{"eye iris colour", "tissue eye"}},
		{"objects.eye.iris.tint=[0.9, 1, 1.2]", []string{"eye iris colour", "tissue eye"}},
		{"objects.eye.sclera.redness=0.4", []string{"tissue eye"}},
		{"camera.focal_length=950", nil},
		{"lights.window.ev=1", []string{"light on flesh"}},
		{"objects.eye.iris.scatter_radius=[0.3, 0.2, 0.1]", nil},
		{"objects.eye.cornea.roughness=0.12", []string{"tear film eye"}},
		{"objects.eye.iris.pigment=1.4", nil},
	} {
		made, shown := preparedSmall(t, cache, c.set)
		require.Equal(t, c.made, made, c.set)
		_, alone := preparedSmall(t, nil, c.set)
		require.Equal(t, alone, shown, c.set)
	}
}

// A second start takes shells, tissue and lids from the disk and grows nothing; its picture has the bits of the first. A change of
// colour there grows the shells again, which only paint asks for, and has the bits of a start from nothing.
func TestSecondStart(t *testing.T) {
	folder := t.TempDir()
	begin := func() *Cache {
		c := NewCache()
		var err error
		c.Disk, err = OpenDisk(folder, DiskBytes)
		require.NoError(t, err)
		return c
	}
	lidded := "objects.eye.lids={facet_size: 0.5}"
	room := "lights=[{name: room, kind: environment, file: builtin:cottage-room-unlit, ev: 2}]"
	made, first := preparedSmall(t, begin(), lidded, room)
	require.Subset(t, made, []string{"shells eye", "tissue eye", "lids eye", "surroundings room"})
	made, again := preparedSmall(t, begin(), lidded, room)
	require.NotContains(t, made, "shells eye")
	require.NotContains(t, made, "tissue eye")
	require.NotContains(t, made, "lids eye")
	require.NotContains(t, made, "surroundings room")
	require.Equal(t, first, again)
	made, changed := preparedSmall(t, begin(), lidded, "objects.eye.iris.pigment=1.3")
	require.Contains(t, made, "tissue eye")
	require.NotContains(t, made, "shells eye")
	_, alone := preparedSmall(t, nil, lidded, "objects.eye.iris.pigment=1.3")
	require.Equal(t, alone, changed)
}

// An imported eye, whose file may read others that no stage has looked at, is read at every start.
func TestImportedEyeIsReadAtEveryStart(t *testing.T) {
	asset, err := filepath.Abs(soundEye)
	require.NoError(t, err)
	folder := t.TempDir()
	for range 2 {
		d, err := scene.Parse("import.yaml", []byte(assetScene(asset)))
		require.NoError(t, err)
		c := NewCache()
		c.Disk, err = OpenDisk(folder, DiskBytes)
		require.NoError(t, err)
		p, err := Prepare(context.Background(), d, Options{Cache: c})
		require.NoError(t, err)
		for _, s := range p.Stages {
			require.NotEqual(t, "disk", s.From, s.Name)
		}
	}
}
