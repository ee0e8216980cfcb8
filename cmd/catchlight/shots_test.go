package main

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNotesAddUp(t *testing.T) {
	var y tally
	for _, w := range []string{"traced: 3 rays met a shell", "traced: no map", "traced: 4 rays met a shell", "raster: 1 rays met a shell", "traced: no map", "traced: no map"} {
		y.note(w)
	}
	require.Equal(t, []string{"traced: 7 rays met a shell", "traced: no map (3 pictures)", "raster: 1 rays met a shell"}, y.warnings)
}
