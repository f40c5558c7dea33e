package doubt

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// each calls do(0) to do(n−1) on all processors; what they write is told apart
// by the index, so that the result does not depend on their number.
func each(n int, do func(i int)) {
	workers := min(runtime.GOMAXPROCS(0), n)
	if workers <= 1 {
		for i := range n {
			do(i)
		}
		return
	}
	var next atomic.Int64
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}
