package render

import (
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"

	"catchlight/scene/geom"
)

// beams throws parallel light of irradiance 1 forward through an eye's outer shell onto the plane z of its frame, and
// returns the irradiance at n x m points, in rows from the top left, of a rectangle about the axis with the given pitch in
// mm. Each triangle of the shell is a beam: Snell's law at its corners, with the corners' normals, says where it lands, and
// its light is spread evenly there. It knows nothing of solvers, weights or random numbers, sees folds, and has no noise.
//
// Source: Watt, Light-Water Interaction using Backward Beam Tracing, SIGGRAPH 1990 (from memory).
func beams(p *Prepared, l geom.Vec, z float64, n, m int, pitch float64) []float64 {
	e := &p.Scene.Eyes[0]
	shell := p.Scene.Objects[e.Outer].Mesh
	const offX, offY = 0.00031, 0.00017
	out := make([]float64, n*m)
	for _, t := range shell.Tri {
		var q [3]geom.UV // where the corners' rays land
		pass, ok := 0.0, true
		for k, v := range t {
			nn := shell.N[v].Unit()
			c := nn.Dot(l)
			if ok = c > 0; !ok {
				break
			}
			s := math.Sqrt(1 - (1-c*c)/(e.Index*e.Index)) // cosine inside
			d := l.Mul(-1/e.Index).Mad(c/e.Index-s, nn)
			rs := (c - e.Index*s) / (c + e.Index*s)
			rp := (s - e.Index*c) / (s + e.Index*c)
			pass += (1 - (rs*rs+rp*rp)/2) / 3
			h := (z - shell.P[v].Z) / d.Z
			if ok = h > 0; !ok {
				break
			}
			at := shell.P[v].Mad(h, d)
			q[k] = geom.UV{U: at.X, V: at.Y}
		}
		if !ok {
			continue
		}
		a, b, c := shell.P[t[0]], shell.P[t[1]], shell.P[t[2]]
		w := e.Zone(a.Add(b).Add(c).Mul(1. / 3))
		flux := b.Sub(a).Cross(c.Sub(a)).Dot(l) / 2 * pass * w
		area := ((q[1].U-q[0].U)*(q[2].V-q[0].V) - (q[2].U-q[0].U)*(q[1].V-q[0].V)) / 2
		if flux <= 0 || area == 0 {
			continue
		}
		// The points inside. They lie a little off the rows and diagonals on which corners of the shell do.
		col := func(x float64) float64 { return (x-offX)/pitch + float64(n-1)/2 }
		row := func(y float64) float64 { return float64(m-1)/2 - (y-offY)/pitch }
		x0, x1 := max(0, int(math.Ceil(col(min(q[0].U, q[1].U, q[2].U))))), min(n-1, int(col(max(q[0].U, q[1].U, q[2].U))))
		y0, y1 := max(0, int(math.Ceil(row(max(q[0].V, q[1].V, q[2].V))))), min(m-1, int(row(min(q[0].V, q[1].V, q[2].V))))
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				pt := geom.UV{U: (float64(x)-float64(n-1)/2)*pitch + offX, V: (float64(m-1)/2-float64(y))*pitch + offY}
				side := 0
				for k := range q {
					i, j := q[k], q[(k+1)%3]
					if (j.U-i.U)*(pt.V-i.V)-(j.V-i.V)*(pt.U-i.U) > 0 {
						side++
					}
				}
				if side == 0 || side == 3 {
					out[y*n+x] += flux / math.Abs(area)
				}
			}
		}
	}
	return out
}

// The solver's irradiance behind the cornea against light thrown forward through the same shell, from the axis to 70
// degrees, pixel by pixel within 3 mm of the axis: within 1 % and three standard errors, smooth and with relief up to the steepest that a built eye may have.
// The tracer's own path is bent by the same shell, facet by facet, so what is left is noise and the width of facets.
func TestCausticAgainstBeams(t *testing.T) {
	const yaml = `
picture: {width: 31, height: 3, samples: 1024, filter: box, filter_width: 1}
camera: {kind: plate, normal: [0, 0, 1], width: 6.2, target: [0, 0, %g]}
lights: [{name: lamp, kind: distant, angle: 0.2, orbit: {azimuth: %g}, irradiance: [1, 1, 1]}]
objects: [{name: eye, shape: eye, ` + plainEye + `}]
`
	for _, c := range []struct {
		name        string
		slope, size float64
		typical     float64
	}{
		{"smooth", 0, 4, 0.002},
		{"wobble of the default eye", 0.012, 4, 0.003},
		{"strong wobble", 0.04, 4, 0.004},
		{"short wobble", 0.015, 1.5, 0.004},
	} {
		set := []string{fmt.Sprintf("objects.eye.cornea.wobble=%g", c.slope), fmt.Sprintf("objects.eye.cornea.wobble_size=%g", c.size)}
		flat := prepare(t, fmt.Sprintf(yaml, 8.0, 0.0, 5.5, 2.0, 0.0))
		z := apex(flat) - 3.6
		for _, azimuth := range []float64{0, 30, 50, 60, 70} {
			if azimuth != 50 && azimuth != 70 && c.slope != 0 && os.Getenv("CATCHLIGHT_LONG") == "" {
				continue // the wobbly ones at all angles are a long check
			}
			t.Run(fmt.Sprintf("%s, %g degrees", c.name, azimuth), func(t *testing.T) {
				sub := 12 // points along a pixel's side
				if azimuth >= 70 {
					sub, set = 28, append(set, "picture.samples=6144") // light is folded there: edges cross pixels
				}
				p := prepare(t, fmt.Sprintf(yaml, z, azimuth, 5.5, 2.0, 0.0), set...)
				r := finish(t, p)
				pic := r.Film.Develop()
				s, cos := math.Sincos(azimuth * math.Pi / 180)
				fine := beams(p, geom.Vec{X: s, Z: cos}, z, 31*sub, 3*sub, 6.2/31/float64(sub))
				sum, worst, at, bright := 0.0, 0.0, 0, 0.0
				for i := range pic.Mean {
					// The edge of what the beams know: the limbus weakens theirs, and not the light that the iris gets.
					if x := (float64(i%31) - 15) * 0.2; azimuth >= 70 && x > 2.1 {
						continue
					}
					want := 0.0
					for k := range sub * sub {
						want += fine[(i/31*sub+k/sub)*31*sub+i%31*sub+k%sub] / float64(sub*sub)
					}
					off := pic.Mean[i][1]/want - 1
					sum += off * off
					if math.Abs(off) > math.Abs(worst) {
						worst, at = off, i
					}
					bright = max(bright, want)
				}
				rms := math.Sqrt(sum / float64(len(pic.Mean)))
				t.Logf("off by %.2f %% (RMS), at most %+.2f %% at x %.1f mm; brightest %.3f; solver found %.4f of %d, %.2f steps each", 100*rms, 100*worst,
					(float64(at%31)-15)*0.2, bright, float64(r.Stats.SolverFound)/float64(r.Stats.SolverCalls), r.Stats.SolverCalls,
					float64(r.Stats.SolverSteps)/float64(r.Stats.SolverCalls))
				assert.Less(t, math.Abs(worst), 0.01+3*pic.Error[at][1]/pic.Mean[at][1])
				assert.Less(t, rms, c.typical)
			})
		}
	}
}
