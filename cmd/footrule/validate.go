package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"footrule/internal/site"
	"footrule/internal/validation"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
	"golang.org/x/term"
)

// validateFlags are the flags of the command validate.
type validateFlags struct {
	sites int
	seed  uint64
	quick bool
	study []string
	data  string
	out   string
	json  bool
}

func newValidate(sh *shell) *cobra.Command {
	var f validateFlags
	cmd := &cobra.Command{
		Use:   "validate",
		Short: "Hold the program against sites whose truth is known",
		Long: `validate simulates sites of several kinds, fits and locates on them as on any site,
and compares what comes out with the truth: whether estimates are biased, whether
95 % intervals hold the truth 95 times in 100, how near fixes come to the bound,
and whether the error that is reported is the error where nobody walked before.
With --data it also judges recorded walks of real sites.

Each row says what is expected and whether it holds: ok; open, where it does not
but more sites might tell otherwise; off. It exits with 1 when a row is off. Equal
seeds and numbers of sites give equal rows on any machine.`,
		Example: "  footrule validate --quick\n  footrule validate --out validation.md\n  footrule validate --sites 50 --seed 7 --json",
		Args:    files(0, 0, "no arguments"),
		RunE:    func(cmd *cobra.Command, _ []string) error { return f.run(sh, cmd) },
	}
	fl := cmd.Flags()
	fl.IntVar(&f.sites, "sites", 0, fmt.Sprintf("simulated sites of each kind (default %d, with --quick %d)", validation.FullSites, validation.QuickSites))
	fl.Uint64Var(&f.seed, "seed", 1, "of all that is simulated")
	fl.BoolVar(&f.quick, "quick", false, "fewer kinds of sites: seconds instead of minutes")
	fl.StringArrayVar(&f.study, "study", nil, fmt.Sprintf("only this study (repeatable): one of %s", strings.Join(validation.Studies(), ", ")))
	fl.StringVar(&f.data, "data", "", "folder with recorded walks of real sites")
	fl.StringVar(&f.out, "out", "", "write the tables to this file as Markdown, too")
	fl.BoolVar(&f.json, "json", false, "print one JSON object")
	complete(cmd, "study", validation.Studies()...)
	return cmd
}

func (f *validateFlags) run(sh *shell, cmd *cobra.Command) error {
	if cmd.Flags().Changed("sites") && f.sites < 2 {
		return usage(fmt.Errorf("--sites %d; give 2 or more, since one site has no interval", f.sites))
	}
	for _, name := range f.study {
		if !slices.Contains(validation.Studies(), name) {
			return usage(fmt.Errorf("no study %q; use some of %s", name, strings.Join(validation.Studies(), ", ")))
		}
	}
	o := validation.Options{Program: versionText(), Date: sh.now(), Seed: f.seed, Sites: f.sites, Quick: f.quick, Studies: f.study}
	notes, err := f.recorded(&o)
	if err != nil {
		return err
	}
	if len(f.study) > 0 && len(o.Real) == 0 && !slices.ContainsFunc(f.study, func(name string) bool { return name != validation.RealStudy }) {
		return usage(errors.New("no recorded walk of a real site was found, so there is nothing to judge; give --data the folder that has them"))
	}
	var page *os.File
	if f.out != "" { // before the work, so that it is not lost for want of a folder
		if page, err = os.CreateTemp(filepath.Dir(f.out), ".validation-*"); err != nil {
			return refused(fmt.Errorf("--out %s can't be written: %w", f.out, err))
		}
		defer os.Remove(page.Name())
		defer page.Close()
	}
	p := &progress{w: sh.err, now: sh.now, started: sh.now(), live: isTerminal(sh.err)}
	o.Progress = p.show
	r, err := validation.Run(cmd.Context(), o)
	p.end()
	if cmd.Context().Err() != nil {
		return refused(errors.New("stopped; nothing was written"))
	}
	if err != nil {
		return err
	}
	r.Notes = notes
	if page != nil {
		if err := publish(page, f.out, r.Markdown); err != nil {
			return refused(fmt.Errorf("--out %s can't be written: %w", f.out, err))
		}
	}
	if f.json {
		if err := printJSON(sh.out, validationJSON(r)); err != nil {
			return err
		}
	} else {
		printValidation(sh.out, r)
	}
	if r.Count(validation.Off) > 0 {
		return &exit{code: exitNo}
	}
	return nil
}

// recorded reads the real sites that are there, and notes those that are not.
func (f *validateFlags) recorded(o *validation.Options) (notes []string, err error) {
	if f.data == "" {
		return []string{"Recorded walks of real sites were left out; --data DIR names their folder."}, nil
	}
	if st, err := os.Stat(f.data); err != nil || !st.IsDir() {
		return nil, usage(fmt.Errorf("--data %s is no folder; give the one that holds a folder for each real site", f.data))
	}
	for _, rec := range validation.Recordings() {
		r, err := readRecording(filepath.Join(f.data, rec.Folder), rec)
		if errors.Is(err, fs.ErrNotExist) {
			notes = append(notes, fmt.Sprintf("The real site %s was left out: %s.", rec.Folder, oneLine(err)))
			continue
		}
		if err != nil {
			return nil, err
		}
		o.Real = append(o.Real, r)
	}
	return notes, nil
}

