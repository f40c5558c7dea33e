package nl80211

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"footrule/internal/radio"

	"github.com/mdlayher/netlink"
	"github.com/mdlayher/wifi"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

func openOn(t *testing.T, k *kernel, opt Options) *Scanner {
	t.Helper()
	opt.sys = k.options().sys
	s, err := Open("wlan0", opt)
	require.NoError(t, err)
	t.Cleanup(func() { s.Close() })
	return s
}

func id(last byte) radio.BSSID { return radio.BSSID{2, 0, 0x5e, 0x10, 0, last} }

// The numbers of the parser are those of the kernel's header.
func TestConstants(t *testing.T) {
	assert.Equal(t, []int{
		unix.NL80211_CMD_DEL_INTERFACE, unix.NL80211_CMD_GET_SCAN, unix.NL80211_CMD_TRIGGER_SCAN, unix.NL80211_CMD_NEW_SCAN_RESULTS,
		unix.NL80211_CMD_SCAN_ABORTED, unix.NL80211_CMD_ABORT_SCAN,
		unix.NL80211_ATTR_IFINDEX, unix.NL80211_ATTR_SCAN_FREQUENCIES, unix.NL80211_ATTR_SCAN_SSIDS, unix.NL80211_ATTR_GENERATION,
		unix.NL80211_ATTR_BSS, unix.NL80211_ATTR_SCAN_FLAGS, unix.NL80211_SCAN_FLAG_FLUSH,
		unix.NL80211_BSS_BSSID, unix.NL80211_BSS_FREQUENCY, unix.NL80211_BSS_BEACON_INTERVAL, unix.NL80211_BSS_INFORMATION_ELEMENTS,
		unix.NL80211_BSS_SIGNAL_MBM, unix.NL80211_BSS_SIGNAL_UNSPEC, unix.NL80211_BSS_STATUS, unix.NL80211_BSS_SEEN_MS_AGO,
		unix.NL80211_BSS_BEACON_IES, unix.NL80211_BSS_LAST_SEEN_BOOTTIME, unix.NL80211_BSS_STATUS_ASSOCIATED, unix.CAP_NET_ADMIN,
	}, []int{
		cmdDelInterface, cmdGetScan, cmdTriggerScan, cmdNewScanResults, cmdScanAborted, cmdAbortScan,
		attrIfindex, attrScanFrequencies, attrScanSSIDs, attrGeneration, attrBSS, attrScanFlags, scanFlagFlush,
		bssBSSID, bssFrequency, bssBeaconInterval, bssElements, bssSignalMBm, bssSignalUnspec, bssStatus, bssSeenMsAgo,
		bssBeaconElements, bssLastSeenBoottime, bssStatusAssociated, capNetAdmin,
	})
}

func TestScanRequests(t *testing.T) {
	tests := []struct {
		name string
		req  radio.Request
		want trigger
	}{
		{"all channels", radio.Request{}, trigger{flush: true}},
		{"passive", radio.Request{Passive: true}, trigger{passive: true, flush: true}},
		{"two channels", radio.Request{FreqsMHz: []int{5180, 2412}}, trigger{freqs: []int{5180, 2412}, flush: true}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k := newKernel(t, done())
			_, err := openOn(t, k, Options{}).Scan(context.Background(), tt.req)
			require.NoError(t, err)
			assert.Equal(t, []trigger{tt.want}, k.triggers)
		})
	}
}

// Laws 1 and 4 of ScanBSS, and what else is kept out of a sweep.
func TestScanResult(t *testing.T) {
	k := newKernel(t, done())
	started := k.clock.now
	k.onEnd = func() {
		k.clock.pass(400*time.Millisecond, 0)
		k.hear(3, 5180, -6100, 100*time.Millisecond)
		k.hear(1, 2412, -7250, 399*time.Millisecond)
		k.hear(4, 2412, -5000, 405*time.Millisecond)  // within the slack
		k.hear(5, 2412, -5000, 1400*time.Millisecond) // before the scan
		k.hear(6, 2437, -9000, 100*time.Millisecond)  // beside its channel
		k.hear(3, 2412, -8000, 350*time.Millisecond)  // the same one before it changed its channel
		k.hear(7, 2412, 100, 100*time.Millisecond)    // not believable
		k.hear(8, 2412, 100, 1400*time.Millisecond)   // nor is it of this sweep
	}
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{FreqsMHz: []int{2412, 5180}})
	require.NoError(t, err)
	for i := range r.Refused {
		r.Refused[i].Reason = errors.Unwrap(r.Refused[i].Reason)
	}
	ms := time.Millisecond
	assert.Equal(t, Result{
		Interface: "wlan0", Started: started, Took: 400 * ms, FreqsMHz: []int{2412, 5180}, Attempts: 1, DroppedStale: 1,
		BSSs: []BSS{
			{BSSID: id(1), FreqMHz: 2412, SignalDBm: -72.5, Age: 399 * ms},
			{BSSID: id(3), FreqMHz: 5180, SignalDBm: -61, Age: 100 * ms},
			{BSSID: id(4), FreqMHz: 2412, SignalDBm: -50, Age: 405 * ms},
		},
		Refused: []Refusal{{id(6), "", 2437, ErrOffChannel}, {id(7), "", 2412, ErrLevel}},
	}, r)
	assert.Equal(t, []int{2412, 5180}, r.Sweep().FreqsMHz)
}

