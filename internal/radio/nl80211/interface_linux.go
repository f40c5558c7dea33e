package nl80211

import (
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/radio"

	"github.com/mdlayher/wifi"
)

// flagUp is IFF_UP of linux/if.h in /sys/class/net/*/flags.
const flagUp = 1

func (o Options) system() *system {
	if o.sys != nil {
		return o.sys
	}
	return realSystem()
}

func interfaces(opt Options) ([]Interface, error) {
	all, _, err := opt.system().interfaces()
	return all, err
}

// interfaces lists the wireless interfaces, and the adapters, which may have
// none.
func (s *system) interfaces() ([]Interface, []*wifi.PHY, error) {
	l, err := s.list()
	if err != nil {
		if noWireless(err) {
			return nil, nil, &Error{Kind: ErrNoWireless, Do: "load it", Fix: "sudo modprobe cfg80211", Cause: err}
		}
		return nil, nil, &Error{Kind: ErrDriver, What: "wireless interfaces can't be listed", Cause: err}
	}
	defer l.Close()
	found, err := l.Interfaces()
	if err != nil {
		return nil, nil, &Error{Kind: ErrDriver, What: "wireless interfaces can't be listed", Cause: err}
	}
	phys, err := l.PHYs()
	if err != nil {
		return nil, nil, &Error{Kind: ErrDriver, What: "wireless adapters can't be listed", Cause: err}
	}
	var all []Interface
	for _, f := range found {
		if f.Name == "" { // a P2P device has no network interface
			continue
		}
		i := Interface{
			Name: f.Name, Index: f.Index, PHY: f.PHY, MAC: f.HardwareAddr.String(),
			Mode: f.Type.String(), Station: f.Type == wifi.InterfaceTypeStation,
			Up: s.up(f.Name), Blocked: s.blocked(f.Name), Driver: s.driver(f.Name),
		}
		for _, p := range phys {
			if p.Index == f.PHY {
				i.FreqsMHz = tunable(p)
			}
		}
		all = append(all, i)
	}
	slices.SortFunc(all, func(a, b Interface) int { return a.Index - b.Index })
	return all, phys, nil
}

// tunable lists the channels of WLANs that adapter and country permit.
func tunable(p *wifi.PHY) []int {
	var out []int
	for _, b := range p.BandAttributes {
		for _, f := range b.FrequencyAttributes {
			if _, ok := radio.BandOf(f.Frequency); ok && !f.Disabled {
				out = append(out, f.Frequency)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// text reads a small file of sys or proc; "" where it is not there.
func (s *system) text(name string) string {
	b, err := fs.ReadFile(s.root, name)
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

func (s *system) up(iface string) bool {
	flags, err := strconv.ParseUint(s.text(path.Join("sys/class/net", iface, "flags")), 0, 32)
	return err == nil && flags&flagUp != 0
}

// driver names the driver of the device below an interface.
func (s *system) driver(iface string) string {
	for line := range strings.Lines(s.text(path.Join("sys/class/net", iface, "device/uevent"))) {
		if name, is := strings.CutPrefix(line, "DRIVER="); is {
			return strings.TrimSpace(name)
		}
	}
	return ""
}

// blocked reads the adapter's radio switches: "hard", "soft" or "".
func (s *system) blocked(iface string) string {
	dir := path.Join("sys/class/net", iface, "phy80211")
	entries, err := fs.ReadDir(s.root, dir)
	if err != nil {
		return ""
	}
	out := ""
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), "rfkill") {
			continue
		}
		if s.text(path.Join(dir, e.Name(), "hard")) == "1" {
			return "hard"
		}
		if s.text(path.Join(dir, e.Name(), "soft")) == "1" {
			out = "soft"
		}
	}
	return out
}

// pick finds the named interface, or the first in station mode.
func (s *system) pick(name string) (Interface, error) {
	all, phys, err := s.interfaces()
	if err != nil {
		var e *Error
		if errors.As(err, &e) {
			e.Iface = name
		}
		return Interface{}, err
	}
	var names []string
	for _, i := range all {
		if i.Name == name || name == "" && i.Station {
			if !i.Station {
				return Interface{}, modeError(i)
			}
			return i, nil
		}
		names = append(names, i.Name)
	}
	e := &Error{Kind: ErrNoAdapter, Iface: name}
	switch {
	case len(all) == 0 && len(phys) == 0:
		e.What = "no wireless adapter is there"
		e.Do = "plug one in; where one is built in, look for its driver and firmware"
		e.Fix = "sudo dmesg | grep -i firmware"
	case len(all) == 0:
		e.What = fmt.Sprintf("adapter %s has no network interface", phys[0].Name)
		e.Do = "add one"
		e.Fix = fmt.Sprintf("sudo iw phy %s interface add wlan0 type managed", phys[0].Name)
	case name == "":
		return Interface{}, modeError(all[0])
	case s.exists(name):
		e.What = "is not a wireless interface"
		e.Do = "take one of " + strings.Join(names, ", ")
	default:
		e.What = "there is no interface of that name"
		e.Do = "take one of " + strings.Join(names, ", ")
	}
	return Interface{}, e
}

func (s *system) exists(iface string) bool {
	if !fs.ValidPath(iface) || strings.Contains(iface, "/") {
		return false
	}
	_, err := fs.Stat(s.root, path.Join("sys/class/net", iface))
	return err == nil
}

// The advice that errors and checks share.

func modeError(i Interface) *Error {
	return &Error{
		Kind: ErrMode, Iface: i.Name,
		What: fmt.Sprintf("is in %s mode, not in station mode", i.Mode),
		Do:   "change it",
		Fix:  fmt.Sprintf("sudo sh -c 'ip link set %[1]s down && iw dev %[1]s set type managed && ip link set %[1]s up'", i.Name),
	}
}

func downError(i Interface) *Error {
	return &Error{Kind: ErrDown, Iface: i.Name, Do: "bring it up", Fix: "sudo ip link set " + i.Name + " up"}
}

func rfkillError(i Interface) *Error {
	if i.Blocked == "hard" {
		return &Error{Kind: ErrRFKill, Iface: i.Name, What: "radio is switched off by a switch or key of the machine", Do: "use that switch"}
	}
	return &Error{Kind: ErrRFKill, Iface: i.Name, What: "radio is switched off by software", Do: "switch it on", Fix: "sudo rfkill unblock wlan"}
}

func (o Options) permissionError(iface string) *Error {
	binary := o.Executable
	if binary == "" {
		binary = o.system().binary
	}
	return &Error{Kind: ErrNoPermission, Iface: iface, Do: "give the program the capability", Fix: "sudo setcap cap_net_admin+ep " + binary}
}
