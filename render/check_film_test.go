package render

import (
	"fmt"
	"math"
	"testing"

	"catchlight/material/fresnel"

	"github.com/stretchr/testify/assert"
)

const whiteEye = "{name: eye, shape: eye, map_size: 64, iris: {colour: 1, scattering: false, pupil_closed: true}, sclera: {colour: 1, scattering: false, veins: 0}}"

// The tear film takes and gives nothing: a white white in a white furnace, seen from behind, can't be seen, in its middle and
// with its rim. What the film lets out is normalised by the directions in which light crosses the shell, above the tissue.
func TestWhiteOfTheEyeFurnace(t *testing.T) {
	for _, c := range []struct {
		name  string
		width float64
		spp   int
		set   []string
	}{
		{"smooth", 12, 192, nil},
		{"rough", 12, 128, []string{"objects.eye.sclera.roughness=0.6"}},
		{"whole", 26, 192, nil},
	} {
		pic := inFurnace(t, c.spp, c.width, whiteEye, append(c.set, "camera.orbit={azimuth: 180, elevation: 5}")...).Film.Develop()
		m, se := mean(&pic, 1, nil)
		t.Logf("%s: %.5f +- %.5f", c.name, m, se)
		assert.LessOrEqual(t, se, 0.0004)
		assert.InDelta(t, 1, m, 0.001)
	}
}

// Light that leaves a ball evenly crosses a shell k times as wide with the square of the sine spread evenly up to 1/k^2 (the
// law of sines in the triangle to the centre), so the factor is 1 in the mean of those. The built eye's white is such a ball.
func TestFilmIsNormalisedAtTheShell(t *testing.T) {
	p := prepare(t, fmt.Sprintf(furnace, 1, 26.0, whiteEye))
	e := &p.Scene.Eyes[0]
	outer, gap := p.Description.Objects[0].Eye.Globe.Radius, 0.04 // mm; the depth of the tissue below the shell
	k2 := math.Pow((outer-gap)/outer, 2)
	through := 0.0
	const n = 100000
	for i := range n {
		through += (1 - fresnel.Dielectric(math.Sqrt(1-k2*(float64(i)+0.5)/n), e.ReflectIndex)) / n
	}
	t.Logf("lets out %.5f of what falls on it squarely over 1-F, want %.5f; at the tissue it would be %.5f", e.CoatOut(1)/(1-e.Reflectance(1)), 1/through, 1/e.CoatShare(0))
	assert.InEpsilon(t, 1/through, e.CoatOut(1)/(1-e.Reflectance(1)), 5e-4)
}
