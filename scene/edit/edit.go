// Package edit changes values in the text of a scene file. Only the bytes of the value change; comments, order and layout of all
// else stay. It knows the form of the text and nothing of what keys mean: whoever calls it loads the new text and compares.
package edit

// Change is a new value for a key, or a key taken out.
type Change struct {
	Key   string `json:"key"`   // path as an override writes it: objects.eye.iris.pupil; entries of lists go by name or number
	Value any    `json:"value"` // float64, int, string, bool, []any, map[string]any or Raw; nil takes the key out
}

// Raw is a value that is YAML in flow style already.
type Raw string
