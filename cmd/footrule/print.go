package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"footrule/internal/propagation"
	"footrule/internal/say"
	"footrule/tui"
)

// number is a float that JSON can say: null where it is not finite.
type number float64

func (n number) MarshalJSON() ([]byte, error) {
	f := float64(n)
	if math.IsNaN(f) || math.IsInf(f, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(f)
}

func pair(lo, hi float64) [2]number { return [2]number{number(lo), number(hi)} }

// printJSON writes one object and a newline.
func printJSON(w io.Writer, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(w, "%s\n", b)
	return err
}

// within prints an estimate with half the width of its 95 % interval: 2.9 ±0.2.
func within(v propagation.Value, digits int) string {
	return say.Fixed(v.Est, digits) + " ±" + say.Fixed((v.Hi-v.Lo)/2, digits)
}

// table prints columns under a header: the first left-aligned, the others right.
func table(w io.Writer, rows [][]string) { _ = tui.Table(w, rows) }

// sentence says a warning with the radio it concerns.
func sentence(w propagation.Warning) string {
	if w.Radio == "" {
		return w.Text
	}
	return w.Radio + ": " + w.Text
}

// paragraph prints text after a head, with its further lines below the first.
func paragraph(w io.Writer, head, text string) {
	const width = 80
	indent := strings.Repeat(" ", len([]rune(head)))
	line := head
	for i, word := range strings.Fields(text) {
		if i > 0 && len([]rune(line))+1+len([]rune(word)) > width {
			fmt.Fprintln(w, line)
			line = indent + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, line)
}
