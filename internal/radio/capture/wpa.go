package capture

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"footrule/internal/radio"
)

const wpaHeader = "bssid / frequency / signal level / flags / ssid"

// A row: BSSID, MHz, level, flags in brackets, SSID. Between them stand tabs,
// or the spaces that a terminal made of them.
var (
	wpaRow    = regexp.MustCompile(`^(\S\S(?::\S\S){5})\t(\d{1,6})\t(-?\d{1,6})(?:\t((?:\[[^\]\s]*\])*)(?:\t(.*))?)?$`)
	wpaSpaced = regexp.MustCompile(`^(\S\S(?::\S\S){5})\s+(\d{1,6})\s+(-?\d{1,6})(?:\s+((?:\[[^\]\s]*\])*))?(?:\s(.*))?$`)
)

func matchRow(s string) []string {
	if m := wpaRow.FindStringSubmatch(s); m != nil {
		return m
	}
	return wpaSpaced.FindStringSubmatch(s)
}

func isWPA(head []byte) bool {
	return anyLine(head, func(s string) bool {
		s = strings.TrimSpace(s)
		return s == wpaHeader || matchRow(s) != nil
	})
}

// readWPA reads the table that "wpa_cli scan_results" prints, several after
// each other. Its rows carry no ages. A level that is not negative is a
// percentage or has no unit, and the table is refused.
func readWPA(s *source) error {
	var scans []listing
	var stamp time.Time
	open := func() error {
		scans = append(scans, listing{stamp: stamp, end: math.NaN()})
		stamp = time.Time{}
		return s.take()
	}
	total, bad, badLine, badWhy := 0, 0, 0, ""
	vague := false
	l := lines{br: s.br}
	for l.next() {
		text := strings.TrimLeft(l.text, " \t")
		if strings.HasSuffix(text, wpaHeader) {
			if err := open(); err != nil {
				return err
			}
			continue
		}
		if t, ok, v := stampOf(text); ok || v {
			stamp, vague = t, vague || v
			continue
		}
		m := matchRow(text)
		if m == nil {
			if strings.Count(text, ":") >= 5 && len(text) > 17 && iwLike(text) {
				total, bad = total+1, bad+1
				if badLine == 0 {
					badLine, badWhy = l.n, "it is no whole row of the table"
				}
			}
			continue
		}
		total++
		level, _ := strconv.Atoi(m[3])
		if level >= 0 {
			return s.fail(l.n, fmt.Sprintf("the level is %d, a percentage or a figure without a unit and not dBm", level), "record with an adapter whose driver reports dBm")
		}
		b := bss{line: l.n, freq: true, level: true}
		id, err := radio.ParseBSSID(m[1])
		switch {
		case err != nil:
			b.bad = err.Error()
		case id.IsZero() || id.Group():
			b.bad = fmt.Sprintf("%s is no BSSID of an access point", id)
		default:
			freq, _ := strconv.Atoi(m[2])
			b.heard.Reading = radio.Reading{BSSID: id, SSID: ssidOf(unescape(m[5])), FreqMHz: freq, RSSIDBm: float64(level)}
			b.bad = b.fault()
		}
		if b.bad != "" {
			bad++
			if badLine == 0 {
				badLine, badWhy = l.n, b.bad
			}
			continue
		}
		if len(scans) == 0 {
			if err := open(); err != nil {
				return err
			}
		}
		cur := &scans[len(scans)-1]
		cur.bss = append(cur.bss, b)
		if err := s.take(); err != nil {
			return err
		}
	}
	if l.err != nil {
		s.warn("the text breaks off after line %d: %v", l.n, l.err)
	}
	if total == 0 {
		return s.fail(0, "there are no scan results in it", "give the whole output of wpa_cli scan_results")
	}
	if bad == total {
		return s.fail(badLine, fmt.Sprintf("none of %d results can be used: %s", total, badWhy), "")
	}
	if bad > 0 {
		s.warn("%d of %d results are left out; the first at line %d: %s", bad, total, badLine, badWhy)
	}
	if vague {
		s.warn("a time without its offset from UTC was passed over (date -Is writes one)")
	}
	s.warn("the table carries no ages: results of earlier scans may stand in it")
	return s.list(scans)
}

// iwLike reports whether a line starts like a row, with a BSSID.
func iwLike(text string) bool {
	_, err := radio.ParseBSSID(text[:17])
	return err == nil
}
