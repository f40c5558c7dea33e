package capture

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"footrule/internal/radio"
)

var (
	iwBSS     = regexp.MustCompile(`^BSS (\S\S(?::\S\S){5})\s*(?:\(on (.{1,32}?)\))?(?:\s|$)`)
	iwCommand = regexp.MustCompile(`(?:^|[\s/;])iw\s.*\bscan\b\s*(\w*)`)
	iwFailed  = regexp.MustCompile(`^command failed: `)
	iwField   = regexp.MustCompile(`^(?:freq|signal|last seen|SSID):`) // where indentation was lost
	iwSignal  = regexp.MustCompile(`^(-?\d+(?:\.\d+)?) dBm$`)
	iwPercent = regexp.MustCompile(`^-?\d+(?:\.\d+)?/100$`)
	iwAge     = regexp.MustCompile(`^(\d{1,12}) ms ago$`)
	iwBoot    = regexp.MustCompile(`^(\d{1,12}(?:\.\d+)?)\s*s \[boottime\]$`)
)

func isIW(head []byte) bool {
	return anyLine(head, func(s string) bool {
		return iwBSS.MatchString(strings.TrimSpace(s)) || iwCommand.MatchString(s) && prompt.MatchString(s)
	})
}

// bss is one block of the text.
type bss struct {
	line   int
	parted bool // a prompt, a command or a time stood before it
	iface  string
	heard  radio.Heard
	freq   bool
	level  bool
	age    bool
	ssid   bool
	bad    string // why it can't be used
	boot   float64
	booted bool
}

// listing is one scan of a text: what stood between two prompts.
type listing struct {
	bss    []bss
	bad    int // results that were left out
	stamp  time.Time
	begins bool    // the stamp was printed before the sweep began
	end    float64 // boot clock when it was listed, s; NaN where unknown
}

// iwText takes the text apart.
type iwText struct {
	s       *source
	scans   []listing
	cur     *bss
	parted  bool
	stamp   time.Time
	sweep   bool // the last command asked for a sweep, not for a dump
	waiting bool // a scan was asked for and nothing came yet
	failed  string
	vague   bool
	guessed bool // scans were parted where a BSSID came again
	total   int
	bad     int
	badLine int
	badWhy  string
}

// readIW reads the output of "iw dev IFACE scan" and "scan dump", alone or as
// a terminal recorded it, several after each other.
//
// A new scan begins where a prompt, a command or a time stands between two
// blocks; where the boot clock at which the results were listed (boottime of
// the last frame + its age) moves by more than half a second; and where a
// BSSID comes again on the same frequency. A command that printed nothing
// before the next prompt is a scan that heard nothing.
//
// A line that is only a time, before a scan, is when the scan was listed, or,
// where the command is seen and is no dump, when it began. Scans without one
// are placed by their boot clocks beside one that has one, or beside
// Options.Time.
func readIW(s *source) error {
	p := &iwText{s: s}
	l := lines{br: s.br}
	for l.next() {
		if err := p.line(l.n, l.text); err != nil {
			return err
		}
	}
	if b := p.cur; b != nil && b.bad == "" && !b.level {
		b.bad = "the text ends in the middle of it"
	}
	if err := p.flush(); err != nil {
		return err
	}
	if l.err != nil {
		s.warn("the text breaks off after line %d: %v", l.n, l.err)
	}
	if p.bad > 0 {
		s.warn("%d of %d results are left out; the first at line %d: %s", p.bad, p.total, p.badLine, p.badWhy)
	}
	if p.bad == p.total && (p.total > 0 || len(p.scans) == 0) {
		return p.nothing(l.n)
	}
	if p.guessed {
		s.warn("scans were told apart where a BSSID came again, because nothing stands between them: the first results of a scan may have been counted in the one before")
	}
	if p.vague {
		s.warn("a time without its offset from UTC was passed over (date -Is writes one)")
	}
	if len(s.c.Interfaces) > 1 {
		s.warn("levels of %d interfaces stand in one capture (%s): they don't compare with each other", len(s.c.Interfaces), strings.Join(s.c.Interfaces, ", "))
	}
	return s.list(p.scans)
}

// nothing says why a text gave no reading.
func (p *iwText) nothing(line int) error {
	switch {
	case p.total > 0:
		return p.s.fail(p.badLine, fmt.Sprintf("none of %d results can be used: %s", p.total, p.badWhy), "")
	case p.failed != "":
		return p.s.fail(line, "the scan failed: "+clip(p.failed), "scan again as root, or when no other scan is running")
	default:
		return p.s.fail(0, "there are no scan results in it", "give the whole output of iw dev IFACE scan")
	}
}

func (p *iwText) line(n int, raw string) error {
	text := strings.TrimSpace(raw)
	if m := iwBSS.FindStringSubmatch(text); m != nil {
		if err := p.flush(); err != nil {
			return err
		}
		p.cur = &bss{line: n, iface: m[2], parted: p.parted}
		p.parted, p.waiting = false, false
		id, err := radio.ParseBSSID(m[1])
		switch {
		case err != nil:
			p.cur.bad = err.Error()
		case id.IsZero() || id.Group():
			p.cur.bad = fmt.Sprintf("%s is no BSSID of an access point", id)
		}
		p.cur.heard.BSSID = id
		return nil
	}
	if text == "" {
		return nil
	}
	if raw[0] != ' ' && raw[0] != '\t' && !iwField.MatchString(raw) {
		if done, err := p.between(text); done || err != nil {
			return err
		}
	}
	if p.cur == nil {
		return nil
	}
	return p.field(n, text)
}

