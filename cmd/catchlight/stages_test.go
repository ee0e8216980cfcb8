package main

import (
	"bytes"
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"catchlight/render"
)

// A second start takes an eye's shells and tissue from the folder that --stages names, to the same bytes; the report says so. With off
// nothing is kept; what can't be a folder is a mistake of the command line.
func TestStagesAreKept(t *testing.T) {
	file := writeHeron(t)
	kept := filepath.Join(t.TempDir(), "kept")
	start := func(out, stages string) (from map[string]string, picture []byte) {
		var text bytes.Buffer
		code := run(context.Background(), []string{"render", file, "--out", out + ".pfm", "--stages", stages}, &text, &text)
		require.Zero(t, code, text.String())
		var r struct{ Stages []render.Stage }
		data, err := os.ReadFile(out + ".json")
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(data, &r))
		from = map[string]string{}
		for _, s := range r.Stages {
			from[s.Name] = s.From
		}
		picture, err = os.ReadFile(out + ".pfm")
		require.NoError(t, err)
		return from, picture
	}
	from, first := start("a", kept)
	require.Equal(t, "made", from["shells eye"])
	from, second := start("b", kept)
	require.Equal(t, "disk", from["shells eye"])
	require.Equal(t, "disk", from["tissue eye"])
	require.Equal(t, first, second)
	from, third := start("c", "off")
	require.Equal(t, "made", from["shells eye"])
	require.Equal(t, first, third)

	// Beside the scene they have a folder of their own.
	start("e", ".")
	none, err := filepath.Glob("*.stage")
	require.NoError(t, err)
	require.Empty(t, none)
	some, err := filepath.Glob(filepath.Join(render.OwnFolder, "*.stage"))
	require.NoError(t, err)
	require.NotEmpty(t, some)
	code, help, _ := catchlight("help", "stages")
	require.Zero(t, code)
	for _, s := range []string{render.OwnFolder, stagesVariable, "at most 4 GB", "Clear    delete the folder", "Not kept "} {
		require.Contains(t, help, s)
	}

	var text bytes.Buffer
	require.Equal(t, exitUsage, run(context.Background(), []string{"render", file, "--out", "d.pfm", "--stages", file}, &text, &text))
	require.Contains(t, text.String(), "--stages heron.yaml")
}
