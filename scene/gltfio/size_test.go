package gltfio

import (
	"strings"
	"testing"

	"catchlight/scene/asset"
	"catchlight/scene/geom"
	"catchlight/scene/mesh"
)

// A globe of 33 mm whose centimetres were stored as metres is 3.3 m across: the note must not say millimetres alone, of
// which it would be 3.3 mm.
func TestSizeNoteNamesCentimetres(t *testing.T) {
	for _, c := range []struct {
		across float64
		says   string
	}{{3306, "millimetres or centimetres stored as metres"}, {24, ""}, {0.2, "is the scale right"}} {
		m := &mesh.Mesh{P: []geom.Vec{{}, {X: c.across}}}
		r := &reader{said: map[string]bool{}, asset: &Asset{Nodes: []asset.Node{{Mesh: m}}}}
		r.noteSize()
		if got := strings.Join(r.asset.Notes, "\n"); !strings.Contains(got, c.says) || (c.says == "") != (got == "") {
			t.Errorf("%g mm: %q, want %q", c.across, got, c.says)
		}
	}
}
