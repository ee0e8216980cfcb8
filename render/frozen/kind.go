package frozen

import "fmt"

// kindNames are the kinds in words, for messages.
var kindNames = [...]string{"diffuse", "conductor", "dielectric", "matched", "outer shell", "inner shell", "tissue", "strip of tears", "hair"}

// String returns the kind in words.
func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("Kind(%d)", uint8(k))
}
