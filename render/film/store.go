package film

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
)

// A film's file: a line with name and version; the length of a JSON header (uint32), the header, and the CRC-32C of all that;
// then slots, each of a head of 12 bytes (slotMagic, room in bytes, CRC-32C of these 8) and its room. In the room lies a record: the tile (uint32),
// its turn (uint64: of two records of a tile the later one counts), the length of its bytes (uint32), the CRC-32C of these
// 16 bytes and of what follows, and the block's bytes (block.encode). Numbers are little-endian.
//
// A tile is never written over the record that counts: it goes to a free slot, and the old one is free after the next Sync. So
// a process that ends at any moment leaves every tile whole, as it was at some time.
const (
	stateMagic = "catchlight film 2\n"
	slotMagic  = 0x746f6c73 // "slot"
	slotHead   = 12
	recordHead = 20
)

// maxHeader bounds the header of a film's file, in bytes.
const maxHeader = 1 << 20

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// header is the part of a film's file that says what follows.
type header struct {
	Width      int
	Height     int
	Replicates int
	Layers     []Layer
	Passes     []Pass `json:",omitempty"`
	OneNet     bool
	Splat      *splatHead `json:",omitempty"`
	Record     string
}

// splatHead is the filter of samples that pixels share.
type splatHead struct {
	Kind   FilterKind
	Radius float64
}

// head returns all that stands before the slots.
func (f *Film) head() ([]byte, error) {
	var splat *splatHead
	if f.splat != nil {
		splat = &splatHead{f.splat.kind, f.splat.radius}
	}
	h, err := json.Marshal(header{f.width, f.height, f.k, f.layers, f.passes, f.oneNet, splat, f.record})
	if err != nil {
		return nil, fmt.Errorf("film: state: %w", err)
	}
	if len(h) > maxHeader {
		return nil, fmt.Errorf("film: state: a header of %d bytes is longer than %d", len(h), maxHeader)
	}
	out := binary.LittleEndian.AppendUint32([]byte(stateMagic), uint32(len(h)))
	out = append(out, h...)
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out, castagnoli)), nil
}

// record returns a tile's record; nil for a block without samples.
func record(tile int, turn uint64, b *block, into []byte) []byte {
	out := append(into[:0], make([]byte, recordHead)...)
	if out = b.encode(out); len(out) == recordHead {
		return nil
	}
	le := binary.LittleEndian
	le.PutUint32(out, uint32(tile))
	le.PutUint64(out[4:], turn)
	le.PutUint32(out[12:], uint32(len(out)-recordHead))
	sum := crc32.Update(crc32.Checksum(out[:16], castagnoli), castagnoli, out[recordHead:])
	le.PutUint32(out[16:], sum)
	return out
}

// slot returns the head of a slot.
func slot(room int) []byte {
	out := binary.LittleEndian.AppendUint32(nil, slotMagic)
	out = binary.LittleEndian.AppendUint32(out, uint32(room))
	return binary.LittleEndian.AppendUint32(out, crc32.Checksum(out, castagnoli))
}

// Save writes the film as a file without free slots, its tiles in order: two films of the same bits make the same bytes.
func (f *Film) Save(w io.Writer) error {
	head, err := f.head()
	if err != nil {
		return err
	}
	if _, err := w.Write(head); err != nil {
		return fmt.Errorf("film: state: %w", err)
	}
	var buf []byte
	for t := range f.Tiles() {
		if !f.pool.has(t) {
			continue
		}
		h := f.hold(t, false)
		r := record(t, 0, h.block, buf)
		h.Release()
		if r == nil {
			continue
		}
		buf = r
		for _, p := range [][]byte{slot(len(r)), r} {
			if _, err := w.Write(p); err != nil {
				return fmt.Errorf("film: state: %w", err)
			}
		}
	}
	return f.Err()
}

// store is a film's file.
type store struct {
	path string // "" for one without a name
	file *os.File
	temp string // its name until it is published
	name bool   // it is to be published, so old records stay until Sync

	mu    sync.Mutex // guards all below
	end   int64
	turn  uint64
	at    []place         // by tile
	free  map[int][]int64 // slots by room
	limbo map[int][]int64 // slots that are free after the next Sync
	used  int64           // bytes of the records that count
	spare [][]byte        // for encoding
	bad   int             // records that are no whole ones
}

// place is where a tile's record lies.
type place struct {
	off  int64 // of the slot; 0 for none
	room int32
	size int32 // of the record
	turn uint64
}

var serial atomic.Int64

// newStore begins the file of a film. It has another name until publish.
func newStore(f *Film, path string) (*store, error) {
	dir, base := filepath.Split(path)
	s := &store{path: path, name: true, temp: filepath.Join(dir, fmt.Sprintf(".%s.%d-%d.tmp", base, os.Getpid(), serial.Add(1)))}
	var err error
	if s.file, err = os.OpenFile(s.temp, os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o666); err != nil {
		return nil, fmt.Errorf("writing %s: %w", path, err)
	}
	return s, s.begin(f)
}

