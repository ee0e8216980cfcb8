package film

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
)

// Opening says how a film's file is taken up.
type Opening struct {
	Write    bool  // goes on with it: new sums go there
	MaxBytes int64 // as in Config
	Resident int64 // as in Config
}

// ErrBusy says that another process writes to a film's file, or reads one that is to be written to.
var ErrBusy = errors.New("another process is at work on it")

// Open takes up the file that Keep or Save wrote. Its sums stay there, and come into memory as they are asked for. Records that are not
// whole, as the end of a process leaves them, count as not there: see Damaged.
func Open(path string, o Opening) (*Film, error) {
	mode := os.O_RDONLY
	if o.Write {
		mode = os.O_RDWR
	}
	file, err := os.OpenFile(path, mode, 0)
	if err != nil {
		return nil, err
	}
	f, err := open(file, path, o)
	if err != nil {
		file.Close()
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("the file ends too early")
		}
		return nil, fmt.Errorf("%s: film: state: %w", path, err)
	}
	return f, nil
}

func open(file *os.File, path string, o Opening) (*Film, error) {
	if err := lockFile(file, o.Write); err != nil {
		return nil, err
	}
	info, err := file.Stat()
	if err != nil {
		return nil, err
	}
	h, at, err := readHead(file)
	if err != nil {
		return nil, err
	}
	c := Config{Width: h.Width, Height: h.Height, SPP: h.Replicates, Layers: h.Layers, Passes: h.Passes, OneNet: h.OneNet, Record: h.Record, MaxBytes: o.MaxBytes, Resident: o.Resident}
	if h.Splat != nil {
		k, err := NewFilter(h.Splat.Kind, h.Splat.Radius)
		if err != nil {
			return nil, fmt.Errorf("header: %w", err)
		}
		c.Splat = &k
	}
	f, err := New(c)
	if err != nil {
		return nil, err
	}
	s := &store{path: path, name: true, file: file, at: make([]place, f.Tiles()), free: map[int][]int64{}, limbo: map[int][]int64{}}
	torn, err := s.scan(f, at, info.Size())
	if err != nil {
		return nil, err
	}
	if o.Write {
		if err := s.mend(torn, info.Size()); err != nil {
			return nil, err
		}
	}
	f.pool.disk = s
	if !o.Write && o.Resident > 0 {
		f.pool.most = int(max(leastRead, o.Resident/(c.pixelBytes()*blockPixels)))
	}
	return f, nil
}

// readHead reads what stands before the slots, and returns where they begin.
func readHead(r io.ReaderAt) (h header, at int64, err error) {
	start := make([]byte, len(stateMagic)+4)
	if _, err := r.ReadAt(start, 0); err != nil {
		return h, 0, err
	}
	if string(start[:len(stateMagic)]) != stateMagic {
		return h, 0, fmt.Errorf("it does not start with %q", stateMagic)
	}
	n := binary.LittleEndian.Uint32(start[len(stateMagic):])
	if n > maxHeader {
		return h, 0, fmt.Errorf("a header of %d bytes is longer than %d", n, maxHeader)
	}
	text := make([]byte, n+4)
	if _, err := r.ReadAt(text, int64(len(start))); err != nil {
		return h, 0, err
	}
	sum := crc32.Update(crc32.Checksum(start, castagnoli), castagnoli, text[:n])
	if got := binary.LittleEndian.Uint32(text[n:]); got != sum {
		return h, 0, fmt.Errorf("the header has the checksum %08x where %08x is written: the file is damaged", sum, got)
	}
	if err := json.Unmarshal(text[:n], &h); err != nil {
		return h, 0, fmt.Errorf("header: %w", err)
	}
	if h.Replicates < 1 || h.Replicates > Replicates {
		return h, 0, fmt.Errorf("%d replicates; outside [1, %d]", h.Replicates, Replicates)
	}
	return h, int64(len(start)) + int64(len(text)), nil
}

// scan looks through the slots for the latest whole record of each tile. What follows the last whole slot head was never
// finished, and is written over.
//
// It returns where records lie that are not whole.
func (s *store) scan(f *Film, at, size int64) (torn []int64, err error) {
	type found struct {
		off  int64
		room int
	}
	var unused []found
	head := make([]byte, slotHead+recordHead)
	buf := []byte(nil)
	most := int64(recordHead + f.encoded(1<<f.k-1|hasDropped))
	for at+int64(len(head)) <= size {
		if _, err := s.file.ReadAt(head, at); err != nil {
			return nil, err
		}
		room := int64(binary.LittleEndian.Uint32(head[4:]))
		if string(head[:slotHead]) != string(slot(int(room))) || room < recordHead || room > most {
			break
		}
		n := recordHead + int64(binary.LittleEndian.Uint32(head[slotHead+12:]))
		here := found{at, int(room)}
		at += slotHead + room
		if [recordHead]byte(head[slotHead:]) == [recordHead]byte{} { // nothing came to it yet
			unused = append(unused, here)
			continue
		}
		if n > room || at-room+n > size {
			torn = append(torn, at-room)
			unused = append(unused, here)
			continue
		}
		if int64(cap(buf)) < n {
			buf = make([]byte, n)
		}
		buf = buf[:n]
		if _, err := s.file.ReadAt(buf, at-room); err != nil {
			return nil, err
		}
		tile, turn, whole := readRecord(buf)
		switch old := (place{}); {
		case !whole || tile >= len(s.at):
			torn = append(torn, at-room)
			unused = append(unused, here)
		case s.at[tile].off > 0 && s.at[tile].turn > turn:
			unused = append(unused, here)
		default:
			if old = s.at[tile]; old.off > 0 {
				unused = append(unused, found{old.off, int(old.room)})
				s.used -= int64(old.size)
			}
			s.at[tile] = place{here.off, int32(here.room), int32(n), turn}
			s.used += n
			s.turn = max(s.turn, turn)
		}
	}
	s.bad = len(torn)
	if at < size {
		s.bad++
	}
	s.end = at
	for _, u := range unused {
		s.free[u.room] = append(s.free[u.room], u.off)
	}
	return torn, nil
}

// mend takes away what the end of a process left half written.
func (s *store) mend(torn []int64, size int64) error {
	for _, at := range torn {
		if _, err := s.file.WriteAt(make([]byte, recordHead), at); err != nil {
			return err
		}
	}
	if s.end < size {
		return s.file.Truncate(s.end)
	}
	return nil
}

// Damaged returns how many records of the film's file are not whole. One that is cut off in writing leaves its tile as it was before.
func (f *Film) Damaged() int {
	if f.pool.disk == nil {
		return 0
	}
	return f.pool.disk.bad
}
