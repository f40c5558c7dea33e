package nl80211

import (
	"fmt"
	"math"
	"time"

	"footrule/internal/radio"

	"github.com/mdlayher/netlink"
)

// The numbers of include/uapi/linux/nl80211.h that the parser needs. A test on
// Linux holds them against golang.org/x/sys/unix.
const (
	cmdDelInterface   = 8
	cmdGetScan        = 32
	cmdTriggerScan    = 33
	cmdNewScanResults = 34
	cmdScanAborted    = 35
	cmdAbortScan      = 114

	attrIfindex         = 3
	attrScanFrequencies = 44
	attrScanSSIDs       = 45
	attrGeneration      = 46
	attrBSS             = 47
	attrScanFlags       = 158

	scanFlagFlush = 2

	bssBSSID            = 1
	bssFrequency        = 2
	bssBeaconInterval   = 4
	bssElements         = 6
	bssSignalMBm        = 7
	bssSignalUnspec     = 8
	bssStatus           = 9
	bssSeenMsAgo        = 10
	bssBeaconElements   = 11
	bssLastSeenBoottime = 15

	bssStatusAssociated = 1
)

// BSS is one access point's network as a sweep heard it.
type BSS struct {
	BSSID      radio.BSSID
	SSID       string // hostile text; empty where hidden
	FreqMHz    int
	SignalDBm  float64
	Age        time.Duration // at the end of the sweep
	BeaconTU   int           // beacon interval in time units of 1024 µs; 0 where unknown
	Associated bool          // this machine is connected to it
	Elements
}

// Heard gives the reading with its age.
func (b BSS) Heard() radio.Heard {
	h := radio.Heard{
		Reading: radio.Reading{BSSID: b.BSSID, SSID: b.SSID, FreqMHz: b.FreqMHz, RSSIDBm: b.SignalDBm},
		Age:     b.Age,
	}
	if m := b.Multiple; m != nil && m.MaxIndicator <= maxBSSIDIndicatorBits {
		h.MaxBSSIDIndicator = m.MaxIndicator
	}
	return h
}

// futureSlack is how far a time of hearing may lie ahead of the clock read
// before it: the two are taken some microseconds apart, drivers round to ms.
const futureSlack = 100 * time.Millisecond

// scanMessage is a dump message before judgement.
type scanMessage struct {
	ifindex    int
	generation uint32
	found      bool // an NL80211_ATTR_BSS was there

	bssid            []byte
	freqMHz          uint32
	signalMBm        int32
	hasMBm, hasUnit  bool
	unit             uint8 // 0 to 100
	status           uint32
	hasStatus        bool
	seenMsAgo        uint32
	hasSeenMsAgo     bool
	lastSeen         uint64 // ns of CLOCK_BOOTTIME; 0 where not given
	beaconTU         uint16
	elements, beacon []byte
}

func parseScanMessage(attrs []byte) (scanMessage, error) {
	var m scanMessage
	ad, err := netlink.NewAttributeDecoder(attrs)
	if err != nil {
		return m, fmt.Errorf("scan result: %w", err)
	}
	for ad.Next() {
		switch ad.Type() {
		case attrIfindex:
			m.ifindex = int(ad.Uint32())
		case attrGeneration:
			m.generation = ad.Uint32()
		case attrBSS:
			m.found = true
			ad.Nested(m.nested)
		}
	}
	if err := ad.Err(); err != nil {
		return m, fmt.Errorf("scan result: %w", err)
	}
	if !m.found {
		return m, fmt.Errorf("scan result: no BSS in %d bytes", len(attrs))
	}
	if len(m.bssid) != len(radio.BSSID{}) {
		return m, fmt.Errorf("scan result: BSSID has %d octets, not 6", len(m.bssid))
	}
	return m, nil
}

