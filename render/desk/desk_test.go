package desk

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"catchlight/scene"
	"catchlight/scene/edit"
)

// The dyke warden at the sluice.
const warden = `# The dyke warden at the sluice.
format: 2
picture: {width: 16, height: 12, samples: 2}   # small
camera: {orbit: {distance: 200}, fov: 20}
lights:
  # from all around
  - {name: sky, kind: constant, radiance: 0.5}
  - name: lamp # in the hut
    kind: disc
    orbit: {azimuth: 30}
    radiance: [9, 8, 7]
objects:
  - {name: eye, shape: eye, iris: {pupil: 3.4}} # his left
`

// put writes a scene into a folder of its own.
func put(t *testing.T, text string) string {
	t.Helper()
	file := filepath.Join(t.TempDir(), "warden.yaml")
	require.NoError(t, os.WriteFile(file, []byte(text), 0o640))
	return file
}

func open(t *testing.T, file, journals string) *Desk {
	t.Helper()
	k, err := Open(file, Options{Journals: journals})
	require.NoError(t, err)
	t.Cleanup(func() { _ = k.Close() })
	return k
}

func read(t *testing.T, file string) string {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	return string(data)
}

func (k *Desk) value(key string) any {
	d, _ := k.Description()
	return d.Values()[key]
}

const pupil = "objects.eye.iris.pupil"

// A change is a splice of the text; the file stays as it is until it is saved, and what is saved means what was shown.
func TestSetAndSave(t *testing.T) {
	file := put(t, warden)
	k := open(t, file, t.TempDir())
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 4.25}, edit.Change{Key: "lights.lamp.ev", Value: -1.0}))
	require.Equal(t, 4.25, k.value(pupil))
	require.Equal(t, warden, read(t, file), "nothing is written unasked")
	s := k.State()
	require.Equal(t, []string{"lights.lamp.ev", pupil}, s.Edited)
	require.True(t, s.Dirty)
	require.Equal(t, 1, s.Undo)
	require.Contains(t, s.Set, "lights.lamp.ev")
	require.NotContains(t, s.Set, "lights.sky.ev")

	shown, _ := k.Description()
	wrote, err := k.Save("")
	require.NoError(t, err)
	require.Equal(t, []string{k.Path()}, wrote)
	want := strings.Replace(strings.Replace(warden, "pupil: 3.4", "pupil: 4.25", 1), "[9, 8, 7]\n", "[9, 8, 7]\n    ev: -1\n", 1)
	require.Equal(t, want, read(t, file))
	again, err := scene.Load(file)
	require.NoError(t, err)
	require.True(t, scene.Equal(shown, again))
	info, err := os.Stat(file)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o640), info.Mode().Perm())
	require.False(t, k.State().Dirty)

	_, err = k.Undo() // past the save
	require.NoError(t, err)
	require.True(t, k.State().Dirty)
	require.Equal(t, 3.4, k.value(pupil))
	_, err = k.Save("evening.yaml")
	require.NoError(t, err)
	require.Equal(t, warden, read(t, filepath.Join(filepath.Dir(file), "evening.yaml")))
	for _, name := range []string{"evening.yaml", "../tide.yaml", "/tmp/tide.yaml", "sub/tide.yaml", "tide.png", "warden.yaml"} {
		_, err := k.Save(name)
		require.Error(t, err, name)
	}
	names, err := filepath.Glob(filepath.Join(filepath.Dir(file), "*"))
	require.NoError(t, err)
	require.Len(t, names, 2)
}