func TestScanNotBefore(t *testing.T) {
	k := newKernel(t, turn{events: []event{{cmdNewScanResults, testIndex}}})
	k.hear(1, 2412, -6000, 0)
	k.hear(2, 2412, -6000, 10*time.Millisecond)
	s, err := openOn(t, k, Options{}).Scan(context.Background(), radio.Request{NotBefore: k.clock.now.Add(-5 * time.Millisecond)})
	require.NoError(t, err)
	assert.Equal(t, radio.Sweep{
		Interface: "wlan0", Started: k.clock.now, DroppedStale: 1,
		Heard: []radio.Heard{{Reading: radio.Reading{BSSID: id(1), FreqMHz: 2412, RSSIDBm: -60}}},
	}, s)
}

// An adapter that gives percents must not pass for silence.
func TestScanPercentOnly(t *testing.T) {
	k := newKernel(t, done())
	k.add(func(ae *netlink.AttributeEncoder) {
		ae.Bytes(bssBSSID, []byte{2, 0, 0x5e, 0x10, 0, 1})
		ae.Uint32(bssFrequency, 2412)
		ae.Uint8(bssSignalUnspec, 61)
		ae.Uint32(bssSeenMsAgo, 0)
	})
	_, err := openOn(t, k, Options{}).Scan(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrSignalPercent)
	assert.EqualError(t, err, "wlan0: adapter gives no levels in dBm (signal is given in percent, not in dBm: 61 %); take another adapter; this one can't be used for measuring")
}

// Only the end of our own scan ends ours.
func TestScanEventsOfOthers(t *testing.T) {
	k := newKernel(t, turn{
		before: []event{{cmdNewScanResults, testIndex}, {cmdScanAborted, testIndex}},
		events: []event{{cmdScanAborted, otherIndex}, {cmdNewScanResults, otherIndex}, {cmdDelInterface, otherIndex}, {cmdScanAborted, 0}, {cmdNewScanResults, testIndex}},
	})
	k.hear(1, 2412, -6000, 0)
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, []int{1, 1}, []int{r.Attempts, len(r.BSSs)})
}

// Every refusal of the kernel ends in a named outcome that says what to do.
func TestScanRefusals(t *testing.T) {
	tests := []struct {
		name  string
		errno unix.Errno
		edit  func(*kernel)
		kind  error
		text  string
	}{
		{"down", unix.ENETDOWN, nil, ErrDown, "wlan0: interface is down; bring it up: sudo ip link set wlan0 up"},
		{"switched off by software", unix.ENETDOWN, func(k *kernel) { k.set("sys/class/net/wlan0/phy80211/rfkill0/soft", "1") },
			ErrRFKill, "wlan0: radio is switched off by software; switch it on: sudo rfkill unblock wlan"},
		{"switched off by hand", unix.ERFKILL, func(k *kernel) { k.set("sys/class/net/wlan0/phy80211/rfkill0/hard", "1") },
			ErrRFKill, "wlan0: radio is switched off by a switch or key of the machine; use that switch"},
		{"permission", unix.EPERM, nil, ErrNoPermission,
			"wlan0: no permission to scan; give the program the capability: sudo setcap cap_net_admin+ep /opt/footrule"},
		{"unplugged", 0, func(k *kernel) { k.ifaces = nil }, ErrGone,
			"wlan0: adapter is gone; plug it in again; the next scan finds it under its name"},
		{"monitor", unix.EOPNOTSUPP, func(k *kernel) { k.ifaces[2].Type = wifi.InterfaceTypeMonitor }, ErrMode,
			"wlan0: is in monitor mode, not in station mode; change it: sudo sh -c 'ip link set wlan0 down && iw dev wlan0 set type managed && ip link set wlan0 up'"},
		{"channel", unix.EINVAL, nil, ErrChannel,
			"wlan0: adapter or country does not permit 5260 MHz (netlink receive: invalid argument); leave that channel out, or set the country you are in: sudo iw reg set XX"},
		{"driver", unix.EIO, nil, ErrDriver, "wlan0: driver refused the scan (netlink receive: input/output error); see what the driver says: sudo dmesg | tail"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k := newKernel(t, turn{errno: tt.errno})
			s := openOn(t, k, Options{})
			if tt.edit != nil {
				tt.edit(k)
			}
			if len(k.ifaces) == 0 {
				k.turns = nil
			}
			_, err := s.Scan(context.Background(), radio.Request{FreqsMHz: []int{2412, 5260}})
			require.ErrorIs(t, err, tt.kind)
			assert.EqualError(t, err, tt.text)
		})
	}
}

