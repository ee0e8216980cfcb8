package render

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// coarseBall writes a ball of radius 9 of 16 x 8 facets with the true normals at its corners, and returns its path.
func coarseBall(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	const n, m = 16, 8
	for j := range m + 1 {
		for i := range n {
			st, ct := math.Sincos(math.Pi * float64(j) / m)
			s, c := math.Sincos(2 * math.Pi * float64(i) / n)
			fmt.Fprintf(&b, "v %.6f %.6f %.6f\nvn %.6f %.6f %.6f\n", 9*st*s+0, 9*ct, 9*st*c+0, st*s, ct, st*c)
		}
	}
	for j := range m {
		for i := range n {
			p, q := 1+j*n+i, 1+j*n+(i+1)%n
			if j > 0 {
				fmt.Fprintf(&b, "f %d//%[1]d %d//%[2]d %d//%[3]d\n", p, p+n, q)
			}
			if j < m-1 {
				fmt.Fprintf(&b, "f %d//%[1]d %d//%[2]d %d//%[3]d\n", p+n, q+n, q)
			}
		}
	}
	path := filepath.Join(t.TempDir(), "ball.obj")
	require.NoError(t, os.WriteFile(path, []byte(b.String()), 0o666))
	return path
}

// A coarse mesh with smooth normals is lit as the smooth ball that it stands for, its edge of light and shadow too: the
// closed form is the cosine with the normal seen there, without any facet's own shadow. In a white furnace it stays 1.
func TestShadowTerminator(t *testing.T) {
	const scene = `
picture: {width: 64, height: 64, samples: 32, filter: box, filter_width: 1}
camera: {kind: orthographic, width: 18, target: [0, 0, 0], orbit: {azimuth: 0}}
lights: [{name: lamp, kind: distant, angle: 0.5, orbit: {azimuth: 80}, irradiance: [3.14159265, 3.14159265, 3.14159265]}]
advanced: {max_depth: 2}
objects: [{name: ball, %s, material: {colour: 1}}]
`
	mesh := fmt.Sprintf("shape: mesh, file: %q, unit: mm", coarseBall(t))
	coarse := trace(t, fmt.Sprintf(scene, mesh)).Film.Develop()
	smooth := trace(t, fmt.Sprintf(scene, "shape: sphere, radius: 9")).Film.Develop()
	// The band about the edge of light, x = -9 tan 10 degrees seen from before, away from the outline.
	sum, worst, n := 0.0, 0.0, 0.0
	for i := range coarse.Mean {
		x, y := (float64(i%64)-31.5)*18/64, (31.5-float64(i/64))*18/64
		if math.Abs(x+1.5) > 3 || math.Abs(y) > 5.5 {
			continue
		}
		d := coarse.Mean[i][0] - smooth.Mean[i][0]
		sum += d * d
		worst = max(worst, math.Abs(d))
		n++
	}
	rms := math.Sqrt(sum / n)
	t.Logf("about the edge of light: off by %.4f (RMS), at most %.4f", rms, worst)
	assert.Less(t, rms, 0.005)
	assert.Less(t, worst, 0.02)

	for _, object := range []string{"material: {colour: 1}", "material: {kind: tissue, scattering: false, index: 1, colour: 0.98}"} {
		pic := inFurnace(t, 32, 8, "{name: ball, "+mesh+", "+object+"}").Film.Develop()
		m, se := mean(&pic, 1, nil)
		t.Logf("furnace, %s: %.5f +- %.5f", object, m, se)
		assert.GreaterOrEqual(t, m, 0.98-0.002)
		assert.LessOrEqual(t, m, 1+0.002)
	}
}
