//go:build linux

package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"
	"footrule/internal/radio/nl80211/lab/air"

	"golang.org/x/sys/unix"
)

func checks() error {
	l := &lab{}
	began := time.Now()
	l.withoutRadio()
	l.refusals()
	l.interruptions()
	l.measures()
	l.unplugged()
	fmt.Printf("INFO checks took %.1f s\n", time.Since(began).Seconds())
	return nil
}

// site is the scene that the conditions are tried in.
var site = []string{
	"clear",
	"ap 02:00:5e:10:01:00 freq=2412 at=5,4 ssid=depot",
	"ap 02:00:5e:10:02:00 freq=2437 at=20,4 ssid=depot",
	"ap 02:00:5e:10:03:00 freq=2462 at=35,4 ssid=depot",
	"ap 02:00:5e:10:04:00 freq=5180 at=5,20 ssid=depot",
	"ap 02:00:5e:10:05:00 freq=5745 at=35,20 ssid=depot",
	"at 18 11",
}

var channels = []int{2412, 2437, 2462, 5180, 5745}

// enough is how many of the five a sweep must hear where the figure is not the
// point: an active dwell is 30 ms, a passive one only 8 ms longer than the
// beacon interval, and an emulated machine on a loaded one falters that long.
const enough = 3

// kind checks that an error is of a kind, says what to do, and names the
// command where one must be named.
func (l *lab) kind(name string, err, kind error, fix string) {
	var e *nl80211.Error
	ok := errors.Is(err, kind) && errors.As(err, &e) && e.Do != "" && strings.Contains(e.Fix, fix)
	l.pass(ok, name, "%v", err)
}

// diagnosis checks that Diagnose finds exactly one lack that matters.
func (l *lab) diagnosis(name, lack, fix string) {
	var lacks []string
	ok := false
	for _, c := range nl80211.Diagnose(context.Background(), iface, nl80211.Options{}) {
		if !c.OK && !c.Minor {
			lacks = append(lacks, c.Name+": "+c.Detail+" -> "+c.Fix)
			ok = c.Name == lack && strings.Contains(c.Fix, fix)
		}
	}
	if lack == "" {
		ok = len(lacks) == 0
	}
	l.pass(ok && len(lacks) <= 1, "diagnose "+name, "%v", lacks)
}

// scanErr is the error of a short sweep with a scanner opened now.
func scanErr() error {
	s, err := nl80211.Open(iface, nl80211.Options{Timeout: 3 * time.Second})
	if err != nil {
		return err
	}
	defer s.Close()
	_, err = s.Scan(context.Background(), radio.Request{FreqsMHz: channels[:2]})
	return err
}

// withoutRadio: what stands before the first sweep.
func (l *lab) withoutRadio() {
	_, err := nl80211.Open("", nl80211.Options{})
	l.kind("no wireless subsystem", err, nl80211.ErrNoWireless, "modprobe cfg80211")
	l.diagnosis("no wireless subsystem", "wireless support", "modprobe cfg80211")
	must(l.load())
	_, err = nl80211.Open("", nl80211.Options{})
	l.kind("no radio", err, nl80211.ErrNoAdapter, "")
	all, err := nl80211.Interfaces()
	l.pass(err == nil && len(all) == 0, "no radio, list", "%d interfaces, %v", len(all), err)
	l.diagnosis("no radio", "adapter", "")
	must(l.plug("lab0"))
}