// between handles what stands between scans: times, prompts, commands, errors.
func (p *iwText) between(text string) (bool, error) {
	t, isTime, vague := stampOf(text)
	p.vague = p.vague || vague
	command := iwCommand.FindStringSubmatch(text)
	failed := iwFailed.MatchString(text)
	if !isTime && !vague && !failed && command == nil && !prompt.MatchString(text) {
		return false, nil
	}
	if err := p.flush(); err != nil {
		return true, err
	}
	if p.waiting && !failed { // the scan before heard nothing
		if err := p.open(); err != nil {
			return true, err
		}
		p.waiting = false
	}
	p.parted = true
	switch {
	case isTime:
		p.stamp, p.sweep = t, false
	case failed:
		p.failed, p.waiting, p.stamp = text, false, time.Time{}
	case command != nil:
		sub := command[1]
		p.sweep = sub != "dump" && sub != "trigger" && sub != "abort"
		p.waiting = sub != "trigger" && sub != "abort"
	}
	return true, nil
}

// field reads one line of a block. The first of each kind counts, so a name
// deeper in the block can't take its place.
func (p *iwText) field(n int, text string) error {
	b := p.cur
	key, val, ok := strings.Cut(text, ":")
	if !ok {
		return nil
	}
	trimmed := strings.TrimSpace(val)
	switch key {
	case "freq":
		if f, err := strconv.ParseFloat(trimmed, 64); err == nil && !b.freq && f > 0 && f < 1e6 {
			b.heard.FreqMHz, b.freq = int(math.Round(f)), true
		}
	case "signal":
		if b.level {
			return nil
		}
		if iwPercent.MatchString(trimmed) {
			return p.s.fail(n, fmt.Sprintf("the level is %s, a share without a unit and not dBm", trimmed), "record with an adapter whose driver reports dBm")
		}
		if m := iwSignal.FindStringSubmatch(trimmed); m != nil {
			b.heard.RSSIDBm, _ = strconv.ParseFloat(m[1], 64)
			b.level = true
		}
	case "last seen":
		if m := iwAge.FindStringSubmatch(trimmed); m != nil && !b.age {
			ms, _ := strconv.ParseInt(m[1], 10, 64)
			b.heard.Age, b.age = time.Duration(ms)*time.Millisecond, true
		}
		if m := iwBoot.FindStringSubmatch(trimmed); m != nil && !b.booted {
			b.boot, _ = strconv.ParseFloat(m[1], 64)
			b.booted = true
		}
	case "SSID":
		if b.ssid && b.heard.SSID != "" {
			return nil
		}
		b.heard.SSID, b.ssid = ssidOf(unescape(strings.TrimPrefix(val, " "))), true
	}
	return nil
}

// open begins a scan.
func (p *iwText) open() error {
	p.scans = append(p.scans, listing{stamp: p.stamp, begins: p.sweep, end: math.NaN()})
	p.stamp = time.Time{}
	return p.s.take()
}

const sameListing = 0.5 // s; results of one listing agree to some milliseconds

// flush ends the block that is being read and puts it in its scan.
func (p *iwText) flush() error {
	b := p.cur
	p.cur = nil
	if b == nil {
		return nil
	}
	p.total++
	end := math.NaN()
	if b.booted && b.age {
		end = b.boot + b.heard.Age.Seconds()
	}
	fresh := len(p.scans) == 0 || b.parted
	if !fresh {
		cur := &p.scans[len(p.scans)-1]
		switch {
		case math.Abs(end-cur.end) > sameListing:
			fresh = true
		case math.Abs(end-cur.end) <= sameListing:
		case slices.ContainsFunc(cur.bss, func(x bss) bool {
			return x.bad == "" && b.bad == "" && x.heard.BSSID == b.heard.BSSID && x.heard.FreqMHz == b.heard.FreqMHz
		}):
			fresh, p.guessed = true, true
		}
	}
	if fresh {
		if err := p.open(); err != nil {
			return err
		}
	}
	cur := &p.scans[len(p.scans)-1]
	if math.IsNaN(cur.end) {
		cur.end = end
	}
	if b.iface != "" && !slices.Contains(p.s.c.Interfaces, b.iface) && len(p.s.c.Interfaces) < maxWarnings {
		p.s.c.Interfaces = append(p.s.c.Interfaces, b.iface)
	}
	if b.bad == "" {
		b.bad = b.fault()
	}
	if b.bad != "" {
		p.bad++
		cur.bad++
		if p.badLine == 0 {
			p.badLine, p.badWhy = b.line, b.bad
		}
		return nil
	}
	cur.bss = append(cur.bss, *b)
	return p.s.take()
}

// fault says why a block gives no reading; empty where it does.
func (b *bss) fault() string {
	switch {
	case !b.level:
		return "it has no level in dBm"
	case !radio.LevelOK(b.heard.RSSIDBm):
		return fmt.Sprintf("%g dBm is no level of a receiver", b.heard.RSSIDBm)
	case !b.freq:
		return "it has no frequency"
	}
	if _, ok := radio.BandOf(b.heard.FreqMHz); !ok {
		return fmt.Sprintf("%d MHz is in no band of a WLAN", b.heard.FreqMHz)
	}
	return ""
}
