package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"

	"footrule/internal/drill"

	"github.com/spf13/cobra"
)

func newDrillSheet(sh *shell) *cobra.Command {
	var markdown, open bool
	var seed uint64
	cmd := &cobra.Command{
		Use:   "sheet CASE",
		Short: "Print the solution of a case",
		Long: `sheet prints what is wrong in a case, how it is seen, what to do about it, how it
really is, and how it is marked: for trainers, and for afterwards. CASE is the name
of a case, a case file, or the site file of a drill that was graded; --open prints
that of a drill that was not, and opens it. Equal cases give equal sheets.`,
		Example: "  footrule drill sheet plain-1\n  footrule drill sheet middle-4 --seed 7 --markdown > solution.md\n  footrule drill sheet one.footrule",
		Args:    files(1, 1, "a CASE or a drill's FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := sheetCase(cmd, sh, args[0], seed, open)
			if err != nil {
				return err
			}
			_, err = fmt.Fprint(sh.out, drill.Sheet(c, markdown))
			return err
		},
	}
	cmd.Flags().BoolVar(&markdown, "markdown", false, "print Markdown")
	cmd.Flags().BoolVar(&open, "open", false, "print the solution of a drill that was not graded, which opens it")
	cmd.Flags().Uint64Var(&seed, "seed", 1, "of the building, for a CASE")
	return cmd
}

// sheetCase finds the case whose solution is to be printed.
func sheetCase(cmd *cobra.Command, sh *shell, name string, seed uint64, open bool) (*drill.Case, error) {
	if _, err := os.Stat(name); err != nil || isTOML(name) {
		if open {
			return nil, usage(errors.New("--open belongs to the site file of a drill"))
		}
		spec, err := specOf(cmd, name, seed)
		if err != nil {
			return nil, err
		}
		c, err := drill.Make(spec)
		if err != nil {
			return nil, usage(fmt.Errorf("%s: %w", name, err))
		}
		return c, nil
	}
	if cmd.Flags().Changed("seed") {
		return nil, usage(fmt.Errorf("%s has its seed already", name))
	}
	st, rec, c, err := openDrill(name, !open)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	if rec.Open() {
		return c, nil
	}
	if !open {
		return nil, usage(fmt.Errorf("%s was not graded, and its solution would give it away; --open prints it all the same", name))
	}
	opened(rec, sh.now())
	return c, keepDrill(st, rec)
}

func newDrillMake(sh *shell) *cobra.Command {
	var faults []string
	var spec drill.Spec
	var level string
	cmd := &cobra.Command{
		Use:   "make OUT.toml --fault KIND",
		Short: "Make a case of your own",
		Long: `make writes a case file, for trainers: which faults, in a building drawn from a
seed. What is not said is drawn as well. A fault is a kind (footrule drill answer
--help lists them), and after a colon what is to be so and not otherwise:

  ap=AP-03   which access point (twice for labels)
  point=P12  which point (twice for exchange)
  size=9     m off its place, dB of power, body loss or receiver, a factor of scales
  after=20   visits made before power changes or an access point falls silent

--fault nothing makes a clean site. footrule drill OUT.toml makes the site file to
hand out; the case file says what is wrong, so keep it.`,
		Example: "  footrule drill make evening.toml --fault labels --fault dies:after=25 --level middle --seed 40\n" +
			"  footrule drill make ladder.toml --fault moved:ap=AP-03,size=12 --story 'The ceiling was renewed.'\n  footrule drill evening.toml --file evening.footrule",
		Args: files(1, 1, "the case file to make"),
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case len(faults) == 0:
				return usage(errors.New("make needs --fault KIND; --fault nothing makes a clean site"))
			case !isTOML(args[0]):
				return usage(fmt.Errorf("%s; a case file ends in .toml", args[0]))
			}
			for _, text := range faults {
				if text == string(drill.Nothing) {
					if len(faults) > 1 {
						return usage(errors.New("--fault nothing stands alone"))
					}
					continue
				}
				f, err := drill.ParseFault(text)
				if err != nil {
					return usage(fmt.Errorf("--fault %w", err))
				}
				spec.Faults = append(spec.Faults, f)
			}
			spec.Level = drill.Level(level)
			c, err := drill.Make(spec)
			if err != nil {
				return usage(err)
			}
			var b bytes.Buffer
			if err := drill.WriteCase(&b, spec); err != nil {
				return err
			}
			if _, err := drill.ReadCase(args[0], bytes.NewReader(b.Bytes())); err != nil {
				return err
			}
			if err := writeNew(args[0], b.Bytes()); err != nil {
				return err
			}
			fmt.Fprintf(sh.out, "%s: %s, %s, seed %d\n", args[0], c.Title, c.Level, c.Seed)
			for i := range c.Faults {
				paragraph(sh.out, "  ", capital(c.Says(&c.Faults[i]))+".")
			}
			if len(c.Faults) == 0 {
				fmt.Fprintln(sh.out, "  Nothing is wrong.")
			}
			fmt.Fprintf(sh.out, "next: footrule drill %s --file handout.footrule\n", args[0])
			return nil
		},
	}
	fl := cmd.Flags()
	fl.StringArrayVar(&faults, "fault", nil, "what is wrong (repeatable)")
	fl.Uint64Var(&spec.Seed, "seed", 1, "of the building and of all that is drawn")
	fl.IntVar(&spec.Floors, "floors", 0, "of the building (default: one, or as many as a fault needs)")
	fl.StringVar(&level, "level", string(drill.Middle), "plain, middle or hard: how even the levels are")
	fl.StringVar(&spec.Title, "title", "", "what the place is called (default: drawn)")
	fl.StringVar(&spec.Story, "story", "", "what the customer says (default: drawn)")
	return cmd
}
