package nl80211

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"time"

	"footrule/internal/radio"

	"github.com/mdlayher/genetlink"
	"github.com/mdlayher/netlink"
)

// dump reads the results and the moment of reading. A list that changed
// meanwhile is read again: a torn one would pass for silence.
func (a *attempt) dump() ([]scanMessage, time.Duration, error) {
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(attrIfindex, uint32(a.iface.Index))
	data, err := ae.Encode()
	if err != nil {
		return nil, 0, a.refusal(err)
	}
	request := genetlink.Message{Header: genetlink.Header{Command: cmdGetScan, Version: a.family.Version}, Data: data}
	for range dumpTries {
		boot := a.sys.clock.Boot()
		answers, err := a.c.Execute(request, a.family.ID, netlink.Request|netlink.Dump)
		if err != nil {
			return nil, 0, a.refusal(err)
		}
		messages := make([]scanMessage, len(answers))
		torn := false
		for n, m := range answers {
			if messages[n], err = parseScanMessage(m.Data); err != nil {
				return nil, 0, &Error{Kind: ErrDriver, Iface: a.iface.Name, What: "the kernel's answer can't be read", Cause: err}
			}
			torn = torn || messages[n].generation != messages[0].generation
		}
		if !torn {
			return messages, boot, nil
		}
	}
	return nil, 0, &Error{Kind: ErrAborted, Iface: a.iface.Name, Do: "scan again",
		What: fmt.Sprintf("results changed while they were read, %d times", dumpTries)}
}

// result judges the messages of a dump at boot time now of a scan that was
// triggered at boot time boot, wall time started.
func (a *attempt) result(messages []scanMessage, started time.Time, boot, now time.Duration) (Result, error) {
	end := a.sys.clock.Now()
	r := Result{Interface: a.iface.Name, Started: started, Took: end.Sub(started), FreqsMHz: slices.Clone(a.req.FreqsMHz)}
	seen := map[radio.BSSID]BSS{}
	for _, m := range messages {
		b, err := m.bss(now)
		var refusal *Refusal
		switch {
		case errors.As(err, &refusal):
			// What was not heard in this sweep has nothing to refuse.
			if age, ok := m.age(now); !ok || a.fresh(age, boot, now, end) {
				r.Refused = append(r.Refused, *refusal)
			}
			continue
		case err != nil:
			return Result{}, &Error{Kind: ErrDriver, Iface: a.iface.Name, What: "the kernel's answer can't be read", Cause: err}
		case !a.fresh(b.Age, boot, now, end):
			r.DroppedStale++
			continue
		case len(a.req.FreqsMHz) > 0 && !slices.Contains(a.req.FreqsMHz, b.FreqMHz):
			// From beside its channel the level is too low by an unknown amount.
			r.Refused = append(r.Refused, Refusal{b.BSSID, b.SSID, b.FreqMHz, fmt.Errorf("%w: %d MHz", ErrOffChannel, b.FreqMHz)})
			continue
		}
		// One that changed its channel during the sweep is listed twice.
		if other, twice := seen[b.BSSID]; !twice || b.Age < other.Age {
			seen[b.BSSID] = b
		}
	}
	for _, b := range seen {
		r.BSSs = append(r.BSSs, b)
	}
	slices.SortFunc(r.BSSs, func(x, y BSS) int { return bytes.Compare(x.BSSID[:], y.BSSID[:]) })
	if len(r.BSSs) == 0 {
		for _, f := range r.Refused {
			if errors.Is(f.Reason, ErrSignalPercent) || errors.Is(f.Reason, ErrNoSignal) {
				return Result{}, &Error{Kind: ErrDriver, Iface: a.iface.Name, What: "adapter gives no levels in dBm",
					Do: "take another adapter; this one can't be used for measuring", Cause: f.Reason}
			}
		}
	}
	return r, nil
}

// fresh tells whether something of that age was heard in this sweep and not
// before Request.NotBefore.
func (a *attempt) fresh(age, boot, now time.Duration, end time.Time) bool {
	if now-age < boot-staleSlack {
		return false
	}
	return a.req.NotBefore.IsZero() || !end.Add(-age).Before(a.req.NotBefore)
}
