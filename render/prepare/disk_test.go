package prepare

import (
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene/raw"
)

var reeds = &store[[]float64]{
	write: func(w *raw.Writer, v []float64) { raw.Slice(w, v) },
	read:  func(r *raw.Reader) []float64 { return raw.ReadSlice[float64](r) },
}

// start is one start of the program: a new cache over a folder.
func start(t *testing.T, folder string) *Cache {
	t.Helper()
	c := NewCache()
	var err error
	c.Disk, err = OpenDisk(folder, DiskBytes)
	require.NoError(t, err)
	return c
}

// reed makes a stage of a file; it tells whether it was made, and its notes.
func reed(t *testing.T, c *Cache, input int, file string) (made bool, notes []string) {
	p := &preparer{o: Options{Cache: c}}
	v, err := storedStage(p, "reed", input, reeds, func(m *making) ([]float64, error) {
		made = true
		m.opens(file)
		m.notes = append(m.notes, "cut")
		return []float64{float64(input), 2}, nil
	})
	require.NoError(t, err)
	require.Equal(t, []float64{float64(input), 2}, v)
	return made, p.warn
}

// What one start made the next one takes, with its notes, as long as inputs, the bytes of files and the program are the same. A file
// that is cut or damaged at any place, or empty, is made anew, and is whole again.
func TestStagesOnDisk(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "kept")
	file := filepath.Join(t.TempDir(), "reed.txt")
	require.NoError(t, os.WriteFile(file, []byte("tide"), 0o666))
	took := func(input int) {
		t.Helper()
		made, notes := reed(t, start(t, folder), input, file)
		require.False(t, made)
		require.Equal(t, []string{"cut"}, notes)
	}
	makes := func(input int) {
		t.Helper()
		made, notes := reed(t, start(t, folder), input, file)
		require.True(t, made)
		require.Equal(t, []string{"cut"}, notes)
	}
	makes(1)
	took(1)
	makes(2)
	require.NoError(t, os.Chtimes(file, time.Now(), time.Now().Add(time.Hour)))
	took(1) // the same bytes
	require.NoError(t, os.WriteFile(file, []byte("ebb!"), 0o666))
	makes(1)
	took(1)

	other := start(t, folder)
	other.Disk.build = "another program"
	made, _ := reed(t, other, 1, file)
	require.True(t, made)

	path := start(t, folder).Disk.file("reed", "1")
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	for i := 0; i < len(whole); i += 7 {
		bad := append([]byte(nil), whole...)
		bad[i] ^= 0x40
		require.NoError(t, os.WriteFile(path, bad, 0o666))
		_, _, err := readStage(path)
		require.Error(t, err, "byte %d of %d", i, len(whole))
		require.NoError(t, os.WriteFile(path, whole[:i], 0o666))
		_, _, err = readStage(path)
		require.Error(t, err, "%d bytes of %d", i, len(whole))
	}
	makes(1)
	took(1)
	left, err := filepath.Glob(filepath.Join(folder, "*.part"))
	require.NoError(t, err)
	require.Empty(t, left)
}

// The folder stays within its limit; what was used last longest ago goes first.
func TestDiskIsBounded(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(t.TempDir(), "reed.txt")
	require.NoError(t, os.WriteFile(file, nil, 0o666))
	c := start(t, folder)
	reed(t, c, 1, file)
	info, err := os.Stat(c.Disk.file("reed", "1"))
	require.NoError(t, err)
	c.Disk.Limit = 3*info.Size() + 10
	old := time.Now().Add(-time.Hour)
	for i := 2; i <= 3; i++ {
		reed(t, c, i, file)
		require.NoError(t, os.Chtimes(c.Disk.file("reed", string(rune('0'+i))), old, old.Add(time.Duration(i)*time.Second)))
	}
	reed(t, c, 4, file)
	for i, there := range map[string]bool{"1": true, "2": false, "3": true, "4": true} {
		_, err := os.Stat(c.Disk.file("reed", i))
		require.Equal(t, there, err == nil, i)
	}
}

// In a folder that holds other files stages have a folder of their own; files of others stay as they are, whatever they are called and
// however little may be kept. A smaller limit holds from the start on.
func TestStagesLieApart(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(folder, "reed.yaml")
	old := time.Now().Add(-3 * time.Hour)
	for _, n := range []string{"reed.yaml", "tide.part", "marsh.stage"} {
		require.NoError(t, os.WriteFile(filepath.Join(folder, n), nil, 0o666))
		require.NoError(t, os.Chtimes(filepath.Join(folder, n), old, old))
	}
	c := start(t, folder)
	require.Equal(t, filepath.Join(folder, OwnFolder), c.Disk.Folder)
	reed(t, c, 1, file)
	made, _ := reed(t, start(t, folder), 1, file)
	require.False(t, made)
	list, err := os.ReadDir(folder)
	require.NoError(t, err)
	require.Len(t, list, 4)
	require.Equal(t, c.Disk.Folder, start(t, c.Disk.Folder).Disk.Folder) // its own again

	require.NoError(t, os.WriteFile(filepath.Join(c.Disk.Folder, "tide.part"), nil, 0o666))
	require.NoError(t, os.Chtimes(filepath.Join(c.Disk.Folder, "tide.part"), old, old))
	c.Disk.Limit = 0
	c.Disk.trim()
	list, err = os.ReadDir(c.Disk.Folder)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Equal(t, "tide.part", list[0].Name())

	kept := filepath.Join(t.TempDir(), "kept")
	c = start(t, kept)
	reed(t, c, 1, file)
	_, err = OpenDisk(kept, 0)
	require.NoError(t, err)
	require.NoFileExists(t, c.Disk.file("reed", "1"))
}

// Starts that share a folder at the same time get what they would get alone.
func TestDiskIsShared(t *testing.T) {
	folder := t.TempDir()
	file := filepath.Join(t.TempDir(), "reed.txt")
	require.NoError(t, os.WriteFile(file, nil, 0o666))
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			c := NewCache()
			c.Disk, _ = OpenDisk(folder, 1000) // files go while others read them
			for i := range 20 {
				p := &preparer{o: Options{Cache: c}}
				v, err := storedStage(p, "reed", i%5, reeds, func(*making) ([]float64, error) { return []float64{float64(i % 5)}, nil })
				if err != nil || len(v) != 1 || v[0] != float64(i%5) {
					t.Errorf("%d: %v, %v", i, v, err)
				}
				c.slots = map[string][]*kept{}
			}
		})
	}
	wg.Wait()
}