// Steps go back and forth; a gesture is one step, and one that comes back is none.
func TestUndo(t *testing.T) {
	k := open(t, put(t, warden), t.TempDir())
	for _, x := range []float64{3.5, 3.6, 3.7} {
		require.NoError(t, k.Set("drag 1", edit.Change{Key: pupil, Value: x}))
	}
	require.NoError(t, k.Set("drag 2", edit.Change{Key: pupil, Value: 5.0}))
	require.NoError(t, k.Set("", edit.Change{Key: "about", Value: "Der Deich hält: \"fest\""}))
	require.NoError(t, k.Set("", edit.Change{Key: "about", Value: "Der Deich häxt: \"fest\""}))
	require.Equal(t, 4, k.State().Undo)
	for _, want := range []float64{5, 5, 3.7, 3.4} {
		ok, err := k.Undo()
		require.True(t, ok)
		require.NoError(t, err)
		require.Equal(t, want, k.value(pupil))
	}
	require.Equal(t, warden, k.State().Text)
	ok, err := k.Undo()
	require.False(t, ok)
	require.NoError(t, err)
	for range 4 {
		ok, err := k.Redo()
		require.True(t, ok)
		require.NoError(t, err)
	}
	require.Equal(t, "Der Deich häxt: \"fest\"", k.value("about"))
	require.NoError(t, k.Set("drag 3", edit.Change{Key: pupil, Value: 6.0}))
	require.NoError(t, k.Set("drag 3", edit.Change{Key: pupil, Value: 5.0}))
	require.Equal(t, 4, k.State().Undo)
	require.NoError(t, k.Reset(pupil))
	require.Equal(t, 3.4, k.value(pupil))
	require.NoError(t, k.Reset("about"))
	require.Empty(t, k.State().Edited)
	require.Equal(t, warden, k.State().Text)
	require.NoError(t, k.Set("", edit.Change{Key: "lights.lamp.orbit.azimuth", Value: 70.0}, edit.Change{Key: "lights.lamp.ev", Value: 1.0}))
	require.NoError(t, k.Reset("lights.lamp"))
	require.Empty(t, k.State().Edited)
	require.ErrorContains(t, k.Reset("lights.lamp.tide"), "there is no such key")
	require.NoError(t, k.List("lights", "add", "rim", "disc"))
	require.NoError(t, k.Reset("lights.rim.ev"), "which the file does not have either")
}

// What is out of range, unknown or out of reach is refused with its key and range, and changes nothing.
func TestRefused(t *testing.T) {
	k := open(t, put(t, warden), t.TempDir())
	outside := filepath.Join(t.TempDir(), "tide.png")
	require.NoError(t, os.WriteFile(outside, []byte("tide"), 0o666))
	require.NoError(t, os.Symlink(outside, filepath.Join(filepath.Dir(k.Path()), "link.png")))
	for _, c := range []struct {
		key   string
		value any
		want  Problem
	}{
		{pupil, 99.0, Problem{Problem: "99 is outside [0, 20] mm", Key: pupil, Range: "[0, 20] mm"}},
		{"objects.eye.iris.pupill", 3.0, Problem{Problem: "unknown key; did you mean pupil?", Key: "objects.eye.iris.pupill"}},
		{"lights.moon.ev", 3.0, Problem{Problem: "no entry moon here; there are sky, lamp", Key: "lights.moon.ev"}},
		{"objects.eye.iris.colour", map[string]any{"file": outside},
			Problem{Problem: outside + " lies outside the scene's folder; drop it onto the page, or name it in the scene file", Key: "objects.eye.iris.colour.file"}},
		{"objects.eye.iris.colour", map[string]any{"file": "../tide.png"},
			Problem{Problem: "../tide.png lies outside the scene's folder; drop it onto the page, or name it in the scene file", Key: "objects.eye.iris.colour.file"}},
		{"raster.budget", "/etc/tide.yaml",
			Problem{Problem: "/etc/tide.yaml lies outside the scene's folder; drop it onto the page, or name it in the scene file", Key: "raster.budget"}},
	} {
		err := k.Set("", edit.Change{Key: c.key, Value: c.value})
		require.Error(t, err, c.key)
		require.Equal(t, &c.want, AsProblem(err), c.key)
	}
	err := k.Set("", edit.Change{Key: "objects.eye.iris.colour", Value: map[string]any{"file": "link.png"}})
	require.ErrorContains(t, err, "lies outside the scene's folder", "a link that leads out")
	require.Equal(t, warden, k.State().Text)
	require.Equal(t, uint64(1), k.State().Version)
	require.ErrorContains(t, k.Set("", edit.Change{Key: "lights", Value: edit.Raw("[]")}), "is not taken")
}

// Anchors and the like are refused where a change would reach other places, and what can't be spliced to the same meaning too.
func TestRefusedText(t *testing.T) {
	text := strings.Replace(warden, "radiance: 0.5", "radiance: &low 0.5", 1)
	text = strings.Replace(text, "radiance: [9, 8, 7]", "radiance: *low", 1)
	k := open(t, put(t, text), "")
	require.ErrorContains(t, k.Set("", edit.Change{Key: "lights.lamp.radiance", Value: 3.0}), "it is what the anchor &low holds")
	require.ErrorContains(t, k.Set("", edit.Change{Key: "lights.sky.radiance", Value: 3.0}), "by its anchor &low")
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 3.0}))
}

