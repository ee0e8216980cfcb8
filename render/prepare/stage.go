package prepare

import (
	"encoding/json"
	"os"
	"slices"
	"sync"
)

// Cache keeps the stages of Prepare by what they were made from: the part of the description that they read and the
// state of the files that they opened. A variation that leaves a stage's inputs alone takes it from here; one that
// changes them makes that stage anew, and those that rest on it. It may be shared by calls one after another.
//
// Of each stage the last two results are kept, so a file that is saved again and again does not fill the memory.
type Cache struct {
	mu    sync.Mutex
	slots map[string][]*kept
	Made  int // stages made since the cache was; for tests and reports
	Taken int // stages taken from it
}

// keptPerStage is how many results of one stage stay.
const keptPerStage = 2

type kept struct {
	inputs string
	files  []Stamp
	value  any
	notes  []string
}

// NewCache returns an empty cache.
func NewCache() *Cache { return &Cache{slots: map[string][]*kept{}} }

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
	var none T
	c := p.o.Cache
	var id string
	if c != nil {
		data, err := json.Marshal(inputs)
		if err != nil {
			return none, err
		}
		id = string(data)
		c.mu.Lock()
		list := c.slots[slot]
		for i := len(list) - 1; i >= 0; i-- {
			if k := list[i]; k.inputs == id && !slices.ContainsFunc(k.files, func(s Stamp) bool { return StampOf(s.Path) != s }) {
				c.slots[slot] = append(slices.Delete(list, i, i+1), k)
				c.Taken++
				c.mu.Unlock()
				p.warn = append(p.warn, k.notes...)
				return k.value.(T), nil
			}
		}
		c.mu.Unlock()
	}
	m := &making{}
	v, err := make(m)
	p.warn = append(p.warn, m.notes...)
	if err != nil {
		return none, err
	}
	if c != nil {
		c.mu.Lock()
		list := append(c.slots[slot], &kept{id, m.files, v, m.notes})
		if n := len(list) - keptPerStage; n > 0 {
			list = slices.Delete(list, 0, n)
		}
		c.slots[slot] = list
		c.Made++
		c.mu.Unlock()
	}
	return v, nil
}
