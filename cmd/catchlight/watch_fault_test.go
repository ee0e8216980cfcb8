package main

import (
	"net/http"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/cmd/live"
)

// openTiny is openPage with an engine that the test can speak for.
func openTiny(t *testing.T) (*visitor, *tinyEngine, *reader) {
	t.Helper()
	e := newTiny()
	p := openPage(t, func() engine { return e })
	a := p.frames("a")
	a.grey(1)
	return p, e, a
}

// What the engine can't show is told in sentences that have their keys, in later tabs too; it is not saved unasked; and it is over when the
// engine says so.
func TestFaultIsAsked(t *testing.T) {
	p, e, a := openTiny(t)
	p.post("/set", `{"changes": [{"key": "view.exposure", "value": 2}]}`)
	e.out <- live.Frame{Run: 9, Look: live.Traced, Problem: p.file + ": camera.focus_on: no eye\n" + p.file + ": objects.float: no reed"}
	head := a.until(func(h map[string]any, _ []byte) bool { return h["word"] == "problem" })
	const fault = "camera.focus_on: no eye. Also: objects.float: no reed"
	require.Equal(t, fault, head["problem"])
	_, s := p.ask("GET", "/state", "")
	require.Equal(t, fault, s["problem"])
	code, answer := p.ask("POST", "/save", `{}`)
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Equal(t, true, answer["ask"])
	require.Contains(t, answer["problem"], fault)
	data, err := os.ReadFile(p.file)
	require.NoError(t, err)
	require.Equal(t, floats, string(data))

	e.out <- live.Frame{Run: 10, Look: live.Well}
	head = a.until(func(h map[string]any, _ []byte) bool { return h["word"] == "problem" })
	require.Equal(t, "", head["problem"])
	_, s = p.ask("GET", "/state", "")
	require.Equal(t, "", s["problem"])
	e.out <- live.Frame{Run: 11, Look: live.Traced, Problem: "no reed"}
	a.until(isWord("problem"))
	p.post("/save", `{"anyway": true}`)
	data, err = os.ReadFile(p.file)
	require.NoError(t, err)
	require.NotEqual(t, floats, string(data))
}

// A raster look of the scene as it was is marked, in all tabs, until there is a new one or the old one holds again.
func TestRasterIsOld(t *testing.T) {
	p, e, a := openTiny(t)
	raster := func(run uint64) {
		e.out <- live.Frame{Run: run, Look: live.Raster, Samples: 1, Width: 1, Height: 1, Box: [4]int{0, 0, 1, 1}, RGBA: make([]byte, 4)}
	}
	isRaster := func(h map[string]any, _ []byte) bool { return h["look"] == live.Raster && h["word"] == nil }
	raster(1)
	require.Nil(t, a.until(isRaster)["old"])
	run := uint64(p.post("/set", `{"changes": [{"key": "view.exposure", "value": 2}]}`)["run"].(float64))
	require.Equal(t, live.Raster, a.until(isWord("old"))["look"])
	require.Equal(t, true, p.frames("b").until(isRaster)["old"])
	raster(run - 1)
	require.Equal(t, true, a.until(isRaster)["old"], "it was on its way")
	e.out <- live.Frame{Run: run, Look: live.Still}
	a.until(isWord("new"))
	require.Nil(t, p.frames("c").until(isRaster)["old"])
	p.post("/view", `{"width": 100, "height": 100}`)
	raster(run)
	require.Nil(t, a.until(isRaster)["old"], "another view is the same scene")
}

// What is refused has its key in the words, unless it is the one that was set.
func TestProblemsHaveASubject(t *testing.T) {
	p, _, _ := openTiny(t)
	_, answer := p.ask("POST", "/set", `{"changes": [{"key": "picture.samples", "value": -1}]}`)
	require.Equal(t, "picture.samples", answer["key"])
	require.NotContains(t, answer["problem"], "picture.samples")
	_, answer = p.ask("POST", "/gain", `{"light": "sky", "ev": 1e9}`)
	require.Equal(t, "lights.sky.ev", answer["key"])
	require.Contains(t, answer["problem"], "lights.sky.ev: ")
}
