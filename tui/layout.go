package tui

import (
	"fmt"

	"footrule/internal/canvas"
)

// The least window a walk is shown in.
const (
	minW = 80
	minH = 24
)

// rect is a part of the window in cells.
type rect struct{ x, y, w, h int }

// layout is where the parts of the screen stand:
//
//	header                     row 0
//	plan            gap  slip  rows 1 to h−5, the slip one row lower
//	scale and legend     slip  row h−4
//	rule                       row h−3
//	what to do now             row h−2
//	keys                       row h−1
type layout struct {
	w, h               int
	plan, legend, slip rect
	rule, now, keys    int // rows
}

// slipWidth is 28 columns, and grows from a window of 120 columns on.
func slipWidth(w int) int {
	if w < 120 {
		return 28
	}
	return min(48, 34+(w-120)/4)
}

// layoutOf parts a window; ok is false where it is too small.
func layoutOf(w, h int, big bool) (l layout, ok bool) {
	if w < minW || h < minH {
		return layout{}, false
	}
	sw := slipWidth(w)
	if big {
		sw = w / 2
	}
	l = layout{w: w, h: h, rule: h - 3, now: h - 2, keys: h - 1}
	l.slip = rect{w - sw, 2, sw, h - 5}
	l.plan = rect{0, 1, w - sw - 2, h - 5}
	l.legend = rect{0, h - 4, l.plan.w, 1}
	return l, true
}

// tooSmall says, cut to the window, that what is shown needs a larger one.
func (w words) tooSmall(what string, width, height int) string {
	text := fmt.Sprintf("The window is %d%s%d, %s needs %d%s%d. It waits.", width, w.times, height, what, minW, w.times, minH)
	return canvas.Cut(text, width, w.cut)
}
