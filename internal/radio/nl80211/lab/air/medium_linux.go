package air

import (
	"errors"
	"fmt"
	"sync"
	"time"

	"footrule/internal/radio"

	"github.com/mdlayher/genetlink"
	"github.com/mdlayher/netlink"
	"golang.org/x/sys/unix"
)

// Numbers of the generic netlink family of mac80211_hwsim
// (drivers/net/wireless/mac80211_hwsim.h of Linux 6.1).
const (
	familyName = "MAC80211_HWSIM"

	cmdRegister = 1
	cmdFrame    = 2
	cmdTxInfo   = 3
	cmdNewRadio = 4
	cmdDelRadio = 5

	attrReceiver    = 1
	attrTransmitter = 2
	attrFrame       = 3
	attrFlags       = 4
	attrRxRate      = 5
	attrSignal      = 6
	attrTxInfo      = 7
	attrCookie      = 8
	attrRadioName   = 17
	attrFreq        = 19

	flagAcked = 4 // HWSIM_TX_STAT_ACK
)

// tick is how often beacons that fell due are sent.
const tick = 10 * time.Millisecond

// Medium carries the frames between one simulated radio and the scene.
type Medium struct {
	decoy, c *genetlink.Conn
	raw      *netlink.Conn
	family   genetlink.Family

	mu      sync.Mutex
	scene   Scene
	radio   radio.BSSID // address by which the kernel knows the radio
	count   map[radio.BSSID]uint64
	pending map[uint32][]outgoing // by sequence of the beacon that asked whether its channel is on
	sent    int
	began   time.Time
}

type outgoing struct {
	frame  []byte
	freq   int
	signal int
}

// Open registers as the medium of all simulated radios. A first socket is
// opened and kept, because the kernel drops the medium when any netlink socket
// with its port number closes, and Go's net package closes such sockets.
func Open() (*Medium, error) {
	decoy, err := genetlink.Dial(nil)
	if err != nil {
		return nil, err
	}
	raw, err := netlink.Dial(genetlink.Protocol, nil)
	if err != nil {
		decoy.Close()
		return nil, err
	}
	m := &Medium{
		decoy: decoy, raw: raw, c: genetlink.NewConn(raw), scene: NewScene(),
		count: map[radio.BSSID]uint64{}, pending: map[uint32][]outgoing{}, began: time.Now(),
	}
	err = raw.SetReadBuffer(4 << 20)
	if err == nil {
		m.family, err = m.c.GetFamily(familyName)
	}
	if err == nil {
		_, err = m.c.Execute(genetlink.Message{Header: genetlink.Header{Command: cmdRegister, Version: 1}},
			m.family.ID, netlink.Request|netlink.Acknowledge)
	}
	if err != nil {
		m.Close()
		return nil, fmt.Errorf("register with %s: %w", familyName, err)
	}
	return m, nil
}

// Close gives the medium up.
func (m *Medium) Close() error { return errors.Join(m.c.Close(), m.decoy.Close()) }

// Do changes or asks the scene; see [Scene.Do]. Two commands are the
// medium's own: "radio ADDRESS" (that of the receiver, 42:00:00:00:NN:00) and
// "sent" (how many frames were handed to the kernel).
func (m *Medium) Do(line string) (string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var address string
	if n, _ := fmt.Sscanf(line, "radio %s", &address); n == 1 {
		b, err := radio.ParseBSSID(address)
		if err == nil {
			m.radio = b
		}
		return "", err
	}
	if line == "sent" {
		return fmt.Sprint(m.sent), nil
	}
	return m.scene.Do(line)
}

// Run carries frames until the medium is closed.
func (m *Medium) Run() error {
	done := make(chan struct{})
	defer close(done)
	go m.beacons(done)
	for {
		messages, headers, err := m.c.Receive()
		var op *netlink.OpError
		switch {
		case err == nil:
		case errors.As(err, &op) && op.Sequence != 0:
			// The kernel refuses frames for a channel that is not tuned.
			m.mu.Lock()
			delete(m.pending, op.Sequence)
			m.mu.Unlock()
			continue
		default:
			return err
		}
		for i, msg := range messages {
			if headers[i].Header.Type == netlink.Error { // an acknowledgement
				m.onChannel(headers[i].Header.Sequence)
				continue
			}
			if msg.Header.Command == cmdFrame {
				m.heard(msg.Data)
			}
		}
	}
}

// onChannel sends the beacons that waited for the answer to the first of
// their channel.
func (m *Medium) onChannel(sequence uint32) {
	m.mu.Lock()
	defer m.mu.Unlock()
	out, ok := m.pending[sequence]
	delete(m.pending, sequence)
	if ok {
		m.sent++
		m.send(out)
	}
}

// beacons sends those that fell due. Whether the radio listens to a channel is
// known only by trying, so per channel the first due asks for an answer.
func (m *Medium) beacons(done chan struct{}) {
	t := time.NewTicker(tick)
	defer t.Stop()
	last := time.Since(m.began)
	for {
		select {
		case <-done:
			return
		case <-t.C:
		}
		now := time.Since(m.began)
		m.mu.Lock()
		byFreq := map[int][]outgoing{}
		for i := range m.scene.APs {
			a := &m.scene.APs[i]
			phase := m.scene.Phase(a)
			if (now-phase)/BeaconInterval == (last-phase)/BeaconInterval || last < phase {
				continue
			}
			if o, ok := m.outgoing(a, a.Beacon(uint64(now.Microseconds()))); ok {
				byFreq[a.FreqMHz] = append(byFreq[a.FreqMHz], o)
			}
		}
		for _, due := range byFreq {
			first, err := m.message(due[0], netlink.Request|netlink.Acknowledge)
			if err != nil {
				panic(err) // attributes of our own making
			}
			sent, err := m.raw.Send(first)
			if err == nil {
				m.pending[sent.Header.Sequence] = due[1:]
			}
		}
		m.mu.Unlock()
		last = now
	}
}

