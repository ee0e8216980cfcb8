package live

import (
	"context"
	"math"
	"sync"
	"sync/atomic"
	"time"

	"catchlight/render"
	"catchlight/scene"
)

// Options say how to work.
type Options struct {
	Workers int           // 0 takes one per processor
	Cache   *render.Cache // of prepared stages; nil makes one
	Maps    int           // texels a side of built maps while a change is new; 0 takes 512
}

// Engine makes the pictures. Its methods may be called from any goroutine.
type Engine struct {
	o     render.Options
	maps  int
	queue *queue
	out   chan Frame
	wake  chan struct{}
	done  chan struct{} // closed by Close
	over  chan struct{} // closed when all work has ended
	once  sync.Once

	mu   sync.Mutex
	want *request           // the newest, until it is taken up
	stop context.CancelFunc // ends the work under way

	shown atomic.Pointer[state] // what the last pictures were made of
	rings ringsOf
	heard func(f Frame) // of every frame, where a test wants those too that a slow reader misses
}

// request is what Show was called with.
type request struct {
	run   uint64
	d     *scene.Description
	v     View
	gains []Light
	at    time.Time
}

// New starts an engine.
func New(o Options) *Engine {
	if o.Maps == 0 {
		o.Maps = liveMaps
	}
	if o.Cache == nil {
		o.Cache = render.NewCache()
	}
	e := &Engine{
		maps:  o.Maps,
		o:     render.Options{Workers: o.Workers, Cache: o.Cache},
		queue: newQueue(), out: make(chan Frame), wake: make(chan struct{}, 1), done: make(chan struct{}), over: make(chan struct{}),
	}
	go e.queue.run(e.out, e.done)
	go e.work()
	return e
}

// Show asks for pictures of a scene. It returns at once; work for what was asked before ends within a tile. d is not to be changed
// afterwards. Runs must rise.
func (e *Engine) Show(run uint64, d *scene.Description, v View, gains []Light) {
	e.mu.Lock()
	e.want = &request{run, d, v, gains, time.Now()}
	if e.stop != nil {
		e.stop()
	}
	e.mu.Unlock()
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// Frames returns the pictures. The channel is closed after Close.
func (e *Engine) Frames() <-chan Frame { return e.out }

// Close ends all work. It returns when it has ended, at the latest after a second; a stage of preparation under way then ends by
// itself.
func (e *Engine) Close() {
	e.once.Do(func() {
		close(e.done)
		e.mu.Lock()
		if e.stop != nil {
			e.stop()
		}
		e.mu.Unlock()
	})
	select {
	case <-e.over:
	case <-time.After(time.Second):
	}
}

// take returns the newest request and a context that ends with the next one; nil after Close.
func (e *Engine) take() (*request, context.Context) {
	for {
		select {
		case <-e.done:
			return nil, nil
		default:
		}
		e.mu.Lock()
		if r := e.want; r != nil {
			e.want = nil
			ctx, stop := context.WithCancel(context.Background())
			e.stop = stop
			e.mu.Unlock()
			return r, ctx
		}
		e.mu.Unlock()
		select {
		case <-e.wake:
		case <-e.done:
		}
	}
}

// work is the one goroutine that owns the scene.
func (e *Engine) work() {
	defer close(e.over)
	w := &worker{e: e}
	defer func() {
		if w.fine != nil {
			w.fine.stop()
		}
	}()
	for {
		r, ctx := e.take()
		if r == nil {
			return
		}
		if err := w.show(ctx, r); err != nil && ctx.Err() == nil {
			w.failed = true
			e.queue.push(Frame{Run: r.run, Look: Traced, Seconds: time.Since(r.at).Seconds(), Problem: err.Error()})
		}
		e.mu.Lock()
		stop := e.stop
		e.mu.Unlock()
		stop()
	}
}

// Finish renders a scene at its own size, maps and samples, with the bits of a render. Pictures asked for meanwhile share the
// processors.
func (e *Engine) Finish(ctx context.Context, d *scene.Description, progress render.Progress) (*render.Result, error) {
	o := render.Options{Workers: e.o.Workers, Cache: e.o.Cache, Progress: progress}
	p, err := render.Prepare(ctx, d, o)
	if err != nil {
		return nil, err
	}
	return p.Render(ctx, o)
}

// levels turns a display error into levels of 255.
func levels(x float64) float64 {
	if math.IsNaN(x) {
		return 255
	}
	return 255 * x
}
