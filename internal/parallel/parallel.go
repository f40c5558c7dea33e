package parallel

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// Do calls f for 0 to n−1.
func Do(n int, f func(i int)) {
	workers := min(runtime.GOMAXPROCS(0), n)
	if workers < 2 {
		for i := range n {
			f(i)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				f(i)
			}
		})
	}
	wg.Wait()
}

// Until is Do that begins no further call once ctx has ended, and gives the error
// of that.
func Until(ctx context.Context, n int, f func(i int)) error {
	Do(n, func(i int) {
		if ctx.Err() == nil {
			f(i)
		}
	})
	return ctx.Err()
}
