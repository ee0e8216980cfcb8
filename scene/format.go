package scene

import (
	"bytes"
	"fmt"
)

// Form is the number of the form of scene files, reports and manifests. It grows where a key is renamed or changes its
// meaning, so that whoever reads them can tell; a report of another number is not misread.
const Form = 2

// Stamp puts the number first into an indented JSON object: "format": 2. What is no object is returned as it is.
func Stamp(data []byte) []byte {
	rest, ok := bytes.CutPrefix(data, []byte("{\n"))
	if !ok {
		return data
	}
	indent := rest[:len(rest)-len(bytes.TrimLeft(rest, " \t"))]
	return fmt.Appendf(nil, "{\n%s\"format\": %d,\n%s", indent, Form, rest)
}
