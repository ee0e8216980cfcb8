package main

import (
	"encoding/binary"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"sync"
	"time"

	"catchlight/cmd/live"
)

// message is what goes to a page: a header, and the pixels of a frame.
type message struct {
	word  any          // in place of a frame
	frame *frameHeader // nil for a word
	pix   []byte
}

// whole reports whether a message is a frame of all of the picture.
func (m *message) whole() bool {
	return m.frame != nil && m.frame.Box == [4]int{0, 0, m.frame.Width, m.frame.Height}
}

// replaces reports whether nobody needs o who gets m after it.
func (m *message) replaces(o *message) bool {
	if m.frame == nil || o.frame == nil || m.frame.Look != o.frame.Look {
		return false
	}
	return m.whole() || m.frame.Width == o.frame.Width && m.frame.Height == o.frame.Height && m.frame.Box == o.frame.Box
}

// head returns a message's header as it is sent: its length in 4 bytes, little end first, and JSON.
func (m *message) head() []byte {
	header := m.word
	if m.frame != nil {
		header = m.frame
	}
	data, err := json.Marshal(header)
	if err != nil { // a number that is not finite
		data, _ = json.Marshal(word{Word: "problem", Problem: err.Error()}) // words always have a form
		m.pix = nil
	}
	return append(binary.LittleEndian.AppendUint32(nil, uint32(len(data))), data...)
}

// frameHeader is what a page reads of a frame.
type frameHeader struct {
	live.Frame
	Bytes int  `json:"bytes"`         // of its pixels, which follow
	Old   bool `json:"old,omitempty"` // of the raster look: the scene has changed since
}

// frameMessage packs a frame.
func frameMessage(f live.Frame) message {
	h := &frameHeader{Frame: f, Bytes: len(f.RGBA)}
	h.RGBA = nil
	return message{pix: f.RGBA, frame: h}
}

// word is a header without pixels: state (there is a new one), problem (empty: it is over), progress, old and new (a look is of the
// scene as it was, or as it is, though no picture of it came), or end.
type word struct {
	Word    string   `json:"word"`
	Bytes   int      `json:"bytes"` // 0
	Run     uint64   `json:"run,omitempty"`
	Text    string   `json:"text,omitempty"`
	Share   *float64 `json:"share,omitempty"` // of the work that is done
	Problem string   `json:"problem"`
	Look    string   `json:"look,omitempty"`
	Key     string   `json:"key,omitempty"`
	Range   string   `json:"range,omitempty"`
	File    string   `json:"file,omitempty"`
}

// Limits of a hub.
const (
	mostTabs    = 16
	mostWaiting = 48               // messages of a tab that does not read
	mostPixels  = 256 << 20        // bytes of pixels in them; the newest frame goes in any case
	patience    = 20 * time.Second // for a message to go out
)

var errTabs = errors.New("this scene is open in 16 tabs, the most there may be; close one")

// hub sends messages to all tabs, and keeps what a new tab needs to show what the others do.
type hub struct {
	changed func() // hears of tabs that come and go

	mu   sync.Mutex
	tabs map[string]*tab
	last []message // frames that make up the pictures as they are
	over bool
}

// tab is a page that reads.
type tab struct {
	mu    sync.Mutex
	queue []message
	wake  chan struct{}
	gone  chan struct{} // closed when another stream took its place, or the server ends
}

func newHub(changed func()) *hub { return &hub{changed: changed, tabs: map[string]*tab{}} }

// push appends a message; what it replaces goes, and where a tab reads too slowly the oldest frame. Marks of what goes live on: a
// frame without any says that they are as before.
func push(list []message, m message) []message {
	list = slices.DeleteFunc(list, func(o message) bool {
		gone := m.replaces(&o)
		if gone && m.frame.Marks == nil && o.frame.Marks != nil {
			f := *m.frame
			f.Marks = o.frame.Marks
			m.frame = &f
		}
		return gone
	})
	for {
		sum := len(m.pix)
		for i := range list {
			sum += len(list[i].pix)
		}
		if len(list) < mostWaiting && sum <= mostPixels || len(list) == 0 {
			return append(list, m)
		}
		i := max(slices.IndexFunc(list, func(o message) bool { return o.frame != nil }), 0)
		list = slices.Delete(list, i, i+1)
	}
}

