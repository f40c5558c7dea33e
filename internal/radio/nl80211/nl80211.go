package nl80211

import (
	"context"
	"time"

	"footrule/internal/radio"
)

// The defaults of [Options].
const (
	// DefaultTimeout leaves room for a passive sweep of three bands: some 100
	// channels of 110 ms, and as much again for waiting.
	DefaultTimeout = 30 * time.Second
	// DefaultRetries is how often a scan that somebody aborted is begun again.
	DefaultRetries = 3
)

// Options shape how a [Scanner] waits. The zero value is usable.
type Options struct {
	Timeout    time.Duration // for one Scan with all its waiting; 0 means DefaultTimeout
	Retries    int           // after aborted scans; 0 means DefaultRetries, negative none
	Executable string        // the program that needs the capability, named in advice; "" means the running one

	sys *system
}

// Interface is a network interface of a wireless adapter.
type Interface struct {
	Name     string
	Index    int
	Driver   string // as the kernel names it; "" where it does not
	PHY      int    // number N of the kernel's phyN
	MAC      string // its own address, lower case with colons
	Mode     string // "station", "access point", "monitor", ...
	Station  bool   // in the one mode that takes sweeps
	Up       bool
	Blocked  string // radio switch: "" free, "soft" by software, "hard" by a switch on the machine
	FreqsMHz []int  // channels that the adapter and the country permit, ascending
}

// Result is a sweep with all that the access points said of themselves.
type Result struct {
	Interface    string
	Started      time.Time // of the attempt that succeeded
	Took         time.Duration
	FreqsMHz     []int     // channels it visited; empty for all that adapter and country permit
	Attempts     int       // 1 unless the adapter was busy or a scan aborted
	BSSs         []BSS     // ascending BSSID, one each
	DroppedStale int       // heard before the sweep began or before Request.NotBefore
	Refused      []Refusal // heard, but without a level that can be used
}

// Sweep gives the result as the plain readings of radio.Scanner.
func (r Result) Sweep() radio.Sweep {
	s := radio.Sweep{Interface: r.Interface, Started: r.Started, Took: r.Took, FreqsMHz: r.FreqsMHz, DroppedStale: r.DroppedStale}
	for _, b := range r.BSSs {
		s.Heard = append(s.Heard, b.Heard())
	}
	return s
}

// Scanner takes sweeps with one wireless interface. It holds no socket between
// sweeps, so an adapter that was unplugged works again once it is back under
// its name. One goroutine at a time calls Scan or ScanBSS; Close may be called
// from another and ends a running sweep.
type Scanner struct{ live }

var _ radio.Scanner = (*Scanner)(nil)

// Open finds the wireless interface with a name, or with "" the first one in
// station mode. It needs no privilege. Errors are [*Error] of kind
// [ErrNoWireless], [ErrNoAdapter], [ErrMode] or [ErrUnsupported].
func Open(iface string, opt Options) (*Scanner, error) {
	l, err := open(iface, opt)
	if err != nil {
		return nil, err
	}
	return &Scanner{l}, nil
}

// Interfaces lists the wireless interfaces of this machine by ascending index.
// None is no error.
func Interfaces() ([]Interface, error) { return interfaces(Options{}) }

// Interface describes the interface as it was when the scanner was opened.
func (s *Scanner) Interface() Interface { return s.about() }

// Scan takes one sweep; see [Scanner.ScanBSS].
func (s *Scanner) Scan(ctx context.Context, req radio.Request) (radio.Sweep, error) {
	r, err := s.ScanBSS(ctx, req)
	if err != nil {
		return radio.Sweep{}, err
	}
	return r.Sweep(), nil
}

// ScanBSS takes one sweep: probes with the wildcard SSID (or, passive, only
// listens) on the channels of the request, waits for the kernel to finish and
// reads what it heard meanwhile.
//
//  1. A result older than the scan itself or than Request.NotBefore is left
//     out and counted.
//  2. A busy adapter is tried again with growing pauses until ctx or
//     Options.Timeout ends, an aborted scan Options.Retries times.
//  3. When ctx ends first, the kernel's scan is aborted, so that the next
//     sweep does not find the adapter busy.
//  4. A result without a level in dBm is refused by name; where every result
//     is refused, the sweep fails instead of saying that nothing was heard.
//
// Errors are [*Error] with one of the kinds of this package.
func (s *Scanner) ScanBSS(ctx context.Context, req radio.Request) (Result, error) {
	return s.scan(ctx, req)
}

// Close ends a running sweep; later ones fail. It never returns an error.
func (s *Scanner) Close() error {
	s.close()
	return nil
}

// Check is one thing that live readings need.
type Check struct {
	Name   string
	OK     bool
	Detail string // what was found
	Fix    string // the one command, or thing to do by hand, that mends it; empty when OK
	Minor  bool   // readings can be taken without it
}

// Diagnose checks step by step what live readings need, ending in a trial
// sweep of one channel. A check that cannot be made because an earlier one
// failed is left out; there is always at least one.
func Diagnose(ctx context.Context, iface string, opt Options) []Check {
	return diagnose(ctx, iface, opt)
}
