package tui_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	"footrule/internal/walk"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestListensOneAtATime: while nothing is recorded sweeps come at a modest rate,
// one at a time, and one begun before the visit does not count.
func TestListensOneAtATime(t *testing.T) {
	var waits []time.Duration
	r := depot(t, func(c *tui.Config) {
		c.After = func(d time.Duration) <-chan time.Time { waits = append(waits, d); return nil }
	})
	require.Equal(t, []time.Duration{2 * time.Second}, waits)
	require.EqualValues(t, 1, r.ether.calls.Load())
	bad := errors.New("busy")
	r.ether.fail.Store(&bad)
	r.run(r.m.Init())
	assert.Equal(t, 5*time.Second, waits[len(waits)-1], "longer after a failure")
	assert.Contains(t, r.slip(), "! Old: no new scan. Busy.")
	r.ether.fail.Store(new(error))
	r.press("space")
	reqs := r.ether.reqs
	assert.Equal(t, r.s.Pending().Scans[0].Time, reqs[len(reqs)-2].NotBefore, "nothing older than the arrival")
	assert.False(t, r.ether.twoAtOnce())
}

// TestCancelledScan: space while a sweep is outstanding begins a new one, and
// nothing of the old one counts.
func TestCancelledScan(t *testing.T) {
	s := hall()
	var passed atomic.Int64 // nanoseconds
	clock := func() time.Time { return start.Add(time.Duration(passed.Load())) }
	r := scene(t, s, grid(s, 4), settings(), func(c *tui.Config) { c.Clock = clock })
	r.ether.clock, r.ether.gate = clock, make(chan struct{})
	done := make(chan tea.Msg, 8)
	run := func(c tea.Cmd) {
		if c != nil {
			go func() { done <- c() }()
		}
	}
	pump := func(until func() bool) {
		t.Helper()
		end := time.After(10 * time.Second)
		for !until() {
			select {
			case msg := <-done:
				if b, ok := msg.(tea.BatchMsg); ok {
					for _, c := range b {
						run(c)
					}
				} else if msg != nil {
					_, next := r.m.Update(msg)
					run(next)
				}
			case <-time.After(time.Millisecond): // look again
			case <-end:
				t.Fatal("nothing happens")
			}
		}
	}
	asked := func() int { r.ether.mu.Lock(); defer r.ether.mu.Unlock(); return len(r.ether.reqs) }
	run(r.m.Init())
	pump(func() bool { return asked() == 1 })
	passed.Store(int64(time.Minute))
	_, next := r.m.Update(named["space"])
	run(next)
	pump(func() bool { return asked() == 2 })
	r.ether.gate <- struct{}{}
	pump(func() bool { return r.s.Recording().All == 1 })
	assert.False(t, r.ether.twoAtOnce())
	assert.Equal(t, clock(), r.s.Pending().Scans[0].Time)
	_, next = r.m.Update(named["ctrl+c"])
	run(next)
}

func TestStaleAnswersAreDropped(t *testing.T) {
	var asked []int
	r := depot(t, nil)
	r = depot(t, func(c *tui.Config) {
		c.Judge = func(ctx context.Context, w walk.Walk) (tui.Standing, error) {
			asked = append(asked, len(w.Standing()))
			return standing(r.ether, len(w.Standing())+10), ctx.Err()
		}
	})
	r.disk.onPut = func() { r.held = true }
	r.visit() // is stored, and the judge's command waits
	require.Equal(t, 1, r.s.Progress().Done)
	assert.Equal(t, []int{0}, asked)
	r.disk.onPut = nil
	late := r.hold
	r.hold, r.held = nil, false
	r.visit() // tells that judge to end, and asks for another one
	assert.Equal(t, []int{0}, asked, "one at a time")
	for _, c := range late {
		r.run(c)
	}
	assert.Equal(t, []int{0, 1, 2}, asked, "the late one saw the walk as it was asked")
	assert.Contains(t, r.screen(), "12 points, ")
}

func TestJudgeFails(t *testing.T) {
	r := depot(t, nil)
	fail := false
	r = depot(t, func(c *tui.Config) {
		c.Judge = func(_ context.Context, w walk.Walk) (tui.Standing, error) {
			if fail {
				return tui.Standing{}, errors.New("all points lie on one line")
			}
			return standing(r.ether, 8), nil
		}
	})
	assert.Contains(t, r.screen(), "8 points, 568 readings")
	fail = true
	r.visit()
	assert.Contains(t, r.slip(), "! Old: from 8 points, 568 readings. All points lie on one line.")
	assert.Contains(t, r.screen(), "Exponent 5", "the last fit stays, marked as old")
}

// TestQuitWhileChecking: a visit that has its scans is not thrown away by one key
// because the comparison takes its time.
func TestQuitWhileChecking(t *testing.T) {
	r := depot(t, nil)
	r.press("space")
	r.pauseAfter(2)
	r.press("space")
	r.ether.onScan = nil
	for r.s.Phase() != walk.Reviewing {
		hold := r.hold
		r.hold = nil
		for _, c := range hold {
			r.step(c)
		}
	}
	r.held = false
	hold := r.hold
	r.hold = nil
	r.press("q")
	assert.False(t, r.quit)
	now, _ := r.lastLines()
	assert.Contains(t, now, "This visit is not saved. q again quits")
	for _, c := range hold {
		r.run(c)
	}
	assert.Len(t, r.disk.facts, 1)
	assert.Contains(t, r.screen(), "Saved P01")
	r.press("q")
	assert.True(t, r.quit)
}
