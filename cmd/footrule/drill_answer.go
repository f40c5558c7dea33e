package main

import (
	"errors"
	"fmt"
	"strings"

	"footrule/internal/drill"

	"github.com/spf13/cobra"
)

func newDrillAnswer(sh *shell) *cobra.Command {
	var aps, points []string
	var at, since string
	var size float64
	var withdraw, asJSON bool
	cmd := &cobra.Command{
		Use:   "answer FILE [KIND]",
		Short: "Name what is wrong in a drill, or that nothing is",
		Long:  "answer keeps what you say is wrong in FILE. Say it once for each fault, or nothing\nwhere all is well. Without a KIND it lists what was said so far.\n\nKINDS, and what to name with them:\n" + kindsText(),
		Example: "  footrule drill answer one.footrule labels --ap AP-02 --ap AP-07\n  footrule drill answer one.footrule power --ap AP-05 --since P21 --size=-9\n" +
			"  footrule drill answer one.footrule nothing\n  footrule drill answer one.footrule power --withdraw",
		Args: files(1, 2, "a drill's FILE and a KIND"),
		RunE: func(cmd *cobra.Command, args []string) error {
			st, rec, c, err := openDrill(args[0], len(args) == 1)
			if err != nil {
				return err
			}
			defer st.Close()
			if len(args) == 1 {
				if flag := changed(cmd, "ap", "point", "at", "since", "size", "withdraw"); flag != "" {
					return usage(fmt.Errorf("--%s belongs to a KIND", flag))
				}
				return printAnswers(sh, rec, asJSON)
			}
			if rec.Open() {
				return usage(fmt.Errorf("%s is open, its truth was shown; take the next case", args[0]))
			}
			a := drill.Answer{Kind: drill.Kind(args[1]), APs: aps, Points: points, Since: since, Size: size}
			if withdraw {
				if flag := changed(cmd, "ap", "point", "at", "since", "size"); flag != "" {
					return usage(fmt.Errorf("--withdraw takes back all that was said of a KIND; leave --%s out", flag))
				}
				gone := 0
				if rec.Answers, gone = drill.Withdraw(rec.Answers, a.Kind); gone == 0 {
					return usage(fmt.Errorf("%s was not said", a.Kind))
				}
			} else {
				if at != "" {
					p, err := drill.ParsePlace(at)
					if err != nil {
						return usage(fmt.Errorf("--at %w", err))
					}
					a.At = &p
				}
				if cmd.Flags().Changed("size") && size == 0 {
					return usage(errors.New("--size 0 is no size; leave it out where you can't tell"))
				}
				if err := a.Check(c.Plan); err != nil {
					return usage(err)
				}
				rec.Answers = drill.Give(rec.Answers, a)
			}
			if err := keepDrill(st, rec); err != nil {
				return err
			}
			return printAnswers(sh, rec, asJSON)
		},
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&aps, "ap", nil, "access point that has it (repeatable)")
	fl.StringArrayVar(&points, "point", nil, "point that has it (repeatable)")
	fl.StringVar(&at, "at", "", "where it really is: X,Y in metres on the plan")
	fl.StringVar(&since, "since", "", "the first point that was walked after it")
	fl.Float64Var(&size, "size", 0, "how much: dB for power (--size=-9), a factor for scales")
	fl.BoolVar(&withdraw, "withdraw", false, "take back what was said of this KIND")
	fl.BoolVar(&asJSON, "json", false, "print one JSON object")
	return cmd
}

// kindsText lists the kinds for the help.
func kindsText() string {
	var b strings.Builder
	for _, k := range drill.Kinds() {
		fmt.Fprintf(&b, "  %-8s %s\n", k, k.Name())
		if k.Asks() != "" {
			fmt.Fprintf(&b, "           %s\n", k.Asks())
		}
	}
	return strings.TrimRight(b.String(), "\n")
}

func printAnswers(sh *shell, rec *drill.Record, asJSON bool) error {
	if asJSON {
		return printJSON(sh.out, struct {
			Answers []drill.Answer `json:"answers"`
			Open    bool           `json:"open"`
		}{append([]drill.Answer{}, rec.Answers...), rec.Open()})
	}
	if len(rec.Answers) == 0 {
		fmt.Fprintln(sh.out, "nothing was said yet")
		return nil
	}
	fmt.Fprintln(sh.out, "you say:")
	for _, a := range rec.Answers {
		paragraph(sh.out, "  ", a.String())
	}
	return nil
}
