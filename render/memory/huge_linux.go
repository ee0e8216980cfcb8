package memory

import "golang.org/x/sys/unix"

// collapse moves whole huge pages' worth of memory onto huge pages at once. A system that can't, of before Linux 6.1 or out of
// room, leaves all as it is.
func collapse(b []byte) { _ = unix.Madvise(b, unix.MADV_COLLAPSE) }
