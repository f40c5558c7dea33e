package main

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"footrule/internal/drawing"
	"footrule/internal/site"
	"footrule/store"

	"github.com/spf13/cobra"
)

// planFlags are the flags of the command plan.
type planFlags struct {
	drawingFlags
	draw    string
	replace bool
	edit    bool
	screenFlags
	tape   []string
	asJSON bool
}

func newPlan(sh *shell) *cobra.Command {
	var f planFlags
	cmd := &cobra.Command{
		Use:   "plan FILE",
		Short: "Show a plan, add floors from drawings, hold it to taped distances",
		Long: `plan shows the floors of a site file or a site.toml, how their drawings were made
metres, and how distances that were taped in the building agree with the plan. Of
a drawing it lists the layers. It ends with 1 where the scale of a floor is off.

--add takes a floor from a drawing into a site file, as footrule new --from does;
unless --origin says otherwise it lies over a floor that came from a drawing with
the same unit. --replace draws an existing floor anew and keeps its points, its
access points and taped distances. --tape writes down a distance that was taped
along the floor between two points or access points, or places x,y of the plan.
--edit opens the plan on the screen: outline, walls with their materials, areas,
access points and points are drawn and moved there, over the picture where a floor
was made from one. Each becomes a new revision of the plan.`,
		Example: "  footrule plan ground.dxf\n  footrule plan depot.footrule\n" +
			"  footrule plan depot.footrule --add first.dxf --floor 1 --elevation 3.5 --layer OUTER=outline\n" +
			"  footrule plan depot.footrule --edit\n" +
			"  footrule plan depot.footrule --tape 'P01 P07 12.5m'",
		Args: files(1, 1, "a site FILE, a site.toml or a drawing"),
		RunE: func(cmd *cobra.Command, args []string) error {
			path := args[0]
			if err := errors.Join(foreign(path), foreign(f.draw)); err != nil {
				return usage(err)
			}
			if f.edit {
				if f.draw != "" || len(f.tape) > 0 || f.asJSON {
					return usage(errors.New("--edit opens the screen; add and tape before or after it"))
				}
				if isDrawing(path) || isTOML(path) {
					return usage(fmt.Errorf("%s is no site file; make one of it first: footrule new FILE --from %s", path, path))
				}
				return editPlan(cmd.Context(), sh, path, &f.screenFlags)
			}
			if flag := f.given(cmd); f.draw == "" && flag != "" && !(flag == "floor" && len(f.tape) > 0) && !isDrawing(path) {
				return usage(fmt.Errorf("--%s is for a drawing; give one with --add", flag))
			}
			if f.replace && f.draw == "" {
				return usage(errors.New("--replace needs the drawing: --add DRAWING"))
			}
			changes := f.draw != "" || len(f.tape) > 0
			switch {
			case isDrawing(path) && changes:
				return usage(fmt.Errorf("%s is a drawing; make a site file of it first: footrule new FILE --from %s", path, path))
			case isDrawing(path):
				return f.list(sh, path)
			case isTOML(path) && changes:
				return usage(fmt.Errorf("%s is text and yours to edit; --add and --tape change a site file", path))
			}
			plan, err := f.plan(sh, path, changes)
			if err != nil {
				return err
			}
			err = printPlan(sh, plan, f.asJSON)
			if lack := lacking(plan, path); lack != "" && !f.asJSON && !isDrawing(path) && !isTOML(path) {
				fmt.Fprintln(sh.out, lack)
			}
			return err
		},
	}
	cmd.Flags().StringVar(&f.draw, "add", "", "a drawing to take a floor from")
	cmd.Flags().BoolVar(&f.replace, "replace", false, "the floor is there already: draw it anew")
	cmd.Flags().StringArrayVar(&f.tape, "tape", nil, `a taped distance: "FROM TO 12.5m" (repeatable)`)
	cmd.Flags().BoolVar(&f.asJSON, "json", false, "print one JSON object")
	cmd.Flags().BoolVar(&f.edit, "edit", false, "draw and edit the plan on the screen, with keys or a mouse")
	f.screenFlags.add(cmd, true)
	f.drawingFlags.add(cmd)
	return cmd
}

// plan reads the plan of a file, with the changes that were asked for.
func (f *planFlags) plan(sh *shell, path string, changes bool) (*site.Site, error) {
	if isTOML(path) {
		r, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer r.Close()
		return site.Read(path, r)
	}
	st, err := open(path, !changes)
	if err != nil {
		return nil, err
	}
	defer st.Close()
	plan, _, err := st.Plan()
	if err != nil || !changes {
		return plan, err
	}
	return plan, f.change(sh, st, plan)
}

// change adds the floor and the taped distances, all or nothing.
func (f *planFlags) change(sh *shell, st *store.Store, plan *site.Site) error {
	var made *drawing.Made
	var say []string
	var pic []byte
	if f.draw != "" {
		var err error
		if made, pic, say, err = f.addFloor(plan); err != nil {
			return err
		}
	}
	for _, t := range f.tape {
		if err := f.addTaped(plan, t); err != nil {
			return err
		}
	}
	if err := validate(st.Path(), plan); err != nil {
		return err
	}
	if pic != nil {
		if _, err := st.PutPicture(pic); err != nil {
			return err
		}
	}
	rev, err := st.PutPlan(plan)
	if err != nil {
		return err
	}
	if f.asJSON {
		return nil
	}
	if made != nil {
		printMade(sh.out, made)
	}
	for _, s := range say {
		fmt.Fprintln(sh.out, "  note: "+s)
	}
	fmt.Fprintf(sh.out, "saved as revision %d of the plan\n\n", rev)
	return nil
}