// A and B are apart, with steps of their own; B begins as A.
func TestSides(t *testing.T) {
	dir := t.TempDir()
	file := put(t, warden)
	k := open(t, file, dir)
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 4.0}))
	_, err := k.Differences("A", "B")
	require.ErrorContains(t, err, "side B is not there yet")
	require.NoError(t, k.Look(1))
	require.Equal(t, 4.0, k.value(pupil))
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 6.0}))
	require.NoError(t, k.Look(0))
	require.Equal(t, 4.0, k.value(pupil))
	list, err := k.Differences("A", "B")
	require.NoError(t, err)
	require.Equal(t, []Difference{{pupil, 4.0, 6.0}}, list)
	list, err = k.Differences("file", "now")
	require.NoError(t, err)
	require.Equal(t, []Difference{{pupil, 3.4, 4.0}}, list)
	require.NoError(t, k.Look(1))
	require.NoError(t, k.Close())
	k = open(t, file, dir)
	require.Equal(t, "B", k.State().Side)
	require.Equal(t, 6.0, k.value(pupil))
	require.NoError(t, k.Look(0))
	require.Equal(t, 4.0, k.value(pupil))
}

// A file that changed on disk is taken up where nothing was changed here, and is a question where something was; it is never
// written over unasked.
func TestFileChanged(t *testing.T) {
	theirs := strings.Replace(warden, "azimuth: 30", "azimuth: 50", 1)
	change := func(k *Desk, text string) {
		require.NoError(t, os.WriteFile(k.Path(), []byte(text[:len(text)/2]), 0o640))
		require.False(t, k.Check(), "half saved, perhaps")
		require.NoError(t, os.WriteFile(k.Path(), []byte(text), 0o640))
		require.False(t, k.Check(), "the first look")
	}
	for _, mine := range []bool{true, false} {
		k := open(t, put(t, warden), t.TempDir())
		require.False(t, k.Check())
		change(k, theirs)
		require.True(t, k.Check())
		require.False(t, k.State().Stale)
		require.Equal(t, 50.0, k.value("lights.lamp.orbit.azimuth"))
		change(k, "lights: [")
		require.True(t, k.Check())
		require.NotEmpty(t, k.State().Problem)
		require.False(t, k.Check())
		require.NoError(t, os.WriteFile(k.Path(), []byte(theirs), 0o640))
		require.True(t, k.Check(), "as it was before")
		require.Empty(t, k.State().Problem)

		require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 5.0}))
		require.NoError(t, os.WriteFile(k.Path(), []byte(warden), 0o640))
		// Even before the change was seen, saving asks.
		_, err := k.Save("")
		require.Equal(t, errStale, err)
		require.True(t, k.State().Stale)
		require.Equal(t, warden, read(t, k.Path()))
		require.NoError(t, k.Reload(mine))
		require.False(t, k.State().Stale)
		if mine {
			_, err = k.Save("")
			require.NoError(t, err)
			require.Equal(t, strings.Replace(warden, "pupil: 3.4", "pupil: 5", 1), read(t, k.Path()))
			continue
		}
		require.Equal(t, warden, k.State().Text)
		_, err = k.Undo() // even that can be taken back
		require.NoError(t, err)
		require.Equal(t, 5.0, k.value(pupil))
	}
}

// Entries of lists come, go and change places, in the built-in list of paint too.
func TestLists(t *testing.T) {
	k := open(t, put(t, warden), t.TempDir())
	names := func() (out []string) {
		for _, l := range k.State().Lights {
			out = append(out, l.Name)
		}
		return out
	}
	require.NoError(t, k.List("lights", "add", "rim", "disc"))
	require.NoError(t, k.List("lights", "copy", "lamp", "lamp2"))
	require.NoError(t, k.List("lights", "move", "rim", "0"))
	require.Equal(t, []string{"rim", "sky", "lamp", "lamp2"}, names())
	require.NoError(t, k.List("lights", "remove", "sky", ""))
	require.Equal(t, []string{"rim", "lamp", "lamp2"}, names())
	require.Contains(t, k.State().Text, "- name: lamp # in the hut\n")
	for _, kind := range []string{"environment", "constant", "rectangle", "sphere", "distant", "flag"} {
		require.NoError(t, k.List("lights", "add", "new-"+kind, kind), kind)
	}
	const paint = "objects.eye.paint"
	before := len(k.State().Paint)
	require.NoError(t, k.List(paint, "add", "spots", "freckles"))
	require.Len(t, k.State().Paint, before+1)
	require.NoError(t, k.List(paint, "move", "spots", "0"))
	require.Equal(t, "spots", k.State().Paint[0].Name)
	require.NoError(t, k.List(paint, "remove", "redness", ""))
	require.Len(t, k.State().Paint, before)
	require.NoError(t, k.List(paint, "copy", "fat", "fat2"))
	require.ErrorContains(t, k.List(paint, "remove", "shallow-vessels", ""), "shallow-vessels", "others lean on it")
	require.ErrorContains(t, k.List("lights", "add", "lamp", "disc"), "there is an entry lamp already")
	require.ErrorContains(t, k.List("lights", "add", "moon", "tide"), "tide is none of environment")
	require.ErrorContains(t, k.List("lights", "sink", "lamp", ""), "lists know add")
	require.ErrorContains(t, k.List("view", "add", "lamp", ""), "this is no list")
}