// refusals: what the kernel refuses at once.
func (l *lab) refusals() {
	l.kind("interface down", scanErr(), nl80211.ErrDown, "ip link set wlan0 up")
	l.diagnosis("interface down", "interface up", "ip link set wlan0 up")
	must(l.country("US", 5180))
	must(l.ready())
	l.air(site...)

	switches, err := filepath.Glob("/sys/class/net/" + iface + "/phy80211/rfkill*/soft")
	must(err)
	if len(switches) != 1 {
		must(fmt.Errorf("radio switches: %v", switches))
	}
	must(os.WriteFile(switches[0], []byte("1"), 0o644))
	l.kind("radio switched off", scanErr(), nl80211.ErrRFKill, "rfkill unblock")
	must(os.WriteFile(switches[0], []byte("0"), 0o644))
	must(l.ready())

	_, err = nl80211.Open("wlan7", nl80211.Options{})
	l.kind("no such interface", err, nl80211.ErrNoAdapter, "")
	_, err = nl80211.Open("lo", nl80211.Options{})
	l.kind("not a wireless interface", err, nl80211.ErrNoAdapter, "")

	f := newForeign(iface)
	for _, m := range []struct {
		name string
		mode uint32
	}{{"access point", unix.NL80211_IFTYPE_AP}, {"monitor", unix.NL80211_IFTYPE_MONITOR}} {
		s := open(nl80211.Options{Timeout: 3 * time.Second})
		must(link("down"))
		must(f.mode(m.mode))
		must(link("up"))
		if m.mode == unix.NL80211_IFTYPE_AP {
			must(f.beacon()) // one that serves nobody may still scan
		}
		_, err := nl80211.Open(iface, nl80211.Options{})
		l.kind(m.name+" mode, open", err, nl80211.ErrMode, "set type managed")
		_, err = s.Scan(context.Background(), radio.Request{FreqsMHz: channels[:1]})
		l.kind(m.name+" mode, scan", err, nl80211.ErrMode, "set type managed")
		l.diagnosis(m.name+" mode", "mode", "set type managed")
		s.Close()
		must(link("down"))
		must(f.mode(unix.NL80211_IFTYPE_STATION))
		must(l.ready())
	}

	self, err := os.Executable()
	must(err)
	cmd := exec.Command(self, "scan")
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	out, err := cmd.CombinedOutput()
	l.pass(err != nil && strings.Contains(string(out), "no permission to scan") && strings.Contains(string(out), "setcap cap_net_admin+ep"),
		"no permission", "%s", out)

	_, err = sweep(radio.Request{FreqsMHz: []int{2412, 4920}}, nl80211.Options{Timeout: 3 * time.Second})
	l.kind("channel that the adapter lacks", err, nl80211.ErrChannel, "")
	l.diagnosis("all is well", "", "")
}

// passive lists the first 36 channels of the adapter: some 4 s of listening.
func passive() []int {
	all, err := nl80211.Interfaces()
	must(err)
	return all[0].FreqsMHz[:36]
}

// after does something when a scan has been going on for a while.
func after(d time.Duration, f func()) (join func()) {
	done := make(chan struct{})
	go func() {
		defer close(done)
		time.Sleep(d)
		f()
	}()
	return func() { <-done }
}

// interruptions: what comes between the trigger and the end.
func (l *lab) interruptions() {
	background := context.Background()
	full := radio.Request{Passive: true}
	short := radio.Request{FreqsMHz: channels}
	f := newForeign(iface)

	// Busy: for some 4 s.
	must(f.listen(passive()...))
	_, err := sweep(short, nl80211.Options{Timeout: 500 * time.Millisecond})
	l.kind("foreign scan, no time to wait", err, nl80211.ErrBusy, "")
	ctx, cancel := context.WithTimeout(background, 300*time.Millisecond)
	s := open(nl80211.Options{})
	_, err = s.ScanBSS(ctx, short)
	cancel()
	l.kind("foreign scan, no time in the context", err, nl80211.ErrBusy, "")
	r, err := s.ScanBSS(background, short)
	l.pass(err == nil && r.Attempts > 1 && len(r.BSSs) >= enough, "foreign scan, waited for",
		"%d heard after %d attempts, %v", len(r.BSSs), r.Attempts, err)

	// Given up: the kernel's scan must not go on.
	free := func(name string) {
		r, err := s.ScanBSS(background, short)
		l.pass(err == nil && r.Attempts == 1, name+": adapter is free", "%d attempts, %v", r.Attempts, err)
	}
	ctx, cancel = context.WithTimeout(background, 400*time.Millisecond)
	began := time.Now()
	_, err = s.ScanBSS(ctx, full)
	cancel()
	took := time.Since(began)
	l.kind("deadline", err, nl80211.ErrTimeout, "")
	l.pass(took < time.Second, "deadline: on time", "%v for 400 ms", took.Round(time.Millisecond))
	free("deadline")

	ctx, cancel = context.WithCancel(background)
	join := after(400*time.Millisecond, cancel)
	began = time.Now()
	_, err = s.ScanBSS(ctx, full)
	took = time.Since(began)
	join()
	l.pass(errors.Is(err, context.Canceled) && took < time.Second, "cancel", "%v after %v", err, took.Round(time.Millisecond))
	free("cancel")

	tight := open(nl80211.Options{Timeout: 400 * time.Millisecond})
	_, err = tight.ScanBSS(background, full)
	tight.Close()
	l.kind("own time-out", err, nl80211.ErrTimeout, "")
	free("own time-out")

	closing := open(nl80211.Options{})
	join = after(400*time.Millisecond, func() { closing.Close() })
	_, err = closing.ScanBSS(background, full)
	join()
	l.pass(errors.Is(err, nl80211.ErrClosed), "closed during a scan", "%v", err)
	free("closed during a scan")

	// Aborted by somebody.
	join = after(300*time.Millisecond, func() { must(f.abort()) })
	r, err = s.ScanBSS(background, radio.Request{FreqsMHz: channels, Passive: true})
	join()
	l.pass(err == nil && r.Attempts == 2 && len(r.BSSs) >= enough, "aborted by another program",
		"%d heard after %d attempts, %v", len(r.BSSs), r.Attempts, err)
	once := open(nl80211.Options{Retries: -1})
	join = after(300*time.Millisecond, func() { must(f.abort()) })
	_, err = once.ScanBSS(background, full)
	join()
	once.Close()
	l.kind("aborted, no second try", err, nl80211.ErrAborted, "")

	// Another interface's scan is aborted.
	must(l.plug("lab1"))
	must(busybox("ip", "link", "set", "wlan1", "up"))
	other := newForeign("wlan1")
	aborts := 0
	join = after(100*time.Millisecond, func() {
		for range 3 {
			must(other.listen())
			time.Sleep(50 * time.Millisecond)
			must(other.abort())
			aborts++
			time.Sleep(50 * time.Millisecond)
		}
	})
	r, err = s.ScanBSS(background, radio.Request{FreqsMHz: channels, Passive: true})
	join()
	l.pass(err == nil && r.Attempts == 1 && aborts == 3 && len(r.BSSs) >= enough, "another interface's scan aborted",
		"%d heard after %d attempts beside %d foreign aborts, %v", len(r.BSSs), r.Attempts, aborts, err)
	must(air.DelRadio("lab1"))

	// The ground gives way.
	join = after(300*time.Millisecond, func() { must(link("down")) })
	_, err = s.ScanBSS(background, full)
	join()
	l.kind("interface brought down in a scan", err, nl80211.ErrDown, "ip link set wlan0 up")
	must(l.ready())
	free("interface brought up again")

	l.suspended(s)
	s.Close()
}

