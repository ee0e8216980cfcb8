package job

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Sweep takes old leftovers alone.
func TestSweep(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "ab"), 0o777))
	old := time.Now().Add(-2 * time.Hour)
	for name, at := range map[string]time.Time{".x.exr.12-1.tmp": old, ".y.exr.13-2.tmp": time.Now(), "abcd.exr": old, ".note.tmp": old} {
		f := filepath.Join(dir, "ab", name)
		require.NoError(t, os.WriteFile(f, nil, 0o666))
		require.NoError(t, os.Chtimes(f, at, at))
	}
	Sweep(dir)
	left, err := os.ReadDir(filepath.Join(dir, "ab"))
	require.NoError(t, err)
	var names []string
	for _, e := range left {
		names = append(names, e.Name())
	}
	require.Equal(t, []string{".note.tmp", ".y.exr.13-2.tmp", "abcd.exr"}, names)
}
