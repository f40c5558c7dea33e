package nl80211

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"footrule/internal/radio"

	"github.com/mdlayher/genetlink"
	"github.com/mdlayher/netlink"
	"golang.org/x/sys/unix"
)

// The pauses of a scan. All are judgement, with the reason beside them.
const (
	firstPause = 100 * time.Millisecond // a foreign scan of one channel takes that long
	longPause  = 2 * time.Second        // a foreign full sweep takes some 5 s
	abortWait  = time.Second            // the kernel confirms an abort after one dwell, some 0.1 s
	sleepSlack = 100 * time.Millisecond // two clocks are not read at the same moment
	staleSlack = 20 * time.Millisecond  // SEEN_MS_AGO counts ticks of 4 to 10 ms
	dumpTries  = 5                      // until a dump is not torn by a change of the list
)

// live is the scanner on Linux.
type live struct {
	opt   Options
	sys   *system
	iface Interface
	plain bool // the adapter refuses to flush; ages alone keep old results out
	ctx   context.Context
	stop  context.CancelFunc
}

func open(name string, opt Options) (live, error) {
	if opt.Timeout == 0 {
		opt.Timeout = DefaultTimeout
	}
	if opt.Retries == 0 {
		opt.Retries = DefaultRetries
	}
	sys := opt.system()
	i, err := sys.pick(name)
	if err != nil {
		return live{}, err
	}
	ctx, stop := context.WithCancel(context.Background())
	return live{opt: opt, sys: sys, iface: i, ctx: ctx, stop: stop}, nil
}

func (l *live) about() Interface { return l.iface }

func (l *live) close() { l.stop() }