func (m *scanMessage) nested(ad *netlink.AttributeDecoder) error {
	for ad.Next() {
		switch ad.Type() {
		case bssBSSID:
			m.bssid = ad.Bytes()
		case bssFrequency:
			m.freqMHz = ad.Uint32()
		case bssBeaconInterval:
			m.beaconTU = ad.Uint16()
		case bssElements:
			m.elements = ad.Bytes()
		case bssBeaconElements:
			m.beacon = ad.Bytes()
		case bssSignalMBm:
			m.signalMBm, m.hasMBm = int32(ad.Uint32()), true
		case bssSignalUnspec:
			m.unit, m.hasUnit = ad.Uint8(), true
		case bssStatus:
			m.status, m.hasStatus = ad.Uint32(), true
		case bssSeenMsAgo:
			m.seenMsAgo, m.hasSeenMsAgo = ad.Uint32(), true
		case bssLastSeenBoottime:
			m.lastSeen = ad.Uint64()
		}
	}
	return nil
}

// bss judges the message. boot is CLOCK_BOOTTIME at the dump: the age is its
// distance from LAST_SEEN_BOOTTIME or, where the driver gives none, SEEN_MS_AGO.
//
// A message that is no scan result is an error; a result that can't be used
// as a reading is a [*Refusal] with its reason. Malformed elements cost only
// what comes after them.
func (m *scanMessage) bss(boot time.Duration) (BSS, error) {
	b := BSS{
		BSSID:      radio.BSSID(m.bssid),
		FreqMHz:    int(m.freqMHz),
		SignalDBm:  float64(m.signalMBm) / 100,
		BeaconTU:   int(m.beaconTU),
		Associated: m.hasStatus && m.status == bssStatusAssociated,
	}
	// What a probe response leaves out, the beacon may have.
	b.Elements = ParseElements(b.BSSID, m.elements)
	if len(m.beacon) > 0 {
		b.fill(ParseElements(b.BSSID, m.beacon))
	}
	b.SSID = b.name

	refuse := func(reason error) (BSS, error) {
		return BSS{}, &Refusal{b.BSSID, b.SSID, b.FreqMHz, reason}
	}
	if b.BSSID.IsZero() || b.BSSID.Group() {
		return refuse(ErrBSSID)
	}
	if _, ok := radio.BandOf(b.FreqMHz); !ok {
		return refuse(fmt.Errorf("%w: %d MHz", ErrFrequency, b.FreqMHz))
	}
	switch {
	case m.hasMBm && !radio.LevelOK(b.SignalDBm):
		return refuse(fmt.Errorf("%w: %g dBm", ErrLevel, b.SignalDBm))
	case m.hasMBm:
	case m.hasUnit:
		return refuse(fmt.Errorf("%w: %d %%", ErrSignalPercent, m.unit))
	default:
		return refuse(ErrNoSignal)
	}
	age, ok := m.age(boot)
	if !ok {
		return refuse(ErrNoAge)
	}
	b.Age = age
	return b, nil
}

// age is the distance from the time of hearing to boot. A time of hearing in
// the future is a driver's mistake and not used.
func (m *scanMessage) age(boot time.Duration) (time.Duration, bool) {
	if m.lastSeen > 0 && m.lastSeen <= math.MaxInt64 {
		if age := boot - time.Duration(m.lastSeen); age >= -futureSlack {
			return max(age, 0), true
		}
	}
	return time.Duration(m.seenMsAgo) * time.Millisecond, m.hasSeenMsAgo
}

// event is what a notification of the kernel says: a scan began, ended or was
// aborted, or an interface went.
type event struct {
	command uint8
	ifindex int // 0 where the message names none
}

func parseEvent(command uint8, attrs []byte) (event, error) {
	e := event{command: command}
	ad, err := netlink.NewAttributeDecoder(attrs)
	if err != nil {
		return e, fmt.Errorf("scan event: %w", err)
	}
	for ad.Next() {
		if ad.Type() == attrIfindex {
			e.ifindex = int(ad.Uint32())
		}
	}
	if err := ad.Err(); err != nil {
		return e, fmt.Errorf("scan event: %w", err)
	}
	return e, nil
}
