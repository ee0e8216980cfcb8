package view

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"catchlight/scene/colour"
)

// solid writes a .cube table of n^3 colours f.
func solid(n int, head string, f func(r, g, b float64) colour.RGB) string {
	var s strings.Builder
	fmt.Fprintf(&s, "# made by a test\nTITLE \"test\"\n%sLUT_3D_SIZE %d\n", head, n)
	for b := range n {
		for g := range n {
			for r := range n {
				k := float64(n - 1)
				c := f(float64(r)/k, float64(g)/k, float64(b)/k)
				fmt.Fprintf(&s, "%.9g %.9g %.9g\n", c[0], c[1], c[2])
			}
		}
	}
	return s.String()
}

func parse(t *testing.T, text string) *Cube {
	t.Helper()
	c, err := ParseCube("x.cube", []byte(text))
	require.NoError(t, err)
	return c
}

// Any affine function is exact between the entries (interpolation within a tetrahedron is affine), red runs fastest
// (the format's order; the three channels of the function differ), and the domain is honoured.
func TestCubeAffine(t *testing.T) {
	f := func(r, g, b float64) colour.RGB { return colour.RGB{.1 + .5*r - .2*g, .7*g + .1*b, .3 + .6*b - .1*r} }
	c := parse(t, solid(5, "DOMAIN_MIN -1 0 0.5\nDOMAIN_MAX 3 2 1\n", f))
	assert.Equal(t, "test", c.Title)
	rnd := rand.New(rand.NewPCG(1, 1))
	for range 500 {
		r, g, b := rnd.Float64(), rnd.Float64(), rnd.Float64()
		got, want := c.At(colour.RGB{4*r - 1, 2 * g, .5 + .5*b}), f(r, g, b)
		for k := range got {
			assert.InDelta(t, want[k], got[k], 1e-8)
		}
	}
	// Outside the domain its edge holds; NaN counts as the low edge.
	assert.Equal(t, c.At(colour.RGB{3, 0, .5}), c.At(colour.RGB{math.Inf(1), -7, math.NaN()}))
}

// Greys between grey entries stay grey whatever lies off the grey axis, entries come back as they are, and the surface
// has no step where tetrahedra and cells meet.
func TestCubeTetrahedra(t *testing.T) {
	rnd := rand.New(rand.NewPCG(2, 1))
	c := parse(t, solid(4, "", func(r, g, b float64) colour.RGB {
		if r == g && g == b {
			return colour.Grey(r * r)
		}
		return colour.RGB{rnd.Float64(), rnd.Float64(), rnd.Float64()}
	}))
	for i := range 100 {
		q := c.At(colour.Grey(float64(i) / 99))
		assert.InDelta(t, q[0], q[1], 1e-12)
		assert.InDelta(t, q[0], q[2], 1e-12)
	}
	for i, want := range c.pix {
		got := c.At(colour.RGB{float64(i%4) / 3, float64(i/4%4) / 3, float64(i/16) / 3})
		for k := range got {
			assert.InDelta(t, want[k], got[k], 1e-9)
		}
	}
	for range 2000 {
		a := colour.RGB{rnd.Float64(), rnd.Float64(), rnd.Float64()}
		a[rnd.IntN(3)] = a[rnd.IntN(3)] // onto a plane between tetrahedra
		b := a.Add(colour.RGB{1e-7 * rnd.NormFloat64(), 1e-7 * rnd.NormFloat64(), 1e-7 * rnd.NormFloat64()})
		d := c.At(a).Sub(c.At(b))
		assert.Less(t, max(math.Abs(d[0]), math.Abs(d[1]), math.Abs(d[2])), 1e-5)
	}
}

func TestCubeCurve(t *testing.T) {
	c := parse(t, "LUT_1D_SIZE 3\r\nDOMAIN_MAX 2 2 2\r\n0 0 1\r\n\r\n0.5 1 0.5\r\n1 4 0\r\n")
	assert.Equal(t, colour.RGB{.25, .5, .75}, c.At(colour.Grey(.5)))
	assert.Equal(t, colour.RGB{.75, 2.5, .25}, c.At(colour.Grey(1.5)))
}

