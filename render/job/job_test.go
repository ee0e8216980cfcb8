package job

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func put(t *testing.T, dir, name, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666))
}

func names(t *testing.T, dir string) (out []string) {
	list, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range list {
		out = append(out, e.Name())
	}
	return out
}

func plan(keys ...string) Manifest {
	m := Manifest{Kind: "sheet", Args: []string{"reed.yaml"}, Program: "build 1"}
	for i, k := range keys {
		n := string(rune('a' + i))
		m.Plan = append(m.Plan, Item{n, k, []string{n + ".exr"}})
	}
	return m
}

// What is finished stays finished; what changed on disk, in its key or in the plan is done again, and nothing of it or of
// a killed process is left.
func TestTakeOver(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "folder")
	m := plan("1", "2", "3", "4")
	j, err := Open(dir, m)
	require.NoError(t, err)
	_, err = Open(dir, m)
	require.ErrorIs(t, err, ErrBusy)
	for _, it := range m.Plan {
		require.False(t, j.Done(it))
		put(t, dir, it.Files[0], "light of "+it.Name)
		require.NoError(t, j.Finish(it))
	}
	require.NoError(t, j.Close())
	put(t, dir, ".c.exr.123-4.tmp", "half")
	put(t, dir, "a.exr", "light of x")
	put(t, dir, "notes.txt", "the artist's own")
	j, err = Open(dir, plan("1", "two", "3"))
	require.NoError(t, err)
	defer j.Close()
	got := []bool{j.Done(m.Plan[0]), j.Done(m.Plan[1]), j.Done(m.Plan[2])}
	require.Equal(t, []bool{false, false, true}, got)
	require.Equal(t, []string{"a.exr", "b.exr", "c.exr", ManifestName, "notes.txt"}, names(t, dir))
	other := plan("1")
	other.Kind = "turntable"
	require.NoError(t, j.Close())
	_, err = Open(dir, other)
	require.ErrorContains(t, err, "holds a sheet; give another folder for this turntable")
}

// Parts join to the manifest of one run; parts that don't belong together are refused by what differs.
func TestMerge(t *testing.T) {
	m := plan("1", "2", "3")
	part := func(m Manifest, texts map[int]string) string {
		dir := t.TempDir()
		j, err := Open(dir, m)
		require.NoError(t, err)
		defer j.Close()
		for i, text := range texts {
			put(t, dir, m.Plan[i].Files[0], text)
			require.NoError(t, j.Finish(m.Plan[i]))
		}
		return dir
	}
	a, b := part(m, map[int]string{0: "x", 2: "z"}), part(m, map[int]string{1: "y"})
	whole, one := t.TempDir(), part(m, map[int]string{0: "x", 1: "y", 2: "z"})
	_, err := Merge(whole, []string{b, a}, false)
	require.NoError(t, err)
	require.Equal(t, names(t, one), names(t, whole))
	for _, n := range names(t, one) {
		x, _ := os.ReadFile(filepath.Join(one, n))
		y, _ := os.ReadFile(filepath.Join(whole, n))
		require.Equal(t, string(x), string(y), n)
	}
	other := m
	other.Program = "build 2"
	for want, parts := range map[string][]string{
		"1 of 3 pictures are in no part; the first is b": {a},
		"its plan is another":                            {a, part(plan("1", "2", "4"), map[int]string{1: "y"})},
		"it was made by build 2":                         {a, part(other, map[int]string{1: "y"})},
		"its a differs":                                  {a, part(m, map[int]string{0: "w", 1: "y"})},
	} {
		_, err := Merge(t.TempDir(), parts, false)
		require.ErrorContains(t, err, want)
	}
	put(t, b, "b.exr", "damaged")
	_, err = Merge(t.TempDir(), []string{a, b}, false)
	require.ErrorContains(t, err, "it is not as the manifest")
}

func TestSpace(t *testing.T) {
	j, err := Open(t.TempDir(), plan("1"))
	require.NoError(t, err)
	defer j.Close()
	require.NoError(t, j.Space(1))
	if _, known := freeBytes(j.Dir); known {
		require.ErrorContains(t, j.Space(1<<60), "MB are free")
	}
}
