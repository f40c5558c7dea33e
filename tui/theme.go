package tui

import "footrule/internal/canvas"

// marks are the characters of the plan; every one has an ASCII twin.
type marks struct {
	todo, next, done, skipped, you, fix, void string
	minus, plusMinus, none, times, dot, more  string
	arrows                                    [8]rune // up, then clockwise by an eighth
	rule                                      rune
	cut                                       rune
	bar                                       [2]string
	glyphs                                    canvas.Glyphs
}

func marksOf(ascii bool) marks {
	if ascii {
		return marks{todo: ".", next: ">", done: "o", skipped: "x", you: "@", fix: "+", void: ":",
			minus: "-", plusMinus: "+/-", none: "-", times: "x", dot: "-", more: "...",
			arrows: [8]rune{'^', '/', '>', '\\', 'v', '/', '<', '\\'},
			rule:   '-', cut: '~', bar: [2]string{"|", "|"}, glyphs: canvas.ASCII}
	}
	return marks{todo: "·", next: "▸", done: "●", skipped: "╳", you: "◆", fix: "+", void: "░",
		minus: "−", plusMinus: "±", none: "—", times: "×", dot: "·", more: "…",
		arrows: [8]rune{'↑', '↗', '→', '↘', '↓', '↙', '←', '↖'},
		rule:   '─', cut: '…', bar: [2]string{"├", "┤"}, glyphs: canvas.Braille}
}

// theme is the looks of the screen. Whatever a colour says, a character says too.
type theme struct {
	text, strong, quiet   canvas.Look
	accent, accentStrong  canvas.Look
	wall, way, box, chip  canvas.Look
	full, empty, selected canvas.Look
}

func newTheme() theme {
	// Both keep a contrast of 3:1 or more on black and on white.
	grey := canvas.Hex(0x7d858c).As16(8)
	orange := canvas.Hex(0xc9731a).As16(3)
	teal := canvas.Hex(0x2d8c9c).As16(6)
	return theme{
		strong:       canvas.Look{Style: canvas.Bold},
		quiet:        canvas.Look{Fg: grey},
		accent:       canvas.Look{Fg: orange},
		accentStrong: canvas.Look{Fg: orange, Style: canvas.Bold},
		wall:         canvas.Look{Fg: grey},
		way:          canvas.Look{Fg: orange},
		box:          canvas.Look{Fg: teal, Style: canvas.Reverse},
		chip:         canvas.Look{Style: canvas.Bold | canvas.Reverse},
		full:         canvas.Look{Fg: teal},
		empty:        canvas.Look{Fg: grey},
		selected:     canvas.Look{Fg: orange, Style: canvas.Bold},
	}
}

// levelScale cuts levels in dBm into the steps of the ramp.
var levelScale = canvas.Scale{Edges: [canvas.Steps - 1]float64{-88, -82, -76, -70, -64, -58, -52, -46}}