// A map that is dropped is tried from elsewhere, and lies beside the scene once it is saved. One of another ending, or for a key that
// takes none, is refused.
func TestDrop(t *testing.T) {
	file := put(t, warden)
	k := open(t, file, t.TempDir())
	require.NoError(t, k.Drop("objects.eye.iris.colour", `C:\paint\..\reed bed.png`, strings.NewReader(grey(t))))
	used := k.value("objects.eye.iris.colour.file").(string)
	require.Equal(t, "reed-bed.png", filepath.Base(used))
	beside := filepath.Join(filepath.Dir(file), "reed-bed.png")
	require.NoFileExists(t, beside)
	require.NoError(t, os.WriteFile(beside, []byte("another's"), 0o666))
	wrote, err := k.Save("")
	require.NoError(t, err)
	require.Equal(t, []string{filepath.Join(filepath.Dir(k.Path()), "reed-bed-2.png"), k.Path()}, wrote)
	require.Equal(t, "another's", read(t, beside))
	require.Equal(t, grey(t), read(t, filepath.Join(filepath.Dir(file), "reed-bed-2.png")))
	require.Contains(t, read(t, file), "colour: {file: reed-bed-2.png}")
	require.Equal(t, "reed-bed-2.png", k.value("objects.eye.iris.colour.file"))

	for _, c := range [][3]string{
		{"objects.eye.iris.colour", "tide.yaml", "must end in .png"}, {"objects.eye.iris.colour", ".png", "must end in"}, {pupil, "a.png", "takes no file"},
		{"objects.eye.iris.tide", "a.png", "no such key"}, {"objects.eye.iris.colour", "empty.png", "the file is empty"},
	} {
		text := "x"
		if strings.HasPrefix(c[1], "empty") {
			text = ""
		}
		require.ErrorContains(t, k.Drop(c[0], c[1], strings.NewReader(text)), c[2])
	}
	left, err := os.ReadDir(k.drops())
	require.NoError(t, err)
	require.Len(t, left, 1, "what was refused is gone")
	journals := filepath.Dir(filepath.Dir(k.drops()))
	for range 2 {
		require.NoError(t, k.Close())
		k = open(t, file, journals)
		require.FileExists(t, used, "a step that can be undone names it")
	}
	require.NoError(t, k.Close())
	require.NoError(t, os.Remove(k.journal.name()))
	open(t, file, journals)
	require.NoFileExists(t, used)
}

