package adopt

import (
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// An eye of dull names in the middle tells its side by its axis alone: one finding says so, and none that it is unknown.
func TestSideIsSaidOnce(t *testing.T) {
	names, err := LoadNames("")
	require.NoError(t, err)
	in, err := Read(licensed, "", "", names)
	require.NoError(t, err)
	turn := geom.RotateY(geom.Radians(-5))
	for i := range in.Parts {
		in.Parts[i].Name = []string{"a", "b"}[i]
		move(in.Parts[i].Mesh, turn)
	}
	got, err := Propose(in)
	require.NoError(t, err)
	var said []string
	for _, f := range got.Findings {
		if f.Topic == "side" {
			said = append(said, f.Choice)
		}
	}
	require.Equal(t, []string{"right"}, said, listed(got))
	require.Equal(t, "right", got.Side)
}
