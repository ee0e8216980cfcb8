package imageio

import (
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"syscall"
	"time"
)

// temporary is the form of the names of files that WriteAtomic has under way: what they will be called, the process, a number.
var temporary = regexp.MustCompile(`^\.(.+)\.([0-9]+)-[0-9]+\.tmp$`)

// begun is when this process began, about.
var begun = time.Now()

// Sweep removes what killed processes left under way for the file path. What a process that lives may be writing stays,
// unless nobody has touched it for an hour.
func Sweep(path string) {
	dir, base := filepath.Split(path)
	list, err := os.ReadDir(filepath.Clean(dir + "."))
	if err != nil {
		return
	}
	for _, e := range list {
		m := temporary.FindStringSubmatch(e.Name())
		if m == nil || m[1] != base || !e.Type().IsRegular() {
			continue
		}
		info, err := e.Info()
		if err != nil {
			continue
		}
		if pid, err := strconv.Atoi(m[2]); err != nil || !lives(pid, info.ModTime()) || time.Since(info.ModTime()) > time.Hour {
			_ = os.Remove(filepath.Join(dir, e.Name()))
		}
	}
}

// lives reports whether the process that wrote a file at a time may still be there. Numbers of processes come again: one of
// this number is this one only if the file is not older.
func lives(pid int, wrote time.Time) bool {
	if pid == os.Getpid() {
		return !wrote.Before(begun.Add(-time.Second))
	}
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	defer p.Release()
	return !errors.Is(p.Signal(syscall.Signal(0)), os.ErrProcessDone)
}
