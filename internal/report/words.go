package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/say"

	"github.com/paulmach/orb"
	"golang.org/x/text/unicode/bidi"
)

// span sets an interval.
func span(lo, hi float64, digits int) string {
	if math.IsNaN(lo) || math.IsNaN(hi) {
		return "–"
	}
	return say.Fixed(lo, digits) + " to " + say.Fixed(hi, digits)
}

func percent(v float64, digits int) string {
	if math.IsNaN(v) {
		return "–"
	}
	s := say.Fixed(100*v, digits)
	if v < 1 && digits < 4 && s == say.Fixed(100, digits) { // nearly all is not all
		return percent(v, digits+1)
	}
	return s
}

func place(p orb.Point) string { return say.Fixed(p[0], 1) + ", " + say.Fixed(p[1], 1) }

// number sets a number with the digits that it was given with.
func number(v float64) string { return say.Minus(fmt.Sprintf("%g", v)) }

func whole(n int) string { return fmt.Sprint(n) }

// plural is a word for so many, without their number.
func plural(n int, one string) string {
	_, word, _ := strings.Cut(say.Count(n, one), " ")
	return word
}

// optional sets a number that may be unknown.
func optional[T int | float64](v *T) string {
	if v == nil {
		return "not known"
	}
	return say.Minus(fmt.Sprint(*v))
}

func or(s, instead string) string {
	if strings.TrimSpace(s) == "" {
		return instead
	}
	return s
}

// capital sets the first letter of a sentence, but leaves names as they are.
func capital(s string) string {
	first, rest, more := strings.Cut(s, " ")
	for _, r := range strings.TrimRight(first, ":,") {
		if r < 'a' || r > 'z' {
			return s
		}
	}
	if first == "" {
		return s
	}
	first = strings.ToUpper(first[:1]) + first[1:]
	if more {
		return first + " " + rest
	}
	return first
}

// sentence ends a text with a full stop.
func sentence(s string) string {
	s = capital(strings.TrimSpace(s))
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".!?") {
		return s
	}
	return s + "."
}

// A run is a piece of text; a foreign one is of a script that is written from right
// to left and must not turn what stands around it.
type run struct {
	text    string
	foreign bool
}

// runs cleans a text and parts it by the direction of its letters. What is between
// two foreign letters and is not a letter belongs to the run.
func runs(s string) []run {
	var out []run
	add := func(text string, foreign bool) {
		if text == "" {
			return
		}
		if n := len(out); n > 0 && out[n-1].foreign == foreign {
			out[n-1].text += text
			return
		}
		out = append(out, run{text, foreign})
	}
	between := ""
	for _, r := range canvas.Clean(s) {
		p, _ := bidi.LookupRune(r)
		switch c := p.Class(); {
		case slices.Contains([]bidi.Class{bidi.R, bidi.AL, bidi.AN}, c):
			add(between, len(out) > 0 && out[len(out)-1].foreign)
			add(string(r), true)
			between = ""
		case c == bidi.L || c == bidi.EN:
			add(between+string(r), false)
			between = ""
		default:
			between += string(r)
		}
	}
	add(between, false)
	return out
}