// newScratch begins a file for what has no room in memory. It is gone when the process ends.
func newScratch(f *Film, dir string) (*store, error) {
	file, err := os.CreateTemp(dir, ".catchlight-*.sums")
	if err != nil {
		return nil, fmt.Errorf("the sums of the picture do not fit into memory, and no file can be made for them: %w", err)
	}
	s := &store{file: file, temp: file.Name()}
	if os.Remove(file.Name()) == nil { // systems that let go of a name at once
		s.temp = ""
	}
	return s, s.begin(f)
}

func (s *store) begin(f *Film) error {
	head, err := f.head()
	if err == nil {
		_, err = s.file.WriteAt(head, 0)
	}
	if err != nil {
		return errors.Join(err, s.close(), os.Remove(s.current()))
	}
	s.end, s.at, s.free, s.limbo = int64(len(head)), make([]place, f.Tiles()), map[int][]int64{}, map[int][]int64{}
	return nil
}

// current is the name that the file has now.
func (s *store) current() string {
	if s.temp != "" {
		return s.temp
	}
	return s.path
}

// publish gives the file its name, and keeps others from writing to it.
func (s *store) publish() error {
	if err := s.sync(); err != nil {
		return err
	}
	if err := lockFile(s.file, true); err != nil {
		return fmt.Errorf("writing %s: %w", s.path, err)
	}
	if err := os.Rename(s.temp, s.path); err != nil {
		return fmt.Errorf("writing %s: %w", s.path, err)
	}
	s.temp = ""
	return nil
}

// sync brings all to the disk, and frees what was kept until then.
func (s *store) sync() error {
	if err := s.file.Sync(); err != nil {
		return fmt.Errorf("writing %s: %w", s.path, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	for room, list := range s.limbo {
		s.free[room] = append(s.free[room], list...)
	}
	clear(s.limbo)
	return nil
}

func (s *store) has(tile int) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.at[tile].off > 0
}

func (s *store) size() int64 {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.used
}

func (s *store) close() error {
	err := s.file.Close()
	if s.temp != "" && !s.name {
		err = errors.Join(err, os.Remove(s.temp))
	}
	return err
}

// buffer returns one of the store's buffers; give takes it back.
func (s *store) buffer() []byte {
	s.mu.Lock()
	defer s.mu.Unlock()
	if n := len(s.spare); n > 0 {
		b := s.spare[n-1]
		s.spare = s.spare[:n-1]
		return b
	}
	return nil
}

func (s *store) give(b []byte) {
	s.mu.Lock()
	s.spare = append(s.spare, b)
	s.mu.Unlock()
}

// write puts a tile's block into a free slot. Different tiles may be written at once.
func (s *store) write(tile int, b *block) error {
	s.mu.Lock()
	s.turn++
	turn := s.turn
	s.mu.Unlock()
	buf := s.buffer()
	r := record(tile, turn, b, buf)
	if r == nil {
		s.give(buf)
		return nil // samples are never taken back, so it has none on disk either
	}
	defer s.give(r)
	s.mu.Lock()
	var off int64
	room := len(r)
	if list := s.free[room]; len(list) > 0 {
		off, s.free[room] = list[len(list)-1], list[:len(list)-1]
	} else {
		off = s.end
		// Heads are written one after the other, so that slots can be told apart whatever becomes of their records.
		if _, err := s.file.WriteAt(slot(room), off); err != nil {
			s.mu.Unlock()
			return fmt.Errorf("writing %s: %w", s.path, err)
		}
		s.end += int64(slotHead + room)
	}
	s.mu.Unlock()
	if _, err := s.file.WriteAt(r, off+slotHead); err != nil {
		return fmt.Errorf("writing %s: %w", s.path, err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if old := s.at[tile]; old.off > 0 {
		list := s.free
		if s.name {
			list = s.limbo
		}
		list[int(old.room)] = append(list[int(old.room)], old.off)
		s.used -= int64(old.size)
	}
	s.at[tile] = place{off, int32(room), int32(len(r)), turn}
	s.used += int64(len(r))
	return nil
}

// read fills an empty block with a tile's sums; one without a record stays empty.
func (s *store) read(f *Film, tile int, b *block) error {
	s.mu.Lock()
	at := s.at[tile]
	s.mu.Unlock()
	if at.off == 0 {
		return nil
	}
	buf := s.buffer()
	if cap(buf) < int(at.size) {
		buf = make([]byte, at.size)
	}
	buf = buf[:at.size]
	defer s.give(buf)
	_, err := s.file.ReadAt(buf, at.off+slotHead)
	if err == nil {
		if t, _, whole := readRecord(buf); !whole || t != tile {
			err = errors.New("the file is damaged")
		} else {
			err = f.decode(b, buf[recordHead:])
		}
	}
	if err != nil {
		x, y, _, _ := f.Tile(tile)
		return fmt.Errorf("film: %s: the sums of the tile at %d,%d: %w", s.path, x, y, err)
	}
	return nil
}

// readRecord returns what a record says, and whether it is whole. It must end where its bytes do.
func readRecord(r []byte) (tile int, turn uint64, whole bool) {
	le := binary.LittleEndian
	sum := crc32.Update(crc32.Checksum(r[:16], castagnoli), castagnoli, r[recordHead:])
	return int(le.Uint32(r)), le.Uint64(r[4:]), int(le.Uint32(r[12:])) == len(r)-recordHead && sum == le.Uint32(r[16:])
}
