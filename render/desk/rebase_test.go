package desk

import (
	"bytes"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/edit"
)

// elsewhere writes a text over the scene file, as another program does, and looks twice.
func elsewhere(t *testing.T, k *Desk, text string) {
	t.Helper()
	require.NoError(t, os.WriteFile(k.Path(), []byte(text), 0o640))
	k.Check()
	require.True(t, k.Check())
}

// Whoever keeps the changes over a file that was changed elsewhere loses nothing of it: other keys, comments, new lights.
func TestKeepOverNewFile(t *testing.T) {
	theirs := strings.NewReplacer(
		"# The dyke warden at the sluice.", "# The dyke warden, at spring tide.",
		"azimuth: 30", "azimuth: 50", "samples: 2}   # small", "samples: 4}   # not so small",
		"    radiance: [9, 8, 7]\n", "    radiance: [9, 8, 7]\n  - {name: moon, kind: constant, radiance: 0.1} # late\n",
	).Replace(warden)
	journals := t.TempDir()
	k := open(t, put(t, warden), journals)
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 5.0}))
	require.NoError(t, k.Set("", edit.Change{Key: "picture.samples", Value: 8.0}))
	require.NoError(t, k.Look(1))
	require.NoError(t, k.Set("", edit.Change{Key: "camera.fov", Value: 25.0}))
	elsewhere(t, k, theirs)

	s := k.State()
	require.True(t, s.Stale)
	both := map[string]bool{}
	for _, c := range s.Disk {
		both[c.Key] = c.Both
	}
	require.Subset(t, both, map[string]bool{"lights.lamp.orbit.azimuth": false, "picture.samples": true, "lights.moon.radiance": false})
	require.NotContains(t, both, pupil)

	require.NoError(t, k.Reload(true))
	require.Empty(t, k.State().Disk)
	want := strings.NewReplacer("pupil: 3.4", "pupil: 5", "samples: 4", "samples: 8").Replace(theirs)
	require.Equal(t, strings.Replace(want, "fov: 20", "fov: 25", 1), k.State().Text)
	require.NoError(t, k.Look(0))
	wrote, err := k.Save("")
	require.NoError(t, err)
	require.Len(t, wrote, 1)
	require.Equal(t, want, read(t, k.Path()))
	for _, left := range []string{strings.Replace(theirs, "pupil: 3.4", "pupil: 5", 1), theirs} { // steps went along
		ok, err := k.Undo()
		require.True(t, ok)
		require.NoError(t, err)
		require.Equal(t, left, k.State().Text)
	}
	kept, err := filepath.Glob(filepath.Join(folderOf(journals, k.Path()), "kept", "*.yaml"))
	require.NoError(t, err)
	require.Len(t, kept, 1)
	require.Equal(t, theirs, read(t, kept[0]))
}

// A light that was added here goes onto the file's new text, and changes of what is no longer there are refused.
func TestKeepOfLists(t *testing.T) {
	k := open(t, put(t, warden), t.TempDir())
	require.NoError(t, k.List("lights", "copy", "lamp", "lantern"))
	elsewhere(t, k, strings.Replace(warden, "radiance: 0.5}", "radiance: 0.25} # dusk", 1))
	require.NoError(t, k.Reload(true))
	require.Equal(t, 0.25, k.value("lights.sky.radiance").([]any)[0])
	require.Contains(t, k.State().Text, "# dusk")
	require.NotNil(t, k.value("lights.lantern.radiance"))

	k = open(t, put(t, warden), t.TempDir())
	require.NoError(t, k.Set("", edit.Change{Key: "lights.lamp.ev", Value: 1.0}))
	mine := k.State().Text
	from := strings.Index(warden, "  - name: lamp")
	elsewhere(t, k, warden[:from]+warden[strings.Index(warden, "objects:"):])
	require.ErrorContains(t, k.Reload(true), "can't be put onto the file")
	require.Equal(t, mine, k.State().Text)
	require.True(t, k.State().Stale)
	require.NoError(t, k.Reload(false))
	require.Nil(t, k.value("lights.lamp.ev"))
	_, err := k.Undo()
	require.NoError(t, err)
	require.Equal(t, mine, k.State().Text)
}

// A broken file on disk is told with its line, counts as not saved, and is forgotten once it is mended, to whatever text.
func TestBrokenFile(t *testing.T) {
	for _, mended := range []string{warden, strings.Replace(warden, "azimuth: 30", "azimuth: 50", 1)} {
		for _, changed := range []bool{false, true} {
			k := open(t, put(t, warden), t.TempDir())
			if changed {
				require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 5.0}))
			}
			elsewhere(t, k, strings.Replace(warden, "distance: 200", "distance: wide", 1))
			s := k.State()
			require.Contains(t, s.Problem, "warden.yaml:4:")
			require.True(t, s.Dirty && s.Broken)
			_, err := k.Save("")
			require.Error(t, err)
			require.ErrorContains(t, k.Reload(true), "warden.yaml:4:")
			require.NoError(t, os.WriteFile(k.Path(), []byte(mended), 0o640))
			k.Check()
			k.Check()
			s = k.State()
			require.Empty(t, s.Problem)
			require.False(t, s.Broken)
			require.Equal(t, changed, s.Dirty)
		}
	}
}

// grey is a picture of one pixel, as PNG.
func grey(t *testing.T) string {
	t.Helper()
	var out bytes.Buffer
	require.NoError(t, png.Encode(&out, image.NewGray(image.Rect(0, 0, 1, 1))))
	return out.String()
}

// What names a picture that can't be read is not saved, and nothing is copied.
func TestUnreadableIsNotSaved(t *testing.T) {
	file := put(t, warden)
	k := open(t, file, t.TempDir())
	for _, bad := range []string{"no picture", grey(t)[:40]} {
		require.NoError(t, k.Drop("objects.eye.iris.colour", "bad.png", strings.NewReader(bad)))
		for _, name := range []string{"", "copy.yaml"} {
			_, err := k.Save(name)
			require.ErrorContains(t, err, "bad.png")
			require.Equal(t, "objects.eye.iris.colour.file", AsProblem(err).Key)
		}
		require.Equal(t, warden, read(t, file))
		left, err := os.ReadDir(filepath.Dir(file))
		require.NoError(t, err)
		require.Len(t, left, 1)
		require.True(t, k.State().Dirty)
	}
	require.NoError(t, k.Drop("objects.eye.iris.colour", "good.png", strings.NewReader(grey(t))))
	_, err := k.Save("")
	require.NoError(t, err)
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 4.0}))
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(file), "good.png"), []byte("silt"), 0o666))
	_, err = k.Save("")
	require.ErrorContains(t, err, "good.png")
}

// A dropped map is copied beside the scene though the folder of journals lies below the scene's.
func TestDropWithJournalBelow(t *testing.T) {
	file := put(t, warden)
	k := open(t, file, filepath.Join(filepath.Dir(file), "steps"))
	require.NoError(t, k.Drop("objects.eye.iris.colour", "reed.png", strings.NewReader(grey(t))))
	_, err := k.Save("")
	require.NoError(t, err)
	require.Contains(t, read(t, file), "{file: reed.png}")
	require.Equal(t, grey(t), read(t, filepath.Join(filepath.Dir(file), "reed.png")))
}
