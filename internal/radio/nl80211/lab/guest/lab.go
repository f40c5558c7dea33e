//go:build linux

package main

import (
	"context"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"
	"footrule/internal/radio/nl80211/lab/air"

	"github.com/mdlayher/genetlink"
	"github.com/mdlayher/netlink"
	"github.com/mdlayher/wifi"
	"golang.org/x/sys/unix"
)

// iface is the name that the kernel gives the first simulated radio.
const iface = "wlan0"

// lab is the state of the emulated machine, and the tally.
type lab struct {
	control        *air.Control
	passed, failed int
}

// pass counts a check and prints its line. detail is what was seen.
func (l *lab) pass(ok bool, name, detail string, args ...any) {
	word := "PASS"
	if ok {
		l.passed++
	} else {
		l.failed++
		word = "FAIL"
	}
	fmt.Printf("%s %s: %s\n", word, name, strings.ReplaceAll(fmt.Sprintf(detail, args...), "\n", " "))
}

// must ends the lab where there is no going on.
func must(err error) {
	if err != nil {
		panic(err)
	}
}

func busybox(args ...string) error {
	out, err := exec.Command("/bin/busybox", args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w: %s", strings.Join(args, " "), err, out)
	}
	return nil
}

func link(state string) error { return busybox("ip", "link", "set", iface, state) }

// until waits for a condition that another part of the kernel brings about.
func until(what string, ok func() bool) error {
	for end := time.Now().Add(10 * time.Second); !ok(); time.Sleep(20 * time.Millisecond) {
		if time.Now().After(end) {
			return fmt.Errorf("%s did not come about in 10 s", what)
		}
	}
	return nil
}

// load loads the wireless subsystem without a radio.
func (l *lab) load() error { return busybox("modprobe", "mac80211_hwsim", "radios=0") }

// plug plugs a radio in and waits for its interface.
func (l *lab) plug(name string) error {
	if err := air.NewRadio(name); err != nil {
		return err
	}
	return until("interface of "+name, func() bool {
		found, err := filepath.Glob("/sys/class/ieee80211/" + name + "/device/net/*")
		return err == nil && len(found) > 0
	})
}

// country sets the regulatory domain and waits until a channel may be used.
func (l *lab) country(code string, freqMHz int) error {
	c, err := wifi.New()
	if err != nil {
		return err
	}
	defer c.Close()
	if err := c.SetRegulatoryRegion(code, wifi.RegulatoryHintUser); err != nil {
		return err
	}
	return until("country "+code, func() bool {
		phys, err := c.PHYs()
		if err != nil {
			return false
		}
		for _, p := range phys {
			for _, b := range p.BandAttributes {
				for _, f := range b.FrequencyAttributes {
					if f.Frequency == freqMHz && !f.Disabled && !f.NoIR {
						return true
					}
				}
			}
		}
		return false
	})
}

// ready starts the air where it is not running, tells it the radio's address
// and brings the interface up.
func (l *lab) ready() error {
	if l.control == nil {
		self, err := os.Executable()
		if err != nil {
			return err
		}
		cmd := exec.Command(self, "medium")
		cmd.Stderr = os.Stderr
		if err := cmd.Start(); err != nil {
			return err
		}
		err = until("the air", func() bool {
			l.control, err = air.Dial(air.Socket)
			return err == nil
		})
		if err != nil {
			return err
		}
	}
	if err := link("up"); err != nil {
		return err
	}
	i, err := net.InterfaceByName(iface)
	if err != nil {
		return err
	}
	// The medium knows radios by their second address, 42: in place of 02:.
	address := append([]byte{0x42}, i.HardwareAddr[1:]...)
	_, err = l.control.Do("radio " + radio.BSSID(address).String())
	return err
}

// air carries out control lines.
func (l *lab) air(lines ...string) string {
	answer := ""
	for _, line := range lines {
		var err error
		answer, err = l.control.Do(line)
		must(err)
	}
	return answer
}

// open opens the scanner under test.
func open(opt nl80211.Options) *nl80211.Scanner {
	s, err := nl80211.Open(iface, opt)
	must(err)
	return s
}

