package say

import (
	"fmt"
	"math"
	"strings"
)

// Minus writes negative numbers with the sign that is as wide as a digit.
func Minus(s string) string { return strings.ReplaceAll(s, "-", "−") }

// Fixed sets a number with the given digits after the point, a dash where it is
// unknown.
func Fixed(v float64, digits int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return "–"
	}
	s := fmt.Sprintf("%.*f", digits, v)
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // what is rounded to nothing has no sign
	}
	return Minus(s)
}

// Count says how many of a noun whose plural ends in s, or in es after ch.
func Count(n int, noun string) string {
	if strings.HasSuffix(noun, "ch") {
		return Plural(n, noun, noun+"es")
	}
	return Plural(n, noun, noun+"s")
}

// Plural says how many, with the words for one or for many.
func Plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