// Feeds by their formulas: an identity table gives linear light back through each, where it holds.
func TestTableFeeds(t *testing.T) {
	id := parse(t, solid(2, "", func(r, g, b float64) colour.RGB { return colour.RGB{r, g, b} }))
	c := colour.RGB{.02, .18, .7}
	near := func(want, got colour.RGB) {
		t.Helper()
		for k := range got {
			assert.InDelta(t, want[k], got[k], 1e-6)
		}
	}
	near(c, View{Table: &Table{Cube: id, Feed: FeedSRGB}}.Display(c))
	near(c, View{Table: &Table{Cube: id, Feed: FeedLinear, Linear: true}}.Display(c))
	near(c.Scale(.5), View{Exposure: -1, Table: &Table{Cube: id, Linear: true}}.Display(c))
	// Middle grey lies at -low/(high-low), a stop above it 1/(high-low) further.
	log := View{Table: &Table{Cube: id, Feed: FeedLog2, Low: -6, High: 4, Linear: true}}
	near(colour.RGB{.6, .7, 1}, log.Display(colour.RGB{.18, .36, 1000}))
	near(colour.RGB{0, 0, .5}, log.Display(colour.RGB{0, -1, .09}))
}

func TestCubeErrors(t *testing.T) {
	for text, want := range map[string]string{
		"":                                                "neither LUT_1D_SIZE nor",
		"LUT_3D_SIZE 2\n0 0 0\n":                          "the data end after 1 of 8",
		"LUT_3D_SIZE 257\n":                               `line 1: LUT_3D_SIZE "257", must be 2 to 256`,
		"LUT_1D_SIZE 99999999\n":                          "must be 2 to 65536",
		"LUT_1D_SIZE 2\nLUT_3D_SIZE 2\n":                  "line 2: a table is of one or of three",
		"LUT_1D_SIZE 2\nLUT_1D_SIZE 2\n":                  "stands on line 1 already",
		"0 0 0\n":                                         "line 1: data before",
		"LUT_1D_SIZE 2\n0 0\n":                            "line 2: 2 numbers",
		"LUT_1D_SIZE 2\n0 nan 0\n":                        "line 2: \"nan\"",
		"LUT_1D_SIZE 2\n0 0 x\n":                          "line 2: \"x\"",
		"LUT_1D_SIZE 2\n0 0 0\n1 1 1\n2 2 2\n":            "line 4: more than the 2",
		"LUT_1D_SIZE 2\n0 0 0\nTITLE \"x\"\n":             "after the data",
		"LUT_1D_SIZE 2\nDOMAIN_MIN 1 0 0\n0 0 0\n1 1 1\n": "is not below",
		"GRID 2\n":                                        "unknown keyword",
		"TITLE x\n":                                       "double quotes",
		strings.Repeat("#", 2000):                         "2000 bytes long",
	} {
		_, err := ParseCube("x.cube", []byte(text))
		assert.ErrorContains(t, err, want, "%.40q", text)
		assert.ErrorContains(t, err, "x.cube")
	}
}

// A table that parses is whole and can be read anywhere.
func FuzzCube(f *testing.F) {
	f.Add([]byte("TITLE \"a\"\nLUT_1D_SIZE 2\n0 0 0\n1 1 1\n"))
	f.Add([]byte("# c\nDOMAIN_MIN 0 0 0\nDOMAIN_MAX 1 2 3\nLUT_3D_SIZE 2\n" + strings.Repeat("0.5 1e-3 -2\n", 8)))
	f.Add([]byte("LUT_3D_SIZE 256\n0 0 0\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := ParseCube("fuzz", data)
		if err != nil {
			return
		}
		for _, x := range []float64{math.Inf(-1), -1, 0, .3, 1, 9, math.NaN()} {
			if !c.At(colour.RGB{x, .5, 1 - x}).Finite() {
				t.Fatalf("not finite at %v", x)
			}
		}
	})
}
