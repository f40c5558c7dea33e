package nl80211

import (
	"errors"
	"fmt"

	"footrule/internal/radio"
)

// The kinds of [Error]; test with errors.Is.
var (
	ErrUnsupported  = errors.New("live scans need Linux; everything else works here")
	ErrNoWireless   = errors.New("the kernel has no wireless support loaded")
	ErrNoAdapter    = errors.New("no such wireless interface")
	ErrMode         = errors.New("interface is not in station mode")
	ErrDown         = errors.New("interface is down")
	ErrRFKill       = errors.New("radio is switched off")
	ErrNoPermission = errors.New("no permission to scan")
	ErrBusy         = errors.New("adapter is busy with another scan")
	ErrAborted      = errors.New("scan was aborted")
	ErrGone         = errors.New("adapter is gone")
	ErrTimeout      = errors.New("scan took too long")
	ErrChannel      = errors.New("adapter can't tune to the channel")
	ErrDriver       = errors.New("driver refused the scan")
	ErrClosed       = errors.New("scanner is closed")
)

// The reasons of a [Refusal], and the kind of an [Error] where every result
// was refused.
var (
	ErrSignalPercent = errors.New("signal is given in percent, not in dBm")
	ErrNoSignal      = errors.New("no signal is given")
	ErrLevel         = errors.New("level is not believable")
	ErrFrequency     = errors.New("frequency is in no band of a WLAN")
	ErrOffChannel    = errors.New("heard from the channel beside its own")
	ErrNoAge         = errors.New("no time of hearing is given")
	ErrBSSID         = errors.New("BSSID is not one of an access point")
)

// Error says which interface failed, why, and what to do.
type Error struct {
	Kind  error  // one of the kinds of this package
	Iface string // may be empty
	What  string // one clause; empty for the text of Kind
	Do    string // what to do, one clause
	Fix   string // the command that does it; may be empty
	Cause error  // what the system said; may be nil
}

// Error gives one line: interface: what; what to do.
func (e *Error) Error() string {
	s := e.What
	if s == "" {
		s = e.Kind.Error()
	}
	if e.Iface != "" {
		s = e.Iface + ": " + s
	}
	if e.Cause != nil {
		s += " (" + e.Cause.Error() + ")"
	}
	if e.Do != "" {
		s += "; " + e.Do
	}
	if e.Fix != "" {
		s += ": " + e.Fix
	}
	return s
}

// Unwrap gives the kind and the cause.
func (e *Error) Unwrap() []error {
	if e.Cause == nil {
		return []error{e.Kind}
	}
	return []error{e.Kind, e.Cause}
}

// Refusal is a result that was heard and can't be used as a reading.
type Refusal struct {
	BSSID   radio.BSSID
	SSID    string // hostile text
	FreqMHz int
	Reason  error // one of the reasons of this package, perhaps with numbers
}

func (r *Refusal) Error() string { return fmt.Sprintf("%s: %v", r.BSSID, r.Reason) }

// Unwrap gives the reason.
func (r *Refusal) Unwrap() error { return r.Reason }
