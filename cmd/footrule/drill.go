package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"footrule/internal/drill"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/spf13/cobra"
)

func newDrill(sh *shell) *cobra.Command {
	var f drillFlags
	cmd := &cobra.Command{
		Use:   "drill [CASE]",
		Short: "Training cases with hidden faults, graded",
		Long: `drill makes a site file of an invented building in which something may be wrong:
labels, places, power, the plan's scale, the walk or the receiver. Or nothing is.
The trainee walks it, or judges the walk that came with it, by the ordinary
commands and screens, and names what is wrong: on the screen of the walk or the
replay (c), or by footrule drill answer. What the program itself finds stays hidden
until it is graded; then the truth stands beside the estimate.

A CASE is plain, middle or hard with a number, as many as anybody wants: plain-1,
hard-23. --seed puts the same case into another building, so that everybody in a
class has their own. Or CASE is a file of footrule drill make. Without a CASE the
first ones are listed.`,
		Example: "  footrule drill\n  footrule drill plain-1 --file one.footrule\n  footrule walk one.footrule --synthetic\n" +
			"  footrule drill answer one.footrule moved --ap AP-03 --at 12,7.5\n  footrule drill grade one.footrule",
		Args: files(0, 1, "at most one CASE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				if flag := changed(cmd, "file", "walked", "seed"); flag != "" {
					return usage(fmt.Errorf("--%s wants a CASE; footrule drill lists them", flag))
				}
				return listDrills(sh, f.asJSON)
			}
			return f.hand(cmd, sh, args[0])
		},
	}
	fl := cmd.Flags()
	fl.Uint64Var(&f.seed, "seed", 1, "of the building and of all that is drawn")
	fl.StringVar(&f.file, "file", "", "where to make the site file (default: a temporary folder)")
	fl.BoolVar(&f.walked, "walked", false, "with a walk that is made already, also where the case has none")
	fl.BoolVar(&f.asJSON, "json", false, "print one JSON object")
	cmd.AddCommand(newDrillAnswer(sh), newDrillGrade(sh), newDrillSheet(sh), newDrillMake(sh))
	return cmd
}

type drillFlags struct {
	seed           uint64
	file           string
	walked, asJSON bool
}

// changed gives the first of some flags that was given, or nothing.
func changed(cmd *cobra.Command, names ...string) string {
	for _, n := range names {
		if cmd.Flags().Changed(n) {
			return n
		}
	}
	return ""
}

// specOf finds a case by its name or reads it from a file. The seed is that of the
// file unless it was given.
func specOf(cmd *cobra.Command, name string, seed uint64) (drill.Spec, error) {
	if !isTOML(name) {
		s, err := drill.Lookup(name, seed)
		if err != nil {
			return s, usage(err)
		}
		return s, nil
	}
	file, err := os.Open(name)
	if err != nil {
		return drill.Spec{}, usage(err)
	}
	defer file.Close()
	s, err := drill.ReadCase(name, file)
	if err == nil && cmd.Flags().Changed("seed") {
		s.Seed = seed
	}
	return s, err
}

// hand makes the site file of a case.
func (f *drillFlags) hand(cmd *cobra.Command, sh *shell, name string) error {
	spec, err := specOf(cmd, name, f.seed)
	if err != nil {
		return err
	}
	c, err := drill.Make(spec)
	if err != nil {
		return usage(fmt.Errorf("%s: %w", name, err))
	}
	path := f.file
	if path == "" {
		dir, err := os.MkdirTemp("", "footrule-drill-")
		if err != nil {
			return refused(err)
		}
		base := strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))
		path = filepath.Join(dir, base+".footrule")
	}
	walks, err := f.fill(cmd.Context(), path, spec, c)
	if err != nil {
		return err
	}
	visits := visitsOf(walks)
	if f.asJSON {
		return printJSON(sh.out, struct {
			jsonDrill
			File   string `json:"file"`
			Visits int    `json:"visits"`
		}{drillJSON(c), path, visits})
	}
	fmt.Fprintf(sh.out, "%s  %s\n\n", called(c), c.Level)
	paragraph(sh.out, "", c.Story)
	fmt.Fprintf(sh.out, "\n%s: ", path)
	if n := len(c.Plan.Floors); n > 1 {
		fmt.Fprintf(sh.out, "%s, ", say.Count(n, "floor"))
	}
	fmt.Fprintf(sh.out, "%s, %s", say.Count(len(c.Plan.AccessPoints), "access point"), say.Count(pointsOf(c.Plan), "point"))
	switch {
	case len(walks) > 1:
		fmt.Fprintf(sh.out, ", and %d walks of colleagues, %s\n\n", len(walks), say.Count(visits, "visit"))
		fmt.Fprintf(sh.out, "look at it    footrule replay %s --walk '%s' --walk '%s'\n", path, walks[0].Name, walks[1].Name)
		fmt.Fprintf(sh.out, "              (and plan, fit, errors)\nor walk it    footrule walk %s --synthetic\n", path)
	case visits > 0:
		fmt.Fprintf(sh.out, ", and a colleague's walk of %s\n\n", say.Count(visits, "visit"))
		fmt.Fprintf(sh.out, "look at it    footrule replay %s (and plan, fit, errors)\nor walk it    footrule walk %s --synthetic\n", path, path)
	default:
		fmt.Fprintf(sh.out, ", not walked yet\n\nwalk it       footrule walk %s --synthetic (then fit, errors, replay)\n", path)
	}
	fmt.Fprintln(sh.out, "name it       c on the screen of the walk or the replay, which grades it too")
	fmt.Fprintf(sh.out, "              or footrule drill answer %s KIND, and footrule drill grade %s\n", path, path)
	return nil
}

