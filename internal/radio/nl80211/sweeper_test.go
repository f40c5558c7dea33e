package nl80211_test

import (
	"context"
	"errors"
	"testing"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// receiver is a scanner that hears what is on the channels it is asked for,
// and remembers what it was asked for.
type receiver struct {
	air   map[radio.BSSID]int // → MHz
	asked [][]int
	err   error
}

func (r *receiver) Scan(_ context.Context, req radio.Request) (radio.Sweep, error) {
	r.asked = append(r.asked, req.FreqsMHz)
	if r.err != nil {
		return radio.Sweep{}, r.err
	}
	var s radio.Sweep
	for b, f := range r.air {
		on := len(req.FreqsMHz) == 0
		for _, want := range req.FreqsMHz {
			on = on || want == f
		}
		if on {
			s.Heard = append(s.Heard, radio.Heard{Reading: radio.Reading{BSSID: b, FreqMHz: f, RSSIDBm: -60}})
		}
	}
	return s, nil
}

var (
	ours   = radio.BSSID{2, 0, 0x5e, 0x10, 0, 1}
	ours2  = radio.BSSID{2, 0, 0x5e, 0x10, 0, 2}
	theirs = radio.BSSID{2, 0, 0x5e, 0x77, 0, 1}
)

func belongs(b radio.BSSID) bool { return b[3] == 0x10 }

func sweepN(t *testing.T, w *nl80211.Sweeper, n int) {
	t.Helper()
	for range n {
		_, err := w.Scan(context.Background(), radio.Request{})
		require.NoError(t, err)
	}
}

// Law 1: the first sweep is full, and each Every-th after it.
func TestSweeperFullEveryNth(t *testing.T) {
	r := &receiver{air: map[radio.BSSID]int{ours: 5180, ours2: 2412, theirs: 2462}}
	w, err := nl80211.NewSweeper(r, nil, 3, belongs)
	require.NoError(t, err)
	sweepN(t, w, 7)
	limited := []int{2412, 5180}
	assert.Equal(t, [][]int{nil, limited, limited, nil, limited, limited, nil}, r.asked)
}

// A changed channel is missed by limited sweeps and found by the next full one.
func TestSweeperFindsChangedChannel(t *testing.T) {
	r := &receiver{air: map[radio.BSSID]int{ours: 5180, ours2: 2412}}
	w, err := nl80211.NewSweeper(r, nil, 3, belongs)
	require.NoError(t, err)
	sweepN(t, w, 1)
	r.air[ours] = 5240
	var heard []int
	for range 4 {
		s, err := w.Scan(context.Background(), radio.Request{})
		require.NoError(t, err)
		heard = append(heard, len(s.Heard))
	}
	assert.Equal(t, []int{1, 1, 2, 2}, heard)
	assert.Equal(t, []int{2412, 5180, 5240}, w.FreqsMHz())
}

// Law 2: particular channels are passed on, and count as nothing.
func TestSweeperPassesOn(t *testing.T) {
	r := &receiver{air: map[radio.BSSID]int{ours: 5180}}
	w, err := nl80211.NewSweeper(r, []int{5180}, 2, nil)
	require.NoError(t, err)
	_, err = w.Scan(context.Background(), radio.Request{FreqsMHz: []int{2437}})
	require.NoError(t, err)
	assert.True(t, w.NextFull())
	sweepN(t, w, 1)
	assert.False(t, w.NextFull())
	w.Full()
	assert.True(t, w.NextFull())
	assert.Equal(t, [][]int{{2437}, nil}, r.asked)
}

// Law 3: a full sweep that failed is still due.
func TestSweeperFailedFull(t *testing.T) {
	r := &receiver{air: map[radio.BSSID]int{ours: 5180}, err: errors.New("busy")}
	w, err := nl80211.NewSweeper(r, []int{5180}, 5, nil)
	require.NoError(t, err)
	_, err = w.Scan(context.Background(), radio.Request{})
	require.ErrorIs(t, err, r.err)
	r.err = nil
	sweepN(t, w, 2)
	assert.Equal(t, [][]int{nil, nil, {5180}}, r.asked)
}

// Law 4: given channels stay, learned ones are forgotten after three full
// sweeps without the site.
func TestSweeperForgets(t *testing.T) {
	r := &receiver{air: map[radio.BSSID]int{ours: 5180, theirs: 2462}}
	w, err := nl80211.NewSweeper(r, []int{2412}, 1, belongs)
	require.NoError(t, err)
	sweepN(t, w, 1)
	assert.Equal(t, []int{2412, 5180}, w.FreqsMHz())
	delete(r.air, ours)
	sweepN(t, w, 2)
	assert.Equal(t, []int{2412, 5180}, w.FreqsMHz())
	sweepN(t, w, 1)
	assert.Equal(t, []int{2412}, w.FreqsMHz())
}

// With nobody to listen to, every sweep is a full one.
func TestSweeperHearsNothing(t *testing.T) {
	r := &receiver{}
	w, err := nl80211.NewSweeper(r, nil, 0, nil)
	require.NoError(t, err)
	sweepN(t, w, 3)
	assert.Equal(t, [][]int{nil, nil, nil}, r.asked)
}

func TestNewSweeperRefuses(t *testing.T) {
	_, err := nl80211.NewSweeper(&receiver{}, []int{2412, 36}, 0, nil)
	require.ErrorIs(t, err, nl80211.ErrFrequency)
	assert.ErrorContains(t, err, "36 MHz")
	_, err = nl80211.NewSweeper(&receiver{}, nil, -1, nil)
	assert.ErrorContains(t, err, "every -1 sweeps")
}
