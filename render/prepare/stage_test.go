package prepare

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
)

// Of a stage the last eight results stay, the ones used last for longer; one made of a file is made anew when the file changes.
func TestCacheKeepsTheLastEight(t *testing.T) {
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
	require.False(t, made(12), "the way back of eight")
	require.True(t, made(11))
	require.False(t, made(12), "13 went, as 12 was used after it")
	require.True(t, made(13))
	require.NoError(t, os.WriteFile(file, []byte("tide"), 0o666))
	require.True(t, made(13))
}

// A cache holds no more than its limit, but for the last result of each stage; the ones used longest ago go first, of whatever
// stage.
func TestCacheIsBounded(t *testing.T) {
	c := NewCache()
	c.Limit = 10_000
	p := &preparer{o: Options{Cache: c}}
	made := func(slot string, input, size int) bool {
		before := c.Made
		_, err := stage(p, slot, input, func(*making) ([]float64, error) { return make([]float64, size), nil })
		require.NoError(t, err)
		return c.Made > before
	}
	require.True(t, made("reed", 1, 400)) // 3.2 kB and a slice
	require.True(t, made("tide", 1, 400))
	require.True(t, made("reed", 2, 400))
	require.False(t, made("reed", 1, 400))
	require.True(t, made("tide", 2, 400)) // too much: 1 of tide goes
	require.False(t, made("reed", 1, 400))
	require.False(t, made("reed", 2, 400))
	require.True(t, made("tide", 1, 400))
	require.LessOrEqual(t, c.bytes, c.Limit)
	require.True(t, made("marsh", 1, 4000))
	require.False(t, made("marsh", 1, 4000), "the last of a stage stays, whatever it takes")
	require.Len(t, c.slots["reed"], 1)
	require.Len(t, c.slots["tide"], 1)
}

// What is derived from a prepared scene is kept with the stages: of equal inputs, whatever they point to, within the same bytes, and an
// error keeps nothing.
func TestDerivedIsKept(t *testing.T) {
	c := NewCache()
	type inputs struct {
		Side  int
		Reeds []float64
	}
	made := func(side int, err error) bool {
		m := &Maker{Cache: c}
		v, got := Derived(m, "marsh", inputs{side, []float64{1, 2}}, func() ([]float64, error) { return make([]float64, side), err })
		require.Equal(t, err, got)
		if err == nil {
			require.Len(t, v, side)
			require.Len(t, m.Stages(), 1)
			require.Greater(t, m.Stages()[0].Bytes, int64(8*side))
			return m.Stages()[0].From == "made"
		}
		require.Empty(t, m.Stages())
		return true
	}
	made(3, os.ErrDeadlineExceeded)
	require.True(t, made(3, nil))
	require.False(t, made(3, nil))
	require.True(t, made(4, nil))
	require.False(t, made(3, nil))
	c.Limit = 100 // bytes
	require.True(t, made(5, nil))
	require.True(t, made(3, nil), "it went")
	v, err := Derived(new(Maker), "marsh", 1, func() (int, error) { return 7, nil })
	require.NoError(t, err)
	require.Equal(t, 7, v, "without a cache")
}

// A mesh of a file or of a plinth, its hierarchy and its thickness are stages: another camera makes none of them again, and a saved file is seen.
func TestMeshesAreStages(t *testing.T) {
	file := filepath.Join(t.TempDir(), "reed.obj")
	write := func(z string) {
		require.NoError(t, os.WriteFile(file, []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 "+z+"\nf 1 3 2\nf 1 2 4\nf 2 3 4\nf 1 4 3\n"), 0o666))
	}
	write("1")
	c := NewCache()
	made := func(sets ...string) (list []string, p *Prepared) {
		d, err := scene.Parse("reed.yaml", []byte(fmt.Sprintf(`
camera: {position: [0, 0, 50]}
lights: [{name: sky, kind: constant, radiance: [1, 1, 1]}]
objects:
  - {name: reed, shape: mesh, file: %q, unit: mm, material: {kind: tissue}}
  - {name: slate, shape: plinth, radius: 20, thickness: 4}
`, file)), sets...)
		require.NoError(t, err)
		p, err = Scene(context.Background(), d, Options{Cache: c})
		require.NoError(t, err)
		for _, s := range p.Stages {
			if s.From == "made" {
				list = append(list, s.Name)
			}
		}
		return list, p
	}
	first, was := made()
	require.Subset(t, first, []string{"mesh reed", "depth reed", "mesh slate"})
	second, now := made("camera.position=[3, 0, 50]", "objects.reed.transform.translate=[1, 0, 0]")
	for _, s := range []string{"mesh reed", "depth reed", "mesh slate"} {
		require.NotContains(t, second, s)
	}
	require.Same(t, was.Scene.Objects[0].Mesh, now.Scene.Objects[0].Mesh)
	write("2.5")
	third, saved := made()
	require.Subset(t, third, []string{"mesh reed", "depth reed"})
	require.NotContains(t, third, "mesh slate")
	require.NotEqual(t, was.Scene.Objects[0].Mesh.Bounds(), saved.Scene.Objects[0].Mesh.Bounds())
	require.NotEqual(t, was.Scene.Objects[0].Depth, saved.Scene.Objects[0].Depth)
}
