package inspect

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func limitsFile(t *testing.T, text string) (*Limits, error) {
	t.Helper()
	file := filepath.Join(t.TempDir(), "studio.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o666))
	return LoadLimits(file)
}

// The table that is printed is a file that is read, and gives what is built in.
func TestTableReadsBack(t *testing.T) {
	var s strings.Builder
	require.NoError(t, Builtin().WriteTable(&s))
	l, err := limitsFile(t, s.String())
	require.NoError(t, err)
	require.Equal(t, Builtin().value, l.value)
	for _, q := range Table {
		require.True(t, q.Default >= q.Least && q.Default <= q.Most, q.Key)
		require.NotEmpty(t, q.Source, q.Key)
		require.NotEmpty(t, q.Doc, q.Key)
	}
}

// A studio's file changes what it names alone.
func TestStudioLimits(t *testing.T) {
	l, err := limitsFile(t, "shows:\n  error_px: 8 # ours\nscale.chamber_share_least: 0.02\n")
	require.NoError(t, err)
	require.Equal(t, 8.0, l.Get("shows.error_px"))
	require.Equal(t, 0.02, l.Get("scale.chamber_share_least"))
	require.Equal(t, 0.5, l.Get("shows.warning_px"))
}

// Every mistake has its line, key, value and range.
func TestStudioMistakes(t *testing.T) {
	for text, want := range map[string]string{
		"shows:\n  error_px: -3\n":                   "studio.yaml:2:13: shows.error_px: -3 is outside [0, 1000] px",
		"shows:\n  error_pixels: 3\n":                "studio.yaml:2:17: shows.error_pixels: unknown threshold; did you mean shows.error_px?",
		"shows: {error_px: wide}\n":                  "studio.yaml:1:19: shows.error_px: wide is no number",
		"shows: [1, 2]\n":                            "shows: wants a number",
		"shows:\n  error_px: 3\nshows.error_px: 4\n": "studio.yaml:3:17: shows.error_px: given twice",
		"shows: {error_px: 0.1}\n":                   "an error must not show less than a warning",
		"shows: {error_px: nan}\n":                   "nan is no number",
		"a: {b: \x80}":                               "not UTF-8",
		"- 3\n":                                      "wants a number",
	} {
		_, err := limitsFile(t, text)
		require.ErrorContains(t, err, want, text)
	}
}