func readRecording(dir string, rec validation.Recording) (out validation.RealSite, err error) {
	out.Name = rec.Folder
	in, err := os.Open(filepath.Join(dir, "site.toml"))
	if err != nil {
		return out, err
	}
	defer in.Close()
	if out.Site, err = site.Read(in.Name(), in); err != nil {
		return out, err
	}
	for _, w := range []struct {
		file string
		to   *walk.Walk
	}{{rec.Survey, &out.Survey}, {rec.Test, &out.Test}} {
		c, err := os.Open(filepath.Join(dir, w.file+".csv"))
		if err != nil {
			return out, err
		}
		reads, err := walk.ReadCSV(c, c.Name(), out.Site)
		_ = c.Close() // it was only read
		if err != nil {
			return out, err
		}
		*w.to = walk.Walk{Header: walk.Header{ID: w.file}, Visits: reads.Visits}
	}
	return out, nil
}

// publish writes a page through a temporary file, so that whoever reads it never
// sees half of it.
func publish(tmp *os.File, to string, write func(io.Writer) error) error {
	if err := write(tmp); err != nil {
		return err
	}
	if err := tmp.Chmod(0o644); err != nil {
		return err
	}
	if err := tmp.Sync(); err != nil {
		return err
	}
	if err := tmp.Close(); err != nil {
		return err
	}
	return os.Rename(tmp.Name(), to)
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// progress says how far a long command is: on a terminal on one line that stays,
// else on a line for each tenth.
type progress struct {
	w       io.Writer
	now     func() time.Time
	started time.Time
	live    bool
	said    int // tenths, or the last second on a terminal
	drawn   bool
}

func (p *progress) show(done, of int) {
	took := p.now().Sub(p.started)
	left := time.Duration(float64(took) / float64(done) * float64(of-done)).Round(time.Second)
	if p.live {
		if s := int(took / (200 * time.Millisecond)); s != p.said {
			p.said, p.drawn = s, true
			fmt.Fprintf(p.w, "\r%d of %d simulated and judged, some %s to go \x1b[K", done, of, left)
		}
		return
	}
	if t := 10 * done / of; t > p.said {
		p.said = t
		fmt.Fprintf(p.w, "%d of %d simulated and judged after %s\n", done, of, took.Round(time.Second))
	}
}

// end clears the line that stays.
func (p *progress) end() {
	if p.drawn {
		fmt.Fprint(p.w, "\r\x1b[K")
	}
}

func printValidation(w io.Writer, r *validation.Report) {
	for _, study := range r.Studies() {
		rows := [][]string{validation.Columns()}
		for i := range r.Rows {
			if r.Rows[i].Study == study {
				rows = append(rows, r.Rows[i].Cells())
			}
		}
		fmt.Fprintf(w, "%s\n\n", study)
		table(w, rows)
		fmt.Fprintln(w)
	}
	if r.Count(validation.Off) > 0 {
		fmt.Fprintln(w, "off:")
		for i := range r.Rows {
			if x := &r.Rows[i]; x.Verdict == validation.Off {
				c := x.Cells()
				fmt.Fprintf(w, "  %s, %s, %s: %s (%s), expected %s\n", c[0], c[1], c[2], c[3], c[4], c[6])
			}
		}
		fmt.Fprintln(w)
	}
	for _, n := range r.Notes {
		fmt.Fprintln(w, n)
	}
	fmt.Fprintln(w, r.Summary())
}

type jsonRow struct {
	Study    string    `json:"study"`
	Scene    string    `json:"kind_of_site"`
	Subject  string    `json:"of"`
	Figure   string    `json:"figure"`
	Unit     *string   `json:"unit"`
	Value    number    `json:"value"`
	CI       [2]number `json:"ci95"`
	Sites    int       `json:"sites"`
	Cases    int       `json:"cases"`
	Expected [2]number `json:"expected"`
	Verdict  *string   `json:"verdict"`
	Note     *string   `json:"note"`
}

type jsonValidation struct {
	Program string    `json:"program"`
	Date    string    `json:"date"`
	Seed    uint64    `json:"seed"`
	Sites   int       `json:"sites"`
	Quick   bool      `json:"quick"`
	OK      int       `json:"ok"`
	Open    int       `json:"open"`
	Off     int       `json:"off"`
	Rows    []jsonRow `json:"rows"`
	Notes   []string  `json:"notes"`
}

func validationJSON(r *validation.Report) jsonValidation {
	out := jsonValidation{Program: r.Program, Date: r.Date.UTC().Format(time.RFC3339), Seed: r.Seed, Sites: r.Sites, Quick: r.Quick,
		OK: r.Count(validation.OK), Open: r.Count(validation.Open), Off: r.Count(validation.Off), Rows: []jsonRow{}, Notes: append([]string{}, r.Notes...)}
	some := func(s string) *string {
		if s == "" {
			return nil
		}
		return &s
	}
	for _, x := range r.Rows {
		j := jsonRow{Study: x.Study, Scene: x.Scene, Subject: x.Subject, Figure: x.Figure, Unit: some(x.Unit), Value: number(x.Value), CI: pair(x.Lo, x.Hi),
			Sites: x.Sites, Cases: x.Cases, Expected: pair(x.Expect.Lo, x.Expect.Hi), Note: some(x.Note)}
		if x.Verdict != validation.NoClaim {
			v := string(x.Verdict)
			j.Verdict = &v
		}
		out.Rows = append(out.Rows, j)
	}
	return out
}
