package imageio

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// What a killed process left goes, for the file asked after alone; what a living one has under way stays.
func TestSweep(t *testing.T) {
	dir := t.TempDir()
	c := exec.Command("true")
	require.NoError(t, c.Run())
	dead, own, parent := c.Process.Pid, os.Getpid(), os.Getppid()
	old := time.Now().Add(-2 * time.Hour)
	for name, at := range map[string]time.Time{
		fmt.Sprintf(".a.film.%d-1.tmp", dead):      time.Now(), // goes
		fmt.Sprintf(".a.film.%d-2.tmp", own):       time.Now(),
		fmt.Sprintf(".a.film.%d-3.tmp", own):       old, // goes: of an earlier process of this number
		fmt.Sprintf(".a.film.%d-4.tmp", parent):    time.Now(),
		fmt.Sprintf(".a.film.%d-5.tmp", parent):    old, // goes
		fmt.Sprintf(".b.film.%d-1.tmp", dead):      time.Now(),
		fmt.Sprintf(".xa.film.%d-1.tmp", dead):     old,
		"a.film":                                   old,
		".a.film.tmp":                              old,
		fmt.Sprintf(".a.film.%d-1.tmp.bak", dead):  old,
		fmt.Sprintf("..a.film.x.%d-1.tmp", parent): old,
	} {
		f := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(f, nil, 0o666))
		require.NoError(t, os.Chtimes(f, at, at))
	}
	Sweep(filepath.Join(dir, "a.film"))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, left, 8)
	for _, gone := range []string{fmt.Sprintf(".a.film.%d-1.tmp", dead), fmt.Sprintf(".a.film.%d-3.tmp", own), fmt.Sprintf(".a.film.%d-5.tmp", parent)} {
		require.NoFileExists(t, filepath.Join(dir, gone))
	}
}

// A process that has the number of a killed one, as in containers, writes past what that one left.
func TestWritePastLeftovers(t *testing.T) {
	dir := t.TempDir()
	next := serial.Load() + 1
	require.NoError(t, os.WriteFile(filepath.Join(dir, fmt.Sprintf(".a.%d-%d.tmp", os.Getpid(), next)), nil, 0o666))
	require.NoError(t, WriteAtomic(filepath.Join(dir, "a"), func(w io.Writer) error {
		_, err := io.WriteString(w, "whole")
		return err
	}))
	data, err := os.ReadFile(filepath.Join(dir, "a"))
	require.NoError(t, err)
	require.Equal(t, "whole", string(data))
}
