// Package memory tells the processor and the system how large tables will be read. Nothing that it does changes a result.
package memory

import "unsafe"

// Huge asks the system to keep what a slice holds on huge pages, if it has them: tables that are read here and there then need a
// five-hundredth of the entries in the processor's table of pages. The slice must be filled, and hold no pointers.
func Huge[T any](s []T) {
	if len(s) == 0 {
		return
	}
	at, n := uintptr(unsafe.Pointer(&s[0])), uintptr(len(s))*unsafe.Sizeof(s[0])
	lo, hi := (at+hugePage-1)&^(hugePage-1), (at+n)&^(hugePage-1)
	if lo < hi {
		collapse(unsafe.Slice((*byte)(unsafe.Add(unsafe.Pointer(&s[0]), lo-at)), hi-lo))
	}
}

// hugePage is the size of a huge page in bytes.
const hugePage = 2 << 20