// scan repeats attempts until one succeeds or there is no point in another.
func (l *live) scan(ctx context.Context, req radio.Request) (Result, error) {
	if l.ctx.Err() != nil {
		return Result{}, &Error{Kind: ErrClosed, Iface: l.iface.Name, Do: "open it again"}
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	defer context.AfterFunc(l.ctx, func() { cancel(ErrClosed) })()
	expired := l.sys.clock.After(l.opt.Timeout)

	pause, aborted := firstPause, 0
	var last error
	for n := 1; ; n++ {
		if ctx.Err() != nil {
			return Result{}, l.ended(ctx, last)
		}
		a := &attempt{live: l, req: req, pause: pause, expired: expired}
		r, err := a.run(ctx)
		switch {
		case err == nil:
			r.Attempts = n
			return r, nil
		case errors.Is(err, errAgain):
			continue
		case errors.Is(err, ErrBusy):
			pause = min(2*pause, longPause)
		case errors.Is(err, ErrAborted):
			if aborted++; aborted > l.opt.Retries {
				return Result{}, err
			}
			select { // what aborted it may still be going on
			case <-l.sys.clock.After(firstPause):
			case <-expired:
				return Result{}, err
			case <-ctx.Done():
			}
		case ctx.Err() != nil:
			return Result{}, l.ended(ctx, last)
		default:
			return Result{}, err
		}
		last = err
		if a.late {
			return Result{}, l.late(last)
		}
	}
}

// errAgain asks for another attempt with what this one learned.
var errAgain = errors.New("try again")

// ended names the end of ctx: what kept the scan waiting, or else cancel and
// deadline themselves.
func (l *live) ended(ctx context.Context, last error) error {
	cause := context.Cause(ctx)
	var e *Error
	switch {
	case errors.Is(cause, ErrClosed):
		return &Error{Kind: ErrClosed, Iface: l.iface.Name}
	case errors.Is(last, ErrBusy) && errors.As(last, &e):
		return &Error{Kind: e.Kind, Iface: e.Iface, What: e.What, Do: e.Do, Fix: e.Fix, Cause: cause}
	case errors.Is(cause, context.DeadlineExceeded):
		return &Error{Kind: ErrTimeout, Iface: l.iface.Name, Do: "allow it more time or scan fewer channels", Cause: cause}
	}
	return fmt.Errorf("%s: scan was given up: %w", l.iface.Name, cause)
}

// late names the end of Options.Timeout.
func (l *live) late(last error) error {
	if errors.Is(last, ErrBusy) || errors.Is(last, ErrAborted) {
		return last
	}
	return &Error{Kind: ErrTimeout, Iface: l.iface.Name, What: fmt.Sprintf("scan did not end within %v", l.opt.Timeout),
		Do: "try again; if it stays so, unplug the adapter and plug it in, or reload its driver"}
}

// attempt is one trigger of the kernel's scan and the wait for its end.
type attempt struct {
	*live
	req     radio.Request
	pause   time.Duration
	expired <-chan time.Time
	late    bool // expired has fired

	c      conn // requests
	family genetlink.Family
	events *listener
}

func (a *attempt) run(ctx context.Context) (Result, error) {
	c, err := a.sys.dial()
	if err == nil {
		defer c.Close()
		a.c = c
		a.family, err = c.GetFamily(unix.NL80211_GENL_NAME)
	}
	if err != nil {
		return Result{}, a.refusal(err)
	}
	// The socket for events is as young as the attempt: between joining and
	// triggering no foreign scan can both begin and end.
	a.events, err = a.sys.listen(a.family)
	if err != nil {
		return Result{}, a.refusal(err)
	}
	defer a.events.close()

	started := a.sys.clock.Now()
	boot, mono := a.sys.clock.Boot(), a.sys.clock.Mono()
	if err := a.command(cmdTriggerScan, a.trigger); err != nil {
		return Result{}, a.refused(ctx, err)
	}
	if err := a.wait(ctx); err != nil {
		return Result{}, err
	}
	messages, now, err := a.dump()
	if err != nil {
		return Result{}, err
	}
	if slept := (now - boot) - (a.sys.clock.Mono() - mono); slept > sleepSlack {
		return Result{}, &Error{Kind: ErrAborted, Iface: a.iface.Name, What: "the machine slept during the scan", Do: "scan again"}
	}
	return a.result(messages, started, boot, now)
}

// command sends a request about the interface and waits for the kernel's answer.
func (a *attempt) command(cmd uint8, fill func(*netlink.AttributeEncoder)) error {
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(attrIfindex, uint32(a.iface.Index))
	if fill != nil {
		fill(ae)
	}
	data, err := ae.Encode()
	if err != nil {
		return err
	}
	m := genetlink.Message{Header: genetlink.Header{Command: cmd, Version: a.family.Version}, Data: data}
	_, err = a.c.Execute(m, a.family.ID, netlink.Request|netlink.Acknowledge)
	return err
}

// trigger fills in the scan request: no SSIDs means passive, one of no octets
// is the wildcard.
func (a *attempt) trigger(ae *netlink.AttributeEncoder) {
	if !a.req.Passive {
		ae.Nested(attrScanSSIDs, func(ae *netlink.AttributeEncoder) error {
			ae.Bytes(1, []byte{})
			return nil
		})
	}
	if len(a.req.FreqsMHz) > 0 {
		ae.Nested(attrScanFrequencies, func(ae *netlink.AttributeEncoder) error {
			for n, f := range a.req.FreqsMHz {
				ae.Uint32(uint16(n+1), uint32(f))
			}
			return nil
		})
	}
	if !a.plain {
		ae.Uint32(attrScanFlags, scanFlagFlush)
	}
}

// refused handles what the kernel answered to the trigger.
func (a *attempt) refused(ctx context.Context, err error) error {
	switch {
	case errors.Is(err, unix.EBUSY):
		// A foreign scan's end on any interface may free the adapter.
		alarm := a.sys.clock.After(a.pause)
		for waiting := true; waiting; {
			select {
			case e, ok := <-a.events.ch:
				waiting = ok && e.command != cmdNewScanResults && e.command != cmdScanAborted
			case <-alarm:
				waiting = false
			case <-a.expired:
				a.late, waiting = true, false
			case <-ctx.Done():
				waiting = false
			}
		}
		return a.sys.busyError(a.iface, err)
	case errors.Is(err, unix.EOPNOTSUPP):
		if i, e := a.sys.pick(a.iface.Name); e == nil && !a.plain && i.Index == a.iface.Index {
			a.plain = true
			return errAgain
		}
	case errors.Is(err, unix.ENODEV):
		if i, e := a.sys.pick(a.iface.Name); e == nil && i.Index != a.iface.Index {
			a.iface = i // unplugged and back
			return errAgain
		}
	}
	return a.refusal(err)
}

// refusal names an error of the system.
func (a *attempt) refusal(err error) error {
	i := a.iface
	switch {
	case noWireless(err):
		return &Error{Kind: ErrNoWireless, Iface: i.Name, Do: "load it", Fix: "sudo modprobe cfg80211", Cause: err}
	case errors.Is(err, unix.EPERM), errors.Is(err, unix.EACCES):
		return a.opt.permissionError(i.Name)
	case errors.Is(err, unix.ENETDOWN), errors.Is(err, unix.ERFKILL):
		if i.Blocked = a.sys.blocked(i.Name); i.Blocked != "" || errors.Is(err, unix.ERFKILL) {
			return rfkillError(i)
		}
		return downError(i)
	case errors.Is(err, unix.ENODEV):
		return goneError(i)
	case errors.Is(err, unix.EOPNOTSUPP):
		var e *Error
		if _, err := a.sys.pick(i.Name); errors.As(err, &e) {
			return e
		}
		return &Error{Kind: ErrMode, Iface: i.Name, What: "adapter takes no scans in its present state", Do: "disconnect it and set station mode", Cause: err}
	case errors.Is(err, unix.EINVAL):
		if now, e := a.sys.pick(i.Name); e == nil {
			for _, f := range a.req.FreqsMHz {
				if !slices.Contains(now.FreqsMHz, f) {
					return &Error{Kind: ErrChannel, Iface: i.Name, What: fmt.Sprintf("adapter or country does not permit %d MHz", f),
						Do: "leave that channel out, or set the country you are in", Fix: "sudo iw reg set XX", Cause: err}
				}
			}
		}
	}
	return &Error{Kind: ErrDriver, Iface: i.Name, Do: "see what the driver says", Fix: "sudo dmesg | tail", Cause: err}
}

func goneError(i Interface) *Error {
	return &Error{Kind: ErrGone, Iface: i.Name, Do: "plug it in again; the next scan finds it under its name"}
}

// wait sees the scan through. Only events after the start of a scan on our
// interface count: an older one may be the end of somebody else's.
func (a *attempt) wait(ctx context.Context) error {
	begun := false
	for {
		select {
		case e, ok := <-a.events.ch:
			switch {
			case !ok:
				a.abort()
				return &Error{Kind: ErrAborted, Iface: a.iface.Name, What: "the kernel's messages were lost", Do: "scan again", Cause: a.events.err}
			case e.ifindex != a.iface.Index:
			case e.command == cmdDelInterface:
				return goneError(a.iface)
			case e.command == cmdTriggerScan:
				begun = true
			case e.command == cmdNewScanResults && begun:
				return nil
			case e.command == cmdScanAborted && begun:
				return &Error{Kind: ErrAborted, Iface: a.iface.Name, Do: "scan again; if it stays so, stop the program that connects this adapter"}
			}
		case <-ctx.Done():
			a.abort()
			return context.Cause(ctx)
		case <-a.expired:
			a.abort()
			return a.live.late(nil)
		}
	}
}

// abort ends the kernel's scan and waits a moment for the confirmation, so
// that the adapter is free. A driver that can't abort is left to finish.
func (a *attempt) abort() {
	if err := a.command(cmdAbortScan, nil); err != nil {
		return
	}
	alarm := a.sys.clock.After(abortWait)
	for {
		select {
		case e, ok := <-a.events.ch:
			if !ok || e.ifindex == a.iface.Index && e.command != cmdTriggerScan {
				return
			}
		case <-alarm:
			return
		}
	}
}