// suspended: the kernel's own rehearsal of a suspend stops devices for a
// second and wakes them. The scan under way is aborted and has to be repeated.
func (l *lab) suspended(s *nl80211.Scanner) {
	must(os.WriteFile("/sys/module/suspend/parameters/pm_test_delay", []byte("1"), 0o644))
	must(os.WriteFile("/sys/power/pm_test", []byte("devices"), 0o644))
	join := after(200*time.Millisecond, func() { must(os.WriteFile("/sys/power/state", []byte("freeze"), 0o644)) })
	began := time.Now()
	r, err := s.ScanBSS(context.Background(), radio.Request{FreqsMHz: channels, Passive: true})
	join()
	var freqs []int
	for _, b := range r.BSSs {
		freqs = append(freqs, b.FreqMHz)
	}
	l.pass(err == nil && r.Attempts > 1 && len(r.BSSs) >= enough, "suspended in a scan",
		"%v heard after %d attempts and %v, %v", freqs, r.Attempts, time.Since(began).Round(10*time.Millisecond), err)
	must(os.WriteFile("/sys/power/pm_test", []byte("none"), 0o644))
}

// unplugged: the adapter goes in the middle of a scan and comes back. It is
// the last check, because it takes the radio apart.
func (l *lab) unplugged() {
	s := open(nl80211.Options{})
	defer s.Close()
	join := after(300*time.Millisecond, func() { must(air.DelRadio("lab0")) })
	began := time.Now()
	_, err := s.ScanBSS(context.Background(), radio.Request{Passive: true})
	join()
	l.kind("unplugged in a scan", err, nl80211.ErrGone, "")
	l.pass(time.Since(began) < 2*time.Second, "unplugged in a scan: at once", "%v", time.Since(began).Round(time.Millisecond))
	_, err = s.ScanBSS(context.Background(), radio.Request{})
	l.kind("still unplugged", err, nl80211.ErrGone, "")
	must(l.plug("lab0"))
	must(l.ready())
	l.air(site...)
	r, err := s.ScanBSS(context.Background(), radio.Request{FreqsMHz: channels})
	l.pass(err == nil && len(r.BSSs) >= enough, "plugged in again", "%d heard, %v", len(r.BSSs), err)
}
