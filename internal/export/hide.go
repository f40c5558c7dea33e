package export

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"fmt"

	"footrule/internal/radio"
	"footrule/internal/site"
	"footrule/internal/walk"
)

// Hiding says what becomes of BSSIDs and SSIDs.
type Hiding string

// The ways of hiding.
const (
	// Keep leaves them.
	Keep Hiding = "keep"
	// Hash replaces each by a keyed hash (HMAC-SHA-256, RFC 2104): the same name
	// gives the same hash under one salt, and nothing without it. A BSSID becomes a
	// locally administered one of 46 hashed bits.
	Hash Hiding = "hash"
	// Drop numbers the plan's BSSIDs, and leaves out all SSIDs and the readings of
	// networks that are not on the plan.
	Drop Hiding = "drop"
)

// Hidings lists the ways of hiding.
func Hidings() []Hiding { return []Hiding{Keep, Hash, Drop} }

// Hide gives the data with names of networks hidden, in the plans and the walks
// alike, so that they still belong together, and how many readings were left out.
// Hidden BSSIDs say nothing of their neighbours any more, so the MaxBSSID
// Indicator goes with them. Errors and Map have to be made afterwards.
func (d *Data) Hide(how Hiding, salt string) (*Data, int) {
	out := &Data{Site: d.Site, Rev: d.Rev, Plans: d.Plans, Walks: d.Walks, Key: d.Key, Hidden: how}
	if how == Keep {
		return out, 0
	}
	h := &hider{how: how, salt: []byte(salt), bssids: map[radio.BSSID]radio.BSSID{}, ssids: map[string]string{}}
	if how == Drop {
		// Revisions in order, so that what a plan of today calls n stays n.
		for _, s := range append([]*site.Site{d.Site}, plansOf(d)...) {
			h.number(s)
		}
	}
	out.Site, out.Plans, out.Walks = h.site(d.Site), map[uint64]*site.Site{}, make([]walk.Walk, len(d.Walks))
	for rev, s := range d.Plans {
		out.Plans[rev] = h.site(s)
	}
	for i := range d.Walks {
		out.Walks[i] = h.walk(d.Walks[i])
	}
	return out, h.left
}

type hider struct {
	how    Hiding
	salt   []byte
	bssids map[radio.BSSID]radio.BSSID
	ssids  map[string]string
	left   int
}

func (h *hider) digest(what string, data []byte) []byte {
	m := hmac.New(sha256.New, h.salt)
	m.Write([]byte(what))
	m.Write(data)
	return m.Sum(nil)
}

// number gives the BSSIDs of a plan numbers in the order of the plan.
func (h *hider) number(s *site.Site) {
	for i := range s.AccessPoints {
		for j := range s.AccessPoints[i].Radios {
			for _, b := range s.AccessPoints[i].Radios[j].BSSIDs {
				if _, there := h.bssids[b]; !there {
					n := len(h.bssids) + 1
					h.bssids[b] = radio.BSSID{0x02, 0, 0, byte(n >> 16), byte(n >> 8), byte(n)}
				}
			}
		}
	}
}

// bssid gives what stands for a BSSID; false where it is left out.
func (h *hider) bssid(b radio.BSSID) (radio.BSSID, bool) {
	to, there := h.bssids[b]
	if !there && h.how == Hash {
		copy(to[:], h.digest("bssid", b[:]))
		to[0] = to[0]&^1 | 2 // an individual address, locally administered (IEEE 802-2014, 8.2)
		h.bssids[b] = to
		there = true
	}
	return to, there
}

func (h *hider) ssid(s string) string {
	if s == "" || h.how == Drop {
		return ""
	}
	to, there := h.ssids[s]
	if !there {
		to = "ssid-" + hex.EncodeToString(h.digest("ssid", []byte(s))[:8])
		h.ssids[s] = to
	}
	return to
}

func (h *hider) site(s *site.Site) *site.Site {
	s = s.Clone()
	for i := range s.AccessPoints {
		for j := range s.AccessPoints[i].Radios {
			of := s.AccessPoints[i].Radios[j].BSSIDs
			for k := range of {
				of[k], _ = h.bssid(of[k])
			}
		}
	}
	return s
}

func (h *hider) walk(w walk.Walk) walk.Walk {
	visits := make([]walk.Visit, len(w.Visits))
	for i, v := range w.Visits {
		scans := make([]walk.Scan, len(v.Scans))
		for j, sc := range v.Scans {
			readings := make([]radio.Reading, 0, len(sc.Readings))
			for _, r := range sc.Readings {
				b, ok := h.bssid(r.BSSID)
				if !ok {
					h.left++
					continue
				}
				r.BSSID, r.SSID, r.MaxBSSIDIndicator = b, h.ssid(r.SSID), 0
				readings = append(readings, r)
			}
			sc.Readings = readings
			scans[j] = sc
		}
		v.Scans = scans
		visits[i] = v
	}
	w.Visits = visits
	return w
}

// ParseHiding reads the name of a way of hiding.
func ParseHiding(s string) (Hiding, error) {
	for _, h := range Hidings() {
		if s == string(h) {
			return h, nil
		}
	}
	return "", fmt.Errorf("%q; use keep, hash or drop", s)
}
