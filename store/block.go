package store

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"time"
	"unicode/utf8"

	"footrule/internal/radio"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// A block is one visit of a live walk, or many of an imported one. It stands
// by itself: what its readings name (BSSID, SSID, frequency) is listed once in
// front of it. A reading then costs one or two bytes for the name and one for
// a level in whole dBm; other levels take eight bytes more.

type packedBlock struct {
	_      struct{} `cbor:",toarray"`
	Names  []packedName
	Visits []packedVisit
}

// specialBlock is a block in which some scan listened on some channels only, or
// some name came with a MaxBSSID Indicator. Others are written without, as they
// were before there was either.
type specialBlock struct {
	_          struct{} `cbor:",toarray"`
	Names      []packedName
	Visits     []packedVisit
	Indicators []byte  // per name
	Channels   [][]int // MHz, each list once
	Listened   []byte  // uvarint per scan: 0 for all channels, else place in Channels from 1
}

type packedName struct {
	_       struct{} `cbor:",toarray"`
	BSSID   [6]byte
	SSID    []byte // bytes, because an SSID need not be text
	FreqMHz int
}

type packedVisit struct {
	_     struct{} `cbor:",toarray"`
	ID    string
	Seq   int
	Point string
	Floor string
	X, Y  float64
	Scans []packedScan
}

type packedScan struct {
	_      struct{} `cbor:",toarray"`
	ID     string
	Sec    int64  // Unix seconds after the scan before it in the block
	Nsec   uint32 // of its second
	Facing float64
	Stale  int
	Null   bool   // the readings are nil, not empty
	Names  []byte // uvarint places in packedBlock.Names
	Levels []byte // int8 dBm, or otherLevel for the next of Others
	Others []byte // IEEE 754 binary64, big-endian
}

const otherLevel = -128

// packer gathers visits for one block.
type packer struct {
	block    packedBlock
	names    map[radio.Reading]int // with RSSIDBm 0
	inds     []byte                // per name
	channels [][]int
	listened []byte
	special  bool
	last     int64
	readings int
}

// packed is a block of one visit.
func packed(v *walk.Visit) ([]byte, error) {
	p := newPacker()
	if err := p.add(v); err != nil {
		return nil, err
	}
	return p.payload()
}

func newPacker() *packer { return &packer{names: map[radio.Reading]int{}} }

// add packs a visit. Texts that are no UTF-8 are an error, and so are times
// without a place on the Unix clock.
func (p *packer) add(v *walk.Visit) error {
	for _, s := range []string{v.ID, v.Point, v.Floor} {
		if !utf8.ValidString(s) {
			return fmt.Errorf("visit %q: %q is no UTF-8", v.ID, s)
		}
	}
	pv := packedVisit{ID: v.ID, Seq: v.Seq, Point: v.Point, Floor: v.Floor, X: v.At[0], Y: v.At[1]}
	if v.Scans != nil {
		pv.Scans = make([]packedScan, 0, len(v.Scans))
	}
	total := 0
	for i := range v.Scans {
		total += len(v.Scans[i].Readings)
	}
	room := make([]byte, 0, 3*total) // for names and levels of the whole visit
	for i := range v.Scans {
		sc := &v.Scans[i]
		if !utf8.ValidString(sc.ID) {
			return fmt.Errorf("visit %q: scan %q is no UTF-8", v.ID, sc.ID)
		}
		p.listen(sc.FreqsMHz)
		sec := sc.Time.Unix()
		ps := packedScan{ID: sc.ID, Sec: sec - p.last, Nsec: uint32(sc.Time.Nanosecond()), Facing: sc.FacingDeg, Stale: sc.DroppedStale, Null: sc.Readings == nil}
		p.last = sec
		from := len(room)
		for _, r := range sc.Readings {
			key := r
			key.RSSIDBm = 0
			n, ok := p.names[key]
			if !ok {
				n = len(p.block.Names)
				p.names[key] = n
				p.block.Names = append(p.block.Names, packedName{BSSID: r.BSSID, SSID: []byte(r.SSID), FreqMHz: r.FreqMHz})
				if r.MaxBSSIDIndicator < 0 || r.MaxBSSIDIndicator > math.MaxUint8 {
					return fmt.Errorf("visit %q: a MaxBSSID Indicator of %d", v.ID, r.MaxBSSIDIndicator)
				}
				p.inds = append(p.inds, byte(r.MaxBSSIDIndicator))
				p.special = p.special || r.MaxBSSIDIndicator != 0
			}
			room = binary.AppendUvarint(room, uint64(n))
		}
		mid := len(room)
		for _, r := range sc.Readings {
			if l := int8(max(-127, min(127, r.RSSIDBm))); float64(l) == r.RSSIDBm && (l != 0 || !math.Signbit(r.RSSIDBm)) {
				room = append(room, byte(l))
			} else {
				other := otherLevel
				room = append(room, byte(other))
				ps.Others = binary.BigEndian.AppendUint64(ps.Others, math.Float64bits(r.RSSIDBm))
			}
		}
		ps.Names, ps.Levels = room[from:mid:mid], room[mid:len(room):len(room)]
		p.readings += len(sc.Readings)
		pv.Scans = append(pv.Scans, ps)
	}
	p.block.Visits = append(p.block.Visits, pv)
	return nil
}

