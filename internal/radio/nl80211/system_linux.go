package nl80211

import (
	"errors"
	"io/fs"
	"os"
	"time"

	"github.com/mdlayher/genetlink"
	"github.com/mdlayher/netlink"
	"github.com/mdlayher/wifi"
	"golang.org/x/sys/unix"
)

// conn is a generic netlink socket.
type conn interface {
	GetFamily(name string) (genetlink.Family, error)
	Execute(m genetlink.Message, family uint16, flags netlink.HeaderFlags) ([]genetlink.Message, error)
	Receive() ([]genetlink.Message, []netlink.Message, error)
	JoinGroup(id uint32) error
	Close() error // also ends a Receive in progress
}

// lister gives interfaces and adapters.
type lister interface {
	Interfaces() ([]*wifi.Interface, error)
	PHYs() ([]*wifi.PHY, error)
	GetRegulatoryDomain() (*wifi.RegulatoryDomain, error)
	Close() error
}

// clock reads the clocks and sets alarms.
type clock interface {
	Now() time.Time
	Boot() time.Duration // CLOCK_BOOTTIME: goes on while the machine sleeps
	Mono() time.Duration // CLOCK_MONOTONIC: stands still then
	After(time.Duration) <-chan time.Time
}

// system is all that the scanner touches outside the process.
type system struct {
	dial   func() (conn, error)
	list   func() (lister, error)
	root   fs.FS // the file system from /, for sys and proc
	clock  clock
	uid    int
	binary string // path of the running program
}

// eventBuffer holds the events of a crowded minute; the default of some
// 200 KiB holds as many, but a socket shared by a busy daemon's bursts is
// better too large.
const eventBuffer = 1 << 20

func realSystem() *system {
	binary, err := os.Executable()
	if err != nil {
		binary = "footrule"
	}
	return &system{
		dial: func() (conn, error) {
			c, err := genetlink.Dial(nil)
			if err != nil {
				return nil, err
			}
			// Reading on with the default size is all that is lost here.
			_ = c.SetReadBuffer(eventBuffer)
			// Text beside an error number needs a newer kernel.
			_ = c.SetOption(netlink.ExtendedAcknowledge, true)
			return c, nil
		},
		list:   func() (lister, error) { return wifi.New() },
		root:   os.DirFS("/"),
		clock:  realClock{},
		uid:    os.Geteuid(),
		binary: binary,
	}
}

type realClock struct{}

func (realClock) Now() time.Time                         { return time.Now() }
func (realClock) Boot() time.Duration                    { return read(unix.CLOCK_BOOTTIME) }
func (realClock) Mono() time.Duration                    { return read(unix.CLOCK_MONOTONIC) }
func (realClock) After(d time.Duration) <-chan time.Time { return time.After(d) }

func read(id int32) time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(id, &ts); err != nil {
		panic(err) // only for a clock that Linux lacks; both have been there since 2.6.39
	}
	return time.Duration(ts.Nano())
}

// noWireless tells whether an error of dialling or of GetFamily means that
// nl80211 is not there: no such family, or no generic netlink at all.
func noWireless(err error) bool {
	return errors.Is(err, fs.ErrNotExist) || errors.Is(err, unix.EPROTONOSUPPORT) || errors.Is(err, unix.EAFNOSUPPORT)
}
