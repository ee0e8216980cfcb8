//go:build linux || darwin || freebsd

package desk

import (
	"errors"
	"io"
	"os"
	"syscall"
)

// lockFile holds a file for this process alone until it is closed or the process ends.
func lockFile(name string) (io.Closer, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if err == nil || errors.Is(err, syscall.ENOLCK) || errors.Is(err, syscall.ENOTSUP) || errors.Is(err, syscall.ENOSYS) {
		return f, nil // a disk without locks too
	}
	f.Close()
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil, ErrBusy
	}
	return nil, err
}
