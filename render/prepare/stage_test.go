package prepare

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// Of a stage the last two results stay, the one used last for longer; one made of a file is made anew when the file changes.
func TestCacheKeepsTheLastTwo(t *testing.T) {
	c := NewCache()
	p := &preparer{o: Options{Cache: c}}
	file := filepath.Join(t.TempDir(), "reed.txt")
	made := func(input int) bool {
		before := c.Made
		v, err := stage(p, "reed", input, func(m *making) (int, error) {
			m.opens(file)
			return 10 * input, nil
		})
		require.NoError(t, err)
		require.Equal(t, 10*input, v)
		return c.Made > before
	}
	for i := range 20 {
		require.True(t, made(i))
	}
	require.Len(t, c.slots["reed"], keptPerStage)
	require.False(t, made(18))
	require.True(t, made(17), "19 went, as 18 was used after it")
	require.False(t, made(18))
	require.True(t, made(19))
	require.NoError(t, os.WriteFile(file, []byte("tide"), 0o666))
	require.True(t, made(19))
}
