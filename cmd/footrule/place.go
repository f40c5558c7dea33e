package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"footrule/internal/coverage"
	"footrule/internal/radio"
	"footrule/internal/say"
	"footrule/internal/site"

	"github.com/paulmach/orb/planar"
	"github.com/spf13/cobra"
)

// placeFlags are the flags of the command place.
type placeFlags struct {
	sourceFlags
	coverFlags
	spacing, height float64
	bands           []string
	move            bool
	extra           int
	plan            string
	picture         mapFlags
}

func newPlace(sh *shell) *cobra.Command {
	var f placeFlags
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "place FILE",
		Short: "Say where added access points help most",
		Long: `place finds the fewest access points that must be added so that every walkable cell
hears as many as needed, and among those hangs them where the error to expect is
smallest, not all on one line. With --move, those that hang there may go elsewhere
first. --extra adds more than needed, for the error alone.

Places are tried on a grid inside the outline, outside of voids and of areas of the
kind "no-mount". The answer comes with a proven lower bound: no fewer at the places
that were tried would do.

It predicts as cover does: from the fit of the walks in FILE, of another site (--like),
or from published figures (--environment). FILE is left alone; --plan writes
the plan with what was added and moved as a site.toml, --map and --out draw what is
heard then.

It exits with 1 where some cell hears too few whatever is added.

Ladders, ceiling voids and mains are for people who are allowed to work on them;
local codes and licensed practice decide.`,
		Example: "  footrule place depot.footrule\n  footrule place depot.footrule --need 4 --move --json\n  footrule place depot.footrule --environment office --band 5 --plan planned.toml",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			if err := f.check(cmd); err != nil {
				return err
			}
			p, err := f.predict(args[0])
			if err != nil {
				return err
			}
			o, err := f.coverFlags.options(p.plan)
			if err != nil {
				return err
			}
			got, err := coverage.Place(cmd.Context(), p.plan, p.source, o, coverage.PlaceOptions{Box: f.box(cmd, p.plan), SpacingM: f.spacing, Move: f.move, Extra: f.extra})
			if errors.Is(err, context.Canceled) {
				return errStopped
			}
			if err != nil {
				return usage(err)
			}
			if f.plan != "" {
				if err := writePlan(f.plan, got.Plan); err != nil {
					return err
				}
			}
			var files []string
			if f.picture.out != "" {
				notes := append([]string{"Predicted from " + p.text + ".", "Where to hang and how is for local codes and licensed practice to decide."}, got.Notes...)
				if files, err = f.picture.write(got.After, got.Picture, notes); err != nil {
					return err
				}
			}
			if asJSON {
				if err := printJSON(sh.out, placeJSON(p, got)); err != nil {
					return err
				}
			} else {
				printPlacement(sh, p, got)
				if f.plan != "" {
					fmt.Fprintf(sh.out, "\n%s: the plan with them\n", f.plan)
				}
				for _, name := range files {
					fmt.Fprintf(sh.out, "\n%s: the map\n", name)
				}
			}
			if got.ShortM2 > 0 {
				return &exit{code: exitNo}
			}
			return nil
		},
	}
	f.sourceFlags.add(cmd)
	f.coverFlags.add(cmd)
	fl := cmd.Flags()
	fl.Float64Var(&f.spacing, "spacing", coverage.DefaultSpacingM, "metres between the places that are tried")
	fl.StringArrayVar(&f.bands, "band", nil, "band of an added access point: 2.4, 5 or 6 (repeatable; default: those of most access points there)")
	fl.Float64Var(&f.height, "height", coverage.DefaultHeightM, "metres above the floor that they hang (default: the median of those there)")
	fl.BoolVar(&f.move, "move", false, "access points that hang there may be moved")
	fl.IntVar(&f.extra, "extra", 0, "access points to add beyond the need, for the error alone")
	fl.StringVar(&f.plan, "plan", "", "write the plan with them to this site.toml")
	f.picture.add(cmd)
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	complete(cmd, "band", "2.4", "5", "6")
	return cmd
}

// mostExtra bounds --extra: nobody hangs that many unasked.
const mostExtra = 50

func (f *placeFlags) check(cmd *cobra.Command) error {
	if err := f.picture.check(); err != nil {
		return err
	}
	switch {
	case !(f.spacing >= 0.25 && f.spacing <= 100):
		return usage(fmt.Errorf("--spacing %g; give metres from 0.25 to 100", f.spacing))
	case !(f.height >= site.MinHeightM && f.height <= site.MaxHeightM):
		return usage(fmt.Errorf("--height %g; give metres above the floor from %g to %g", f.height, site.MinHeightM, site.MaxHeightM))
	case f.extra < 0 || f.extra > mostExtra:
		return usage(fmt.Errorf("--extra %d; give 0 to %d access points", f.extra, mostExtra))
	}
	for _, b := range f.bands {
		if !radio.Band(b).Valid() {
			return usage(fmt.Errorf("--band %q; give 2.4, 5 or 6", b))
		}
	}
	if f.plan != "" {
		if _, err := os.Lstat(f.plan); err == nil {
			return usage(fmt.Errorf("%s is there already; give --plan another name", f.plan))
		}
	}
	return nil
}

