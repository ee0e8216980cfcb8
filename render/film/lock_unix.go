//go:build linux || darwin || freebsd

package film

import (
	"os"
	"syscall"
)

// lockFile keeps other processes from writing to a file, and with alone from reading it too, until it is closed.
func lockFile(f *os.File, alone bool) error {
	how := syscall.LOCK_SH
	if alone {
		how = syscall.LOCK_EX
	}
	err := syscall.Flock(int(f.Fd()), how|syscall.LOCK_NB)
	if err == syscall.EWOULDBLOCK {
		return ErrBusy
	}
	if err == syscall.ENOLCK || err == syscall.ENOTSUP || err == syscall.ENOSYS {
		return nil // a disk without locks
	}
	return err
}
