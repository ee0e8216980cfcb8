// Package edit holds changes of scene files, a key at a time.
package edit

// Change sets one key of a scene file.
type Change struct {
	Key   string // as in --set: lights.window.ev
	Value any    // float64, string, bool, []any, map[string]any; nil takes the key out
}
