package live

import "sync"

// mostWaiting bounds the frames that wait for a slow reader.
const mostWaiting = 8

// queue hands frames on in order. A frame that waits is dropped where a newer one of its look covers all of it.
type queue struct {
	mu   sync.Mutex
	list []Frame
	more chan struct{}
	now  uint64 // the last run
	pass int    // of the run
}

func newQueue() *queue { return &queue{more: make(chan struct{}, 1)} }

// push numbers a frame within its run and takes it in.
func (q *queue) push(f Frame) {
	q.mu.Lock()
	if f.Run != q.now {
		q.now, q.pass = f.Run, 0
	}
	q.pass++
	f.Pass = q.pass
	kept := q.list[:0]
	for i := range q.list {
		o := q.list[i]
		if o.Look == f.Look && (f.Run > o.Run && f.whole() || f.covers(&o)) {
			if f.Marks == nil && o.Run == f.Run {
				f.Marks = o.Marks
			}
			continue
		}
		kept = append(kept, o)
	}
	if len(kept) == mostWaiting {
		kept = append(kept[:0], kept[1:]...)
	}
	q.list = append(kept, f)
	q.mu.Unlock()
	select {
	case q.more <- struct{}{}:
	default:
	}
}

func (q *queue) pop() (f Frame, ok bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if len(q.list) == 0 {
		return f, false
	}
	f = q.list[0]
	q.list = append(q.list[:0], q.list[1:]...)
	return f, true
}

// whole reports whether a frame is of the whole picture.
func (f *Frame) whole() bool { return f.Box == [4]int{0, 0, f.Width, f.Height} }

// covers reports whether f shows all that o does, on as many pixels or as the whole picture.
func (f *Frame) covers(o *Frame) bool {
	if f.whole() {
		return true
	}
	return f.Width == o.Width && f.Height == o.Height && f.Box[0] <= o.Box[0] && f.Box[1] <= o.Box[1] && f.Box[2] >= o.Box[2] && f.Box[3] >= o.Box[3]
}

// run moves frames into a channel until done is closed.
func (q *queue) run(out chan<- Frame, done <-chan struct{}) {
	defer close(out)
	for {
		f, ok := q.pop()
		if !ok {
			select {
			case <-q.more:
				continue
			case <-done:
				return
			}
		}
		select {
		case out <- f:
		case <-done:
			return
		}
	}
}
