//go:build linux

package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"strings"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211"
	"footrule/internal/radio/nl80211/lab/air"
)

const usage = `usage: guest checks        all checks of the lab
       guest up [CC MHZ]   the simulated radio and its air, ready to scan, in a country
                           where the channel may be used (US 5180)
       guest air LINE      one control line to the air: at 3 4, ap ..., levels
       guest medium        the air itself
       guest scan          one sweep of two channels; prints what it ended in
       guest dump          what the kernel remembers, as it says it: CLOCK_BOOTTIME
                           in ns, then the attributes of a message a line, in hex`

func main() {
	if err := run(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "guest:", err)
		os.Exit(1)
	}
}

func run(args []string) error {
	if len(args) == 0 {
		return fmt.Errorf("no command\n%s", usage)
	}
	switch args[0] {
	case "checks":
		return checks()
	case "up":
		l := &lab{}
		if err := l.load(); err != nil {
			return err
		}
		if err := l.plug("lab0"); err != nil {
			return err
		}
		code, freq := "US", 5180
		if len(args) == 3 {
			code = args[1]
			if _, err := fmt.Sscan(args[2], &freq); err != nil {
				return fmt.Errorf("channel %q: %w", args[2], err)
			}
		}
		if err := l.country(code, freq); err != nil {
			return err
		}
		return l.ready()
	case "air":
		c, err := air.Dial(air.Socket)
		if err != nil {
			return err
		}
		defer c.Close()
		answer, err := c.Do(strings.Join(args[1:], " "))
		if answer != "" {
			fmt.Println(answer)
		}
		return err
	case "medium":
		return medium()
	case "scan":
		s, err := nl80211.Open("", nl80211.Options{Timeout: 5 * time.Second})
		if err != nil {
			return err
		}
		sweep, err := s.Scan(context.Background(), radio.Request{FreqsMHz: []int{2412, 2437}})
		if err != nil {
			return err
		}
		for _, h := range sweep.Heard {
			fmt.Printf("%s %d MHz %g dBm %v\n", h.BSSID, h.FreqMHz, h.RSSIDBm, h.Age)
		}
		return nil
	case "dump":
		return dump(os.Stdout)
	}
	return fmt.Errorf("no command %q\n%s", args[0], usage)
}

// medium serves the air until it is killed.
func medium() error {
	m, err := air.Open()
	if err != nil {
		return err
	}
	defer m.Close()
	if err := os.Remove(air.Socket); err != nil && !os.IsNotExist(err) {
		return err
	}
	l, err := net.Listen("unix", air.Socket)
	if err != nil {
		return err
	}
	defer l.Close()
	failed := make(chan error, 2)
	go func() { failed <- air.Serve(l, m.Do) }()
	go func() { failed <- m.Run() }()
	return <-failed
}