// outgoing gives a frame its level; false where it is lost or too weak.
func (m *Medium) outgoing(a *AP, frame []byte) (outgoing, bool) {
	m.count[a.BSSID]++
	level := m.scene.Level(a)
	if level < m.scene.Floor || m.scene.Lost(a, m.count[a.BSSID]) {
		return outgoing{}, false
	}
	return outgoing{frame, a.FreqMHz, level}, true
}

func (m *Medium) message(o outgoing, flags netlink.HeaderFlags) (netlink.Message, error) {
	ae := netlink.NewAttributeEncoder()
	ae.Bytes(attrReceiver, m.radio[:])
	ae.Bytes(attrFrame, o.frame)
	ae.Uint32(attrRxRate, 0)
	ae.Uint32(attrSignal, uint32(int32(o.signal)))
	ae.Uint32(attrFreq, uint32(o.freq))
	data, err := ae.Encode()
	if err != nil {
		return netlink.Message{}, err
	}
	return m.pack(cmdFrame, data, flags)
}

func (m *Medium) pack(cmd uint8, data []byte, flags netlink.HeaderFlags) (netlink.Message, error) {
	g := genetlink.Message{Header: genetlink.Header{Command: cmd, Version: 1}, Data: data}
	b, err := g.MarshalBinary()
	return netlink.Message{Header: netlink.Header{Type: netlink.HeaderType(m.family.ID), Flags: flags}, Data: b}, err
}

// send hands frames to the kernel, as many in one system call as fit.
func (m *Medium) send(out []outgoing) {
	const batch = 16
	for len(out) > 0 {
		n := min(batch, len(out))
		var messages []netlink.Message
		for _, o := range out[:n] {
			msg, err := m.message(o, netlink.Request)
			if err != nil {
				panic(err) // attributes of our own making
			}
			messages = append(messages, msg)
		}
		if _, err := m.raw.SendMessages(messages); err == nil {
			m.sent += n
		}
		out = out[n:]
	}
}

// heard handles a frame that a radio sent: tells the kernel that it went out,
// and answers probe requests.
func (m *Medium) heard(attrs []byte) {
	ad, err := netlink.NewAttributeDecoder(attrs)
	if err != nil {
		return
	}
	var from, frame, txInfo []byte
	var flags, freq uint32
	var cookie uint64
	for ad.Next() {
		switch ad.Type() {
		case attrTransmitter:
			from = ad.Bytes()
		case attrFrame:
			frame = ad.Bytes()
		case attrFlags:
			flags = ad.Uint32()
		case attrTxInfo:
			txInfo = ad.Bytes()
		case attrCookie:
			cookie = ad.Uint64()
		case attrFreq:
			freq = ad.Uint32()
		}
	}
	if ad.Err() != nil || len(from) != 6 {
		return
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	ae := netlink.NewAttributeEncoder()
	ae.Bytes(attrTransmitter, from)
	ae.Uint32(attrFlags, flags|flagAcked)
	ae.Uint64(attrCookie, cookie)
	ae.Uint32(attrSignal, 0xffffffce) // −50 dBm, the level of the acknowledgement
	ae.Bytes(attrTxInfo, txInfo)
	if data, err := ae.Encode(); err == nil {
		if msg, err := m.pack(cmdTxInfo, data, netlink.Request); err == nil {
			_, _ = m.raw.Send(msg) // a radio that has gone needs no answer
		}
	}
	probe, ok := ParseProbe(frame)
	if !ok || radio.BSSID(from) != m.radio {
		return
	}
	var out []outgoing
	now := uint64(time.Since(m.began).Microseconds())
	for i := range m.scene.APs {
		a := &m.scene.APs[i]
		if a.FreqMHz != int(freq) || !a.Answers(probe) {
			continue
		}
		if o, ok := m.outgoing(a, a.Response(probe.From, now)); ok {
			out = append(out, o)
		}
	}
	m.send(out)
}

// NewRadio plugs a simulated radio in, as an adapter of that name.
func NewRadio(name string) error {
	err := manage(cmdNewRadio, name)
	// The kernel answers the number of the radio in the place of an error code.
	var errno unix.Errno
	if errors.As(err, &errno) && int(-errno) > 0 {
		return nil
	}
	return err
}

// DelRadio unplugs the simulated radio of that name.
func DelRadio(name string) error { return manage(cmdDelRadio, name) }

func manage(cmd uint8, name string) error {
	c, err := genetlink.Dial(nil)
	if err != nil {
		return err
	}
	defer c.Close()
	family, err := c.GetFamily(familyName)
	if err != nil {
		return err
	}
	ae := netlink.NewAttributeEncoder()
	ae.String(attrRadioName, name)
	data, err := ae.Encode()
	if err != nil {
		return err
	}
	_, err = c.Execute(genetlink.Message{Header: genetlink.Header{Command: cmd, Version: 1}, Data: data},
		family.ID, netlink.Request|netlink.Acknowledge)
	return err
}
