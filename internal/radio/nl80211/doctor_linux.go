package nl80211

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"strconv"
	"strings"
	"time"

	"footrule/internal/radio"
)

// capNetAdmin is the bit number of CAP_NET_ADMIN in linux/capability.h.
const capNetAdmin = 12

// trialTimeout bounds the trial sweep of Diagnose: one channel takes 0.1 s,
// somebody else's full sweep some 5 s before it.
const trialTimeout = 10 * time.Second

// world is the regulatory domain of a machine that was not told its country.
const world = "00"

// daemons are programs that scan by themselves, with what keeps them from it.
var daemons = []struct{ comm, fix string }{
	{"NetworkManager", "sudo nmcli device set %s managed no"},
	{"iwd", "sudo systemctl stop iwd"},
	{"connmand", "sudo systemctl stop connman"},
	{"wpa_supplicant", "sudo systemctl stop wpa_supplicant"},
}

func diagnose(ctx context.Context, iface string, opt Options) []Check {
	sys := opt.system()
	opt.sys = sys
	if opt.Timeout == 0 {
		opt.Timeout = trialTimeout
	}
	var checks []Check
	add := func(name string, e error, good string) bool {
		checks = append(checks, check(name, e, good))
		return e == nil
	}

	all, phys, err := sys.interfaces()
	if !add("wireless support", err, "the kernel has it") {
		return checks
	}
	i, err := sys.pick(iface)
	if errors.Is(err, ErrMode) {
		add("adapter", nil, fmt.Sprintf("%d of %d adapters have an interface", len(all), len(phys)))
		add("mode", err, "")
		return checks
	}
	if !add("adapter", err, fmt.Sprintf("%s on phy%d", i.Name, i.PHY)) {
		return checks
	}
	add("mode", nil, i.Mode)

	ready := true
	var e error
	if i.Blocked != "" {
		e = rfkillError(i)
	}
	ready = add("radio switch", e, "on") && ready

	e = nil
	if !i.Up {
		e = downError(i)
	}
	ready = add("interface up", e, "up") && ready

	e = nil
	if !sys.capable() {
		e = opt.permissionError(i.Name)
	}
	ready = add("permission", e, "CAP_NET_ADMIN") && ready

	checks = append(checks, sys.country(i))
	checks = append(checks, sys.others(i))
	if ready {
		checks = append(checks, sys.trial(ctx, i, opt))
	}
	return checks
}

// check makes a check of an error's text and fix.
func check(name string, err error, good string) Check {
	if err == nil {
		return Check{Name: name, OK: true, Detail: good}
	}
	c := Check{Name: name, Detail: err.Error()}
	var e *Error
	if errors.As(err, &e) {
		said := *e
		said.Do, said.Fix = "", ""
		c.Detail = said.Error()
		if c.Fix = e.Fix; c.Fix == "" {
			c.Fix = e.Do
		}
	}
	return c
}

// capable reads the effective capabilities of this process.
func (s *system) capable() bool {
	for line := range strings.Lines(s.text("proc/self/status")) {
		if set, ok := strings.CutPrefix(line, "CapEff:"); ok {
			bits, err := strconv.ParseUint(strings.TrimSpace(set), 16, 64)
			return err == nil && bits>>capNetAdmin&1 == 1
		}
	}
	return s.uid == 0
}

// country says whether the machine knows where it is: without, channels above
// 2.4 GHz are only listened to, or closed.
func (s *system) country(i Interface) Check {
	c := Check{Name: "country", Minor: true, Fix: "sudo iw reg set XX  (XX: the two letters of the country you are in)"}
	l, err := s.list()
	if err != nil {
		c.Detail = err.Error()
		return c
	}
	defer l.Close()
	d, err := l.GetRegulatoryDomain()
	switch {
	case err != nil:
		c.Detail = "the country is not known: " + err.Error()
	case d.Region == world || d.Region == "":
		c.Detail = fmt.Sprintf("no country is set; %d channels may be used, and many only be listened to", len(i.FreqsMHz))
	default:
		c.OK, c.Fix = true, ""
		c.Detail = fmt.Sprintf("%s, %d channels", d.Region, len(i.FreqsMHz))
	}
	return c
}

// others looks for programs that scan by themselves.
func (s *system) others(i Interface) Check {
	c := Check{Name: "other programs", Minor: true, OK: true, Detail: "none that scans by itself"}
	if name, fix := s.daemon(i); name != "" {
		c.OK, c.Fix = false, fix
		c.Detail = name + " is running and may scan or connect during a walk"
	}
	return c
}

// daemon names the first running program that scans by itself, and what keeps
// it from the interface.
func (s *system) daemon(i Interface) (name, fix string) {
	running := map[string]bool{}
	entries, err := fs.ReadDir(s.root, "proc")
	if err != nil {
		return "", ""
	}
	for _, e := range entries {
		if _, err := strconv.Atoi(e.Name()); err == nil {
			running[s.text(path.Join("proc", e.Name(), "comm"))] = true
		}
	}
	for _, d := range daemons {
		if running[d.comm] {
			if strings.Contains(d.fix, "%s") {
				return d.comm, fmt.Sprintf(d.fix, i.Name)
			}
			return d.comm, d.fix
		}
	}
	return "", ""
}

// busyError says who keeps the adapter busy, as far as that can be seen.
func (s *system) busyError(i Interface, cause error) *Error {
	e := &Error{Kind: ErrBusy, Iface: i.Name, Do: "stop the program that scans or connects with it", Cause: cause}
	if name, fix := s.daemon(i); name != "" {
		e.Do, e.Fix = "keep "+name+" from it", fix
	}
	return e
}

// trial takes a sweep of one channel.
func (s *system) trial(ctx context.Context, i Interface, opt Options) Check {
	l, err := open(i.Name, opt)
	if err != nil {
		return check("trial sweep", err, "")
	}
	defer l.close()
	var req radio.Request
	if len(i.FreqsMHz) > 0 {
		req.FreqsMHz = i.FreqsMHz[:1]
	}
	r, err := l.scan(ctx, req)
	return check("trial sweep", err, fmt.Sprintf("%d heard at %v MHz in %d ms", len(r.BSSs), req.FreqsMHz, r.Took.Milliseconds()))
}
