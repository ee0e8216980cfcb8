package inspect

import (
	"bytes"
	"encoding/json"
	"image"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/scene/geom"
)

// The page holds every finding with its number, place and remedy, its pictures are in it, and it asks for nothing outside.
func TestPage(t *testing.T) {
	e := goodEye()
	drop(e.outer, within(e.outer, onCornea, 0.6))
	e.told.MM = 1000
	r := looked(t, e.subject(t))
	draft := Draft{Title: "by a <window>", Image: image.NewNRGBA(image.Rect(0, 0, 64, 64)), Marks: []Mark{{X: 3, Y: 60, Number: 1, Severe: Error}, {X: 4, Y: 60, Number: 2, Severe: Note}}}
	page, err := r.HTML([]Draft{draft}, "")
	require.NoError(t, err)
	text := string(page)
	require.NotRegexp(t, regexp.MustCompile(`(src|href)="(https?:)?//|url\(`), text)
	require.Contains(t, text, "by a &lt;window&gt;")
	require.NotContains(t, text, "by a <window>")
	for i, f := range r.Numbered() {
		require.Contains(t, text, f.Code, i)
		require.Contains(t, text, `id="f`+string(rune('1'+i)))
		if i == 8 {
			break
		}
	}
	require.GreaterOrEqual(t, strings.Count(text, "data:image/png;base64,"), 6)
	require.Contains(t, text, "The file has no colour of an iris")
	require.Contains(t, text, "iris_body: gap to the nearest point")
	require.NotContains(t, text, "winds inward, and was turned")
	r.Subject.Parts[0].InsideOut = true
	page, err = r.HTML([]Draft{draft}, "")
	require.NoError(t, err)
	require.Contains(t, string(page), "cornea_white winds inward, and was turned when it was read")
	bare, err := r.HTML(nil, "no drafts & why")
	require.NoError(t, err)
	require.Contains(t, string(bare), "no drafts &amp; why")
}

// A portrait shows a mark where its place is drawn: the picture there is the mesh, and outside the outline it is paper.
func TestPortraitProjects(t *testing.T) {
	m := goodOuter(48)
	s, err := newSitter(m)
	require.NoError(t, err)
	q := portrait{frame: geom.Frame{S: geom.Vec{X: 1}, T: geom.Vec{Y: 1}, N: geom.Vec{Z: 1}}, half: 15, size: 60}
	pic := q.draw(s, nil)
	x, y, z := q.project(geom.Vec{X: 10, Y: 5, Z: 4})
	require.InDelta(t, 50, x, 1e-9)
	require.InDelta(t, 20, y, 1e-9)
	require.InDelta(t, 4, z, 1e-9)
	require.Greater(t, pic.NRGBAAt(30, 30).R, uint8(100))
	paper := pic.NRGBAAt(2, 2)
	require.NotEqual(t, paper, pic.NRGBAAt(50, 20))
	x, y, _ = q.project(geom.Vec{X: 12.6})
	require.Equal(t, paper, pic.NRGBAAt(int(x), int(y)))
}

// The text has the verdict, and a line a finding that is fine only when asked; JSON reads back with the same severities.
func TestTextAndJSON(t *testing.T) {
	e := goodEye()
	e.inner = nil
	r := looked(t, e.subject(t))
	var short, all strings.Builder
	require.NoError(t, r.WriteText(&short, false))
	require.NoError(t, r.WriteText(&all, true))
	require.Contains(t, short.String(), "error    layers.missing: the inner shell is missing")
	require.NotContains(t, short.String(), "scale.length")
	require.Contains(t, all.String(), "fine     scale.length")
	data, err := json.Marshal(r)
	require.NoError(t, err)
	var back Report
	require.NoError(t, json.NewDecoder(bytes.NewReader(data)).Decode(&back))
	require.Equal(t, r.Worst, back.Worst)
	require.Len(t, back.Findings, len(r.Findings))
}
