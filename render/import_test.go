package render

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// The same eye as .obj in centimetres and as .glb in metres gives the same picture: the mean of the whole
// within 0.5 %, of the iris within 2 %. Pixels are not compared one by one.
func TestObjEyeLooksAsGLB(t *testing.T) {
	read := func(file, unit string) *Result {
		text := strings.Replace(assetScene(file), "asset: {file", "asset: {"+unit+"factor: 0.72452, file", 1)
		return trace(t, text, "picture.width=24", "picture.height=24")
	}
	a, b := read("../testdata/eye/ict_right_eye.obj", "unit: cm, "), read("../testdata/eye/ict_right_eye.glb", "")
	pa, pb := a.Film.Develop(), b.Film.Develop()
	ma, n := mean(&pa, 1, func(int) bool { return true })
	mb, _ := mean(&pb, 1, func(int) bool { return true })
	t.Logf("mean %.5f and %.5f of %v pixels", ma, mb, n)
	assert.InEpsilon(t, mb, ma, 0.005)
	disc := func(i int) bool { return math.Hypot(float64(i%24)-11.5, float64(i/24)-11.5) < 5 }
	ma, _ = mean(&pa, 1, disc)
	mb, _ = mean(&pb, 1, disc)
	assert.InEpsilon(t, mb, ma, 0.02)
}