// payload encodes the block.
func (p *packer) payload() ([]byte, error) {
	if p.special {
		return encoding.Marshal(&specialBlock{Names: p.block.Names, Visits: p.block.Visits, Indicators: p.inds, Channels: p.channels, Listened: p.listened})
	}
	return encoding.Marshal(&p.block)
}

// listen enters the channels of the next scan.
func (p *packer) listen(freqsMHz []int) {
	n := 0
	if len(freqsMHz) > 0 {
		p.special = true
		n = slices.IndexFunc(p.channels, func(c []int) bool { return slices.Equal(c, freqsMHz) }) + 1
		if n == 0 {
			p.channels = append(p.channels, slices.Clone(freqsMHz))
			n = len(p.channels)
		}
	}
	p.listened = binary.AppendUvarint(p.listened, uint64(n))
}

// reset empties the packer for the next block.
func (p *packer) reset() {
	p.block.Names, p.block.Visits = p.block.Names[:0], p.block.Visits[:0]
	clear(p.names)
	p.inds, p.channels, p.listened, p.special = p.inds[:0], p.channels[:0], p.listened[:0], false
	p.last, p.readings = 0, 0
}

// unpackBlock decodes a payload that checks out.
func unpackBlock(payload []byte) ([]walk.Visit, error) {
	const arrayOfTwo = 0x82 // RFC 8949, 3.1
	var b specialBlock
	if len(payload) > 0 && payload[0] == arrayOfTwo {
		var p packedBlock
		if err := decoding.Unmarshal(payload, &p); err != nil {
			return nil, &newer{err}
		}
		b.Names, b.Visits = p.Names, p.Visits
	} else if err := decoding.Unmarshal(payload, &b); err != nil {
		return nil, &newer{err}
	} else if len(b.Indicators) != len(b.Names) {
		return nil, damagef("a block has %d indicators for %d names", len(b.Indicators), len(b.Names))
	}
	names := make([]radio.Reading, len(b.Names))
	for i, n := range b.Names {
		names[i] = radio.Reading{BSSID: n.BSSID, SSID: string(n.SSID), FreqMHz: n.FreqMHz}
		if len(b.Indicators) > 0 {
			names[i].MaxBSSIDIndicator = int(b.Indicators[i])
		}
	}
	listened := b.Listened
	total := 0
	for i := range b.Visits {
		for j := range b.Visits[i].Scans {
			total += len(b.Visits[i].Scans[j].Levels)
		}
	}
	all := make([]radio.Reading, 0, total)
	out := make([]walk.Visit, len(b.Visits))
	last := int64(0)
	for i := range b.Visits {
		pv := &b.Visits[i]
		v := &out[i]
		*v = walk.Visit{ID: pv.ID, Seq: pv.Seq, Point: pv.Point, Floor: pv.Floor, At: orb.Point{pv.X, pv.Y}}
		if pv.Scans != nil {
			v.Scans = make([]walk.Scan, len(pv.Scans))
		}
		for j := range pv.Scans {
			ps := &pv.Scans[j]
			last += ps.Sec
			sc := &v.Scans[j]
			*sc = walk.Scan{ID: ps.ID, Time: time.Unix(last, int64(ps.Nsec)).UTC(), FacingDeg: ps.Facing, DroppedStale: ps.Stale}
			if b.Listened != nil {
				n, size := binary.Uvarint(listened)
				if size <= 0 || n > uint64(len(b.Channels)) {
					return nil, damagef("visit %q names channels that are not there", pv.ID)
				}
				if listened = listened[size:]; n > 0 {
					sc.FreqsMHz = slices.Clone(b.Channels[n-1])
				}
			}
			if ps.Null {
				continue
			}
			from, refs, others := len(all), ps.Names, ps.Others
			for _, l := range ps.Levels {
				n, size := binary.Uvarint(refs)
				if size <= 0 || n >= uint64(len(names)) {
					return nil, damagef("visit %q names a reading that is not there", pv.ID)
				}
				refs = refs[size:]
				r := names[n]
				if int8(l) == otherLevel {
					if len(others) < 8 {
						return nil, damagef("visit %q lacks a level", pv.ID)
					}
					r.RSSIDBm = math.Float64frombits(binary.BigEndian.Uint64(others))
					others = others[8:]
				} else {
					r.RSSIDBm = float64(int8(l))
				}
				all = append(all, r)
			}
			if len(refs) > 0 || len(others) > 0 {
				return nil, damagef("visit %q has readings without a level", pv.ID)
			}
			sc.Readings = all[from:len(all):len(all)]
		}
	}
	return out, nil
}
