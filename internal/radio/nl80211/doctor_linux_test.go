package nl80211

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/mdlayher/wifi"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

func TestOpen(t *testing.T) {
	tests := []struct {
		name, iface string
		edit        func(*kernel)
		want        string // the interface
		kind        error
		text        string
	}{
		{name: "first station", iface: "", want: "wlan0"},
		{name: "named", iface: "wlan1", want: "wlan1"},
		{name: "first that is a station", iface: "", edit: func(k *kernel) { k.ifaces[2].Type = wifi.InterfaceTypeMonitor }, want: "wlan1"},
		{name: "no nl80211", edit: func(k *kernel) { k.listErr = errNoFamily }, kind: ErrNoWireless,
			text: "the kernel has no wireless support loaded (netlink receive: family: file does not exist); load it: sudo modprobe cfg80211"},
		{name: "listing fails", edit: func(k *kernel) { k.listErr = unix.EIO }, kind: ErrDriver, text: "wireless interfaces can't be listed (input/output error)"},
		{name: "no adapter", edit: func(k *kernel) { k.ifaces, k.phys = nil, nil }, kind: ErrNoAdapter,
			text: "no wireless adapter is there; plug one in; where one is built in, look for its driver and firmware: sudo dmesg | grep -i firmware"},
		{name: "adapter without interface", edit: func(k *kernel) { k.ifaces = nil }, kind: ErrNoAdapter,
			text: "adapter phy0 has no network interface; add one: sudo iw phy phy0 interface add wlan0 type managed"},
		{name: "no such name", iface: "wlan7", kind: ErrNoAdapter, text: "wlan7: there is no interface of that name; take one of wlan0, wlan1"},
		{name: "not wireless", iface: "eth0", kind: ErrNoAdapter, text: "eth0: is not a wireless interface; take one of wlan0, wlan1"},
		{name: "path as a name", iface: "../net/eth0", kind: ErrNoAdapter, text: "../net/eth0: there is no interface of that name; take one of wlan0, wlan1"},
		{name: "access point", iface: "wlan0", edit: func(k *kernel) { k.ifaces[2].Type = wifi.InterfaceTypeAP }, kind: ErrMode,
			text: "wlan0: is in access point mode, not in station mode; change it: sudo sh -c 'ip link set wlan0 down && iw dev wlan0 set type managed && ip link set wlan0 up'"},
		{name: "no station at all", iface: "", edit: func(k *kernel) {
			k.ifaces[2].Type = wifi.InterfaceTypeMonitor
			k.ifaces[0].Type = wifi.InterfaceTypeAP
		}, kind: ErrMode, text: "wlan0: is in monitor mode, not in station mode; change it: sudo sh -c 'ip link set wlan0 down && iw dev wlan0 set type managed && ip link set wlan0 up'"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k := newKernel(t)
			if tt.edit != nil {
				tt.edit(k)
			}
			s, err := Open(tt.iface, k.options())
			if tt.kind != nil {
				require.ErrorIs(t, err, tt.kind)
				assert.EqualError(t, err, tt.text)
				assert.Nil(t, s)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, tt.want, s.Interface().Name)
			assert.NoError(t, s.Close())
		})
	}
}

func TestInterfaces(t *testing.T) {
	k := newKernel(t)
	k.set("sys/class/net/wlan0/phy80211/rfkill0/soft", "1")
	k.set("sys/class/net/wlan1/flags", "0x1002")
	k.set("sys/class/net/wlan0/device/uevent", "OF_NAME=wifi\nDRIVER=mac80211_hwsim\nMODALIAS=platform:x\n")
	got, err := interfaces(k.options())
	require.NoError(t, err)
	assert.Equal(t, []Interface{
		{Name: "wlan0", Index: 5, Driver: "mac80211_hwsim", MAC: "02:00:00:00:00:00", Mode: "station", Station: true, Up: true, Blocked: "soft", FreqsMHz: []int{2412, 2437, 5180}},
		{Name: "wlan1", Index: 6, PHY: 1, MAC: "02:00:00:00:01:00", Mode: "station", Station: true},
	}, got)
}

// The machine that runs the tests may have wireless or not; what it gives is
// a list or a named error.
func TestInterfacesHere(t *testing.T) {
	all, err := Interfaces()
	if err != nil {
		assert.True(t, errors.Is(err, ErrNoWireless) || errors.Is(err, ErrDriver), "%v", err)
		assert.Empty(t, all)
	}
	checks := Diagnose(context.Background(), "no-such-interface", Options{})
	require.NotEmpty(t, checks)
	last := checks[len(checks)-1]
	assert.False(t, last.OK)
	assert.NotEmpty(t, last.Fix)
}

