package prepare

import (
	"encoding/json"
	"os"
	"slices"
	"sync"
	"time"
)

// Cache keeps the stages of Prepare by what they were made from: the part of the description that they read and the
// state of the files that they opened. A variation that leaves a stage's inputs alone takes it from here; one that
// changes them makes that stage anew, and those that rest on it. It may be shared by calls one after another.
//
// Of each stage the last eight results are kept as long as all of them together stay within Limit, so that a way back is
// short, and a file that is saved again and again does not fill the memory. The last result of each stage always stays.
type Cache struct {
	Limit int64 // bytes; an estimate of what results take, without what closures hold. Below 0 no result stays in memory
	Disk  *Disk // keeps stages for the next start; nil keeps none

	mu    sync.Mutex
	slots map[string][]*kept
	bytes int64
	clock int64
	Made  int // stages made since the cache was; for tests and reports
	Taken int // stages taken from it
}

const (
	// keptPerStage is how many results of one stage stay.
	keptPerStage = 8

	// cacheBytes is what a new cache may hold: eight states of an eye whose maps have 1024 texels a side.
	cacheBytes = 1 << 30
)

type kept struct {
	inputs string
	key    any // in place of inputs, for Derived
	files  []Stamp
	value  any
	notes  []string
	bytes  int64
	used   int64 // clock of the last use
}

// NewCache returns an empty cache.
func NewCache() *Cache { return &Cache{Limit: cacheBytes, slots: map[string][]*kept{}} }

// Stage says what a stage of preparation cost, or where its result came from.
type Stage struct {
	Name    string  `json:"name"`
	From    string  `json:"from"` // made, memory or disk
	Seconds float64 `json:"seconds"`
	Bytes   int64   `json:"bytes"` // that the result takes, about; 0 where it was not looked at
}

// stages hears of every stage.
type stages struct {
	mu   sync.Mutex
	list []Stage
}

func (s *stages) add(q Stage) {
	if s == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.list = append(s.list, q)
}

// anew reports whether there is something that memory did not hold before, or no stage at all.
func (s *stages) anew() bool {
	return len(s.list) == 0 || slices.ContainsFunc(s.list, func(q Stage) bool { return q.From != "memory" })
}

// Stamp is the state of a file by which a change is seen.
type Stamp struct {
	Path string
	size int64
	time int64 // of the last change, ns; -1 where there is no file
}

// StampOf looks at a file.
func StampOf(path string) Stamp {
	info, err := os.Stat(path)
	if err != nil {
		return Stamp{Path: path, time: -1}
	}
	return Stamp{path, info.Size(), info.ModTime().UnixNano()}
}

// making is what a stage says while it is made.
type making struct {
	files []Stamp // opened, with their state before that
	notes []string
}

// opens tells that the stage is about to read a file; its state now is what the result stands for.
func (m *making) opens(path string) { m.files = append(m.files, StampOf(path)) }

// stage returns the result of make, from the cache where the inputs (which must be JSON values) and the files that it
// opened are as they were. slot names the stage and what it belongs to. Notes count either way.
func stage[T any](p *preparer, slot string, inputs any, make func(m *making) (T, error)) (T, error) {
	return storedStage(p, slot, inputs, nil, make)
}

// storedStage is a stage that a cache with a disk also keeps there, in the form of store.
func storedStage[T any](p *preparer, slot string, inputs any, store *store[T], make func(m *making) (T, error)) (T, error) {
	var none T
	start := time.Now()
	c := p.o.Cache
	var id string
	if c != nil {
		data, err := json.Marshal(inputs)
		if err != nil {
			return none, err
		}
		id = string(data)
		if k := c.find(slot, func(k *kept) bool { return k.inputs == id }); k != nil {
			p.warn = append(p.warn, k.notes...)
			p.o.log.add(Stage{slot, "memory", time.Since(start).Seconds(), k.bytes})
			return k.value.(T), nil
		}
		if store != nil && c.Disk != nil {
			if v, notes, files, ok := load(c.Disk, slot, id, store); ok {
				p.warn = append(p.warn, notes...)
				k := c.keep(slot, &kept{inputs: id, files: files, value: v, notes: notes}, false)
				p.o.log.add(Stage{slot, "disk", time.Since(start).Seconds(), k.bytes})
				return v, nil
			}
		}
	}
	m := &making{}
	v, err := make(m)
	p.warn = append(p.warn, m.notes...)
	if err != nil {
		return none, err
	}
	bytes := int64(0)
	if c != nil {
		bytes = c.keep(slot, &kept{inputs: id, files: m.files, value: v, notes: m.notes}, true).bytes
		if store != nil && c.Disk != nil {
			save(c.Disk, slot, id, store, v, m)
		}
	}
	p.o.log.add(Stage{slot, "made", time.Since(start).Seconds(), bytes})
	return v, nil
}

// find returns what a stage made of inputs that are the right ones, or nil.
func (c *Cache) find(slot string, right func(k *kept) bool) *kept {
	c.mu.Lock()
	defer c.mu.Unlock()
	list := c.slots[slot]
	for i := len(list) - 1; i >= 0; i-- {
		if k := list[i]; right(k) && !slices.ContainsFunc(k.files, func(s Stamp) bool { return StampOf(s.Path) != s }) {
			c.slots[slot] = append(slices.Delete(list, i, i+1), k)
			c.clock++
			k.used = c.clock
			c.Taken++
			return k
		}
	}
	return nil
}

// keep takes in a result, and lets go of what is too much.
func (c *Cache) keep(slot string, k *kept, made bool) *kept {
	k.bytes = sizeOf(k.value)
	c.mu.Lock()
	defer c.mu.Unlock()
	if made {
		c.Made++
	} else {
		c.Taken++
	}
	if c.Limit < 0 {
		return k
	}
	c.clock++
	k.used = c.clock
	c.bytes += k.bytes
	c.slots[slot] = append(c.slots[slot], k)
	if len(c.slots[slot]) > keptPerStage {
		c.drop(slot)
	}
	for c.bytes > c.Limit {
		oldest := ""
		for s, list := range c.slots {
			if len(list) > 1 && (oldest == "" || list[0].used < c.slots[oldest][0].used) {
				oldest = s
			}
		}
		if oldest == "" {
			break
		}
		c.drop(oldest)
	}
	return k
}

// drop lets go of the result of a stage that was used last longest ago.
func (c *Cache) drop(slot string) {
	list := c.slots[slot]
	c.bytes -= list[0].bytes
	c.slots[slot] = slices.Delete(list, 0, 1)
}
