package main

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/infra"
	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/spf13/cobra"
)

// prepFlags are the flags of the command prep.
type prepFlags struct {
	answers                 []string
	by, from                string
	asJSON, open, all, keys bool
	rev                     uint64 // of the plan that was written; 0 where none was
}

func newPrep(sh *shell) *cobra.Command {
	var f prepFlags
	cmd := &cobra.Command{
		Use:   "prep FILE",
		Short: "Check what the access points hang on, and what is still to be asked",
		Long: `prep checks what the access points of the plan in FILE hang on: power class and switch
budget, ports and their speed, uplinks, cable, rack space, control, licences, and
what the location service carries. Each finding names its numbers and what it was
checked against; what the plan does not say is listed as not known. Where the
patching is open, it proposes one. FILE may also be a site.toml.

--keys prints the tables of site.toml that all of this stands in. --from takes them
from an edited site.toml into a site file.

prep also keeps the walk-down: the questions that have to be answered on site before
anyone buys or climbs. --open lists them, --answer ID "text" --by NAME writes an
answer. What is written becomes a new revision of the plan.

It exits with 1 when a check fails. These are checks of figures on paper: local codes
and a licensed person decide.`,
		Example: "  footrule prep depot.footrule\n  footrule prep --keys\n  footrule prep depot.footrule --from site.toml\n  footrule prep depot.footrule --open\n" +
			"  footrule prep depot.footrule --answer ceiling-height \"4.2 m, tiles of 600 mm\" --by \"R. Alder\"",
		Args: f.args,
		RunE: func(_ *cobra.Command, args []string) error {
			switch {
			case f.keys:
				_, err := fmt.Fprint(sh.out, infra.Keys)
				return err
			case f.answers != nil && f.from != "":
				return usage(errors.New("--answer and --from each write a revision; use one of them at a time"))
			case f.answers != nil:
				return f.answer(sh, args)
			case f.by != "":
				return usage(errors.New(`--by goes with --answer ID "text"`))
			}
			plan, err := f.plan(sh, args[0])
			if err != nil {
				return err
			}
			if f.open {
				return f.printQuestions(sh, plan)
			}
			r := infra.Examine(plan)
			if f.asJSON {
				err = printJSON(sh.out, prepJSON(plan, &r, f.rev))
			} else {
				printPrep(sh, plan, &r, f.all)
			}
			if err == nil && r.Verdict() == infra.Fails {
				return &exit{exitNo, nil}
			}
			return err
		},
	}
	cmd.Flags().StringArrayVar(&f.answers, "answer", nil, `answer the question with this ID; the text follows: --answer ID "text"`)
	cmd.Flags().StringVar(&f.by, "by", "", "who found the answer out")
	cmd.Flags().StringVar(&f.from, "from", "", "take what the access points hang on from this site.toml")
	cmd.Flags().BoolVar(&f.open, "open", false, "list the questions that are open")
	cmd.Flags().BoolVar(&f.all, "all", false, "also print each thing that holds, and with --open each answer")
	cmd.Flags().BoolVar(&f.keys, "keys", false, "print the tables of site.toml, with what each key means")
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print one JSON object")
	_ = cmd.RegisterFlagCompletionFunc("answer", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		var ids []string
		for _, q := range infra.Questions {
			ids = append(ids, q.ID+"\t"+q.Text)
		}
		return ids, cobra.ShellCompDirectiveNoFileComp
	})
	return cmd
}

func (f *prepFlags) args(cmd *cobra.Command, args []string) error {
	switch {
	case f.keys:
		return files(0, 0, "no FILE with --keys")(cmd, args)
	case f.answers != nil:
		return files(2, 2, "a site FILE and, after --answer ID, the text in quotes")(cmd, args)
	}
	return files(1, 1, "a site FILE or a site.toml")(cmd, args)
}

// plan reads the plan of a file, with what --from brings in.
func (f *prepFlags) plan(sh *shell, path string) (*site.Site, error) {
	if isTOML(path) {
		if f.from != "" {
			return nil, usage(fmt.Errorf("%s is text and yours to edit; --from changes a site file", path))
		}
		return readTOML(path)
	}
	st, err := open(path, f.from == "")
	if err != nil {
		return nil, err
	}
	defer st.Close()
	plan, _, err := st.Plan()
	if err != nil || f.from == "" {
		return plan, err
	}
	other, err := readTOML(f.from)
	if err != nil {
		return nil, err
	}
	next, kept, err := infra.Adopt(plan, other)
	if err != nil {
		var in *input.Error
		if errors.As(err, &in) && in.File == "" {
			in.File = f.from
		}
		return nil, err
	}
	f.rev, err = st.PutPlan(next)
	if err != nil || f.asJSON {
		return next, err
	}
	if len(kept) > 0 {
		fmt.Fprintf(sh.out, "not in %s, and left as on the plan: %s\n", f.from, subjects(kept))
	}
	fmt.Fprintf(sh.out, "saved as revision %d of the plan\n\n", f.rev)
	return next, nil
}

func readTOML(path string) (*site.Site, error) {
	r, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return site.Read(path, r)
}

// answer writes an answer as a new revision of the plan.
func (f *prepFlags) answer(sh *shell, args []string) error {
	path, text := args[0], strings.TrimSpace(args[1])
	if len(f.answers) > 1 {
		return usage(errors.New("one --answer at a time, since its text follows it"))
	}
	id := f.answers[0]
	q := infra.QuestionOf(id)
	switch {
	case isTOML(path):
		return usage(fmt.Errorf("%s is text and yours to edit: add an [[answer]] to it; --answer changes a site file", path))
	case q == nil:
		return usage(fmt.Errorf("no question %q; footrule prep %s --open lists them", id, path))
	case text == "":
		return usage(fmt.Errorf("the answer to %s is empty; write what was found out", id))
	case strings.TrimSpace(f.by) == "":
		return usage(fmt.Errorf("who answers %s? add --by NAME", id))
	}
	st, err := open(path, false)
	if err != nil {
		return err
	}
	defer st.Close()
	plan, _, err := st.Plan()
	if err != nil {
		return err
	}
	next := infra.Answered(plan, site.Answer{Question: id, Text: text, By: strings.TrimSpace(f.by), At: sh.now().UTC().Truncate(time.Second)})
	var in *input.Error
	if err := next.Validate(); errors.As(err, &in) {
		return usage(fmt.Errorf("%s; %s", in.What, in.Want))
	} else if err != nil {
		return err
	}
	rev, err := st.PutPlan(next)
	if err != nil {
		return err
	}
	if f.asJSON {
		return printJSON(sh.out, map[string]any{"revision": rev, "questions": questionsJSON(next)})
	}
	fmt.Fprintf(sh.out, "%s\n  %s (%s)\n", q.Text, canvas.Clean(text), canvas.Clean(f.by))
	if old := plan.Answer(id); old != nil {
		fmt.Fprintf(sh.out, "before: %s (%s, %s)\n", canvas.Clean(old.Text), canvas.Clean(old.By), old.At.Format(time.DateOnly))
	}
	fmt.Fprintf(sh.out, "saved as revision %d of the plan\n", rev)
	return nil
}
