package prepare

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"sync"
	"time"

	"catchlight/scene/builtin"
	"catchlight/scene/raw"
)

// Disk keeps stages in a folder for the next start. A file is named by a hash of the stage, of what it was made from and of the
// program that made it, so that another build never takes it; it holds the hashes of the files that were read, which must be the
// same still. It is written beside its place and moved there whole, and carries a checksum: what is cut, damaged or of another
// kind is taken as not there, and made anew. Any number of processes may share the folder.
type Disk struct {
	Folder string
	Limit  int64  // bytes that all files may take together, about; the ones used longest ago go first
	build  string // of this program

	mu   sync.Mutex
	hash map[Stamp]string // of files, by their state
}

// DiskBytes is what a folder of stages may take unless someone says otherwise.
const DiskBytes = 4_000_000_000

const (
	stageMagic  = "catchlight stage 1\n"
	stageEnding = ".stage"
)

// stageName and partName are the names of whole stages, and of those that are being written: nothing else in a folder is ever let go of.
var (
	stageName = regexp.MustCompile(`^[0-9a-f]{40}\.stage$`)
	partName  = regexp.MustCompile(`^[0-9]+\.part$`)
)

// OwnFolder is the folder for stages within one that holds other files.
const OwnFolder = "catchlight-stages"

// ownFolder returns the folder itself where it holds nothing but stages, else OwnFolder in it: stages never lie among files of others.
func ownFolder(folder string) (string, error) {
	f, err := os.Open(folder)
	if errors.Is(err, os.ErrNotExist) {
		return folder, nil
	}
	if err != nil {
		return "", err
	}
	defer f.Close()
	names, err := f.Readdirnames(-1)
	if err != nil {
		return "", err
	}
	if slices.ContainsFunc(names, func(n string) bool { return !stageName.MatchString(n) && !partName.MatchString(n) }) {
		return filepath.Join(folder, OwnFolder), nil
	}
	return folder, nil
}

// OpenDisk makes the folder where it is not there yet; "" stands for a place of its own in the user's folder for caches. In a folder
// that holds other files it is OwnFolder of it. What is there beyond the limit goes at once.
func OpenDisk(folder string, limit int64) (*Disk, error) {
	if folder == "" {
		base, err := os.UserCacheDir()
		if err != nil {
			return nil, fmt.Errorf("stages have no place to be kept: %w", err)
		}
		folder = filepath.Join(base, "catchlight", "stages")
	}
	folder, err := ownFolder(folder)
	if err != nil {
		return nil, fmt.Errorf("stages can't be kept: %w", err)
	}
	if err := os.MkdirAll(folder, 0o777); err != nil {
		return nil, fmt.Errorf("stages can't be kept: %w", err)
	}
	build, err := program()
	if err != nil {
		return nil, err
	}
	d := &Disk{Folder: folder, Limit: limit, build: build, hash: map[Stamp]string{}}
	d.trim()
	return d, nil
}

// program hashes the program's own file.
var program = sync.OnceValues(func() (string, error) {
	path, err := os.Executable()
	if err != nil {
		return "", err
	}
	return builtin.Hash(path)
})

// store is how a stage's result is written and read back.
type store[T any] struct {
	write func(w *raw.Writer, v T)
	read  func(r *raw.Reader) T
}

// header stands before a result.
type header struct {
	Stage  string
	Inputs string
	Files  []fileHash
	Notes  []string
}

type fileHash struct{ Path, Hash string }

// file returns where a stage lies. Its name in the scene (an object's) is in it, so that equal eyes don't share one; the cost is small.
func (d *Disk) file(slot, inputs string) string {
	h := sha256.New()
	for _, s := range []string{d.build, runtime.GOARCH, slot, inputs} {
		fmt.Fprintf(h, "%d %s\n", len(s), s)
	}
	return filepath.Join(d.Folder, hex.EncodeToString(h.Sum(nil)[:20])+stageEnding)
}

// hashOf hashes a file, once for each of its states.
func (d *Disk) hashOf(path string) (string, error) {
	s := StampOf(path)
	d.mu.Lock()
	h := d.hash[s]
	d.mu.Unlock()
	if h != "" {
		return h, nil
	}
	h, err := builtin.Hash(path)
	if err == nil {
		d.mu.Lock()
		d.hash[s] = h
		d.mu.Unlock()
	}
	return h, err
}

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// load reads a stage; ok says that it was there, whole, and of the files as they are.
func load[T any](d *Disk, slot, inputs string, s *store[T]) (v T, notes []string, files []Stamp, ok bool) {
	path := d.file(slot, inputs)
	h, data, err := readStage(path)
	if err != nil {
		if !errors.Is(err, os.ErrNotExist) {
			os.Remove(path) // damaged
		}
		return v, nil, nil, false
	}
	if h.Stage != slot || h.Inputs != inputs {
		return v, nil, nil, false
	}
	for _, f := range h.Files {
		files = append(files, StampOf(f.Path))
		if now, err := d.hashOf(f.Path); err != nil || now != f.Hash {
			return v, nil, nil, false
		}
	}
	r := raw.NewReader(data)
	if v = s.read(r); r.Done() != nil {
		var none T
		return none, nil, nil, false
	}
	now := time.Now()
	os.Chtimes(path, now, now) // used last now; it may be gone by now, which is no harm
	return v, h.Notes, files, true
}

