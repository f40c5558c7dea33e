package main

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"

	"footrule/internal/drill"
	"footrule/internal/site"
	"footrule/store"
	"footrule/tui"
)

// drillOnScreen lets the drill in a file be answered on the screen of its walk;
// nil for a file that is none. with hands out the file to write to.
func drillOnScreen(sh *shell, r *drill.Record, with func(func(*store.Store) error) error) *tui.Drill {
	if r == nil {
		return nil
	}
	d := &tui.Drill{Answers: r.Answers, Open: r.Open()}
	if c, err := r.Case(); err == nil { // who can't make the case again is told when it is graded
		d.Story = c.Story
	}
	// fresh reads the record anew: another window may have answered meanwhile.
	fresh := func(do func(*store.Store, *drill.Record) error) error {
		return with(func(st *store.Store) error {
			rec, err := drillIn(st)
			if err != nil {
				return err
			}
			return do(st, rec)
		})
	}
	d.Keep = func(change func([]drill.Answer) []drill.Answer) (kept []drill.Answer, err error) {
		err = fresh(func(st *store.Store, rec *drill.Record) error {
			if rec.Open() {
				return fmt.Errorf("the case is open, its truth was shown elsewhere; take the next one")
			}
			rec.Answers = change(rec.Answers)
			kept = rec.Answers
			return keepDrill(st, rec)
		})
		return kept, err
	}
	d.Grade = func(ctx context.Context) (out tui.Graded, err error) {
		err = fresh(func(st *store.Store, rec *drill.Record) error {
			c, err := rec.Case()
			if err != nil {
				return err
			}
			g, err := gradeDrill(ctx, sh, st, rec, c)
			if err != nil {
				return err
			}
			var b bytes.Buffer
			printGrade(&b, c, &g.score, &g.truth)
			out = tui.Graded{Text: strings.Split(strings.TrimRight(b.String(), "\n"), "\n"), Truth: truths(c, &g.score)}
			return nil
		})
		return out, err
	}
	return d
}

// inFile hands out a file that is opened for each use.
func inFile(path string) func(func(*store.Store) error) error {
	return func(do func(*store.Store) error) error {
		st, err := open(path, false)
		if err != nil {
			return err
		}
		defer st.Close()
		return do(st)
	}
}

// truths says what was wrong in the words of the screen: where it was drawn or
// recorded, and where it really is.
func truths(c *drill.Case, s *drill.Score) []tui.Finding {
	finding := func(title, truth string, k drill.Kind) tui.Finding {
		return tui.Finding{Title: "truth: " + title, Evidence: truth, Do: capital(k.Cure()) + ".", AP: -1,
			Floor: c.Plan.Floors[0].ID, At: c.Plan.Floors[0].BoundingBox().Center()}
	}
	var out []tui.Finding
	for i := range s.Marks {
		m := &s.Marks[i]
		f := &m.Fault
		t := finding(strings.Join(slices.Concat([]string{string(f.Kind)}, f.APs, f.Points), ", "), capital(m.Truth)+".", f.Kind)
		switch {
		case len(f.APs) > 0:
			t.AP = slices.IndexFunc(c.Plan.AccessPoints, func(ap site.AccessPoint) bool { return ap.ID == f.APs[0] })
			ap := &c.Plan.AccessPoints[t.AP]
			t.Floor, t.At = ap.Floor, ap.At
			if really := c.Really(t.AP); really != ap.At {
				t.Seems = &really
			}
		case len(f.Points) > 0:
			for k := range c.Plan.Floors {
				p := c.Plan.Floors[k].Point(f.Points[0])
				if p == nil {
					continue
				}
				t.Floor, t.At, t.Seems = c.Plan.Floors[k].ID, p.At, f.At
				if f.Kind == drill.Exchange {
					t.Seems = &c.Plan.Floors[k].Point(f.Points[1]).At
				}
			}
		}
		out = append(out, t)
	}
	if len(out) == 0 {
		out = append(out, finding(string(drill.Nothing), "The site is clean.", drill.Nothing))
	}
	return out
}
