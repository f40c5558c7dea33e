package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"footrule/internal/canvas"
	"footrule/internal/infra"
	"footrule/internal/say"
	"footrule/internal/site"
)

// printQuestions lists the walk-down, group by group.
func (f *prepFlags) printQuestions(sh *shell, plan *site.Site) error {
	if f.asJSON {
		return printJSON(sh.out, map[string]any{"questions": questionsJSON(plan)})
	}
	group, n := "", 0
	for _, q := range infra.Questions {
		a := plan.Answer(q.ID)
		if a != nil && !f.all {
			continue
		}
		if q.Group != group {
			group = q.Group
			fmt.Fprintf(sh.out, "%s\n", group)
		}
		if a != nil {
			paragraph(sh.out, fmt.Sprintf("  %-18s ", q.ID), q.Text)
			paragraph(sh.out, fmt.Sprintf("  %-18s = ", ""), fmt.Sprintf("%s (%s, %s)", canvas.Clean(a.Text), canvas.Clean(a.By), a.At.Format(time.DateOnly)))
			continue
		}
		n++
		paragraph(sh.out, fmt.Sprintf("  %-18s ", q.ID), q.Text)
	}
	if n == 0 {
		fmt.Fprintf(sh.out, "every question of the walk-down is answered\n")
		return nil
	}
	fmt.Fprintf(sh.out, "\n%d of %d open; answer with --answer ID \"text\" --by NAME\n", n, len(infra.Questions))
	return nil
}

// groupsOf gives the groups of findings, the worst first.
func groupsOf(r *infra.Report) []string {
	var groups []string
	worst := map[string]int{}
	for i := range r.Findings {
		g := infra.CheckOf(r.Findings[i].Check).Group
		w := slices.Index(infra.Statuses, r.Findings[i].Status)
		if old, seen := worst[g]; !seen {
			groups = append(groups, g)
			worst[g] = w
		} else {
			worst[g] = min(old, w)
		}
	}
	slices.SortStableFunc(groups, func(a, b string) int { return worst[a] - worst[b] })
	return groups
}

func printPrep(sh *shell, plan *site.Site, r *infra.Report, all bool) {
	n := plan.Infra
	if n == nil {
		n = &site.Infra{}
	}
	fmt.Fprintf(sh.out, "%s  %s, %s, %s\n", plan.Name, say.Count(len(plan.AccessPoints), "access point"), say.Count(len(n.Switches), "switch"), say.Count(len(n.Closets), "closet"))
	var parts []string
	for _, s := range infra.Statuses {
		parts = append(parts, fmt.Sprintf("%d %s", r.Count(s), map[infra.Status]string{infra.Fails: "fail", infra.Doubtful: "doubtful", infra.Unknown: "not known", infra.Holds: "hold"}[s]))
	}
	fmt.Fprintf(sh.out, "%s: %s\n", prepVerdict[r.Verdict()], strings.Join(parts, ", "))
	for _, g := range groupsOf(r) {
		fmt.Fprintf(sh.out, "\n%s\n", strings.ToUpper(g[:1])+g[1:])
		for i := range infra.Checks {
			if c := &infra.Checks[i]; c.Group == g {
				printCheck(sh, c, r, all)
			}
		}
	}
	printPatching(sh, r)
	fmt.Fprintf(sh.out, "\nCautions\n")
	for _, c := range infra.Cautions {
		paragraph(sh.out, "  ", c)
	}
}

// prepVerdict is the report in a sentence.
var prepVerdict = map[infra.Status]string{
	infra.Fails:    "not fit to be built as it stands",
	infra.Unknown:  "nothing fails, and not all is known yet",
	infra.Doubtful: "nothing fails, and some is tight",
	infra.Holds:    "all of it holds on paper",
}

// printCheck prints the findings of one check, the worst first; what holds only
// by its number and the tightest, unless all is asked for.
func printCheck(sh *shell, c *infra.Check, r *infra.Report, all bool) {
	var of []*infra.Finding
	for i := range r.Findings {
		if r.Findings[i].Check == c.ID {
			of = append(of, &r.Findings[i])
		}
	}
	if len(of) == 0 {
		return
	}
	paragraph(sh.out, "  ", c.Title+"; against "+c.Against)
	for _, s := range infra.Statuses {
		var these []*infra.Finding
		for _, f := range of {
			if f.Status == s {
				these = append(these, f)
			}
		}
		if s == infra.Holds && len(these) > 1 && !all {
			text := fmt.Sprintf("%d of %d", len(these), len(of))
			if n := estimated(these); n > 0 {
				text += fmt.Sprintf(", %d of them by a length that is only estimated", n)
			}
			if t := infra.Tightest(these); t != nil {
				text += fmt.Sprintf("; tightest %s: %s", strings.Join(t.Subjects, ", "), t.Text)
			}
			paragraph(sh.out, fmt.Sprintf("    %-10s ", s), text)
			continue
		}
		for _, f := range alike(these) {
			text := f.Text
			if len(f.Subjects) > 0 {
				text = subjects(f.Subjects) + ": " + text
			}
			if f.Proposed {
				text += " (as proposed)"
			}
			paragraph(sh.out, fmt.Sprintf("    %-10s ", s), text)
		}
	}
}

// alike puts findings that say the same together.
func alike(list []*infra.Finding) []*infra.Finding {
	var out []*infra.Finding
	for _, f := range list {
		i := slices.IndexFunc(out, func(o *infra.Finding) bool { return o.Text == f.Text && o.Proposed == f.Proposed })
		if i < 0 {
			c := *f
			out = append(out, &c)
			continue
		}
		out[i].Subjects = slices.Concat(out[i].Subjects, f.Subjects)
	}
	return out
}

func estimated(list []*infra.Finding) int {
	n := 0
	for _, f := range list {
		if f.Estimate {
			n++
		}
	}
	return n
}

// subjects names what a finding is on: all of a few, of many the first.
func subjects(ids []string) string {
	const few = 8
	if len(ids) > few {
		return strings.Join(ids[:few-1], ", ") + fmt.Sprintf(" and %d more", len(ids)-few+1)
	}
	return strings.Join(ids, ", ")
}

func printPatching(sh *shell, r *infra.Report) {
	open := slices.ContainsFunc(r.Patching, func(p infra.Patch) bool { return p.Proposed })
	if !open && len(r.Unpatched) == 0 {
		return
	}
	why := "where the plan leaves it open: fewest shortfalls, then least cable"
	if !r.Proof {
		why += "; the best that was found, not proven to be the best there is"
	}
	fmt.Fprintln(sh.out, "\nProposed patching")
	paragraph(sh.out, "  ", why)
	rows := [][]string{{"  access point", "switch", "port", "link m"}}
	for _, p := range r.Patching {
		if !p.Proposed {
			continue
		}
		m := "–"
		if p.LengthM != nil {
			m = say.Fixed(*p.LengthM, 0)
			if !p.Measured {
				m = "about " + m
			}
		}
		rows = append(rows, []string{"  " + p.AP, p.Switch, fmt.Sprint(p.Port), m})
	}
	if len(rows) > 1 {
		table(sh.out, rows)
	}
	if len(r.Unpatched) > 0 {
		paragraph(sh.out, "  ", "no port is left for "+subjects(r.Unpatched))
	}
}
