package memory

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What a value takes is what it points to, each once.
func TestSizeOf(t *testing.T) {
	type leaf struct {
		A []float32
		B *leaf
		C map[string]int
	}
	shared := &leaf{A: make([]float32, 100)}
	require.EqualValues(t, 8+40+400, SizeOf(shared))
	require.EqualValues(t, 24+2*8+40+400, SizeOf([]*leaf{shared, shared}))
	loop := &leaf{}
	loop.B = loop
	require.EqualValues(t, 8+40, SizeOf(loop))
}
