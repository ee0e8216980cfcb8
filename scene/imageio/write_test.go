package imageio

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A writer that fails half-way leaves what was there before and nothing else.
func TestWriteAtomic(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "goat.pfm")
	if err := WritePFM(path, 1, 1, 1, []float32{1}); err != nil {
		t.Fatal(err)
	}
	before, _ := os.ReadFile(path)
	full := errors.New("the disc is full")
	err := WriteAtomic(path, func(w io.Writer) error {
		io.WriteString(w, "half a pict")
		if now, _ := os.ReadFile(path); string(now) != string(before) {
			t.Error("the final name shows a file that is being written")
		}
		return full
	})
	if !errors.Is(err, full) || !strings.Contains(err.Error(), path) {
		t.Errorf("got %v, want the writer's error with the path", err)
	}
	if after, _ := os.ReadFile(path); string(after) != string(before) {
		t.Error("the file was lost")
	}
	if files, _ := os.ReadDir(dir); len(files) != 1 {
		t.Errorf("%d files are left, want 1", len(files))
	}
	if err := WritePFM(filepath.Join(dir, "none", "x.pfm"), 1, 1, 1, []float32{1}); err == nil {
		t.Error("a folder that does not exist is no error")
	}
}
