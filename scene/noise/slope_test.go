package noise

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Slope is Space, and its gradient is that of central differences.
func TestSlopeIsTheGradientOfSpace(t *testing.T) {
	const d = 1e-5
	for i := range 200 {
		x, y, z := 3*Lattice(1, int64(i)), 3*Lattice(2, int64(i)), 3*Lattice(3, int64(i))
		v, gx, gy, gz := Slope(7, x, y, z)
		assert.InDelta(t, Space(7, x, y, z), v, 1e-12)
		assert.InDelta(t, (Space(7, x+d, y, z)-Space(7, x-d, y, z))/(2*d), gx, 1e-6)
		assert.InDelta(t, (Space(7, x, y+d, z)-Space(7, x, y-d, z))/(2*d), gy, 1e-6)
		assert.InDelta(t, (Space(7, x, y, z+d)-Space(7, x, y, z-d))/(2*d), gz, 1e-6)
	}
}
