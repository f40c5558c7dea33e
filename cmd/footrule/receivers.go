package main

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"

	"github.com/spf13/cobra"
)

func newReceivers(sh *shell) *cobra.Command {
	var names []string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "receivers FILE",
		Short: "List the receivers of the walks and how much more one reports than another",
		Long: `receivers lists what the walks in FILE were taken with, and for every two receivers
how much more the one reports than the other, with a 95 % interval, from the places
where both heard the same radios well. It takes three shared places at least; where
there are fewer it says which points to walk with both.

The interval is for the time of the walks: what a receiver drifts from one day to
the next is not in it.`,
		Example: "  footrule receivers depot.footrule\n  footrule receivers depot.footrule --json",
		Args:    files(1, 1, "a site FILE"),
		RunE: func(_ *cobra.Command, args []string) error {
			plan, walks, err := load(args[0], names)
			if err != nil {
				return err
			}
			out, err := compareReceivers(plan, walks)
			if err != nil {
				return err
			}
			if asJSON {
				return printJSON(sh.out, out)
			}
			printReceivers(sh, out)
			return nil
		},
	}
	cmd.Flags().StringArrayVar(&names, "walk", nil, "use only this walk (repeatable)")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

type jsonReceiver struct {
	Receiver string   `json:"receiver"` // empty where the walks do not say
	Walks    []string `json:"walks"`
	Visits   int      `json:"visits"`
	Places   int      `json:"places"`
	Readings int      `json:"readings"`
}

type jsonOffset struct {
	Receiver string      `json:"receiver"`
	Against  string      `json:"against"`
	OffsetDB *number     `json:"offset_db"` // how much more receiver reports than against
	SEDB     *number     `json:"se_db"`
	CI95     *[2]number  `json:"ci95"`
	Places   int         `json:"places"`
	Radios   int         `json:"radios"`
	Pairs    int         `json:"pairs"`
	Missing  *string     `json:"missing"`
	Walked   [2][]string `json:"walked_by_one"` // points to walk with the other, where something is missing
}

type jsonReceivers struct {
	Receivers []jsonReceiver `json:"receivers"`
	Offsets   []jsonOffset   `json:"offsets"`
}

// compareReceivers groups walks by receiver, in the order of their first walk,
// and compares every two.
func compareReceivers(plan *site.Site, walks []walk.Walk) (jsonReceivers, error) {
	out := jsonReceivers{Receivers: []jsonReceiver{}, Offsets: []jsonOffset{}}
	var order []string
	by := map[string][]walk.Walk{}
	for _, w := range walks {
		if !slices.Contains(order, w.Receiver) {
			order = append(order, w.Receiver)
		}
		by[w.Receiver] = append(by[w.Receiver], w)
	}
	for _, name := range order {
		r := jsonReceiver{Receiver: name}
		for i := range by[name] {
			r.Walks = append(r.Walks, by[name][i].Name)
			r.Readings += by[name][i].Readings()
		}
		stays := walk.Stays(plan, by[name], walk.ByVisit)
		r.Visits, r.Places = len(stays), places(stays)
		out.Receivers = append(out.Receivers, r)
	}
	for i, b := range order {
		for _, a := range order[i+1:] {
			o := jsonOffset{Receiver: a, Against: b, Walked: [2][]string{{}, {}}}
			est, err := walk.Offset(plan, by[a], by[b])
			var few *walk.SharedPlacesError
			switch {
			case errors.As(err, &few):
				text := few.Error()
				o.Missing, o.Places = &text, few.Shared
				o.Walked = [2][]string{append([]string{}, few.OnlyA...), append([]string{}, few.OnlyB...)}
			case err != nil:
				return out, err
			default:
				off, se, ci := number(est.OffsetDB), number(est.SEDB), pair(est.LoDB, est.HiDB)
				o.OffsetDB, o.SEDB, o.CI95 = &off, &se, &ci
				o.Places, o.Radios, o.Pairs = est.Places, est.Radios, est.Pairs
			}
			out.Offsets = append(out.Offsets, o)
		}
	}
	return out, nil
}

// receiverName is what a receiver is called where it is shown.
func receiverName(name string) string {
	if name == "" {
		return "(not named)"
	}
	return canvas.Clean(name)
}

func printReceivers(sh *shell, out jsonReceivers) {
	rows := [][]string{{"receiver", "visits", "places", "readings", "walks"}}
	for _, r := range out.Receivers {
		rows = append(rows, []string{receiverName(r.Receiver), strconv.Itoa(r.Visits), strconv.Itoa(r.Places), strconv.Itoa(r.Readings), canvas.Clean(strings.Join(r.Walks, ", "))})
	}
	table(sh.out, rows)
	if len(out.Offsets) == 0 {
		fmt.Fprintln(sh.out, "\none receiver: nothing to compare")
		return
	}
	fmt.Fprintln(sh.out)
	rows = [][]string{{"receiver", "reports more than", "offset dB", "95 % interval", "places", "radios"}}
	var missing []string
	for _, o := range out.Offsets {
		row := []string{receiverName(o.Receiver), receiverName(o.Against), "–", "–", strconv.Itoa(o.Places), strconv.Itoa(o.Radios)}
		if o.Missing != nil {
			missing = append(missing, fmt.Sprintf("%s against %s: %s", row[0], row[1], *o.Missing))
		} else {
			row[2], row[3] = say.Fixed(float64(*o.OffsetDB), 1), say.Fixed(float64(o.CI95[0]), 1)+" to "+say.Fixed(float64(o.CI95[1]), 1)
		}
		rows = append(rows, row)
	}
	table(sh.out, rows)
	if len(missing) > 0 {
		fmt.Fprintln(sh.out, "\nmissing:")
		for _, m := range missing {
			fmt.Fprintf(sh.out, "  %s\n", m)
		}
	}
}
