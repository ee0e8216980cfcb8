package desk

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"
)

// record is a line of the journal.
type record struct {
	Do      string   `json:"do"` // whole, edit, undo, redo, side
	Side    int      `json:"side,omitempty"`
	Gesture string   `json:"gesture,omitempty"`
	At      int      `json:"at,omitempty"` // of edit: where Old stood
	Old     string   `json:"old,omitempty"`
	New     string   `json:"new,omitempty"`
	Whole   *whole   `json:"whole,omitempty"`
	Keys    []string `json:"keys,omitempty"`
}

// whole is all that the journal stands for.
type whole struct {
	Scene string  `json:"scene"` // file, in full
	Base  string  `json:"base"`  // text of the file that the changes are changes of
	At    int     `json:"at"`    // side in use
	Sides [2]side `json:"sides"`
}

// journal is a file with a line for every step: 8 digits of CRC-32 (IEEE 802.3), a blank, a record as JSON. A last line that was
// torn is left out. Lines go to the file at once, so that they outlive the process, and to the disk itself when a gesture ends or
// within lateSync.
type journal struct {
	dir  string
	lock io.Closer

	mu    sync.Mutex
	f     *os.File // nil without a folder
	lines int      // since the last whole one
	bytes int64
	timer *time.Timer
	err   error // the first that went wrong
}

const (
	lateSync  = 200 * time.Millisecond
	mostLines = 4000    // after which the journal is written anew
	mostBytes = 8 << 20 // the same
)

// folderOf is the place of a scene's journal within a folder of journals.
func folderOf(dir, path string) string {
	sum := sha256.Sum256([]byte(path))
	return filepath.Join(dir, hex.EncodeToString(sum[:8]))
}

// openJournal takes the journal of a scene, which no other process may have, and returns its records.
func openJournal(dir string) (*journal, []record, error) {
	j := &journal{dir: dir}
	if dir == "" {
		return j, nil, nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, nil, err
	}
	lock, err := lockFile(filepath.Join(dir, "lock"))
	if err != nil {
		return nil, nil, err
	}
	j.lock = lock
	data, err := os.ReadFile(j.name())
	if err != nil && !os.IsNotExist(err) {
		lock.Close()
		return nil, nil, err
	}
	return j, readRecords(data), nil
}

func (j *journal) name() string { return filepath.Join(j.dir, "journal") }

// readRecords returns the records before the first line that is not whole.
func readRecords(data []byte) []record {
	var out []record
	for len(data) > 0 {
		i := bytes.IndexByte(data, '\n')
		if i < 0 {
			break
		}
		line := data[:i]
		data = data[i+1:]
		var r record
		if len(line) < 9 || fmt.Sprintf("%08x", crc32.ChecksumIEEE(line[9:])) != string(line[:8]) || json.Unmarshal(line[9:], &r) != nil {
			break
		}
		out = append(out, r)
	}
	return out
}

func (r *record) line() ([]byte, error) {
	data, err := json.Marshal(r)
	if err != nil {
		return nil, err
	}
	return fmt.Appendf(nil, "%08x %s\n", crc32.ChecksumIEEE(data), data), nil
}

// begin writes the journal anew with one record that holds all.
func (j *journal) begin(w *whole) error {
	if j.dir == "" {
		return nil
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	line, err := (&record{Do: "whole", Whole: w}).line()
	if err == nil {
		err = writeWhole(j.name(), line, 0o600)
	}
	if err != nil {
		return j.fail(err)
	}
	if j.f != nil {
		j.f.Close()
	}
	if j.f, err = os.OpenFile(j.name(), os.O_WRONLY|os.O_APPEND, 0o600); err != nil {
		return j.fail(err)
	}
	j.lines, j.bytes = 0, int64(len(line))
	return nil
}

func (j *journal) fail(err error) error {
	if j.err == nil {
		j.err = err
	}
	return err
}

// add appends a record. full says that the journal wants to be written anew.
func (j *journal) add(r record) (full bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.f == nil {
		return false
	}
	line, err := r.line()
	if err == nil {
		_, err = j.f.Write(line)
	}
	if err != nil {
		j.fail(err)
		return false
	}
	j.lines++
	j.bytes += int64(len(line))
	if r.Gesture == "" {
		if err := j.f.Sync(); err != nil {
			j.fail(err)
		}
	} else if j.timer == nil {
		j.timer = time.AfterFunc(lateSync, j.sync)
	}
	return j.lines >= mostLines || j.bytes >= mostBytes
}

func (j *journal) sync() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.timer = nil
	if j.f != nil {
		if err := j.f.Sync(); err != nil {
			j.fail(err)
		}
	}
}

// problem returns what went wrong so far.
func (j *journal) problem() error {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.err
}

// close ends the journal; forget takes it away, as there is nothing to take up.
func (j *journal) close(forget bool) {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.timer != nil {
		j.timer.Stop()
	}
	if j.f != nil {
		_ = j.f.Sync()
		j.f.Close()
		j.f = nil
		if forget {
			_ = os.Remove(j.name())
		}
	}
	if j.lock != nil {
		j.lock.Close()
		j.lock = nil
	}
}

// writeWhole writes a file so that it is there as a whole or as it was before, and on disk.
func writeWhole(name string, data []byte, mode os.FileMode) error {
	f, err := os.CreateTemp(filepath.Dir(name), "."+filepath.Base(name)+"-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // which is not there any more where all went well
	w := bufio.NewWriter(f)
	_, err = w.Write(data)
	for _, step := range []func() error{w.Flush, func() error { return f.Chmod(mode) }, f.Sync, f.Close, func() error { return os.Rename(f.Name(), name) }} {
		if err == nil {
			err = step()
		}
	}
	if err != nil {
		f.Close()
		return err
	}
	if d, err := os.Open(filepath.Dir(name)); err == nil {
		_ = d.Sync() // some systems can't
		d.Close()
	}
	return nil
}