// send hands a message to all tabs.
func (h *hub) send(m message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if m.frame != nil {
		h.last = push(h.last, m)
	}
	for _, t := range h.tabs {
		t.put(m)
	}
}

func (h *hub) say(w word) { h.send(message{word: w}) }

// age says that the raster look, if there is a picture of it, is older than the scene, or is not.
func (h *hub) age(old bool, run uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	any := false
	for i := range h.last {
		if h.last[i].frame.Look != live.Raster {
			continue
		}
		any = any || h.last[i].frame.Old != old
		f := *h.last[i].frame // tabs have the other
		f.Old = old
		h.last[i].frame = &f
	}
	if !any {
		return
	}
	w := word{Word: "new", Look: live.Raster, Run: run}
	if old {
		w.Word = "old"
	}
	for _, t := range h.tabs {
		t.put(message{word: w})
	}
}

// forget drops the frames of a look, which new tabs get no more.
func (h *hub) forget(look string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.last = slices.DeleteFunc(h.last, func(m message) bool { return m.frame.Look == look })
}

// picture returns the last whole frame of a look; ok is false where there is none.
func (h *hub) picture(look string) (m message, ok bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range slices.Backward(h.last) {
		if m.frame.Look == look && m.whole() {
			return m, true
		}
	}
	return m, false
}

func (t *tab) put(m message) {
	t.mu.Lock()
	t.queue = push(t.queue, m)
	t.mu.Unlock()
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

func (t *tab) take() (m message, ok bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.queue) == 0 {
		return m, false
	}
	m = t.queue[0]
	t.queue = slices.Delete(t.queue, 0, 1)
	return m, true
}

// join adds a tab. One of the same name gives way.
func (h *hub) join(name string) (*tab, error) {
	t, err := h.enter(name)
	if err == nil {
		h.changed()
	}
	return t, err
}

func (h *hub) enter(name string) (*tab, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	old := h.tabs[name]
	if h.over || old == nil && len(h.tabs) >= mostTabs {
		return nil, errTabs
	}
	if old != nil {
		close(old.gone)
	}
	t := &tab{wake: make(chan struct{}, 1), gone: make(chan struct{}), queue: slices.Clone(h.last)}
	h.tabs[name] = t
	return t, nil
}

func (h *hub) leave(name string, t *tab) {
	h.mu.Lock()
	if h.tabs[name] == t {
		delete(h.tabs, name)
	}
	h.mu.Unlock()
	h.changed()
}

// count returns how many tabs look on.
func (h *hub) count() int {
	h.mu.Lock()
	defer h.mu.Unlock()
	return len(h.tabs)
}

// end closes all streams after the words that wait.
func (h *hub) end() {
	h.say(word{Word: "end"})
	h.mu.Lock()
	defer h.mu.Unlock()
	h.over = true
	for name, t := range h.tabs {
		close(t.gone)
		delete(h.tabs, name)
	}
}

// serve streams to one tab until it goes.
func (h *hub) serve(w http.ResponseWriter, r *http.Request) {
	name := r.URL.Query().Get("tab")
	if name == "" || len(name) > 64 {
		refuse(w, http.StatusBadRequest, "a tab wants a name of at most 64 letters")
		return
	}
	t, err := h.join(name)
	if err != nil {
		refuse(w, http.StatusTooManyRequests, err.Error())
		return
	}
	defer h.leave(name, t)
	w.Header().Set("Content-Type", "application/octet-stream")
	c := http.NewResponseController(w)
	out := func(m message) bool {
		_ = c.SetWriteDeadline(time.Now().Add(patience)) // a test's recorder has none
		for _, part := range [][]byte{m.head(), m.pix} {
			if _, err := w.Write(part); err != nil {
				return false
			}
		}
		return c.Flush() == nil
	}
	if !out(message{word: word{Word: "state"}}) {
		return
	}
	for {
		m, ok := t.take()
		if ok {
			if !out(m) {
				return
			}
			continue
		}
		select {
		case <-t.wake:
		case <-t.gone:
			for m, ok := t.take(); ok; m, ok = t.take() {
				if m.frame == nil && !out(m) {
					return
				}
			}
			return
		case <-r.Context().Done():
			return
		}
	}
}
