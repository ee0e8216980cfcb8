package main

import (
	"bytes"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"
	"unicode"

	"github.com/stretchr/testify/require"
)

// What could steer a terminal is shown by its number. The ranges are those of ISO 646 and ISO 6429, and the marks of
// direction of the Unicode Standard, annex 9.
func TestVisible(t *testing.T) {
	for text, want := range map[string]string{
		"ferry, Fährmann, 渡し守\tat\ndawn": "ferry, Fährmann, 渡し守\tat\ndawn",
		"\x1b[2Jreed":                    `\x1b[2Jreed`,
		"a\rb\x07\x00\x7f":               `a\x0db\x07\x00\x7f`,
		"\u009b31m":                      `\u009b31m`,
		"\u202exe.dlo\u2066":             `\u202exe.dlo\u2066`,
		"bad \xff\xc3":                   `bad \xff\xc3`,
	} {
		require.Equal(t, want, visible(text))
		require.Equal(t, want, visible(want))
	}
	// A character that is cut between two writes is one character; the end of a text that never comes is seen.
	var b bytes.Buffer
	d := &door{w: &b}
	for _, c := range []byte("é渡\x1b") {
		_, err := d.Write([]byte{c})
		require.NoError(t, err)
	}
	_, err := d.Write([]byte{'z', 0xe6, 0xb8})
	require.NoError(t, err)
	d.flush()
	require.Equal(t, `é渡\x1bz\xe6\xb8`, b.String())
}

// Names out of files reach neither output as they are: those of a mesh's nodes and materials, of scene files' values, of
// files.
func TestNamesDoNotSteerTheTerminal(t *testing.T) {
	dir, file := writeScene(t)
	t.Chdir(dir)
	const evil = "\x1b[31mreed\x1b]0;owned\x07\u202e"
	put(t, "reed.obj", "o "+evil+"\nusemtl "+evil+"\nv 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 3\nf 1 1 2\n"+evil+" 1\n")
	put(t, "marsh.yaml", strings.Replace(float, "radius: 15}", "radius: 15}, {name: reed, shape: mesh, file: reed.obj, unit: mm}", 1))
	put(t, "evil.yaml", strings.Replace(float, "radius: 15", "radius: 15, "+`"\e[31m": 3, material: "\e]0;x\a"`, 1))
	steers := func(text string) bool {
		return strings.IndexFunc(text, func(r rune) bool { return unicode.IsControl(r) && r != '\n' || r == 0x202e }) >= 0
	}
	said := 0
	for _, args := range [][]string{
		{"render", "marsh.yaml"}, {"render", "evil.yaml"}, {"render", "marsh.yaml", "--probe", "8,6"}, {"lights", "\x1b[31m"},
		{"render", "\x1b[31m.yaml"}, {"render", file, "--set", "objects." + evil + "=3"}, {"\x1b[31m"}, {"adopt", "reed.obj", "--drafts=false"},
		{"render", file, "-o", "\x1b[31m.png"},
	} {
		_, stdout, stderr := catchlight(args...)
		require.False(t, steers(stdout), "%q says %q", args, stdout)
		require.False(t, steers(stderr), "%q says %q", args, stderr)
		said += strings.Count(stdout+stderr, "[31m")
	}
	require.Greater(t, said, 4, "the names were not said at all")
}

// Notes stay on one line each, whatever is in a name.
func TestNotesAreLines(t *testing.T) {
	var b bytes.Buffer
	tell(&b, []string{"node a\nnote: all is well", "b"})
	require.Equal(t, "note: node a\\nnote: all is well\nnote: b\n", b.String())
}

// The help tells the codes, all of them, and the codes are those that commands end with.
func TestExitCodes(t *testing.T) {
	code, stdout, _ := catchlight("help", "exit-codes")
	require.Zero(t, code)
	var codes []int
	for _, e := range exits {
		codes = append(codes, e.code)
		require.Contains(t, stdout, fmt.Sprintf("%3d  %s\n", e.code, e.means))
	}
	require.Equal(t, []int{0, 1, 2, 3, 4, 5, 130}, codes)
	_, stdout, _ = catchlight("--help")
	require.Contains(t, stdout, "exit-codes")
	// No other number leaves the program.
	files, err := os.ReadDir(".")
	require.NoError(t, err)
	for _, f := range files {
		if text, err := os.ReadFile(f.Name()); err == nil && strings.HasSuffix(f.Name(), ".go") && !strings.HasSuffix(f.Name(), "_test.go") {
			require.Equal(t, f.Name() == "main.go", bytes.Contains(text, []byte("os.Exit(")), f.Name())
		}
	}
	require.True(t, slices.Contains(codes, exitCode(fmt.Errorf("%w", errInterrupted))))
}
