package tui

import "footrule/internal/canvas"

// marks are the characters of the plan; every one has an ASCII twin.
type marks struct {
	ascii                                     bool
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
		return marks{ascii: true, todo: ".", next: ">", done: "o", skipped: "x", you: "@", fix: "+", void: ":",
			minus: "-", plusMinus: "+/-", none: "-", times: "x", dot: "-", more: "...",
			arrows: [8]rune{'^', '/', '>', '\\', 'v', '/', '<', '\\'},
			rule:   '-', cut: '~', bar: [2]string{"|", "|"}, glyphs: canvas.ASCII}
	}
	return marks{todo: "·", next: "▸", done: "●", skipped: "╳", you: "◆", fix: "+", void: "░",
		minus: "−", plusMinus: "±", none: "—", times: "×", dot: "·", more: "…",
		arrows: [8]rune{'↑', '↗', '→', '↘', '↓', '↙', '←', '↖'},
		rule:   '─', cut: '…', bar: [2]string{"├", "┤"}, glyphs: canvas.Braille}
}

// Theme says for what background the colours are.
type Theme int

// The themes. AnyTheme can be read on black and on white; MonoTheme has bold,
// underlined and reversed text and no colour.
const (
	AnyTheme Theme = iota
	DarkTheme
	LightTheme
	MonoTheme
)

// Themes lists the names of the themes in the order of their numbers.
func Themes() []string { return []string{"any", "dark", "light", "mono"} }

// theme is the looks of the screen. Whatever a colour says, a character says too.
type theme struct {
	mono                  bool
	text, strong, quiet   canvas.Look
	accent, accentStrong  canvas.Look
	wall, way, box, chip  canvas.Look
	full, empty, selected canvas.Look
}

// inks are the three colours of a theme: what is quiet, what wants attention,
// and what is measured. Contrast (WCAG 2.2, 1.4.3 and 1.4.11): 3:1 or more on
// black and on white for any, 4.5:1 or more on their own for dark and light.
func inks(t Theme) (grey, orange, teal canvas.Color) {
	switch t {
	case DarkTheme:
		return canvas.Hex(0x9aa3ab).As16(8), canvas.Hex(0xf0a040).As16(11), canvas.Hex(0x4fb8c9).As16(14)
	case LightTheme:
		return canvas.Hex(0x5c636a).As16(8), canvas.Hex(0x9a4b00).As16(3), canvas.Hex(0x0b6470).As16(6)
	case MonoTheme:
		return canvas.Default, canvas.Default, canvas.Default
	}
	return canvas.Hex(0x7d858c).As16(8), canvas.Hex(0xc9731a).As16(3), canvas.Hex(0x2d8c9c).As16(6)
}

func newTheme(t Theme) theme {
	grey, orange, teal := inks(t)
	th := theme{
		mono:         t == MonoTheme,
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
	if th.mono {
		th.accent.Style = canvas.Underline
		th.accentStrong.Style = canvas.Bold | canvas.Underline
		th.selected.Style = canvas.Bold | canvas.Reverse
	}
	return th
}

// ink is what a step of the ramp looks like.
func (t theme) ink(step int) canvas.Look {
	if t.mono {
		return canvas.Look{}
	}
	return canvas.Look{Bg: canvas.Ramp(step), Fg: canvas.On(step)}
}