// fill makes the file with its plan, what is hidden, and a walk where there is one.
func (f *drillFlags) fill(ctx context.Context, path string, spec drill.Spec, c *drill.Case) (walks []walk.Walk, err error) {
	rec := drill.Record{Spec: spec, Digest: c.Digest, Answers: []drill.Answer{}}
	data, err := rec.Pack()
	if err != nil {
		return nil, err
	}
	st, err := store.Create(path, c.Plan, store.Options{Version: version})
	if err != nil {
		return nil, err
	}
	defer func() {
		if err = errors.Join(err, st.Close()); err != nil {
			os.Remove(path)
		}
	}()
	if err := st.PutDrill(data); err != nil {
		return nil, err
	}
	if !c.Handed && !f.walked {
		return nil, nil
	}
	if walks, err = drill.Hand(ctx, c); err != nil {
		return nil, errStopped
	}
	for _, w := range walks {
		if _, err := st.AddWalk(w); err != nil {
			return nil, err
		}
	}
	return walks, nil
}

// pointsOf counts the points of a plan.
func pointsOf(plan *site.Site) int {
	n := 0
	for i := range plan.Floors {
		n += len(plan.Floors[i].Points)
	}
	return n
}

// called is the name of a case and its place.
func called(c *drill.Case) string {
	if c.ID == "" {
		return c.Title
	}
	return c.ID + "  " + c.Title
}

type jsonDrill struct {
	Case   string      `json:"case"`
	Level  drill.Level `json:"level"`
	Seed   uint64      `json:"seed"`
	Title  string      `json:"title"`
	Story  string      `json:"story"`
	APs    int         `json:"access_points"`
	Points int         `json:"points"`
	Walk   bool        `json:"walk"` // it comes with one
}

func drillJSON(c *drill.Case) jsonDrill {
	return jsonDrill{c.ID, c.Level, c.Seed, c.Title, c.Story, len(c.Plan.AccessPoints), pointsOf(c.Plan), c.Handed}
}

// listedCases is how many cases of each level are listed.
const listedCases = 5

// listDrills lists the first cases of each level.
func listDrills(sh *shell, asJSON bool) error {
	var all []jsonDrill
	for _, level := range drill.Levels() {
		for n := range listedCases {
			spec, err := drill.Lookup(fmt.Sprintf("%s-%d", level, n+1), 1)
			if err != nil {
				return err
			}
			c, err := drill.Make(spec)
			if err != nil {
				return fmt.Errorf("%s: %w", spec.ID, err)
			}
			all = append(all, drillJSON(c))
		}
	}
	if asJSON {
		return printJSON(sh.out, struct {
			Cases []jsonDrill `json:"cases"`
		}{all})
	}
	about := map[drill.Level]string{
		drill.Plain:  "one band, even levels, one large fault or none",
		drill.Middle: "two bands, ordinary levels, one fault or none",
		drill.Hard:   "two bands, uneven levels, small faults, two of them, or none",
	}
	for i, d := range all {
		if i%listedCases == 0 {
			if i > 0 {
				fmt.Fprintln(sh.out)
			}
			fmt.Fprintf(sh.out, "%s: %s\n", d.Level, about[d.Level])
		}
		first, _, _ := strings.Cut(d.Story, ". ")
		paragraph(sh.out, fmt.Sprintf("  %-9s ", d.Case), fmt.Sprintf("%s. %s.", d.Title, first))
	}
	fmt.Fprintf(sh.out, "\nand so on, to any number; begin with: footrule drill %s\n", all[0].Case)
	return nil
}
