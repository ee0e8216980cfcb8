package imageio

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync/atomic"
)

var serial atomic.Int64

// WriteAtomic lets write fill a temporary file in the folder of path and then gives it its final name. On an error
// the temporary file is removed and what path held before stays.
func WriteAtomic(path string, write func(w io.Writer) error) error {
	return writeAtomicFile(path, func(f *os.File) error { return write(f) })
}

// writeAtomicFile is WriteAtomic for what goes back and forth in its file.
func writeAtomicFile(path string, write func(f *os.File) error) (err error) {
	dir, base := filepath.Split(path)
	var tmp string
	var f *os.File
	for range 1000 { // a killed process of this number may have left some
		tmp = filepath.Join(dir, fmt.Sprintf(".%s.%d-%d.tmp", base, os.Getpid(), serial.Add(1)))
		if f, err = os.OpenFile(tmp, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666); !errors.Is(err, os.ErrExist) {
			break
		}
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(tmp)
			err = fmt.Errorf("writing %s: %w", path, err)
		}
	}()
	if err = write(f); err != nil {
		return err
	}
	if err = f.Sync(); err != nil {
		return err
	}
	if err = f.Close(); err != nil {
		return err
	}
	return os.Rename(tmp, path)
}

// checkWrite returns an error where n values do not make a picture of w x h texels with c channels, or where it would
// be larger than Read takes.
func checkWrite(kind, path string, w, h, c, n int) error {
	if w < 1 || h < 1 || w > MaxSide || h > MaxSide || w*h > MaxTexels {
		return &FormatError{path, kind, fmt.Sprintf("size %d x %d, each side must be 1 to %d and the product at most %d", w, h, MaxSide, MaxTexels)}
	}
	if n != w*h*c {
		return &FormatError{path, kind, fmt.Sprintf("%d values for %d x %d texels of %d channels, must be %d", n, w, h, c, w*h*c)}
	}
	return nil
}