func TestScanWithoutWireless(t *testing.T) {
	k := newKernel(t)
	s := openOn(t, k, Options{})
	k.dialErr = unix.EPROTONOSUPPORT
	_, err := s.Scan(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrNoWireless)
	assert.ErrorContains(t, err, "sudo modprobe cfg80211")
}

// An adapter that can't flush is scanned without; one whose refusal stays is named.
func TestScanWithoutFlush(t *testing.T) {
	k := newKernel(t, turn{errno: unix.EOPNOTSUPP}, done(), done())
	s := openOn(t, k, Options{})
	r, err := s.ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, 2, r.Attempts)
	_, err = s.ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, []trigger{{flush: true}, {}, {}}, k.triggers)

	k = newKernel(t, turn{errno: unix.EOPNOTSUPP}, turn{errno: unix.EOPNOTSUPP})
	_, err = openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrMode)
}

// Unplugged and back under its name, with a new index.
func TestScanPluggedInAgain(t *testing.T) {
	k := newKernel(t, turn{events: []event{{cmdNewScanResults, 9}}})
	s := openOn(t, k, Options{})
	k.ifaces[2].Index = 9
	_, err := s.ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, 9, s.Interface().Index)
}

func TestScanUnpluggedMeanwhile(t *testing.T) {
	k := newKernel(t, turn{events: []event{{cmdDelInterface, testIndex}}})
	_, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrGone)

	// The same, between the end of the scan and the dump.
	k = newKernel(t, done())
	k.goneAtDump = true
	_, err = openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrGone)
}

// Law 2: busy is tried again with growing pauses, or when a foreign scan ends.
func TestScanBusy(t *testing.T) {
	busy := turn{errno: unix.EBUSY}
	k := newKernel(t, busy, busy, busy, busy, busy, busy, done())
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, 7, r.Attempts)
	ms := time.Millisecond
	assert.Equal(t, []time.Duration{DefaultTimeout, 100 * ms, 200 * ms, 400 * ms, 800 * ms, 1600 * ms, 2000 * ms}, k.clock.alarms)

	k = newKernel(t)
	k.clock.ring = func(time.Duration) bool { return false }
	k.turns = []turn{{errno: unix.EBUSY, then: func() { k.mu.Lock(); k.send(event{cmdScanAborted, otherIndex}); k.mu.Unlock() }}, done()}
	r, err = openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, 2, r.Attempts)
}

func TestScanBusyForEver(t *testing.T) {
	k := newKernel(t, turn{errno: unix.EBUSY})
	k.set("proc/77/comm", "NetworkManager")
	k.clock.ring = func(d time.Duration) bool { return d == 3*time.Second }
	_, err := openOn(t, k, Options{Timeout: 3 * time.Second}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrBusy)
	assert.ErrorContains(t, err, "keep NetworkManager from it: sudo nmcli device set wlan0 managed no")

	k = newKernel(t, turn{errno: unix.EBUSY})
	k.clock.ring = func(time.Duration) bool { return false }
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	_, err = openOn(t, k, Options{}).ScanBSS(ctx, radio.Request{})
	require.ErrorIs(t, err, ErrBusy)
	require.ErrorIs(t, err, context.DeadlineExceeded)
}

func TestScanAborted(t *testing.T) {
	aborted := turn{events: []event{{cmdScanAborted, testIndex}}}
	k := newKernel(t, aborted, aborted, aborted, done())
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, 4, r.Attempts)

	k = newKernel(t, aborted, aborted)
	_, err = openOn(t, k, Options{Retries: 1}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrAborted)

	k = newKernel(t, aborted, turn{errno: unix.ENETDOWN})
	_, err = openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrDown)
}

// A sweep during which the machine slept is not one sweep.
func TestScanSlept(t *testing.T) {
	k := newKernel(t, done(), done())
	k.onEnd = func() {
		if len(k.triggers) == 1 {
			k.clock.pass(time.Hour, 59*time.Minute)
		}
	}
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, 2, r.Attempts)
}

