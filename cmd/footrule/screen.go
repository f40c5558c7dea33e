package main

import (
	"fmt"
	"os"
	"slices"
	"strings"

	"footrule/internal/canvas"
	"footrule/tui"

	"github.com/charmbracelet/colorprofile"
	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// screenFlags say how a screen looks, for every command that has one.
type screenFlags struct {
	ascii, feet, mouse, big bool
	theme                   string
}

func (f *screenFlags) add(cmd *cobra.Command, lengths bool) {
	fl := cmd.Flags()
	fl.BoolVar(&f.ascii, "ascii", false, "draw with ASCII characters only")
	fl.StringVar(&f.theme, "theme", tui.Themes()[0], "colours for the background: "+strings.Join(tui.Themes(), ", "))
	complete(cmd, "theme", tui.Themes()...)
	if lengths {
		fl.BoolVar(&f.feet, "feet", false, "show lengths in feet (files keep metres)")
		fl.BoolVar(&f.mouse, "mouse", false, "take clicks and the wheel too")
	}
}

// check refuses a theme that there is not.
func (f *screenFlags) check() error {
	if !slices.Contains(tui.Themes(), f.theme) {
		return usage(fmt.Errorf("--theme %q; use one of %s", f.theme, strings.Join(tui.Themes(), ", ")))
	}
	return nil
}

// themeOf is the number of the theme.
func (f *screenFlags) themeOf() tui.Theme {
	return tui.Theme(max(0, slices.Index(tui.Themes(), f.theme)))
}

// profile is how much colour the terminal has, by its environment (NO_COLOR included).
func profile(sh *shell) canvas.Profile {
	switch colorprofile.Detect(sh.out, os.Environ()) {
	case colorprofile.TrueColor:
		return canvas.TrueColor
	case colorprofile.ANSI256:
		return canvas.ANSI256
	case colorprofile.ANSI:
		return canvas.ANSI16
	}
	return canvas.None
}

// onTerminal reports whether a person sits at both ends.
func (sh *shell) onTerminal() bool {
	in, ok1 := sh.in.(*os.File)
	out, ok2 := sh.out.(*os.File)
	return ok1 && ok2 && term.IsTerminal(int(in.Fd())) && term.IsTerminal(int(out.Fd()))
}