// A snapshot is a scene that renders from its own folder, with its picture and note; it can be compared and gone back to.
func TestSnapshots(t *testing.T) {
	file := put(t, warden)
	k := open(t, file, t.TempDir())
	require.NoError(t, os.WriteFile(filepath.Join(filepath.Dir(file), "own.png"), []byte("own"), 0o666))
	require.NoError(t, k.Set("", edit.Change{Key: "objects.eye.sclera.colour", Value: map[string]any{"file": "own.png"}}))
	require.NoError(t, k.Drop("objects.eye.iris.colour", "reed.png", strings.NewReader("reed")))
	s, err := k.Snap(" warm evening ", "more amber", []byte("png"))
	require.NoError(t, err)
	require.Equal(t, "warm evening", s.Name)
	shelf := filepath.Join(filepath.Dir(file), "warden-snapshots")
	d, err := scene.Load(filepath.Join(shelf, "1.yaml"))
	require.NoError(t, err)
	require.Len(t, d.Files(), 3)
	require.Equal(t, "png", read(t, filepath.Join(shelf, "1.png")))
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 6.0}))
	_, err = k.Snap("warm evening", "", nil)
	require.ErrorContains(t, err, "already")
	_, err = k.Snap("", "", nil)
	require.Error(t, err)
	_, err = k.Snap("wide", "", []byte("png"))
	require.NoError(t, err)
	list, err := k.Differences("1", "2")
	require.NoError(t, err)
	require.Equal(t, []Difference{{pupil, 3.4, 6.0}}, list)
	require.NoError(t, k.Restore("1"))
	require.Equal(t, 3.4, k.value(pupil))
	_, err = k.Picture("../../tide")
	require.Error(t, err)
	require.Equal(t, warden, read(t, file))
	require.Len(t, k.Snapshots(), 2)
	require.NoError(t, k.Close())
	again := open(t, file, t.TempDir()).State()
	require.Len(t, again.Snapshots, 2)
	require.Equal(t, "more amber", again.Snapshots[0].Note)
	require.Empty(t, again.Snapshots[0].Text)
}

// The journal takes up all steps; a torn or damaged end costs the steps of the end alone. Only one process has a scene.
func TestJournal(t *testing.T) {
	dir, file := t.TempDir(), put(t, warden)
	k := open(t, file, dir)
	_, err := Open(file, Options{Journals: dir})
	require.ErrorIs(t, err, ErrBusy)
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 4.0}))
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 5.0}))
	require.NoError(t, k.Set("", edit.Change{Key: "about", Value: "Ebbe – und Flut"}))
	_, err = k.Undo()
	require.NoError(t, err)
	whole := read(t, k.journal.name())
	require.NoError(t, k.Close())
	for cut, want := range map[int]float64{0: 5, 1: 5, 20: 5} {
		require.NoError(t, os.WriteFile(k.journal.name(), []byte(whole[:len(whole)-cut]), 0o600))
		k := open(t, file, dir)
		require.Equal(t, want, k.value(pupil), cut)
		require.Equal(t, cut > 0, k.value("about") != "", "the last undo is lost with its line")
		require.Positive(t, k.State().Restored)
		if cut == 0 {
			ok, err := k.Redo()
			require.NoError(t, err)
			require.True(t, ok)
			require.Equal(t, "Ebbe – und Flut", k.value("about"))
		}
		require.NoError(t, k.Close())
	}
	bad := bytes.Replace([]byte(whole), []byte(`"new":"5"`), []byte(`"new":"6"`), 1)
	require.NotEqual(t, whole, string(bad))
	require.NoError(t, os.WriteFile(k.journal.name(), bad, 0o600))
	k = open(t, file, dir)
	require.Equal(t, 4.0, k.value(pupil))
	require.NoError(t, k.Close())

	// The file went on meanwhile: a question.
	require.NoError(t, os.WriteFile(file, []byte(strings.Replace(warden, "azimuth: 30", "azimuth: 50", 1)), 0o640))
	k = open(t, file, dir)
	require.True(t, k.State().Stale)
	require.Equal(t, 4.0, k.value(pupil))
	require.NoError(t, k.Reload(false))
	require.Equal(t, 3.4, k.value(pupil))
	_, err = k.Save("")
	require.NoError(t, err)
	require.NoError(t, k.Close())
	require.NoError(t, os.WriteFile(k.journal.name(), nil, 0o600))
	require.Equal(t, 50.0, open(t, file, dir).value("lights.lamp.orbit.azimuth"))
}

// A folder that can't be written to is told apart from a scene that can't be read.
func TestNoJournal(t *testing.T) {
	file := put(t, warden)
	_, err := Open(file, Options{Journals: filepath.Join(file, "below")})
	var unkept *JournalError
	require.ErrorAs(t, err, &unkept)
	require.NoError(t, os.WriteFile(file, []byte("lights: ["), 0o666))
	_, err = Open(file, Options{Journals: t.TempDir()})
	require.Error(t, err)
	require.False(t, errors.As(err, &unkept))
	k := open(t, put(t, warden), "")
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 4.0}))
	require.ErrorContains(t, k.Drop("objects.eye.iris.colour", "a.png", strings.NewReader("x")), "there is no folder to keep dropped files in")
}

