// Package parallel shares plain loops over an index among goroutines. Each index is handled by one call, so results that
// depend on their index alone do not depend on the number of workers.
package parallel

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// Each calls f for 0 to n-1 from up to workers goroutines, at least one, and returns when all are done.
func Each(n, workers int, f func(i int)) {
	With(n, workers, func() struct{} { return struct{}{} }, func(_ struct{}, i int) { f(i) })
}

// With is Each where every goroutine has something of its own to work with, made by own once in that goroutine.
func With[T any](n, workers int, own func() T, f func(t T, i int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(max(1, workers), n) {
		wg.Go(func() {
			t := own()
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(t, i)
			}
		})
	}
	wg.Wait()
}

// Runs calls f over [0, n) in runs of at most step, on as many workers as the scheduler offers; on one worker in a single run.
func Runs(n, step int, f func(i0, i1 int)) {
	runs := (n + step - 1) / step
	workers := runtime.GOMAXPROCS(0)
	if min(workers, runs) <= 1 {
		if n > 0 {
			f(0, n)
		}
		return
	}
	Each(runs, workers, func(i int) { f(i*step, min((i+1)*step, n)) })
}

// Both calls two functions at the same time and returns when both are done.
func Both(f, g func()) {
	var wg sync.WaitGroup
	wg.Go(f)
	g()
	wg.Wait()
}
