package render

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// waveMap writes a normal map whose slopes are two plane waves with the root-mean-square slope that is asked for.
func waveMap(t *testing.T, slope float64) string {
	t.Helper()
	const n = 256
	m := image.NewNRGBA64(image.Rect(0, 0, n, n))
	code := func(v float64) uint16 { return uint16(math.Round((v + 1) / 2 * 65535)) }
	for y := range n {
		for x := range n {
			u, v := 2*math.Pi*float64(x)/n, 2*math.Pi*float64(y)/n
			a, b := slope*math.Sin(9*u), slope*math.Sin(7*v)
			l := math.Sqrt(1 + a*a + b*b)
			m.SetNRGBA64(x, y, color.NRGBA64{R: code(a / l), G: code(b / l), B: code(1 / l), A: 65535})
		}
	}
	file := filepath.Join(t.TempDir(), "waves.png")
	f, err := os.Create(file)
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, m))
	require.NoError(t, f.Close())
	return file
}

// A white eye in a white furnace, region by region: with relief of real geometry each region reads 1 within 0.001, under a smooth
// and a rough tear film, bare and in lids. Shading by a normal map is not reciprocal, so there the deviation is stated. The table
// is the record; a row fails beyond 0.001 and three standard errors.
func TestFurnaceByRegionLong(t *testing.T) {
	row := longTable(t, "furnace-regions", "White eye in a white furnace of radiance 1, 64 px, mean of green by region. Plainly scattering white tissue,\n"+
		"pupil closed; `rough` is a tear film of roughness 0.5 over the cornea and 0.8 over the sclera; lids are white flesh with\n"+
		"their coats, walked in. Deviation in thousandths +- one standard error.\n\n| eye | iris | limbus | sclera | around |\n| --- | --- | --- | --- | --- |")
	const eye = "{name: eye, shape: eye, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false%s}, cornea: {%s}%s}"
	waves := waveMap(t, 0.05)
	for _, c := range []struct {
		name, sclera, cornea, more string
		spp                        int
		mapped                     bool
	}{
		{"smooth film", ", roughness: 0", "roughness: 0", "", 1024, false},
		{"default film", "", "", "", 1024, false},
		{"rough film", ", roughness: 0.8", "roughness: 0.5", "", 1536, false},
		{"in lids", "", "", ", lids: {facet_size: 0.4, lashes: {density: 0.3}}", 1024, false},
		{"in lids, rough film", ", roughness: 0.8", "roughness: 0.5", ", lids: {facet_size: 0.4, lashes: {density: 0.3}}", 1024, false},
		{"normal map, slope 0.05", "", fmt.Sprintf("normal: {file: %q}", waves), "", 1024, true},
		{"normal map, slope 0.05, rough film", ", roughness: 0.8", fmt.Sprintf("roughness: 0.5, normal: {file: %q}", waves), "", 1024, true},
	} {
		object := fmt.Sprintf(eye, c.sclera, c.cornea, c.more)
		sets := []string{"picture.width=64", "picture.height=64"}
		if c.more != "" {
			sets = append(sets, "advanced.guided=false")
		}
		p := prepare(t, fmt.Sprintf(furnace, c.spp, 26.0, object), sets...)
		white(p, true)
		pic := finish(t, p).Film.Develop()
		r := p.Regions(Options{})
		cells := ""
		for _, z := range []Zone{Iris, Limbus, Sclera, Around} {
			in := r.Mask(z, -1)
			n := 0
			for _, is := range in {
				if is {
					n++
				}
			}
			if n < 20 {
				cells += " - |"
				continue
			}
			m, se := mean(&pic, 1, func(i int) bool { return in[i] })
			cells += fmt.Sprintf(" %+.2f +- %.2f |", 1000*(m-1), 1000*se)
			if !c.mapped {
				assert.LessOrEqual(t, math.Abs(m-1), 0.001+3*se, "%s, %s", c.name, z)
			}
		}
		row("| %s |%s", c.name, cells)
	}
}

// The limbus of a white eye can't be seen in a white furnace: light that leaves the iris crosses a chamber before it meets the
// film over the sclera, and what that mirrors back is followed, not lost. (Before, the limbus read 0.011 low and the iris 0.002.)
func TestWhiteLimbusFurnace(t *testing.T) {
	const eye = "{name: eye, shape: eye, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, limbus: {reach: %g}, sclera: {colour: 1, scattering: false}}"
	for _, c := range []struct {
		reach, sclera float64 // how far the white reaches in over the cornea, mm, and how far the sclera may read from 1
	}{{0, 0.001}, {0.55, 0.0025}} { // where the coat lies over the chamber's edge, its factor for light that leaves tissue is off a little
		p := prepare(t, fmt.Sprintf(furnace, 160, 14.0, fmt.Sprintf(eye, c.reach)), "picture.width=36", "picture.height=36", "camera.target=[0, 0, 10]", "camera.orbit={azimuth: 0}", "advanced.light_samples=false")
		pic := finish(t, p).Film.Develop()
		r := p.Regions(Options{})
		for z, most := range map[Zone]float64{Iris: 0.0008, Limbus: 0.004, Sclera: c.sclera} {
			in := r.Mask(z, -1)
			m, se := mean(&pic, 1, func(i int) bool { return in[i] })
			t.Logf("reach of %g, %s: %.5f +- %.5f", c.reach, z, m, se)
			assert.LessOrEqual(t, math.Abs(m-1), most+3*se, "%s", z)
			assert.LessOrEqual(t, se, most/2)
		}
	}
}