func TestDiagnose(t *testing.T) {
	well := []Check{
		{Name: "wireless support", OK: true, Detail: "the kernel has it"},
		{Name: "adapter", OK: true, Detail: "wlan0 on phy0"},
		{Name: "mode", OK: true, Detail: "station"},
		{Name: "radio switch", OK: true, Detail: "on"},
		{Name: "interface up", OK: true, Detail: "up"},
		{Name: "permission", OK: true, Detail: "CAP_NET_ADMIN"},
		{Name: "country", OK: true, Detail: "DE, 3 channels", Minor: true},
		{Name: "other programs", OK: true, Detail: "none that scans by itself", Minor: true},
		{Name: "trial sweep", OK: true, Detail: "1 heard at [2412] MHz in 0 ms"},
	}
	// but gives the checks of a machine that is well, up to n and with one other.
	but := func(n int, other Check) []Check {
		out := append([]Check(nil), well[:n]...)
		for i := range out {
			if out[i].Name == other.Name {
				out[i] = other
				return out
			}
		}
		return append(out, other)
	}
	tests := []struct {
		name  string
		edit  func(*kernel)
		opt   Options
		turns []turn
		want  []Check
	}{
		{name: "all is well", turns: []turn{done()}, want: well},
		{name: "no nl80211", edit: func(k *kernel) { k.listErr = errNoFamily }, want: []Check{{Name: "wireless support",
			Detail: "the kernel has no wireless support loaded (netlink receive: family: file does not exist)", Fix: "sudo modprobe cfg80211"}}},
		{name: "no adapter", edit: func(k *kernel) { k.ifaces, k.phys = nil, nil }, want: but(1, Check{Name: "adapter",
			Detail: "no wireless adapter is there", Fix: "sudo dmesg | grep -i firmware"})},
		{name: "mode", edit: func(k *kernel) {
			k.ifaces[0].Type, k.ifaces[2].Type = wifi.InterfaceTypeAP, wifi.InterfaceTypeMonitor
		}, want: []Check{well[0], {Name: "adapter", OK: true, Detail: "2 of 2 adapters have an interface"}, {Name: "mode",
			Detail: "wlan0: is in monitor mode, not in station mode",
			Fix:    "sudo sh -c 'ip link set wlan0 down && iw dev wlan0 set type managed && ip link set wlan0 up'"}}},
		{name: "switched off by software", edit: func(k *kernel) { k.set("sys/class/net/wlan0/phy80211/rfkill0/soft", "1") },
			want: but(8, Check{Name: "radio switch", Detail: "wlan0: radio is switched off by software", Fix: "sudo rfkill unblock wlan"})},
		{name: "switched off by hand", edit: func(k *kernel) { k.set("sys/class/net/wlan0/phy80211/rfkill0/hard", "1") },
			want: but(8, Check{Name: "radio switch", Detail: "wlan0: radio is switched off by a switch or key of the machine", Fix: "use that switch"})},
		{name: "down", edit: func(k *kernel) { k.set("sys/class/net/wlan0/flags", "0x1002") },
			want: but(8, Check{Name: "interface up", Detail: "wlan0: interface is down", Fix: "sudo ip link set wlan0 up"})},
		{name: "no permission", edit: func(k *kernel) { k.set("proc/self/status", "CapEff:\t00000000a80425fb\n") },
			opt: Options{Executable: "/home/x/footrule"}, want: but(8, Check{Name: "permission",
				Detail: "wlan0: no permission to scan", Fix: "sudo setcap cap_net_admin+ep /home/x/footrule"})},
		{name: "no country", edit: func(k *kernel) { k.region = "00" }, turns: []turn{done()},
			want: but(9, Check{Name: "country", Minor: true, Detail: "no country is set; 3 channels may be used, and many only be listened to",
				Fix: "sudo iw reg set XX  (XX: the two letters of the country you are in)"})},
		{name: "another program", edit: func(k *kernel) { k.set("proc/812/comm", "iwd") }, turns: []turn{done()},
			want: but(9, Check{Name: "other programs", Minor: true, Detail: "iwd is running and may scan or connect during a walk", Fix: "sudo systemctl stop iwd"})},
		{name: "busy", edit: func(k *kernel) {
			k.set("proc/812/comm", "NetworkManager")
			k.clock.ring = func(d time.Duration) bool { return d == trialTimeout }
		}, turns: []turn{{errno: unix.EBUSY}},
			want: append(but(8, Check{Name: "other programs", Minor: true, Detail: "NetworkManager is running and may scan or connect during a walk",
				Fix: "sudo nmcli device set wlan0 managed no"}), Check{Name: "trial sweep",
				Detail: "wlan0: adapter is busy with another scan (netlink receive: device or resource busy)", Fix: "sudo nmcli device set wlan0 managed no"})},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			k := newKernel(t, tt.turns...)
			k.hear(1, 2412, -6000, 0)
			if tt.edit != nil {
				tt.edit(k)
			}
			opt := tt.opt
			opt.sys = k.options().sys
			assert.Equal(t, tt.want, Diagnose(context.Background(), "", opt))
			if len(k.triggers) > 0 {
				assert.Equal(t, []int{2412}, k.triggers[0].freqs)
			}
		})
	}
}