// readStage reads the file of a stage: the header, and what follows it.
func readStage(path string) (h header, data []byte, err error) {
	f, err := os.Open(path)
	if err != nil {
		return h, nil, err
	}
	defer f.Close()
	bad := errors.New("not a whole stage")
	head := make([]byte, len(stageMagic)+24)
	if _, err := io.ReadFull(f, head); err != nil || string(head[:len(stageMagic)]) != stageMagic {
		return h, nil, bad
	}
	head = head[len(stageMagic):]
	n, size := binary.LittleEndian.Uint64(head), binary.LittleEndian.Uint64(head[8:])
	info, err := f.Stat()
	if err != nil || n > 1<<24 || size > uint64(info.Size()) || uint64(info.Size()) != uint64(len(stageMagic))+24+n+size {
		return h, nil, bad
	}
	text := make([]byte, n)
	data = raw.Aligned(int(size))
	if _, err := io.ReadFull(f, text); err != nil {
		return h, nil, bad
	}
	if _, err := io.ReadFull(f, data); err != nil {
		return h, nil, bad
	}
	sum := crc32.Update(crc32.Checksum(text, castagnoli), castagnoli, data)
	if uint64(sum) != binary.LittleEndian.Uint64(head[16:]) || json.Unmarshal(text, &h) != nil {
		return h, nil, bad
	}
	return h, data, nil
}

// save writes a stage. What goes wrong here costs the next start its time and is no error.
func save[T any](d *Disk, slot, inputs string, s *store[T], v T, m *making) {
	h := header{Stage: slot, Inputs: inputs, Notes: m.notes}
	for _, f := range m.files {
		sum, err := d.hashOf(f.Path)
		if err != nil || StampOf(f.Path) != f {
			return // it changed meanwhile
		}
		h.Files = append(h.Files, fileHash{f.Path, sum})
	}
	text, err := json.Marshal(h)
	if err != nil {
		return
	}
	to, err := os.CreateTemp(d.Folder, "*.part")
	if err != nil {
		return
	}
	defer os.Remove(to.Name()) // where it was moved there is nothing any more
	_, err = to.Seek(int64(len(stageMagic)+24+len(text)), io.SeekStart)
	if err != nil {
		to.Close()
		return
	}
	sum := &summed{w: bufio.NewWriterSize(to, 1<<20), crc: crc32.Checksum(text, castagnoli)}
	w := raw.NewWriter(sum)
	s.write(w, v)
	var b bytes.Buffer
	b.WriteString(stageMagic)
	for _, n := range []uint64{uint64(len(text)), uint64(sum.n), uint64(sum.crc)} {
		b.Write(binary.LittleEndian.AppendUint64(nil, n))
	}
	b.Write(text)
	_, err = to.WriteAt(b.Bytes(), 0)
	if err = errors.Join(err, w.Err(), sum.w.Flush(), to.Close()); err != nil {
		return
	}
	if os.Rename(to.Name(), d.file(slot, inputs)) == nil {
		d.trim()
	}
}

// summed counts and sums up what passes.
type summed struct {
	w   *bufio.Writer
	n   int64
	crc uint32
}

func (s *summed) Write(b []byte) (int, error) {
	s.n += int64(len(b))
	s.crc = crc32.Update(s.crc, castagnoli, b)
	return s.w.Write(b)
}

// trim lets go of the files used longest ago while there is too much, and of what a process that was ended left half written.
func (d *Disk) trim() {
	list, err := os.ReadDir(d.Folder)
	if err != nil {
		return
	}
	type old struct {
		path string
		size int64
		time time.Time
	}
	var files []old
	sum := int64(0)
	for _, e := range list {
		info, err := e.Info()
		if err != nil {
			continue
		}
		path := filepath.Join(d.Folder, e.Name())
		switch {
		case partName.MatchString(e.Name()) && time.Since(info.ModTime()) > time.Hour:
			os.Remove(path)
		case stageName.MatchString(e.Name()):
			files = append(files, old{path, info.Size(), info.ModTime()})
			sum += info.Size()
		}
	}
	slices.SortFunc(files, func(a, b old) int { return a.time.Compare(b.time) })
	for _, f := range files {
		if sum <= d.Limit {
			return
		}
		if os.Remove(f.path) == nil {
			sum -= f.size
		}
	}
}
