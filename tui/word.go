package tui

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
)

// words turns numbers into what is shown.
type words struct {
	marks
	feet bool
}

// number gives v with a fixed count of decimals, or the sign for none where v
// is not finite. Zero has no sign.
func (w words) number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return w.none
	}
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if rest, neg := strings.CutPrefix(s, "-"); neg {
		if strings.Trim(rest, "0.") == "" {
			return rest
		}
		return w.minus + rest
	}
	return s
}

// signed is number with a plus sign on what is above zero.
func (w words) signed(v float64, decimals int) string {
	s := w.number(v, decimals)
	if v > 0 && strings.Trim(s, "0.") != "" && s != w.none {
		return "+" + s
	}
	return s
}

// interval gives the half of an interval, ±0.2; nothing where it is unknown.
func (w words) interval(half float64, decimals int) string {
	if math.IsNaN(half) || math.IsInf(half, 0) {
		return ""
	}
	return w.plusMinus + w.number(math.Abs(half), decimals)
}

// say gives a sentence that was written elsewhere in the characters that are
// wanted here.
func (w words) say(text string) string {
	if !w.ascii {
		return text
	}
	return plainly.Replace(text)
}

var plainly = strings.NewReplacer("−", "-", "–", "-", "—", "-", "±", "+/-", "×", "x", "²", "2", "…", "...", "’", "'", "≥", ">=", "σ", "sigma", " ", " ", "₁₀", "10")

const footM = 0.3048 // international foot, exact since 1959

// length converts metres to what the screen shows.
func (w words) length(m float64) float64 {
	if w.feet {
		return m / footM
	}
	return m
}

func (w words) unit() string {
	if w.feet {
		return "ft"
	}
	return "m"
}

// metres gives a length with its unit: 7.2 m, 24 m.
func (w words) metres(m float64) string {
	v, d := w.length(m), 1
	if v >= 9.95 {
		d = 0
	}
	return w.number(v, d) + " " + w.unit()
}

var ways = [8]string{"up", "up and right", "right", "down and right", "down", "down and left", "left", "up and left"}

// eighth gives the direction from a to b as eighths clockwise from up; ok is
// false where they are one place.
func eighth(a, b orb.Point) (int, bool) {
	dx, dy := b[0]-a[0], b[1]-a[1]
	if math.Hypot(dx, dy) < 0.05 {
		return 0, false
	}
	return eighthOf(math.Atan2(dx, dy) * 180 / math.Pi), true
}

func eighthOf(deg float64) int { return ((int(math.Round(deg/45)) % 8) + 8) % 8 }

// facing says a facing in words; empty for none.
func facing(deg float64) string {
	if deg == walk.NoFacing {
		return ""
	}
	return ways[eighthOf(deg)]
}

// leg gives the pieces of a way in words, the first one first: "7.2 m up and right".
func (w words) leg(l Leg) []string {
	var out []string
	for i := 1; i < len(l.Via); i++ {
		if k, ok := eighth(l.Via[i-1], l.Via[i]); ok {
			d := math.Hypot(l.Via[i][0]-l.Via[i-1][0], l.Via[i][1]-l.Via[i-1][1])
			out = append(out, w.metres(d)+" "+ways[k])
		}
	}
	return out
}

// offset says how far the stand was nudged: "0.5 m left"; empty for not at all.
func (w words) offset(o orb.Point) string {
	var parts []string
	add := func(v float64, pos, neg string) {
		if math.Abs(v) < 1e-9 {
			return
		}
		way := pos
		if v < 0 {
			way = neg
		}
		d := 2
		if w.feet || math.Abs(math.Remainder(v, 0.5)) < 1e-9 {
			d = 1
		}
		parts = append(parts, w.number(w.length(math.Abs(v)), d)+" "+w.unit()+" "+way)
	}
	add(o[0], "right", "left")
	add(o[1], "up", "down")
	return strings.Join(parts, ", ")
}

func minutes(d time.Duration) string {
	m := int(d / time.Minute)
	if m < 60 {
		return fmt.Sprintf("%d min", m)
	}
	return fmt.Sprintf("%d h %02d min", m/60, m%60)
}

// grouped writes a count with thin groups of three: 12 345.
func grouped(n int) string {
	s := strconv.Itoa(n)
	for i := len(s) - 3; i > 0 && len(s) > 4; i -= 3 {
		s = s[:i] + " " + s[i:]
	}
	return s
}

// sentence makes a clean sentence of an error: a capital, a full stop.
func sentence(err error) string {
	s := strings.TrimSpace(canvas.Clean(err.Error()))
	if s == "" {
		s = "unknown error"
	}
	// A name at the head, as of an interface or a file, is not a word.
	head, _, _ := strings.Cut(s, " ")
	if c := s[0]; 'a' <= c && c <= 'z' && !strings.ContainsAny(head, ":/.-_0123456789") {
		s = string(c-'a'+'A') + s[1:]
	}
	if !strings.HasSuffix(s, ".") {
		s += "."
	}
	return s
}
