package main

import (
	"fmt"
	"os"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/spf13/cobra"
)

func newCheck(sh *shell) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "check FILE",
		Short: "Verify a site file from end to end",
		Long: `check reads every page and every record of a site file, holds each to its checksum,
and the counts and references to what is there. It changes nothing.

What is damaged is named; what stands beside it is whole and can be saved with
footrule export FILE --salvage. It exits with 1 where anything is damaged.`,
		Example: "  footrule check depot.footrule\n  footrule check depot.footrule --json",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			w, err := store.Salvage(args[0])
			if err != nil {
				return err
			}
			if asJSON {
				err = printJSON(sh.out, soundnessJSON(args[0], w))
			} else {
				printSoundness(sh, args[0], w)
			}
			if err != nil {
				return err
			}
			if len(w.Faults) > 0 {
				return &exit{code: exitNo}
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

func printSoundness(sh *shell, path string, w *store.Whole) {
	verdict := "sound from end to end"
	if len(w.Faults) > 0 {
		verdict = "damaged"
	}
	fmt.Fprintf(sh.out, "%s: %s\n", path, verdict)
	for _, f := range w.Faults {
		fmt.Fprintf(sh.out, "  %s: %s\n", canvas.Clean(f.Where), canvas.Clean(f.What))
	}
	if w.Format != "" {
		fmt.Fprintf(sh.out, "format %s", canvas.Clean(w.Format))
		if w.Program != "" {
			fmt.Fprintf(sh.out, ", made by version %s", canvas.Clean(w.Program))
		}
		fmt.Fprintln(sh.out)
	}
	fmt.Fprintf(sh.out, "%s that check out: %s of the plan, %s, %s; %d pages, %d bytes\n\n", say.Count(w.Records, "record"), say.Count(len(w.Plans), "revision"),
		say.Count(len(w.Walks), "walk"), say.Count(len(w.Pictures), "picture"), w.Pages, w.Bytes)
	rows := [][]string{{"walk", "visits", "scans", "readings", "marks"}}
	for i := range w.Walks {
		n := sizeOf(&w.Walks[i])
		rows = append(rows, []string{canvas.Clean(walkName(&w.Walks[i].Header)), fmt.Sprint(n.Visits), fmt.Sprint(n.Scans), fmt.Sprint(n.Readings), fmt.Sprint(n.Marks)})
	}
	if len(rows) > 1 {
		table(sh.out, rows)
	}
	if w.Pending > 0 {
		fmt.Fprintf(sh.out, "%s that was stopped; the next command that writes removes it\n", say.Count(w.Pending, "import"))
	}
	if len(w.Faults) > 0 {
		fmt.Fprintf(sh.out, "\nnext: keep this file as it is, and go back to a copy; or save what is whole: footrule export %s --salvage\n", path)
	}
}

func walkName(h *walk.Header) string {
	if h.Name != "" {
		return h.Name
	}
	return h.ID
}

type jsonSize struct {
	Visits   int `json:"visits"`
	Scans    int `json:"scans"`
	Readings int `json:"readings"`
	Marks    int `json:"marks"`
}

// sizeOf counts all that is in a walk, voided or not.
func sizeOf(w *walk.Walk) jsonSize {
	n := jsonSize{Visits: len(w.Visits), Marks: len(w.Marks)}
	for i := range w.Visits {
		n.Scans += len(w.Visits[i].Scans)
		for j := range w.Visits[i].Scans {
			n.Readings += len(w.Visits[i].Scans[j].Readings)
		}
	}
	return n
}

type jsonFault struct {
	Where string `json:"where"`
	What  string `json:"what"`
}

type jsonWalkSize struct {
	ID   string `json:"id"`
	Name string `json:"name"`
	jsonSize
}

type jsonSoundness struct {
	File     string         `json:"file"`
	Sound    bool           `json:"sound"`
	Format   *string        `json:"format"`
	Program  *string        `json:"program"`
	Bytes    int64          `json:"bytes"`
	Pages    uint64         `json:"pages"`
	Records  int            `json:"records"` // that check out
	Plans    int            `json:"plans"`
	Pictures int            `json:"pictures"`
	Pending  int            `json:"imports_stopped"`
	Walks    []jsonWalkSize `json:"walks"`
	Faults   []jsonFault    `json:"faults"`
}

func soundnessJSON(path string, w *store.Whole) jsonSoundness {
	out := jsonSoundness{File: path, Sound: len(w.Faults) == 0, Format: known(w.Format), Program: known(w.Program), Bytes: w.Bytes, Pages: w.Pages,
		Records: w.Records, Plans: len(w.Plans), Pictures: len(w.Pictures), Pending: w.Pending, Walks: []jsonWalkSize{}, Faults: faultsJSON(w.Faults)}
	for i := range w.Walks {
		h := &w.Walks[i].Header
		out.Walks = append(out.Walks, jsonWalkSize{h.ID, h.Name, sizeOf(&w.Walks[i])})
	}
	return out
}

func faultsJSON(faults []store.Fault) []jsonFault {
	out := []jsonFault{}
	for _, f := range faults {
		out = append(out, jsonFault(f))
	}
	return out
}

// tellFaults says on standard error what a damaged file lacks.
func tellFaults(sh *shell, path string, faults []store.Fault) {
	for _, f := range faults {
		fmt.Fprintf(sh.err, "footrule: %s: %s: %s\n", path, canvas.Clean(f.Where), canvas.Clean(f.What))
	}
}

// sameFile reports whether two names are of one file.
func sameFile(a, b string) bool {
	x, errX := os.Stat(a)
	y, errY := os.Stat(b)
	return errX == nil && errY == nil && os.SameFile(x, y)
}
