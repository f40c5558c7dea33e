package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

func newImport(sh *shell) *cobra.Command {
	var name, receiver, surveyor string
	var where standFlags
	cmd := &cobra.Command{
		Use:   "import FILE CAPTURE...",
		Short: "Add captured walks to a site",
		Long: `import reads what was captured elsewhere and adds each file to FILE as a walk of its
own, whole or not at all. A file that was imported before adds nothing.

A walk.csv has one row a reading and says where each visit was made. Other captures
say only what was heard, so --at names the point where all of it was taken, or
--track a CSV file (time,x_m,y_m,floor) that says where the receiver was when. They are:

` + captureFormats(),
		Example: "  footrule import depot.footrule monday.csv tuesday.csv\n  footrule import depot.footrule levels.csv --walk before-move --receiver 'laptop A'\n  footrule import depot.footrule p07.pcap --at P07\n  footrule import depot.footrule round.pcapng --track round.csv",
		Args:    files(2, -1, "a site FILE and one or more captures"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if name != "" && len(args) > 2 {
				return usage(errors.New("--walk names one walk, and there are several captures; import them one by one"))
			}
			if err := errors.Join(nameable("walk", name), nameable("receiver", receiver), nameable("surveyor", surveyor)); err != nil {
				return err
			}
			st, err := open(args[0], false)
			if err != nil {
				return err
			}
			defer st.Close()
			for _, path := range args[1:] {
				h := walk.Header{Name: name, Receiver: receiver, Surveyor: surveyor, Source: walk.Imported, Program: version}
				if h.Name == "" {
					h.Name = canvas.Clean(strings.TrimSuffix(filepath.Base(path), filepath.Ext(path)))
				}
				one := importOne
				if !isWalkCSV(path) {
					one = where.importCapture
				} else if where.given() {
					return usage(fmt.Errorf("%s says itself where its visits were made; --at and --track are for other captures", path))
				}
				if err := one(cmd, sh, st, h, path); err != nil {
					return err
				}
			}
			return st.Close()
		},
	}
	cmd.Flags().StringVar(&name, "walk", "", "name of the walk (default: the file's name)")
	cmd.Flags().StringVar(&receiver, "receiver", "", "what the levels were received with")
	cmd.Flags().StringVar(&surveyor, "surveyor", "", "who walked")
	where.add(cmd)
	return cmd
}

func importOne(cmd *cobra.Command, sh *shell, st *store.Store, h walk.Header, path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	progress, done := progressLine(sh.err, path)
	rep, err := st.ImportContext(cmd.Context(), h, path, f, info.Size(), progress)
	done()
	if errors.Is(err, cmd.Context().Err()) && err != nil {
		return refused(fmt.Errorf("stopped; nothing of %s was added", path))
	}
	if err != nil {
		return err
	}
	printImport(sh, path, rep)
	return nil
}

// printImport says what an import did.
func printImport(sh *shell, path string, rep store.Report) {
	path, name := canvas.Clean(path), canvas.Clean(rep.Walk.Name)
	for _, w := range rep.Warnings {
		fmt.Fprintf(sh.err, "footrule: %s: %s\n", path, w)
	}
	if rep.AlreadyThere {
		fmt.Fprintf(sh.out, "%s: already there as walk %s; nothing added\n", path, name)
		return
	}
	fmt.Fprintf(sh.out, "%s: walk %s, %s, %s, %s", path, name, say.Count(rep.Visits, "visit"), say.Count(rep.Scans, "scan"), say.Count(rep.Readings, "reading"))
	if rep.Unknown > 0 {
		fmt.Fprintf(sh.out, ", %d of them of BSSIDs that are not on the plan", rep.Unknown)
	}
	fmt.Fprintln(sh.out)
}

// progressLine shows how far a reader is, where w is a terminal; elsewhere it
// shows nothing.
func progressLine(w io.Writer, path string) (progress func(read, total int64, readings int), done func()) {
	f, ok := w.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil, func() {}
	}
	shown, name := false, canvas.Clean(filepath.Base(path))
	progress = func(read, total int64, readings int) {
		shown = true
		if total > 0 {
			fmt.Fprintf(w, "\r\x1b[K%s: %3d %%, %d readings", name, 100*read/total, readings)
			return
		}
		fmt.Fprintf(w, "\r\x1b[K%s: %d readings", name, readings)
	}
	return progress, func() {
		if shown {
			fmt.Fprint(w, "\r\x1b[K")
		}
	}
}
