package nl80211

import (
	"fmt"

	"github.com/mdlayher/genetlink"
	"golang.org/x/sys/unix"
)

// listener receives the kernel's events until it is closed.
type listener struct {
	c   conn
	ch  chan event // closed after a failure, which then stands in err
	end chan struct{}
	err error
}

// listen joins the groups of scans and of interfaces that come and go.
func (s *system) listen(family genetlink.Family) (*listener, error) {
	c, err := s.dial()
	if err != nil {
		return nil, err
	}
	joined := 0
	for _, g := range family.Groups {
		if g.Name == unix.NL80211_MULTICAST_GROUP_SCAN || g.Name == unix.NL80211_MULTICAST_GROUP_CONFIG {
			if err := c.JoinGroup(g.ID); err != nil {
				c.Close()
				return nil, err
			}
			joined++
		}
	}
	if joined != 2 {
		c.Close()
		return nil, fmt.Errorf("kernel has %d of the 2 groups of scan events", joined)
	}
	l := &listener{c: c, ch: make(chan event, 16), end: make(chan struct{})}
	go l.run()
	return l, nil
}

func (l *listener) run() {
	defer close(l.ch)
	for {
		messages, _, err := l.c.Receive()
		if err != nil {
			l.err = err
			return
		}
		for _, m := range messages {
			switch m.Header.Command {
			case cmdTriggerScan, cmdNewScanResults, cmdScanAborted, cmdDelInterface:
			default:
				continue
			}
			e, err := parseEvent(m.Header.Command, m.Data)
			if err != nil {
				l.err = err
				return
			}
			select {
			case l.ch <- e:
			case <-l.end:
				return
			}
		}
	}
}

func (l *listener) close() {
	close(l.end)
	l.c.Close()
}
