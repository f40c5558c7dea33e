package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"
)

// version and revision are set by the linker for releases.
var (
	version  = "0.1.0-dev"
	revision string
)

// shell is what a command may touch of the world around it.
type shell struct {
	in       io.Reader
	out, err io.Writer
	now      func() time.Time
	getenv   func(string) string
}

// run is the program with its world passed in; it gives the exit code.
func run(args []string, in io.Reader, out, errw io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	root := newRoot(&shell{in: in, out: out, err: errw, now: time.Now, getenv: os.Getenv})
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err != nil && err.Error() != "" {
		fmt.Fprintln(errw, "footrule: "+oneLine(err))
	}
	return codeOf(err)
}

// oneLine keeps an error on one line, and lets nothing that it quotes steer the
// terminal or turn the line around.
func oneLine(err error) string {
	return strings.Join(strings.FieldsFunc(err.Error(), steers), " ")
}

// steers reports a character that a terminal obeys instead of showing it:
// controls, and those that change the direction of what follows.
func steers(r rune) bool {
	return unicode.In(r, unicode.Cc, unicode.Bidi_Control, unicode.Zl, unicode.Zp)
}

// nameable refuses a flag's name for something with characters that steer a
// terminal: it would be printed for as long as the file is kept.
func nameable(flag, name string) error {
	if strings.ContainsFunc(name, steers) || !utf8.ValidString(name) {
		return usage(fmt.Errorf("--%s %q has characters that can't be printed; give it others", flag, name))
	}
	return nil
}

func newRoot(sh *shell) *cobra.Command {
	root := &cobra.Command{
		Use:   "footrule",
		Short: "Calibrate a building's WLAN for locating things, point by point",
		Long: `footrule takes you around a floor plan point by point, records the signal level
of every access point heard there, and turns those levels into a fitted
propagation model, a measured position error, and the next thing to do.

The order of the work: new and plan make the plan; prep, cover and place look at it
before anyone walks; walk (or import) records; fit, doubts and errors judge; next
says where to walk again, replay shows how it came about. To see all of it on an
invented site, without a radio: footrule demo`,
		Example:       "  footrule demo\n  footrule new depot.footrule --from site.toml\n  footrule walk depot.footrule --synthetic",
		Version:       versionText(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	cobra.EnableCommandSorting = false // the order of the work says more than the alphabet
	root.SetIn(sh.in)
	root.SetOut(sh.out)
	root.SetErr(sh.err)
	root.SetVersionTemplate("footrule {{.Version}}\n")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return usage(fmt.Errorf("%w; see %s --help", err, cmd.CommandPath()))
	})
	for _, add := range commands {
		root.AddCommand(add(sh))
	}
	addManual(root)
	return root
}

// commands is the table of all commands, in the order of the work.
var commands = []func(*shell) *cobra.Command{
	newDemo,
	newNew,
	newPlan,
	newPrep,
	newDoctor,
	newScan,
	newCover,
	newPlace,
	newWalk,
	newImport,
	newRadios,
	newReceivers,
	newFit,
	newDoubts,
	newErrors,
	newNext,
	newReplay,
	newReport,
	newDrill,

	newMerge,
	newExport,
	newCheck,
	newValidate,
	newMan,
}

// files checks the number of file arguments and names what is missing.
func files(min, max int, what string) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) < min:
			return usage(fmt.Errorf("%s needs %s; see %s --help", cmd.Name(), what, cmd.CommandPath()))
		case max >= 0 && len(args) > max:
			return usage(fmt.Errorf("%s takes %s, and %q is one too many; see %s --help", cmd.Name(), what, args[max], cmd.CommandPath()))
		}
		return nil
	}
}

// versionText is the version with the revision it was built from.
func versionText() string {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return version
	}
	if revision != "" {
		return version + " " + revision + " " + info.GoVersion
	}
	rev, dirty := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision" && len(s.Value) >= 12:
			rev = " " + s.Value[:12]
		case s.Key == "vcs.modified" && s.Value == "true":
			dirty = "+changes"
		}
	}
	return version + rev + dirty + " " + info.GoVersion
}

// errStopped is what a command ends with when it was interrupted.
var errStopped = refused(errors.New("stopped; what had been said to be saved is saved"))
