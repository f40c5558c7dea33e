package synthetic

import (
	"context"
	"sync"
	"time"
)

// Clock tells the time and lets it pass. Sleep ends early with the error of
// ctx when that is done.
type Clock interface {
	Now() time.Time
	Sleep(ctx context.Context, d time.Duration) error
}

// WallClock is the time of day; Sleep takes as long as it says.
type WallClock struct{}

// Now gives the time of day.
func (WallClock) Now() time.Time { return time.Now() }

// Sleep waits for d.
func (WallClock) Sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return ctx.Err()
	}
}

// SimulatedClock stands still but for Sleep, which moves it on at once. It is
// safe for use by several goroutines.
type SimulatedClock struct {
	mu  sync.Mutex
	now time.Time
}

// NewSimulatedClock gives a clock that stands at start.
func NewSimulatedClock(start time.Time) *SimulatedClock { return &SimulatedClock{now: start} }

// Now gives where the clock stands.
func (c *SimulatedClock) Now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.now
}

// Sleep moves the clock on by d, unless ctx is done.
func (c *SimulatedClock) Sleep(ctx context.Context, d time.Duration) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = c.now.Add(d)
	return nil
}
