package main

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A note of several maps or looks is told once with all of them, the same note again with a count, and one that a door has told no more.
func TestNotesAreToldOnce(t *testing.T) {
	var b bytes.Buffer
	d := &door{w: &b}
	tell(d, []string{"iris.colour: no profile", "the lens is a pinhole", "sclera.colour: no profile", "the lens is a pinhole", "iris.normal: flat"})
	tell(d, []string{"iris.normal: flat", "a new one"})
	require.Equal(t, "note: iris.colour, sclera.colour: no profile\nnote: the lens is a pinhole (2 times)\nnote: iris.normal: flat\nnote: a new one\n", b.String())
	require.Equal(t, []string{"a, b, c, d and 2 more: x"}, folded([]string{"a: x", "b: x", "c: x", "d: x", "e: x", "f: x"}))
}

// No estimate stands on the first tile alone, and work of an earlier run does not count as pace.
func TestTimeLeft(t *testing.T) {
	for _, c := range []struct {
		gone              time.Duration
		from, done, total int64
		want              time.Duration
		known             bool
	}{
		{time.Second, 0, 500, 1000, 0, false},
		{10 * time.Second, 0, 19, 1000, 0, false},
		{10 * time.Second, 0, 20, 1000, 490 * time.Second, true},
		{10 * time.Second, 900, 901, 1000, 0, false},
		{10 * time.Second, 900, 950, 1000, 10 * time.Second, true},
		{10 * time.Second, 5, 5, 5, 0, false},
	} {
		left, known := timeLeft(c.gone, c.from, c.done, c.total)
		require.Equal(t, c.known, known, "%+v", c)
		require.Equal(t, c.want, left, "%+v", c)
	}
}