// A scene that is a link, in a folder that is one, stays a link; its maps are looked for beside the link, as a render does.
func TestLinkedScene(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(dir, "real"), 0o777))
	require.NoError(t, os.Symlink(filepath.Join(dir, "real"), filepath.Join(dir, "look")))
	text := strings.Replace(warden, "iris: {pupil: 3.4}", "iris: {pupil: 3.4, colour: {file: reed.png}}", 1)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "store.yaml"), []byte(text), 0o666))
	for _, name := range []string{"reed.png", "other.png"} {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "look", name), []byte(grey(t)), 0o666))
	}
	file := filepath.Join(dir, "look", "warden.yaml")
	require.NoError(t, os.Symlink(filepath.Join(dir, "store.yaml"), file))
	k := open(t, file, t.TempDir())
	require.NoError(t, k.Set("", edit.Change{Key: "objects.eye.iris.colour.file", Value: "other.png"}))
	_, err := k.Save("")
	require.NoError(t, err)
	info, err := os.Lstat(file)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeSymlink)
	require.Equal(t, strings.Replace(text, "reed.png", "other.png", 1), read(t, filepath.Join(dir, "store.yaml")))
}

// A process that is killed loses no step.
func TestKilled(t *testing.T) {
	if file := os.Getenv("DESK_FILE"); file != "" { // the process that will be killed
		k, err := Open(file, Options{Journals: os.Getenv("DESK_JOURNALS")})
		require.NoError(t, err)
		for i := range 20 {
			require.NoError(t, k.Set("drag", edit.Change{Key: pupil, Value: 3.5 + float64(i)/10}))
		}
		require.NoError(t, k.Set("drag b", edit.Change{Key: "view.exposure", Value: 1.5}))
		require.NoError(t, os.WriteFile(file+".ready", nil, 0o666))
		time.Sleep(time.Minute)
		return
	}
	file, dir := put(t, warden), t.TempDir()
	c := exec.Command(os.Args[0], "-test.run=^TestKilled$")
	c.Env = append(os.Environ(), "DESK_FILE="+file, "DESK_JOURNALS="+dir)
	require.NoError(t, c.Start())
	require.Eventually(t, func() bool { _, err := os.Stat(file + ".ready"); return err == nil }, 30*time.Second, 5*time.Millisecond)
	require.NoError(t, c.Process.Kill())
	require.Error(t, c.Wait())
	k := open(t, file, dir)
	s := k.State()
	require.Equal(t, 2, s.Undo)
	require.Equal(t, 1.5, k.value("view.exposure"))
	require.Equal(t, 5.4, k.value(pupil))
	require.Equal(t, warden, read(t, file))
}

// Over many changes the desk grows no further than its bounds, and the journal is written anew.
func TestBounded(t *testing.T) {
	dir, file := t.TempDir(), put(t, warden)
	k := open(t, file, dir)
	for i := range mostSteps + 40 {
		require.NoError(t, k.Set("g"+string(rune('A'+i%26)), edit.Change{Key: pupil, Value: 2 + float64(i%50)/10}))
	}
	require.Len(t, k.sides[0].Undo, mostSteps)
	k.journal.lines = mostLines - 1
	require.NoError(t, k.Set("", edit.Change{Key: pupil, Value: 8.0}))
	require.Equal(t, 1, strings.Count(read(t, k.journal.name()), "\n"))
	require.NoError(t, k.Close())
	k = open(t, file, dir)
	require.Equal(t, 8.0, k.value(pupil))
	require.Equal(t, mostSteps, k.State().Undo)
}

// One change of a shipped scene, as a drag sends it many times a second.
func BenchmarkSet(b *testing.B) {
	data, err := os.ReadFile("../../scenes/ferry_keeper.yaml")
	if err != nil {
		b.Fatal(err)
	}
	file := filepath.Join(b.TempDir(), "a.yaml")
	if err := os.WriteFile(file, data, 0o666); err != nil {
		b.Fatal(err)
	}
	k, err := Open(file, Options{Journals: b.TempDir()})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	for i := 0; b.Loop(); i++ {
		if err := k.Set("drag", edit.Change{Key: pupil, Value: 2 + float64(i%90)/30}); err != nil {
			b.Fatal(err)
		}
	}
}

// What a page asks for after a change.
func BenchmarkState(b *testing.B) {
	k, err := Open("../../scenes/ferry_keeper.yaml", Options{})
	if err != nil {
		b.Fatal(err)
	}
	defer k.Close()
	for b.Loop() {
		if _, err := json.Marshal(k.State()); err != nil {
			b.Fatal(err)
		}
	}
}
