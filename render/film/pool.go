package film

import (
	"errors"
	"os"
	"sync"
	"sync/atomic"
)

// pool keeps the blocks of a film: as many as the budget allows in memory, the rest in a store on disk, which is made when
// one is first needed. The block that was let go first leaves first.
type pool struct {
	f       *Film
	most    int // blocks in memory
	scratch string

	mu     sync.Mutex // guards all below, and the pins and places of seats
	seats  []seat
	idle   queue    // tiles in memory that nobody holds
	loaded int      // blocks in memory
	spare  []*block // empty ones
	disk   *store   // nil until it is needed
	failed error    // the first that went wrong with the disk
	stuck  bool     // writing failed: blocks stay in memory whatever the budget
}

// seat is where the block of a tile is.
type seat struct {
	mu         sync.Mutex // held while it is read or written
	block      *block     // nil where it is on disk, or empty
	pins       int32
	prev, next int32 // in the queue of idle tiles, as number + 1; 0 for none
	idle       bool
	dirty      atomic.Bool // other than what is on disk
}

// queue is a list of seats, the oldest first.
type queue struct{ first, last int32 }

func (p *pool) push(tile int) {
	s, n := &p.seats[tile], int32(tile+1)
	s.idle, s.prev, s.next = true, p.idle.last, 0
	if p.idle.last > 0 {
		p.seats[p.idle.last-1].next = n
	} else {
		p.idle.first = n
	}
	p.idle.last = n
}

func (p *pool) pull(tile int) {
	s := &p.seats[tile]
	if s.prev > 0 {
		p.seats[s.prev-1].next = s.next
	} else {
		p.idle.first = s.next
	}
	if s.next > 0 {
		p.seats[s.next-1].prev = s.prev
	} else {
		p.idle.last = s.prev
	}
	s.idle, s.prev, s.next = false, 0, 0
}

// leastBlocks is how many blocks may be in memory however small the budget: some for each of many workers. A film that is only
// read may have as few as leastRead.
const (
	leastBlocks = 256
	leastRead   = 4
)

// mostIdle is how much of a film stays in memory where it has no room as a whole: some rows of tiles of a wide picture with many
// passes.
const mostIdle = 1 << 28

// widen makes room in memory for three rows of tiles, where tiles are read with their neighbours; a film whose tiles are only merged does with less.
func (p *pool) widen() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.most = max(p.most, 3*((p.f.width+TileSize-1)/TileSize)+leastRead)
}

func (p *pool) open(f *Film, blockBytes, resident int64, scratch string) {
	if resident == 0 {
		resident = Resident
	}
	if total := blockBytes * int64(f.Tiles()); total > resident {
		// Each round goes through all tiles, so the oldest are never there again: more room brings nothing.
		resident = min(resident, mostIdle)
	}
	p.f, p.scratch = f, scratch
	p.most = int(max(leastBlocks, resident/blockBytes))
	p.seats = make([]seat, f.Tiles())
}

// pin brings a tile into memory and keeps it there; change says that it is about to be written to.
func (p *pool) pin(tile int, change bool) *block {
	s := &p.seats[tile]
	p.mu.Lock()
	s.pins++
	if s.idle {
		p.pull(tile)
	}
	disk := p.disk
	p.mu.Unlock()
	s.mu.Lock()
	if s.block == nil {
		s.block = p.take()
		if disk != nil {
			if err := disk.read(p.f, tile, s.block); err != nil {
				p.fail(err)
				s.block.clear()
			}
		}
	}
	if change {
		s.dirty.Store(true)
	}
	b := s.block
	s.mu.Unlock()
	return b
}

// unpin lets go of a tile, and sends others to disk where there are too many.
func (p *pool) unpin(tile int) {
	s := &p.seats[tile]
	p.mu.Lock()
	if s.pins--; s.pins == 0 {
		p.push(tile)
	}
	for p.loaded > p.most && p.idle.first > 0 && !p.stuck {
		old := int(p.idle.first - 1)
		p.pull(old)
		p.mu.Unlock()
		p.evict(old)
		p.mu.Lock()
	}
	p.mu.Unlock()
}

// evict sends a tile to disk unless somebody holds it again.
func (p *pool) evict(tile int) {
	s := &p.seats[tile]
	s.mu.Lock()
	defer s.mu.Unlock()
	p.mu.Lock()
	held := s.pins > 0
	p.mu.Unlock()
	if held || s.block == nil {
		return
	}
	// Who wants it from here on waits for s.mu.
	if err := p.write(tile, s); err != nil {
		p.fail(err)
		p.mu.Lock()
		p.stuck = true
		if s.pins == 0 && !s.idle {
			p.push(tile)
		}
		p.mu.Unlock()
		return
	}
	b := s.block
	s.block = nil
	b.clear()
	p.mu.Lock()
	p.loaded--
	if len(p.spare) < min(p.most, 64) {
		p.spare = append(p.spare, b)
	}
	p.mu.Unlock()
}