// Law 3: when the scan is given up, the kernel's scan is aborted.
func TestScanGivenUp(t *testing.T) {
	running := func(t *testing.T) *kernel {
		k := newKernel(t, turn{})
		k.clock.ring = func(time.Duration) bool { return false }
		return k
	}
	t.Run("cancel", func(t *testing.T) {
		k := running(t)
		ctx, cancel := context.WithCancel(context.Background())
		k.turns[0].then = cancel
		_, err := openOn(t, k, Options{}).ScanBSS(ctx, radio.Request{})
		require.ErrorIs(t, err, context.Canceled)
		assert.EqualError(t, err, "wlan0: scan was given up: context canceled")
		assert.Equal(t, 1, k.aborts)
		assert.False(t, k.scanning)
	})
	t.Run("deadline", func(t *testing.T) {
		k := running(t)
		ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
		defer cancel()
		_, err := openOn(t, k, Options{}).ScanBSS(ctx, radio.Request{})
		require.ErrorIs(t, err, ErrTimeout)
		require.ErrorIs(t, err, context.DeadlineExceeded)
		assert.Equal(t, 1, k.aborts)
	})
	t.Run("time-out", func(t *testing.T) {
		k := running(t)
		k.clock.ring = func(d time.Duration) bool { return d == time.Minute }
		_, err := openOn(t, k, Options{Timeout: time.Minute}).ScanBSS(context.Background(), radio.Request{})
		require.ErrorIs(t, err, ErrTimeout)
		assert.ErrorContains(t, err, "did not end within 1m0s")
		assert.Equal(t, 1, k.aborts)
	})
	t.Run("close", func(t *testing.T) {
		k := running(t)
		s := openOn(t, k, Options{})
		k.turns[0].then = func() { s.Close() }
		_, err := s.ScanBSS(context.Background(), radio.Request{})
		require.ErrorIs(t, err, ErrClosed)
		assert.Equal(t, 1, k.aborts)
		_, err = s.ScanBSS(context.Background(), radio.Request{})
		require.ErrorIs(t, err, ErrClosed)
	})
	t.Run("before it began", func(t *testing.T) {
		k := newKernel(t)
		ctx, cancel := context.WithCancel(context.Background())
		cancel()
		_, err := openOn(t, k, Options{}).ScanBSS(ctx, radio.Request{})
		require.ErrorIs(t, err, context.Canceled)
		assert.Empty(t, k.triggers)
	})
}

// Messages lost to a full socket: the scan is ended and begun again.
func TestScanEventsLost(t *testing.T) {
	k := newKernel(t)
	k.clock.ring = func(d time.Duration) bool { return d == firstPause }
	k.turns = []turn{{then: func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		k.events[0].fail <- unix.ENOBUFS
	}}, done()}
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, []int{2, 1}, []int{r.Attempts, k.aborts})
}

// A dump that is torn by a change of the list is read again.
func TestScanTornDump(t *testing.T) {
	tear := func(k *kernel, until int) {
		k.hear(1, 2412, -6000, 0)
		k.hear(2, 2412, -6000, 0)
		whole := [][]byte{append([]byte(nil), k.results[0]...), append([]byte(nil), k.results[1]...)}
		torn := append([]byte(nil), whole[1]...)
		torn[4]++ // the generation's first octet
		k.onDump = func(n int) {
			k.results = whole
			if n < until {
				k.results = [][]byte{whole[0], torn}
			}
		}
	}
	k := newKernel(t, done())
	tear(k, 3)
	r, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.NoError(t, err)
	assert.Equal(t, []int{2, 3}, []int{len(r.BSSs), k.dumps})

	k = newKernel(t, done())
	tear(k, 100)
	_, err = openOn(t, k, Options{Retries: -1}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrAborted)
	assert.ErrorContains(t, err, "results changed while they were read, 5 times")
}

func TestScanUnreadable(t *testing.T) {
	k := newKernel(t, done())
	k.results = [][]byte{{8, 0, 3, 0, 5, 0, 0, 0}}
	_, err := openOn(t, k, Options{}).ScanBSS(context.Background(), radio.Request{})
	require.ErrorIs(t, err, ErrDriver)
	assert.True(t, strings.Contains(err.Error(), "no BSS in 8 bytes"), err)
}

func FuzzParseEvent(f *testing.F) {
	f.Add(uint8(cmdScanAborted), []byte{8, 0, 3, 0, 5, 0, 0, 0})
	f.Add(uint8(cmdNewScanResults), []byte{8, 0, 1, 0, 0, 0, 0, 0, 8, 0, 3, 0, 5, 0, 0, 0})
	f.Add(uint8(cmdDelInterface), []byte{9, 0, 3})
	f.Fuzz(func(t *testing.T, command uint8, in []byte) {
		e, err := parseEvent(command, in)
		assert.Equal(t, command, e.command)
		if err == nil && e.ifindex == testIndex {
			assert.Contains(t, string(in), "\x05\x00\x00\x00")
		}
	})
}
