package edit

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Changes of both sides meet in one text, or are of the same part.
func TestMerge(t *testing.T) {
	for _, c := range [][4]string{
		{"a: 1\nb: 2\n", "a: 1\nb: 3\n", "a: 4\nb: 2\n", "a: 4\nb: 3\n"},
		{"{a: 1, b: 2}", "{a: 5, b: 2}", "{a: 1, b: 6}", "{a: 5, b: 6}"},
		{"a: 1\n", "a: 1\nc: 3\n", "# tide\na: 1\n", "# tide\na: 1\nc: 3\n"},
		{"a: 1\nb: 2\n", "b: 2\n", "a: 1\nb: 2 # ebb\n", "b: 2 # ebb\n"},
		{"a: 1\n", "a: 2\n", "a: 2\n", "a: 2\n"},
		{"a: 1\n", "a: 2\n", "a: 3\n", ""},
	} {
		for _, turn := range []bool{false, true} {
			mine, theirs := c[1], c[2]
			if turn {
				mine, theirs = theirs, mine
			}
			got, err := Merge(c[0], mine, theirs)
			if c[3] == "" {
				require.ErrorIs(t, err, ErrOverlap)
				continue
			}
			require.NoError(t, err)
			require.Equal(t, c[3], got)
		}
	}
	for _, text := range []string{"", "a: [1, 2]  # sea\r\n\n é-b_c: x\n"} {
		require.Equal(t, text, strings.Join(tokens(text), ""))
	}
}

// The changes between two texts make the one of the other.
func TestBetween(t *testing.T) {
	base, mine := "a: {b: 1, c: 2} # ebb\nd: 4\n", "a: {b: 3} # ebb\nd: 4\ne: x\n"
	list := Between(base, mine)
	require.Equal(t, []Change{{"a.b", Raw("3")}, {"e", Raw("x")}, {"a.c", nil}}, list)
	got, err := Apply(base, list...)
	require.NoError(t, err)
	require.Equal(t, mine, got)
}
