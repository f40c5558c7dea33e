package capture_test

import (
	"bytes"
	"math"
	"testing"
	"time"
	"unicode/utf8"

	"footrule/internal/input"
	"footrule/internal/radio"
	"footrule/internal/radio/capture"
	"footrule/internal/walk"

	"github.com/gopacket/gopacket/layers"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// checkCapture holds what is true of every capture.
func checkCapture(t *testing.T, c *capture.Capture) {
	t.Helper()
	require.NotEmpty(t, c.Scans)
	n := c.Frames
	require.Equal(t, n.All, n.Other+n.Foreign+n.Malformed+n.BadFCS+n.NoTime+n.Beacons+n.ProbeResponses)
	require.LessOrEqual(t, n.NoLevel, n.Beacons+n.ProbeResponses)
	require.LessOrEqual(t, len(c.Warnings), 60)
	for i, s := range c.Scans {
		if c.Timed {
			require.False(t, s.Time.IsZero())
			require.False(t, i > 0 && s.Time.Before(c.Scans[i-1].Time), "scans in order of time")
		}
		require.GreaterOrEqual(t, s.Took, time.Duration(0))
		seen := map[radio.BSSID]bool{}
		for _, h := range s.Heard {
			require.False(t, seen[h.BSSID], "each BSSID once")
			seen[h.BSSID] = true
			require.False(t, h.BSSID.IsZero() || h.BSSID.Group())
			require.True(t, radio.LevelOK(h.RSSIDBm), "%g dBm", h.RSSIDBm)
			_, ok := radio.BandOf(h.FreqMHz)
			require.True(t, ok, "%d MHz", h.FreqMHz)
			require.True(t, 0 <= h.Age && h.Age <= s.Took, "age %v of %v", h.Age, s.Took)
			require.True(t, utf8.ValidString(h.SSID))
			require.LessOrEqual(t, len(h.SSID), 4*32)
		}
	}
	w, err := capture.AsWalk(c, walk.Header{ID: "W", Started: start()}, capture.Stand{Floor: "G"})
	require.NoError(t, err)
	require.Len(t, w.Visits[0].Scans, len(c.Scans))
}

// fuzzRead reads arbitrary octets as any format, and again: equal input gives
// equal output, errors say where.
func fuzzRead(t *testing.T, data []byte) {
	o := capture.Options{Time: start()}
	c, err := capture.Read("f", bytes.NewReader(data), o)
	if err != nil {
		var e *input.Error
		require.ErrorAs(t, err, &e)
		require.Less(t, len(err.Error()), 1000)
		require.NotContains(t, err.Error(), "\n")
		return
	}
	checkCapture(t, c)
	again, err := capture.Read("f", bytes.NewReader(data), o)
	require.NoError(t, err)
	assert.Equal(t, c, again)
}

func FuzzIW(f *testing.F) {
	f.Add(fixture(f, "iw-terminal.txt"))
	f.Add(fixture(f, "iw-loop.txt"))
	f.Add([]byte(full(1, "last seen: 10.000s [boottime]", "SSID: \\x41") + full(1)))
	f.Add([]byte(block(1, "freq: 2412", "signal: 45/100")))
	f.Fuzz(fuzzRead)
}

func FuzzWPA(f *testing.F) {
	f.Add(fixture(f, "wpa.txt"))
	f.Add([]byte(wpaHead + "02:00:5e:10:00:01  2412  61  [ESS]  x\n"))
	f.Fuzz(fuzzRead)
}

func FuzzPcap(f *testing.F) {
	for _, name := range []string{"beacons.pcap", "beacons.pcapng", "antennas.pcap"} {
		f.Add(fixture(f, name))
	}
	f.Add(pcapFile(f, 105, packets(ms, beacon(local(1)))...))
	f.Fuzz(fuzzRead)
}

// The packets of a file that is well-formed but for them; so the mutations
// reach headers and frames.
func FuzzRadiotap(f *testing.F) {
	for _, p := range append(walkPackets(), antennaPackets()...) {
		f.Add(p.data)
	}
	f.Fuzz(func(t *testing.T, p []byte) {
		h := capture.ParseRadiotap(p)
		require.LessOrEqual(t, h.Length, len(p))
		if !h.Readable {
			require.Equal(t, capture.HeaderView{}, h)
		} else {
			require.GreaterOrEqual(t, h.Length, 8)
			require.True(t, -128 <= h.DBm && h.DBm <= 127)
			// What follows the header has no say in it.
			require.Equal(t, h, capture.ParseRadiotap(p[:h.Length]))
		}
		v := capture.ParseFrame(p)
		require.Equal(t, h.Readable || v.Kind == "malformed", true)
		if v.Level {
			require.True(t, radio.LevelOK(float64(v.DBm)))
			require.Contains(t, []string{"beacon", "probe response"}, v.Kind)
		}
		if len(p) < 60000 {
			fuzzRead(t, pcapFile(t, layers.LinkTypeIEEE80211Radio, packets(ms, p, p)...))
		}
	})
}

func FuzzTrack(f *testing.F) {
	f.Add(fixture(f, "track.csv"))
	f.Add([]byte("time,x_m,y_m,floor\n2031-05-06T10:00:00Z,1e1,-3,G\n2031-05-06T10:00:00.5Z,11,-3,G\n"))
	f.Add([]byte("\ufefftime,x_m,y_m,floor\n\"2031-05-06T10:00:00Z\",NaN,0,G\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		tr, err := capture.ReadTrack("f", bytes.NewReader(data))
		if err != nil {
			var e *input.Error
			require.ErrorAs(t, err, &e)
			require.NotContains(t, err.Error(), "\n")
			return
		}
		require.NotEmpty(t, tr.Rows)
		for i, r := range tr.Rows {
			at, floor, ok := tr.At(r.Time)
			require.True(t, ok)
			require.Equal(t, r.At, at)
			require.Equal(t, r.Floor, floor)
			require.NotEmpty(t, floor)
			require.False(t, math.IsNaN(at[0]+at[1]) || math.IsInf(at[0]+at[1], 0))
			if i == 0 {
				continue
			}
			p := tr.Rows[i-1]
			require.True(t, p.Time.Before(r.Time))
			// Between two rows of a floor, the place lies between theirs.
			at, floor, ok = tr.At(p.Time.Add(r.Time.Sub(p.Time) / 3))
			if p.Floor == r.Floor {
				require.True(t, ok)
				require.Equal(t, p.Floor, floor)
				for k := range 2 {
					lo, hi := min(p.At[k], r.At[k]), max(p.At[k], r.At[k])
					require.True(t, lo-1e-6 <= at[k] && at[k] <= hi+1e-6)
				}
			}
		}
		_, _, ok := tr.At(tr.Rows[0].Time.Add(-capture.MaxReach - 1))
		require.False(t, ok)
	})
}
