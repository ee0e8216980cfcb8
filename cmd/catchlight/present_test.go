package main

import (
	"catchlight/scene/imageio"
	"image"
	"image/png"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Sets are proposed, named, added to and cut, in the order of the list; groups stand for their pictures.
func TestChoosePictures(t *testing.T) {
	names := func(list []*plate) (out []string) {
		for _, p := range list {
			out = append(out, p.name)
		}
		return out
	}
	for _, c := range []struct {
		named, added, dropped string
		scenic                bool
		want                  string
	}{
		{"", "", "", true, "hero front macro raking white scene albedo raster"},
		{"", "", "", false, "hero front macro raking white albedo raster"},
		{"", "pupils", "front,albedo", false, "hero macro raking pupil-small pupil-middle pupil-large white raster"},
		{"uv,hero,breakdown", "", "uv", true, "hero finished clay wire height normal roughness masks unscattered uncovered reflection albedo"},
	} {
		cut := func(s string) []string { return strings.FieldsFunc(s, func(r rune) bool { return r == ',' }) }
		list, err := choose(cut(c.named), cut(c.added), cut(c.dropped), c.scenic)
		require.NoError(t, err)
		require.Equal(t, strings.Fields(c.want), names(list))
	}
	_, err := choose(nil, nil, []string{"hero"}, false)
	require.ErrorContains(t, err, "the wipe lays the raster look over the hero")
	_, err = choose([]string{"portrait"}, nil, nil, false)
	require.ErrorContains(t, err, "--pictures portrait: no such picture; known: hero, front")
}

// A set is made once: its draft, pictures, scene files and pages; what its scene files hold gives the same pictures; a second run
// renders nothing. Edges of a transparent picture have the eye's colour, so they composite over white and black without a halo.
func TestPresent(t *testing.T) {
	file := writeHeron(t)
	args := []string{"present", file, "--pictures", "hero,masks", "--size", "48x48", "--samples", "4", "--ground", "transparent", "--credit", "Grown by the tests", "--set", "objects.eye.globe.facet_error=0.01"}
	code, _, stderr := catchlight(args...)
	require.Zero(t, code, stderr)
	dir := "out/present-heron/"
	for _, n := range []string{"draft.png", "hero.png", "hero.exr", "hero.yaml", "hero.json", "masks.png", "masks.yaml", "set.png", "set.pdf", "present.html", "report.json"} {
		require.FileExists(t, dir+n)
	}
	page, err := os.ReadFile(dir + "present.html")
	require.NoError(t, err)
	for _, want := range []string{"Grown by the tests", "Hero, from the side", "teal iris", `href="hero.yaml"`} {
		require.Contains(t, string(page), want)
	}
	require.NotContains(t, string(page), "http", "the page needs no network")
	code, stdout, stderr := catchlight(args...)
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "0 rendered, 2 there already")
	code, _, stderr = catchlight("render", dir+"hero.yaml", "-o", "again.exr")
	require.Zero(t, code, stderr)
	require.Equal(t, light(t, dir+"hero.exr"), light(t, "again.exr"))

	f, err := os.Open(dir + "hero.png")
	require.NoError(t, err)
	defer f.Close()
	m, err := png.Decode(f)
	require.NoError(t, err)
	edges := 0
	p := m.(*image.NRGBA64)
	for y := 1; y < 47; y++ {
		for x := 1; x < 47; x++ {
			c := p.NRGBA64At(x, y)
			if c.A == 0 || c.A == 65535 {
				continue
			}
			edges++
			low, high := 1.0, 0.0 // of the pixels about it that the eye covers
			for k := range 9 {
				if q := p.NRGBA64At(x-1+k%3, y-1+k/3); q.A > 60000 {
					v := float64(q.G) / 65535
					low, high = min(low, v), max(high, v)
				}
			}
			if c.A > 20000 && high > 0 {
				v := float64(c.G) / 65535
				require.Greater(t, v, 0.6*low, "dark fringe at %d,%d", x, y)
				require.Less(t, v, high+0.25, "light fringe at %d,%d", x, y)
			}
		}
	}
	require.Greater(t, edges, 40)
}

// light is what a picture holds of light.
func light(t *testing.T, file string) [3][]float32 {
	t.Helper()
	p, err := imageio.Read(file)
	require.NoError(t, err)
	return p.RGB()
}

// On a plain ground the hero stands on a stone that the camera sees below the eye, and not in its place; other pictures have none.
func TestHeroStandsOnAStone(t *testing.T) {
	file := writeHeron(t)
	code, _, stderr := catchlight("present", file, "--pictures", "hero,front", "--size", "24x24", "--samples", "1", "--set", "objects.eye.globe.facet_error=0.01")
	require.Zero(t, code, stderr)
	dir := "out/present-heron/"
	for place, want := range map[string]string{"12,22": "stone", "2,20": "stone", "12,12": "eye"} {
		code, stdout, stderr := catchlight("render", dir+"hero.yaml", "--probe", place)
		require.Zero(t, code, stderr)
		require.Contains(t, stdout, want, "at "+place)
		require.Equal(t, want == "stone", strings.Contains(stdout, "stone"), "at "+place)
	}
	front, err := os.ReadFile(dir + "front.yaml")
	require.NoError(t, err)
	require.NotContains(t, string(front), "stone")
}
