package nl80211

import (
	"fmt"
	"io"
	"io/fs"
	"net"
	"slices"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"github.com/mdlayher/genetlink"
	"github.com/mdlayher/genetlink/genltest"
	"github.com/mdlayher/netlink"
	"github.com/mdlayher/wifi"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// kernel is a nl80211 without radios. It checks every request, and answers
// each trigger with the next of its turns.
type kernel struct {
	t       *testing.T
	mu      sync.Mutex
	ifaces  []*wifi.Interface
	phys    []*wifi.PHY
	region  string
	listErr error
	dialErr error
	files   fstest.MapFS
	clock   *fakeClock

	turns    []turn
	triggers []trigger // what was asked for
	aborts   int
	open     int // sockets
	joined   map[uint32]bool
	events   []*fakeConn // sockets that joined a group
	results  [][]byte    // attributes for the dump
	dumps    int
	onDump   func(n int) // before dump number n
	onEnd    func()      // before the events of a scan's end

	goneAtDump bool
	scanning   bool
}

// turn is what one trigger comes to: an error number, or events.
type turn struct {
	errno  unix.Errno
	before []event // sent ahead of the start, as left over from other scans
	events []event // sent after the start
	silent bool    // no start and no end
	then   func()  // afterwards, outside the request
}

// trigger is a decoded request.
type trigger struct {
	passive bool
	freqs   []int
	flush   bool
}

const (
	testIndex  = 5
	otherIndex = 6
)

var testFamily = genetlink.Family{ID: 28, Version: 1, Name: unix.NL80211_GENL_NAME, Groups: []genetlink.MulticastGroup{
	{ID: 5, Name: "config"}, {ID: 6, Name: "scan"}, {ID: 7, Name: "mlme"},
}}

func done() turn { return turn{events: []event{{cmdNewScanResults, testIndex}}} }

func newKernel(t *testing.T, turns ...turn) *kernel {
	band := wifi.BandAttributes{FrequencyAttributes: []wifi.FrequencyAttrs{
		{Frequency: 5180}, {Frequency: 2412}, {Frequency: 2437}, {Frequency: 5260, Disabled: true}, {Frequency: 902},
	}}
	k := &kernel{
		t: t, turns: turns, region: "DE", joined: map[uint32]bool{}, clock: newFakeClock(),
		ifaces: []*wifi.Interface{
			{Index: otherIndex, Name: "wlan1", PHY: 1, Type: wifi.InterfaceTypeStation, HardwareAddr: net.HardwareAddr{2, 0, 0, 0, 1, 0}},
			{Name: "", PHY: 0, Type: wifi.InterfaceTypeP2PDevice},
			{Index: testIndex, Name: "wlan0", PHY: 0, Type: wifi.InterfaceTypeStation, HardwareAddr: net.HardwareAddr{2, 0, 0, 0, 0, 0}},
		},
		phys: []*wifi.PHY{{Index: 0, Name: "phy0", BandAttributes: []wifi.BandAttributes{band}}, {Index: 1, Name: "phy1"}},
		files: fstest.MapFS{
			"sys/class/net/wlan0/flags":                 {Data: []byte("0x1003\n")},
			"sys/class/net/wlan0/phy80211/rfkill0/soft": {Data: []byte("0\n")},
			"sys/class/net/wlan0/phy80211/rfkill0/hard": {Data: []byte("0\n")},
			"sys/class/net/eth0/flags":                  {Data: []byte("0x1003\n")},
			"proc/self/status":                          {Data: []byte("Name:\tx\nCapEff:\t0000000000001000\nCapBnd:\t00\n")},
			"proc/1/comm":                               {Data: []byte("init\n")},
		},
	}
	t.Cleanup(func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		assert.Empty(t, k.turns, "turns left over")
		assert.Zero(t, k.open, "sockets left open")
	})
	return k
}

func (k *kernel) options() Options {
	return Options{sys: &system{
		dial: k.dial, list: k.list, root: k.files, clock: k.clock, uid: 1000, binary: "/opt/footrule",
	}}
}

func (k *kernel) set(name, text string) { k.files[name] = &fstest.MapFile{Data: []byte(text + "\n")} }

func (k *kernel) list() (lister, error) {
	if k.listErr != nil {
		return nil, k.listErr
	}
	return fakeLister{k}, nil
}

type fakeLister struct{ k *kernel }

