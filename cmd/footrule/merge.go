package main

import (
	"errors"
	"fmt"
	"strings"

	"footrule/internal/canvas"
	"footrule/internal/say"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/spf13/cobra"
)

func newMerge(sh *shell) *cobra.Command {
	var plan string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "merge FILE OTHER...",
		Short: "Bring in the walks of other laptops",
		Long: `merge adds to FILE what other files of the same site have: walks, revisions of the
plan, pictures. The others are only read. The order does not matter, and merging
again adds nothing.

A walk is known by its ID, an imported one by the digest of what was imported. Where
one laptop went on with an open walk, FILE gets the rest of it; where two did, each
version is kept as a walk of its own, called by its ID, a tilde and a piece of its
digest. Every walk stays with the revision of the plan that it was made on.

Where both sides changed the plan, --plan says which is to be the newest: mine
(FILE's), theirs, or a site.toml. The others stay as earlier revisions.`,
		Example: `  footrule merge depot.footrule kim.footrule lee.footrule
  footrule merge depot.footrule kim.footrule --plan mine`,
		Args: files(2, -1, "a site FILE and one or more OTHERs"),
		RunE: func(cmd *cobra.Command, args []string) error {
			choice, given, err := planChoice(plan)
			if err != nil {
				return err
			}
			for _, o := range args[1:] {
				if sameFile(args[0], o) {
					return usage(fmt.Errorf("%s is FILE itself", o))
				}
			}
			st, err := open(args[0], false)
			if err != nil {
				return err
			}
			defer st.Close()
			out := []jsonMerged{}
			for _, path := range args[1:] {
				m, err := mergeOne(st, path, choice, given)
				if err != nil {
					return fmt.Errorf("%w; %s", err, before(len(out)))
				}
				out = append(out, m)
				if !asJSON {
					m.print(sh)
				}
			}
			if err := st.Close(); err != nil {
				return err
			}
			if asJSON {
				return printJSON(sh.out, struct {
					File   string       `json:"file"`
					Merged []jsonMerged `json:"merged"`
				}{args[0], out})
			}
			return nil
		},
	}
	cmd.Flags().StringVar(&plan, "plan", "", "where both sides changed the plan, the newest: mine, theirs or a site.toml")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print one JSON object")
	complete(cmd, "plan", "mine", "theirs")
	return cmd
}

// before says what was done before something failed.
func before(n int) string {
	if n == 0 {
		return "nothing was added"
	}
	return say.Count(n, "file") + " before it was merged"
}

func planChoice(s string) (store.PlanChoice, *site.Site, error) {
	switch s {
	case "":
		return store.PlanUndecided, nil, nil
	case "mine":
		return store.PlanMine, nil, nil
	case "theirs":
		return store.PlanTheirs, nil, nil
	}
	plan, err := readTOML(s)
	return store.PlanGiven, plan, err
}

// mergeOne merges one file; where the plans differ and nobody chose, the error
// says in what.
func mergeOne(st *store.Store, path string, choice store.PlanChoice, given *site.Site) (jsonMerged, error) {
	other, err := open(path, true)
	if err != nil {
		return jsonMerged{}, err
	}
	defer other.Close()
	m, err := st.Merge(other, choice, given)
	if errors.Is(err, store.ErrPlans) {
		mine, _, errA := st.Plan()
		theirs, _, errB := other.Plan()
		if errors.Join(errA, errB) != nil {
			return jsonMerged{}, errors.Join(errA, errB)
		}
		return jsonMerged{}, usage(fmt.Errorf("the plans of %s and %s were both changed (%s); say which is to be the newest with --plan mine, --plan theirs or --plan FILE, the others stay as earlier revisions",
			st.Path(), path, canvas.Clean(strings.Join(site.Differences(mine, theirs), "; "))))
	}
	if err != nil {
		return jsonMerged{}, err
	}
	return jsonMerged{File: path, Added: headsJSON(m.Added), Extended: headsJSON(m.Extended), Same: headsJSON(m.Same), Apart: headsJSON(m.Apart),
		Plans: m.Plans, Newer: m.Newer, Pictures: m.Pictures}, nil
}

type jsonHead struct {
	ID        string `json:"id"`
	Name      string `json:"name"`
	Surveyor  string `json:"surveyor"`
	Receiver  string `json:"receiver"`
	Program   string `json:"program"`
	PlanRev   uint64 `json:"plan_revision"`
	Completed bool   `json:"completed"`
}

func headsJSON(heads []walk.Header) []jsonHead {
	out := []jsonHead{}
	for _, h := range heads {
		out = append(out, jsonHead{h.ID, h.Name, h.Surveyor, h.Receiver, h.Program, h.PlanRev, h.Completed})
	}
	return out
}

type jsonMerged struct {
	File     string     `json:"file"`
	Added    []jsonHead `json:"added"`
	Extended []jsonHead `json:"extended"`
	Same     []jsonHead `json:"same"`
	Apart    []jsonHead `json:"apart"`
	Plans    int        `json:"plans_added"`
	Newer    bool       `json:"newest_plan_changed"`
	Pictures int        `json:"pictures_added"`
}

func (m *jsonMerged) print(sh *shell) {
	var parts []string
	for _, p := range []struct {
		heads []jsonHead
		what  string
	}{{m.Added, "added"}, {m.Extended, "gone on with"}, {m.Same, "already there"}} {
		if n := len(p.heads); n > 0 {
			parts = append(parts, say.Count(n, "walk")+" "+p.what)
		}
	}
	if m.Plans > 0 {
		parts = append(parts, say.Count(m.Plans, "revision")+" of the plan added")
	}
	if m.Newer {
		parts = append(parts, "the newest plan is another now")
	}
	if m.Pictures > 0 {
		parts = append(parts, say.Count(m.Pictures, "picture")+" added")
	}
	if len(parts) == 0 && len(m.Apart) == 0 {
		parts = []string{"it has no walks, and the same plan"}
	}
	fmt.Fprintf(sh.out, "%s: %s\n", m.File, strings.Join(append(parts, apartText(m.Apart)...), ", "))
	for _, h := range m.Added {
		by := ""
		if h.Surveyor != "" {
			by = ", by " + h.Surveyor
		}
		fmt.Fprintf(sh.out, "  %s\n", canvas.Clean(fmt.Sprintf("%s (%s): with %s%s, on revision %d of the plan", h.Name, h.ID, h.Receiver, by, h.PlanRev)))
	}
	for _, h := range m.Apart {
		fmt.Fprintf(sh.out, "  %s\n", canvas.Clean(fmt.Sprintf("%s: walk %s was gone on with on both sides; this version is kept beside the other", h.ID, h.Name)))
	}
}

func apartText(heads []jsonHead) []string {
	if len(heads) == 0 {
		return nil
	}
	return []string{say.Count(len(heads), "version") + " of walks that both sides went on with, all kept"}
}
