package memory

import (
	"testing"
	"unsafe"
)

// What a slice holds stays as it is on huge pages, at any place and length, the empty one and odd ends included; and a fetch of
// two of its lines changes nothing.
func TestHugeKeepsWhatIsThere(t *testing.T) {
	s := make([]uint32, 3<<20) // 12 MB
	for i := range s {
		s[i] = uint32(i) * 2654435761
	}
	Huge(s[5 : len(s)-3])
	Huge(s[:100])
	Huge(s[:0])
	Fetch(unsafe.Pointer(&s[0]), unsafe.Pointer(&s[len(s)-1]))
	for i := range s {
		if s[i] != uint32(i)*2654435761 {
			t.Fatalf("number %d is %d", i, s[i])
		}
	}
}