// box is what is added: like those there are, but for what the flags say.
func (f *placeFlags) box(cmd *cobra.Command, plan *site.Site) coverage.Box {
	b := coverage.LikeThose(plan)
	if len(f.bands) > 0 {
		b.Bands = nil
		for _, band := range radio.Bands() { // each once, in order
			for _, given := range f.bands {
				if radio.Band(given) == band {
					b.Bands = append(b.Bands, band)
					break
				}
			}
		}
	}
	if cmd.Flags().Changed("height") {
		b.HeightM = f.height
	}
	return b
}

// writePlan makes a new file of a plan, whole or not at all.
func writePlan(path string, plan *site.Site) error {
	var b strings.Builder
	if err := site.Write(&b, plan); err != nil {
		return err
	}
	return writeNew(path, []byte(b.String()))
}

// writeNew makes a file that must not be there yet.
func writeNew(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return usage(fmt.Errorf("%s is there already; give another name", path))
	}
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		_ = os.Remove(path)
	}
	return err
}

func printPlacement(sh *shell, p *prediction, got *coverage.Placement) {
	o := got.Before.Options
	fmt.Fprintf(sh.out, "%s  %s\n", p.plan.Name, p.text)
	for _, n := range got.Notes {
		fmt.Fprintf(sh.out, "  %s\n", n)
	}
	fmt.Fprintf(sh.out, "wanted: %d heard at %s dBm or more in every cell of %g m; %s tried\n\n",
		o.Need, say.Fixed(o.ThresholdDBm, 0), o.CellM, say.Count(got.Mounts, "place"))
	switch {
	case len(got.Added) == 0 && len(got.Moved) == 0 && got.ShortM2 == 0:
		fmt.Fprintf(sh.out, "nothing to add: every cell hears %d\n", o.Need)
	case len(got.Added) == 0 && len(got.Moved) == 0:
		fmt.Fprintf(sh.out, "nothing helps\n")
	default:
		var rows [][]string
		if len(got.Moved) > 0 {
			rows = append(rows, []string{"moved", "floor", "from", "to", "by m"})
			for _, m := range got.Moved {
				rows = append(rows, []string{m.ID, p.plan.Floors[m.To.Floor].ID, place(m.From.At[0], m.From.At[1]), place(m.To.At[0], m.To.At[1]),
					say.Fixed(planar.Distance(m.From.At, m.To.At), 1)})
			}
			table(sh.out, rows)
			fmt.Fprintln(sh.out)
		}
		if len(got.Added) > 0 {
			rows = [][]string{{"added", "floor", "at", "height m", "bands"}}
			for _, ap := range got.Added {
				var bands []string
				for _, r := range ap.Radios {
					bands = append(bands, string(r.Band))
				}
				rows = append(rows, []string{ap.ID, ap.Floor, place(ap.At[0], ap.At[1]), say.Fixed(ap.HeightM, 1), strings.Join(bands, " ")})
			}
			table(sh.out, rows)
			fmt.Fprintln(sh.out)
		}
		fmt.Fprintln(sh.out, provenText(got))
	}
	before, after := got.Before.Shares(), got.After.Shares()
	fmt.Fprintln(sh.out)
	rows := [][]string{{"", "before", "after"}, {fmt.Sprintf("hears %d or more", o.Need), shareOf(before.Need), shareOf(after.Need)}}
	for k := range coverage.Reported {
		rows = append(rows, []string{fmt.Sprintf("at least %d", k+1), shareOf(before.Heard[k]), shareOf(after.Heard[k])})
	}
	rows = append(rows, []string{"expected error, RMS m", say.Fixed(got.ErrorBeforeM, 2), say.Fixed(got.ErrorAfterM, 2)})
	table(sh.out, rows)
	if got.ShortM2 > 0 {
		fmt.Fprintf(sh.out, "\n%s m² hear too few whatever is added at these places; try a closer --spacing, a lower --threshold-dbm, or more power\n", say.Fixed(got.ShortM2, 1))
	}
}

// provenText says how good the number is.
func provenText(got *coverage.Placement) string {
	n := len(got.Added)
	switch {
	case got.Optimal && n == got.Fewest:
		return fmt.Sprintf("%s added; no fewer will do at the places that were tried (proven)", say.Count(n, "access point"))
	case got.Optimal:
		return fmt.Sprintf("%s added, of which %d are needed and no fewer will do (proven)", say.Count(n, "access point"), got.Fewest)
	}
	return fmt.Sprintf("%s added; it is proven that fewer than %d will not do", say.Count(n, "access point"), got.Fewest)
}
