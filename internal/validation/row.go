package validation

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"footrule/internal/say"
)

// Verdict says whether a row is as expected.
type Verdict string

// The verdicts.
const (
	OK      Verdict = "ok"   // the value is as expected
	Open    Verdict = "open" // it is not, and its interval allows that it were; more sites would tell
	Off     Verdict = "off"  // its whole interval is not as expected
	NoClaim Verdict = "–"    // nothing is expected; the value is for comparison
)

// Range is what a value is expected to be, its ends included. An infinite end
// is none.
type Range struct{ Lo, Hi float64 }

// Anything is the range of a row that expects nothing.
func Anything() Range { return Range{math.Inf(-1), math.Inf(1)} }

// String is "0.93 to 0.97", "at least 0.95" or "at most 1.1"; empty for Anything.
func (r Range) String() string {
	lo, hi := math.IsInf(r.Lo, -1), math.IsInf(r.Hi, 1)
	switch {
	case lo && hi:
		return ""
	case lo:
		return "at most " + short(r.Hi)
	case hi:
		return "at least " + short(r.Lo)
	}
	return short(r.Lo) + " to " + short(r.Hi)
}

// Row is one figure held against what is expected of it.
type Row struct {
	Study   string  // what was studied, as "propagation model"
	Scene   string  // the kind of site
	Subject string  // the model or the method
	Figure  string  // what Value is, as "n, coverage"
	Unit    string  // "" for shares and ratios
	Value   float64 // NaN where there was nothing to take it from
	Lo, Hi  float64 // its 95 % interval; NaN for none
	Sites   int     // simulated sites, or 1 for a real one
	Cases   int     // intervals, fixes or places behind the value
	Expect  Range
	Note    string // a phrase, may be empty
	Verdict Verdict
}

// judge fills in the verdict: Off where the interval (the value, where there is
// none) has nothing of what is expected, or where there is no value at all.
func (r *Row) judge() {
	lo, hi := r.Lo, r.Hi
	if math.IsNaN(lo) || math.IsNaN(hi) {
		lo, hi = r.Value, r.Value
	}
	switch {
	case r.Expect == Anything():
		r.Verdict = NoClaim
	case r.Value >= r.Expect.Lo && r.Value <= r.Expect.Hi:
		r.Verdict = OK
	case lo <= r.Expect.Hi && hi >= r.Expect.Lo:
		r.Verdict = Open
	default:
		r.Verdict = Off
	}
}

// Report is what a run found.
type Report struct {
	Program string    // version
	Date    time.Time // of the run
	Seed    uint64
	Sites   int // of each simulated kind; 0 where nothing was simulated
	Quick   bool
	Rows    []Row
	Notes   []string // what was left out and why
}

// Count counts the rows of a verdict.
func (r *Report) Count(v Verdict) int {
	n := 0
	for i := range r.Rows {
		if r.Rows[i].Verdict == v {
			n++
		}
	}
	return n
}

// Studies lists the studies of the rows in their order.
func (r *Report) Studies() []string {
	var out []string
	for i := range r.Rows {
		if !slices.Contains(out, r.Rows[i].Study) {
			out = append(out, r.Rows[i].Study)
		}
	}
	return out
}

// Columns are the heads of Cells.
func Columns() []string {
	return []string{"kind of site", "of", "figure", "value", "95 % interval", "cases", "expected", "holds"}
}

// Cells is the row as text, one cell for each of Columns.
func (r *Row) Cells() []string {
	ci := ""
	if !math.IsNaN(r.Lo) && !math.IsNaN(r.Hi) {
		ci = short(r.Lo) + " to " + short(r.Hi)
	}
	value := short(r.Value)
	if r.Unit != "" {
		value += " " + r.Unit
	}
	holds := string(r.Verdict)
	if r.Note != "" {
		holds += " (" + r.Note + ")"
	}
	return []string{r.Scene, r.Subject, r.Figure, value, ci, fmt.Sprint(r.Cases), r.Expect.String(), holds}
}

// short prints a number to three digits after the point where it is small.
func short(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	digits := 3
	if math.Abs(v) >= 10 {
		digits = 1
	}
	s := fmt.Sprintf("%.*f", digits, v)
	if s = strings.TrimRight(strings.TrimRight(s, "0"), "."); s == "-0" {
		s = "0"
	}
	return say.Minus(s)
}