// sweep takes one sweep with a scanner of its own.
func sweep(req radio.Request, opt nl80211.Options) (nl80211.Result, error) {
	s := open(opt)
	defer s.Close()
	return s.ScanBSS(context.Background(), req)
}

// foreign is another program with a netlink socket of its own.
type foreign struct {
	c      *genetlink.Conn
	family genetlink.Family
	index  int
}

func newForeign(name string) *foreign {
	c, err := genetlink.Dial(nil)
	must(err)
	f, err := c.GetFamily(unix.NL80211_GENL_NAME)
	must(err)
	i, err := net.InterfaceByName(name)
	must(err)
	return &foreign{c, f, i.Index}
}

func (f *foreign) do(cmd uint8, fill func(*netlink.AttributeEncoder)) error {
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(unix.NL80211_ATTR_IFINDEX, uint32(f.index))
	if fill != nil {
		fill(ae)
	}
	data, err := ae.Encode()
	if err != nil {
		return err
	}
	_, err = f.c.Execute(genetlink.Message{Header: genetlink.Header{Command: cmd, Version: f.family.Version}, Data: data},
		f.family.ID, netlink.Request|netlink.Acknowledge)
	return err
}

// listen triggers a passive scan, of all channels where none is given.
func (f *foreign) listen(freqs ...int) error {
	return f.do(unix.NL80211_CMD_TRIGGER_SCAN, func(ae *netlink.AttributeEncoder) {
		if len(freqs) > 0 {
			ae.Nested(unix.NL80211_ATTR_SCAN_FREQUENCIES, func(ae *netlink.AttributeEncoder) error {
				for n, v := range freqs {
					ae.Uint32(uint16(n), uint32(v))
				}
				return nil
			})
		}
	})
}

func (f *foreign) abort() error { return f.do(unix.NL80211_CMD_ABORT_SCAN, nil) }

func (f *foreign) mode(iftype uint32) error {
	return f.do(unix.NL80211_CMD_SET_INTERFACE, func(ae *netlink.AttributeEncoder) {
		ae.Uint32(unix.NL80211_ATTR_IFTYPE, iftype)
	})
}

// beacon makes an interface in AP mode serve a network.
func (f *foreign) beacon() error {
	a := air.AP{BSSID: radio.BSSID{2, 0, 0, 0, 0, 0}, SSID: "served", FreqMHz: 2437}
	i, err := net.InterfaceByName(iface)
	if err != nil {
		return err
	}
	copy(a.BSSID[:], i.HardwareAddr)
	return f.do(unix.NL80211_CMD_START_AP, func(ae *netlink.AttributeEncoder) {
		ae.Bytes(unix.NL80211_ATTR_BEACON_HEAD, a.Beacon(0))
		ae.Bytes(unix.NL80211_ATTR_SSID, []byte(a.SSID))
		ae.Uint32(unix.NL80211_ATTR_BEACON_INTERVAL, 100)
		ae.Uint32(unix.NL80211_ATTR_DTIM_PERIOD, 2)
		ae.Uint32(unix.NL80211_ATTR_WIPHY_FREQ, uint32(a.FreqMHz))
		ae.Uint32(unix.NL80211_ATTR_CHANNEL_WIDTH, unix.NL80211_CHAN_WIDTH_20_NOHT)
	})
}

// dump writes what the kernel remembers of scans, raw.
func dump(w io.Writer) error {
	f := newForeign(iface)
	var now unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &now); err != nil {
		return err
	}
	ae := netlink.NewAttributeEncoder()
	ae.Uint32(unix.NL80211_ATTR_IFINDEX, uint32(f.index))
	data, err := ae.Encode()
	if err != nil {
		return err
	}
	answers, err := f.c.Execute(genetlink.Message{Header: genetlink.Header{Command: unix.NL80211_CMD_GET_SCAN, Version: f.family.Version}, Data: data},
		f.family.ID, netlink.Request|netlink.Dump)
	if err != nil {
		return err
	}
	fmt.Fprintf(w, "boottime %d\n", now.Nano())
	for _, m := range answers {
		fmt.Fprintf(w, "message %x\n", m.Data)
	}
	return nil
}