// addFloor takes a floor from a drawing.
func (f *planFlags) addFloor(plan *site.Site) (*drawing.Made, []byte, []string, error) {
	if !isDrawing(f.draw) {
		return nil, nil, nil, usage(fmt.Errorf("%s: --add takes a drawing (%s)", f.draw, drawings()))
	}
	if f.floor == "" {
		return nil, nil, nil, usage(errors.New("--add needs the ID of the floor: --floor 1"))
	}
	o, m, err := f.parse()
	if err != nil {
		return nil, nil, nil, err
	}
	at := plan.FloorIndex(m.ID)
	switch {
	case at >= 0 && !f.replace:
		return nil, nil, nil, usage(fmt.Errorf("floor %q is there already; give another --floor, or --replace it", m.ID))
	case at < 0 && f.replace:
		return nil, nil, nil, usage(fmt.Errorf("there is no floor %q to replace", m.ID))
	}
	m.Taken = map[string]bool{}
	for i := range plan.Floors {
		for _, p := range plan.Floors[i].Points {
			m.Taken[p.ID] = true
		}
	}
	for _, ap := range plan.AccessPoints {
		m.Taken[ap.ID] = true
		if ap.Floor == m.ID {
			m.There = append(m.There, drawing.Standing{ID: ap.ID, At: ap.At})
		}
	}
	if at >= 0 {
		for _, p := range plan.Floors[at].Points {
			m.There = append(m.There, drawing.Standing{ID: p.ID, At: p.At})
		}
	}
	var say []string
	if m.Origin == nil {
		if base := f.base(plan, o); base != nil {
			d := base.Drawing
			m.Origin = &d.Origin
			if f.turn == 0 {
				m.TurnDeg = d.TurnDeg
			}
			say = append(say, fmt.Sprintf("laid over floor %s: the same origin (%.10g, %.10g) in the drawing", base.ID, d.Origin[0], d.Origin[1]))
		} else if len(plan.Floors) > 0 {
			say = append(say, "its lower left is taken for 0, 0: where that is not over 0, 0 of the other floors, give the --origin")
		}
	}
	made, pic, err := f.readFloor(f.draw, o, m)
	if err != nil {
		return nil, nil, nil, err
	}
	made.Floor.Drawing.File = filepath.Base(made.Floor.Drawing.File)
	if at >= 0 {
		old := &plan.Floors[at]
		if f.floorName == "" {
			made.Floor.Name = old.Name
		}
		if f.elevation == 0 {
			made.Floor.ElevationM = old.ElevationM
		}
		made.Floor.Points = append(slices.Clone(old.Points), made.Floor.Points...)
		made.Floor.Taped = old.Taped
		plan.Floors[at] = made.Floor
	} else {
		plan.Floors = append(plan.Floors, made.Floor)
		at = len(plan.Floors) - 1
	}
	plan.AccessPoints = append(plan.AccessPoints, made.AccessPoints...)
	for i := range plan.Floors {
		if b := plan.Floors[i].BoundingBox(); i != at && !b.Intersects(made.Floor.BoundingBox()) {
			say = append(say, fmt.Sprintf("floor %s does not lie over floor %s; if it should, give the --origin that is 0, 0 on both", made.Floor.ID, plan.Floors[i].ID))
		}
	}
	return made, pic, say, nil
}

// base is a floor whose drawing a new one may share its origin with: of the
// same format and, as far as it is known beforehand, the same unit.
func (f *planFlags) base(plan *site.Site, o drawing.Options) *site.Floor {
	for i := range plan.Floors {
		d := plan.Floors[i].Drawing
		if d != nil && d.Kind != site.DrawingPicture && drawing.KindOf(f.draw, o) == d.Kind && (o.MetresPerUnit == 0 || math.Abs(o.MetresPerUnit/d.MetresPerUnit-1) < 1e-6) {
			return &plan.Floors[i]
		}
	}
	return nil
}

// addTaped reads "FROM TO 12.5m" and puts it on the floor that it is on.
func (f *planFlags) addTaped(plan *site.Site, text string) error {
	bad := usage(fmt.Errorf(`--tape %q; write two points, access points or places x,y and the distance, such as "P01 P07 12.5m"`, text))
	w := strings.Fields(text)
	if len(w) != 3 {
		return bad
	}
	d, err := drawing.ParseDistance(w[2])
	if err != nil {
		return bad
	}
	t := site.Taped{From: spot(w[0]), To: spot(w[1]), DistanceM: d}
	at := -1
	for i := range plan.Floors {
		_, a := plan.Spot(&plan.Floors[i], t.From)
		_, b := plan.Spot(&plan.Floors[i], t.To)
		if a && b && (f.floor == "" || f.floor == plan.Floors[i].ID) {
			if at >= 0 {
				return usage(fmt.Errorf("--tape %q could be on floor %s or %s; say --floor", text, plan.Floors[at].ID, plan.Floors[i].ID))
			}
			at = i
		}
	}
	if at < 0 {
		return usage(fmt.Errorf("--tape %q: no floor has both %s and %s", text, t.From, t.To))
	}
	fl := &plan.Floors[at]
	if k := slices.IndexFunc(fl.Taped, func(o site.Taped) bool { return o.From == t.From && o.To == t.To }); k >= 0 {
		fl.Taped[k] = t // taped again
		return nil
	}
	fl.Taped = append(fl.Taped, t)
	return nil
}

// spot reads an ID, or x,y in metres.
func spot(s string) site.Spot {
	if p, err := drawing.ParsePlace(s); err == nil {
		return site.Spot{At: p}
	}
	return site.Spot{ID: s}
}
