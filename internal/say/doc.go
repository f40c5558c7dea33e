// Package say sets numbers and counts as the program's sentences and tables have
// them: with the sign that is as wide as a digit, a dash for what is unknown, and
// the noun in the right number.
package say
