package main

import (
	_ "embed"
	"fmt"
	"io"
	"log"
	"net/http"
	"strings"

	"catchlight/render/desk"
	"catchlight/scene/pages"
)

//go:embed snapshots.html
var snapshotsText string

// shownDifference is a row of the page of snapshots.
type shownDifference struct{ Key, A, B string }

// snapshots sends a page of all of them, and what changed between two.
func (s *session) snapshots(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	view := struct {
		Scene     string
		Snapshots []desk.Snapshot
		A, B      string
		Rows      []shownDifference
		Problem   string
	}{Scene: s.desk.State().Scene, Snapshots: s.desk.Snapshots(), A: q.Get("a"), B: q.Get("b")}
	if view.A != "" && view.B != "" {
		list, err := s.desk.Differences(view.A, view.B)
		if err != nil {
			view.Problem = desk.AsProblem(err).Error()
		}
		for _, d := range list {
			view.Rows = append(view.Rows, shownDifference{d.Key, inWords(d.A), inWords(d.B)})
		}
	}
	var text strings.Builder
	if err := pages.New("snapshots", snapshotsText).Execute(&text, view); err != nil {
		refuse(w, http.StatusInternalServerError, err.Error())
		return
	}
	// This page has a style of its own in its text, and no script.
	w.Header().Set("Content-Security-Policy", strings.Replace(policy, "default-src 'self'", "default-src 'self'; script-src 'none'; style-src 'unsafe-inline'", 1))
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	_, _ = io.WriteString(w, text.String())
}

// inWords writes a value for people.
func inWords(v any) string {
	switch x := v.(type) {
	case nil:
		return "–"
	case float64:
		return fmt.Sprintf("%.6g", x)
	case []any:
		parts := make([]string, len(x))
		for i := range x {
			parts[i] = inWords(x[i])
		}
		return strings.Join(parts, ", ")
	}
	return fmt.Sprint(v)
}

// quiet is a log that says nothing: what goes wrong with one connection is the browser's to tell.
func quiet() *log.Logger { return log.New(io.Discard, "", 0) }
