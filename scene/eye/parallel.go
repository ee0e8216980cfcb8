package eye

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// parallel calls f over [0, n) in runs of at most step, on as many workers as the scheduler offers. Each index is
// handled by one call, so results that depend on their index alone do not depend on the number of workers.
func parallel(n, step int, f func(i0, i1 int)) {
	workers := min(runtime.GOMAXPROCS(0), (n+step-1)/step)
	if workers <= 1 {
		if n > 0 {
			f(0, n)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for {
				i1 := int(next.Add(int64(step)))
				i0 := i1 - step
				if i0 >= n {
					return
				}
				f(i0, min(i1, n))
			}
		})
	}
	wg.Wait()
}

// both calls two functions at the same time and returns when both are done.
func both(f, g func()) {
	var wg sync.WaitGroup
	wg.Go(f)
	g()
	wg.Wait()
}
