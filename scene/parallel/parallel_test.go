package parallel

import (
	"slices"
	"sync/atomic"
	"testing"
)

// Every index is handled once, by at most as many goroutines as asked for, each with a thing of its own.
func TestEveryIndexOnce(t *testing.T) {
	for _, n := range []int{0, 1, 7, 1000} {
		for _, workers := range []int{-1, 0, 1, 3, 16} {
			seen := make([]atomic.Int32, n)
			var made atomic.Int32
			With(n, workers, func() int32 { return made.Add(1) }, func(w int32, i int) {
				if w < 1 || w > int32(max(1, workers)) {
					t.Errorf("worker %d of %d", w, workers)
				}
				seen[i].Add(1)
			})
			for i := range seen {
				if k := seen[i].Load(); k != 1 {
					t.Errorf("n %d, workers %d: index %d handled %d times", n, workers, i, k)
				}
			}
		}
	}
}

// The runs cover the range without a gap or an overlap.
func TestRuns(t *testing.T) {
	for _, n := range []int{0, 1, 8, 9, 100} {
		seen := make([]int32, n)
		Runs(n, 8, func(i0, i1 int) {
			for i := i0; i < i1; i++ {
				atomic.AddInt32(&seen[i], 1)
			}
		})
		if slices.ContainsFunc(seen, func(k int32) bool { return k != 1 }) {
			t.Errorf("n %d: %v", n, seen)
		}
	}
}

func TestBoth(t *testing.T) {
	a, b := make(chan int, 1), make(chan int, 1)
	// Each waits for the other: one after the other would never end.
	Both(func() { a <- 1; <-b }, func() { b <- 1; <-a })
}