func (l fakeLister) Interfaces() ([]*wifi.Interface, error) { return l.k.ifaces, nil }
func (l fakeLister) PHYs() ([]*wifi.PHY, error)             { return l.k.phys, nil }
func (l fakeLister) Close() error                           { return nil }
func (l fakeLister) GetRegulatoryDomain() (*wifi.RegulatoryDomain, error) {
	return &wifi.RegulatoryDomain{Region: l.k.region}, nil
}

// fakeConn is a socket: requests go through the real encoding of genetlink,
// events are handed out by the kernel.
type fakeConn struct {
	*genetlink.Conn
	k      *kernel
	queue  chan genetlink.Message
	fail   chan error
	closed chan struct{}
}

func (k *kernel) dial() (conn, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.dialErr != nil {
		return nil, k.dialErr
	}
	k.open++
	return &fakeConn{
		Conn: genltest.Dial(genltest.ServeFamily(testFamily, k.serve)), k: k,
		queue: make(chan genetlink.Message, 64), fail: make(chan error, 1), closed: make(chan struct{}),
	}, nil
}

func (c *fakeConn) JoinGroup(id uint32) error {
	c.k.mu.Lock()
	defer c.k.mu.Unlock()
	c.k.joined[id] = true
	if !slices.Contains(c.k.events, c) {
		c.k.events = append(c.k.events, c)
	}
	return nil
}

func (c *fakeConn) Receive() ([]genetlink.Message, []netlink.Message, error) {
	select {
	case m := <-c.queue:
		return []genetlink.Message{m}, []netlink.Message{{}}, nil
	case err := <-c.fail:
		return nil, nil, err
	case <-c.closed:
		return nil, nil, net.ErrClosed
	}
}

func (c *fakeConn) Close() error {
	c.k.mu.Lock()
	defer c.k.mu.Unlock()
	close(c.closed)
	c.k.open--
	c.k.events = slices.DeleteFunc(c.k.events, func(o *fakeConn) bool { return o == c })
	return nil
}

// send hands an event to the sockets that joined. Events that the scanner has
// no use for come with them.
func (k *kernel) send(e event) {
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(unix.NL80211_ATTR_WIPHY, 0)
	if e.ifindex != 0 {
		ae.Uint32(attrIfindex, uint32(e.ifindex))
	}
	data, err := ae.Encode()
	require.NoError(k.t, err)
	for _, c := range k.events {
		c.queue <- genetlink.Message{Header: genetlink.Header{Command: unix.NL80211_CMD_NEW_STATION}, Data: data}
		c.queue <- genetlink.Message{Header: genetlink.Header{Command: e.command}, Data: data}
	}
}

// serve answers a request after checking it.
func (k *kernel) serve(m genetlink.Message, n netlink.Message) ([]genetlink.Message, error) {
	k.mu.Lock()
	defer k.mu.Unlock()
	assert.Equal(k.t, netlink.HeaderType(testFamily.ID), n.Header.Type)
	assert.Equal(k.t, testFamily.Version, m.Header.Version)
	ad, err := netlink.NewAttributeDecoder(m.Data)
	require.NoError(k.t, err)
	var tr trigger
	tr.passive = true
	index := 0
	for ad.Next() {
		switch ad.Type() {
		case unix.NL80211_ATTR_IFINDEX:
			index = int(ad.Uint32())
		case unix.NL80211_ATTR_SCAN_SSIDS:
			tr.passive = false
			ad.Nested(func(ad *netlink.AttributeDecoder) error {
				count := 0
				for ad.Next() {
					count++
					assert.Empty(k.t, ad.Bytes(), "the wildcard SSID has no octets")
				}
				assert.Equal(k.t, 1, count)
				return nil
			})
		case unix.NL80211_ATTR_SCAN_FREQUENCIES:
			ad.Nested(func(ad *netlink.AttributeDecoder) error {
				for ad.Next() {
					tr.freqs = append(tr.freqs, int(ad.Uint32()))
				}
				return nil
			})
		case unix.NL80211_ATTR_SCAN_FLAGS:
			assert.Equal(k.t, uint32(unix.NL80211_SCAN_FLAG_FLUSH), ad.Uint32())
			tr.flush = true
		default:
			assert.Fail(k.t, "attribute that nobody asked for", "%d", ad.Type())
		}
	}
	require.NoError(k.t, ad.Err())
	if !slices.ContainsFunc(k.ifaces, func(i *wifi.Interface) bool { return i.Index == index }) {
		return nil, genltest.Error(int(unix.ENODEV))
	}

	acked := netlink.Request | netlink.Acknowledge
	switch m.Header.Command {
	case unix.NL80211_CMD_TRIGGER_SCAN:
		assert.Equal(k.t, acked, n.Header.Flags)
		assert.True(k.t, k.joined[5] && k.joined[6] && len(k.events) == 1, "events are awaited before the trigger")
		k.triggers = append(k.triggers, tr)
		if !assert.NotEmpty(k.t, k.turns, "one trigger too many") {
			return nil, genltest.Error(int(unix.EIO))
		}
		now := k.turns[0]
		k.turns = k.turns[1:]
		if now.then != nil {
			defer func() { go now.then() }()
		}
		if now.errno != 0 {
			return nil, genltest.Error(int(now.errno))
		}
		for _, e := range now.before {
			k.send(e)
		}
		if !now.silent {
			k.scanning = true
			k.send(event{cmdTriggerScan, index})
		}
		if k.onEnd != nil {
			k.onEnd()
		}
		for _, e := range now.events {
			k.scanning = k.scanning && e.ifindex != index
			k.send(e)
		}
		return nil, io.EOF
	case unix.NL80211_CMD_ABORT_SCAN:
		assert.Equal(k.t, acked, n.Header.Flags)
		k.aborts++
		if !k.scanning {
			return nil, genltest.Error(int(unix.ENOENT))
		}
		k.scanning = false
		k.send(event{cmdScanAborted, index})
		return nil, io.EOF
	case unix.NL80211_CMD_GET_SCAN:
		assert.Equal(k.t, netlink.Request|netlink.Dump, n.Header.Flags)
		k.dumps++
		if k.goneAtDump { // genltest can't answer a dump with an error number
			return nil, &netlink.OpError{Op: "receive", Err: unix.ENODEV}
		}
		if k.onDump != nil {
			k.onDump(k.dumps)
		}
		if len(k.results) == 0 {
			return nil, io.EOF
		}
		var out []genetlink.Message
		for _, r := range k.results {
			out = append(out, genetlink.Message{Header: genetlink.Header{Command: unix.NL80211_CMD_NEW_SCAN_RESULTS, Version: 1}, Data: r})
		}
		return out, nil
	}
	assert.Fail(k.t, "request that nobody asked for", "%d", m.Header.Command)
	return nil, genltest.Error(int(unix.EINVAL))
}

