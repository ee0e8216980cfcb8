//go:build amd64 && !purego

package memory

import "unsafe"

// Fetch starts to load the cache lines at p and q, which are read soon, and does not wait for them.
//
//go:noescape
func Fetch(p, q unsafe.Pointer)
