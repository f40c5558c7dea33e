package parallel_test

import (
	"context"
	"runtime"
	"sync/atomic"
	"testing"

	"footrule/internal/parallel"

	"github.com/stretchr/testify/assert"
)

// Every index is called once, with any number of processors.
func TestDo(t *testing.T) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	for _, processors := range []int{1, 2, 7} {
		runtime.GOMAXPROCS(processors)
		for _, n := range []int{0, 1, 5, 1000} {
			calls := make([]int, n)
			parallel.Do(n, func(i int) { calls[i]++ })
			for i, k := range calls {
				assert.Equal(t, 1, k, "%d of %d", i, n)
			}
		}
	}
}

// A loop that is called off stops, and says why.
func TestUntil(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	assert.NoError(t, parallel.Until(ctx, 100, func(int) {}))
	var calls atomic.Int64
	err := parallel.Until(ctx, 10_000, func(int) {
		calls.Add(1)
		cancel()
	})
	assert.ErrorIs(t, err, context.Canceled)
	assert.LessOrEqual(t, calls.Load(), int64(runtime.GOMAXPROCS(0)))
}