// hear adds a result: BSSID …:last, heard at an age before the clock's present.
func (k *kernel) hear(last byte, freq int, mBm int32, age time.Duration) {
	k.add(func(ae *netlink.AttributeEncoder) {
		ae.Bytes(bssBSSID, []byte{2, 0, 0x5e, 0x10, 0, last})
		ae.Uint32(bssFrequency, uint32(freq))
		ae.Int32(bssSignalMBm, mBm)
		ae.Uint64(bssLastSeenBoottime, uint64(k.clock.Boot()-age))
	})
}

func (k *kernel) add(fill func(*netlink.AttributeEncoder)) {
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(attrGeneration, 9)
	ae.Uint32(attrIfindex, testIndex)
	ae.Nested(attrBSS, func(ae *netlink.AttributeEncoder) error {
		fill(ae)
		return nil
	})
	b, err := ae.Encode()
	require.NoError(k.t, err)
	k.results = append(k.results, b)
}

// fakeClock moves only when told. An alarm for which ring is true rings at
// once, any other never: by default pauses do and time-outs don't.
type fakeClock struct {
	mu         sync.Mutex
	now        time.Time
	boot, mono time.Duration
	ring       func(time.Duration) bool
	alarms     []time.Duration
}

func newFakeClock() *fakeClock {
	return &fakeClock{
		now: time.Date(2026, 3, 1, 9, 0, 0, 0, time.UTC), boot: time.Hour, mono: 50 * time.Minute,
		ring: func(d time.Duration) bool { return d <= longPause },
	}
}

func (c *fakeClock) Now() time.Time      { c.mu.Lock(); defer c.mu.Unlock(); return c.now }
func (c *fakeClock) Boot() time.Duration { c.mu.Lock(); defer c.mu.Unlock(); return c.boot }
func (c *fakeClock) Mono() time.Duration { c.mu.Lock(); defer c.mu.Unlock(); return c.mono }

func (c *fakeClock) After(d time.Duration) <-chan time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.alarms = append(c.alarms, d)
	ch := make(chan time.Time, 1)
	if c.ring(d) {
		ch <- c.now.Add(d)
	}
	return ch
}

// pass lets time go by, of which the machine slept for a part.
func (c *fakeClock) pass(d, asleep time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now, c.boot, c.mono = c.now.Add(d), c.boot+d, c.mono+d-asleep
}

var errNoFamily = &netlink.OpError{Op: "receive", Err: fmt.Errorf("family: %w", fs.ErrNotExist)}
