package capture

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// maxLine is what is kept of a line, in octets; no line that counts is longer.
const maxLine = 4096

// lines reads a text line by line, without terminal escapes and line ends.
type lines struct {
	br   *bufio.Reader
	n    int    // number of the line, from 1
	text string // with its indentation
	err  error  // what ended the text, other than its end
}

// escapes are the control sequences of ECMA-48 that terminals record.
var escapes = regexp.MustCompile(`\x1b\[[0-9:;<=>?]*[ -/]*[@-~]|\x1b\][^\x07\x1b]*(?:\x07|\x1b\\)|\x1b[=>]`)

func (l *lines) next() bool {
	if l.err != nil {
		return false
	}
	raw, err := l.br.ReadSlice('\n')
	text := string(raw[:min(len(raw), maxLine)])
	for errors.Is(err, bufio.ErrBufferFull) {
		_, err = l.br.ReadSlice('\n')
	}
	if err != nil && !errors.Is(err, io.EOF) {
		l.err = err
	}
	if text == "" && err != nil {
		return false
	}
	l.n++
	if l.n == 1 {
		text = strings.TrimPrefix(text, "\ufeff")
	}
	text = strings.TrimRight(text, "\r\n")
	if strings.IndexByte(text, 0x1b) >= 0 {
		text = escapes.ReplaceAllString(text, "")
	}
	l.text = text
	return true
}

// anyLine reports whether a line of the head satisfies f.
func anyLine(head []byte, f func(string) bool) bool {
	l := lines{br: bufio.NewReaderSize(bytes.NewReader(head), headBytes)}
	for l.next() {
		if f(l.text) {
			return true
		}
	}
	return false
}

// prompt is a shell's or wpa_cli's: it ends in $, #, % or >, and what was typed
// may follow.
var prompt = regexp.MustCompile(`^[^\s*].{0,120}?[$#%>](?:\s|$)|^[$#%>](?:\s|$)`)

// stampOf reads a line that is nothing but a time, as date -Is, date
// --rfc-3339, date +%s, or date itself in UTC print it. It may be behind a #.
// vague is true for a time that does not say its offset from UTC.
func stampOf(line string) (t time.Time, ok, vague bool) {
	s := strings.Trim(line, "#=[] \t")
	if len(s) < 9 || len(s) > 64 {
		return t, false, false
	}
	if v, err := strconv.ParseFloat(s, 64); err == nil {
		if !(v >= 1e8 && v < 1e11) {
			return t, false, false
		}
		sec, frac := math.Modf(v)
		return time.Unix(int64(sec), int64(math.Round(frac*1e6))*1000).UTC(), true, false
	}
	// date writes a comma before the fraction in some locales.
	iso := strings.Replace(s, ",", ".", 1)
	for _, layout := range []string{time.RFC3339, "2006-01-02T15:04:05Z0700", "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05 Z0700"} {
		if t, err := time.Parse(layout, iso); err == nil {
			return t.UTC(), true, false
		}
	}
	if t, err := time.Parse(time.UnixDate, s); err == nil {
		zone := t.Location().String()
		utc := zone == "UTC" || zone == "GMT"
		return t.UTC(), utc, !utc
	}
	for _, layout := range []string{"2006-01-02 15:04:05", "2006-01-02T15:04:05"} {
		if _, err := time.Parse(layout, iso); err == nil {
			return time.Time{}, false, true
		}
	}
	return time.Time{}, false, false
}

// unescape takes back the escapes of iw and wpa_supplicant: \xNN, \\, \", \e,
// \n, \r, \t. Anything else behind a backslash stays as it is.
func unescape(s string) []byte {
	out := make([]byte, 0, len(s))
	for i := 0; i < len(s); i++ {
		if s[i] != '\\' || i+1 >= len(s) {
			out = append(out, s[i])
			continue
		}
		switch c := s[i+1]; c {
		case '\\', '"':
			out, i = append(out, c), i+1
		case 'e':
			out, i = append(out, 0x1b), i+1
		case 'n':
			out, i = append(out, '\n'), i+1
		case 'r':
			out, i = append(out, '\r'), i+1
		case 't':
			out, i = append(out, '\t'), i+1
		case 'x':
			if i+3 < len(s) {
				if v, err := strconv.ParseUint(s[i+2:i+4], 16, 8); err == nil {
					out, i = append(out, byte(v)), i+3
					continue
				}
			}
			out = append(out, '\\')
		default:
			out = append(out, '\\')
		}
	}
	return out
}

// maxSSID is the longest SSID (IEEE 802.11-2020, 9.4.2.2).
const maxSSID = 32

// ssidOf gives an SSID as it is kept: the octets as a string; empty for a
// hidden one (no octets, or NUL alone), and for more octets than an SSID has.
// Where the octets are not UTF-8, each that is not, and each backslash, is
// written \xNN, so that the string is valid and still tells them all.
func ssidOf(octets []byte) string {
	if len(octets) > maxSSID || !slices.ContainsFunc(octets, func(c byte) bool { return c != 0 }) {
		return ""
	}
	if utf8.Valid(octets) {
		return string(octets)
	}
	var b strings.Builder
	for len(octets) > 0 {
		r, n := utf8.DecodeRune(octets)
		if r == utf8.RuneError && n == 1 || r == '\\' {
			b.WriteString(`\x` + strconv.FormatUint(0x100|uint64(octets[0]), 16)[1:])
		} else {
			b.Write(octets[:n])
		}
		octets = octets[n:]
	}
	return b.String()
}

// clip cuts hostile text for a message.
func clip(s string) string {
	if len(s) > 60 {
		s = s[:60] + "…"
	}
	return strconv.Quote(s)
}