// write puts a tile's block on disk where it differs from what is there; s.mu is held.
func (p *pool) write(tile int, s *seat) error {
	if !s.dirty.Load() {
		return nil
	}
	disk, err := p.store()
	if err != nil {
		return err
	}
	if err := disk.write(tile, s.block); err != nil {
		return err
	}
	s.settle()
	return nil
}

// settle notes that the block is on disk as it is; one that somebody holds may change.
func (s *seat) settle() { s.dirty.Store(s.pins > 0) }

// store returns the store on disk, made now where there is none.
func (p *pool) store() (*store, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.disk != nil {
		return p.disk, nil
	}
	d, err := newScratch(p.f, p.scratch)
	if err != nil {
		return nil, err
	}
	p.disk = d
	return d, nil
}

// take returns an empty block and counts it as loaded.
func (p *pool) take() *block {
	p.mu.Lock()
	p.loaded++
	if n := len(p.spare); n > 0 {
		b := p.spare[n-1]
		p.spare = p.spare[:n-1]
		p.mu.Unlock()
		return b
	}
	p.mu.Unlock()
	return p.f.newBlock()
}

func (p *pool) fail(err error) {
	p.mu.Lock()
	p.failed = errors.Join(p.failed, err)
	p.mu.Unlock()
}

// Has reports whether a tile may hold samples; it reads nothing.
func (f *Film) Has(tile int) bool { return f.pool.has(tile) }

// has reports whether a tile may hold samples.
func (p *pool) has(tile int) bool {
	s := &p.seats[tile]
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.block != nil || p.disk != nil && p.disk.has(tile)
}

// Err returns what went wrong with the film's file, nil where nothing did. Sums are not to be trusted after it.
func (f *Film) Err() error {
	f.pool.mu.Lock()
	defer f.pool.mu.Unlock()
	return f.pool.failed
}

// Spilled returns how many bytes of the film's file are in use, 0 where all is in memory.
func (f *Film) Spilled() int64 {
	f.pool.mu.Lock()
	defer f.pool.mu.Unlock()
	if f.pool.disk == nil {
		return 0
	}
	return f.pool.disk.size()
}

// Keep puts all sums into the file path, so that a render can go on from there to the same bits: after an end of the
// process at any moment the file holds every tile as it was at some round's end, at least as far as at the last Keep. The film's own blocks go there
// from then on. All must be at rest.
func (f *Film) Keep(path string) error {
	p := &f.pool
	disk := p.disk
	if disk == nil || disk.path != path {
		next, err := newStore(f, path)
		if err != nil {
			return err
		}
		if err := p.move(disk, next); err != nil {
			return errors.Join(err, next.close(), os.Remove(next.current()))
		}
		if err := next.publish(); err != nil {
			return errors.Join(err, next.close(), os.Remove(next.current()))
		}
		p.disk = next
		if disk != nil {
			_ = disk.close()
		}
		for i := range p.seats {
			p.seats[i].settle()
		}
		p.stuck = false
		return nil
	}
	for t := range p.seats {
		s := &p.seats[t]
		s.mu.Lock()
		var err error
		if s.block != nil {
			err = p.write(t, s)
		}
		s.mu.Unlock()
		if err != nil {
			return err
		}
	}
	p.stuck = false
	return disk.sync()
}

// move writes all blocks, from memory and from the old store, to another one.
func (p *pool) move(old, next *store) error {
	var b *block
	for t := range p.seats {
		s := &p.seats[t]
		from := s.block
		if from == nil && old != nil && old.has(t) {
			if b == nil {
				b = p.f.newBlock()
			}
			b.clear()
			if err := old.read(p.f, t, b); err != nil {
				return err
			}
			from = b
		}
		if from == nil {
			continue
		}
		if err := next.write(t, from); err != nil {
			return err
		}
	}
	return nil
}

// Detach lets go of the film's file where all sums are in memory, so that others may take it up; else the film goes on reading there until
// Close.
func (f *Film) Detach() error {
	p := &f.pool
	if p.disk == nil {
		return nil
	}
	for t := range p.seats {
		if p.seats[t].block == nil && p.disk.has(t) {
			return nil
		}
	}
	return f.Close()
}

// Close lets go of the film's file; a film that lies there in part can't be read any more.
func (f *Film) Close() error {
	f.pool.mu.Lock()
	defer f.pool.mu.Unlock()
	if f.pool.disk == nil {
		return nil
	}
	err := f.pool.disk.close()
	f.pool.disk = nil
	return err
}
