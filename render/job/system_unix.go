//go:build linux || darwin || freebsd

package job

import (
	"io"
	"os"
	"syscall"
)

// lockFolder locks the folder itself, so that nothing is left when the process dies.
func lockFolder(dir string) (io.Closer, error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, cause(err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		if err == syscall.EWOULDBLOCK {
			return nil, ErrBusy
		}
		return nil, err
	}
	return f, nil
}

// freeBytes returns what is free on a folder's disk.
func freeBytes(dir string) (n int64, known bool) {
	var s syscall.Statfs_t
	if syscall.Statfs(dir, &s) != nil {
		return 0, false
	}
	return int64(s.Bavail) * int64(s.Bsize), true
}
