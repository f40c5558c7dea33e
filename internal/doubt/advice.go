package doubt

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"footrule/internal/median"
	"footrule/internal/walk"
)

// Constants of the advice.
const (
	bookendPoints = 6
	fineStepDB    = 6.0  // a walk that sees this needs no more for it
	farMoveM      = 10.0 // an access point that could hang so far off unseen wants more points
)

// prospects writes what could have been found, in sentences.
func (f *fit) prospects(o *Outlook) []string {
	var out []string
	names := f.v.rows.site.AccessPoints
	sizes := func(value func(a *APOutlook) float64) (mid float64, worst int, blind []string) {
		var v []float64
		worst = -1
		for i := range o.APs {
			a := &o.APs[i]
			x := value(a)
			if math.IsNaN(x) {
				blind = append(blind, names[a.AP].ID)
				continue
			}
			v = append(v, x)
			if worst < 0 || x > value(&o.APs[worst]) {
				worst = i
			}
		}
		return median.Of(v), worst, blind
	}
	say := func(what, by, unit, none, never string, value func(a *APOutlook) float64) {
		mid, worst, blind := sizes(value)
		if worst < 0 {
			out = append(out, never)
			return
		}
		s := fmt.Sprintf("%s %s %.0f %s at half of the access points", what, by, math.Ceil(mid), unit)
		if w := value(&o.APs[worst]); math.Ceil(w) > math.Ceil(mid) {
			s += fmt.Sprintf(", %s %.0f %s at %s", by, math.Ceil(w), unit, names[o.APs[worst].AP].ID)
		}
		if len(blind) > 0 {
			s += ", " + none + " at " + some(blind)
		}
		out = append(out, s)
	}
	say("an access point off its place", "by", "m", "by no distance", "no access point off its place, however far", func(a *APOutlook) float64 { return a.MoveM })
	say("a change of power", "of", "dB", "of no size", "no change of power, however large", func(a *APOutlook) float64 { return a.StepDB })
	var off []float64
	for i := range o.Visits {
		if !math.IsNaN(o.Visits[i].OffM) {
			off = append(off, o.Visits[i].OffM)
		}
	}
	if len(off) == 0 {
		out = append(out, "no visit recorded at the wrong place, however far off")
	} else {
		slices.Sort(off)
		out = append(out, fmt.Sprintf("a visit recorded %.0f m from where it was made, at half of the points%s", median.Of(off), share(len(off), len(o.Visits))))
	}
	var deaf []string
	for i := range o.APs {
		if o.APs[i].Dying == nil {
			deaf = append(deaf, names[o.APs[i].AP].ID)
		}
	}
	if len(deaf) == 0 {
		out = append(out, "any access point falling silent before the last few places that expect to hear it")
	} else {
		out = append(out, "falling silent, but not of "+some(deaf)+": too few places apart expect to hear it")
	}
	for _, r := range o.Receivers {
		if math.IsNaN(r.OffsetDB) {
			out = append(out, fmt.Sprintf("no offset between receivers %s and %s: they can't be compared", quoted(r.Receiver), quoted(r.Against)))
		} else {
			out = append(out, fmt.Sprintf("an offset of %.1f dB between receivers %s and %s", r.OffsetDB, quoted(r.Receiver), quoted(r.Against)))
		}
	}
	return append(out, "never a scale that is wrong for points and access points alike, nor which side of a corridor")
}

func share(n, all int) string {
	if n == all {
		return ""
	}
	return fmt.Sprintf(", at %d of %d at no distance", all-n, all)
}

// some lists up to six names.
func some(names []string) string {
	if len(names) > 6 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:6], ", "), len(names)-6)
	}
	return list(names)
}

// advice is the walk that would find more.
func (f *fit) advice(o *Outlook) []string {
	var out []string
	blind := 0
	for _, a := range o.APs {
		if !(a.StepDB <= fineStepDB) {
			blind++
		}
	}
	if len(f.pairs()) < bookendLeast && 2*blind > len(o.APs) {
		if pts := f.bookendPoints(); len(pts) > 0 {
			out = append(out, fmt.Sprintf("come back to %s at the end of the walk, or over every other point: then a change of power shows without any model", list(pts)))
		}
	}
	r := f.v.rows
	for a := range r.receivers {
		for b := range a {
			if both := f.bothAt(a, b); both < walk.MinOffsetPlaces {
				out = append(out, fmt.Sprintf("walk at least %d points with both %s and %s: they share %d", walk.MinOffsetPlaces, quoted(r.receivers[b]), quoted(r.receivers[a]), both))
			}
		}
	}
	var far []string
	for _, a := range o.APs {
		if !(a.MoveM <= farMoveM) {
			far = append(far, r.site.AccessPoints[a.AP].ID)
		}
	}
	switch {
	case 2*len(far) > len(o.APs):
		out = append(out, fmt.Sprintf("walk more points: %d of %d access points could hang more than 10 m off unseen", len(far), len(o.APs)))
	case len(far) > 0:
		out = append(out, "walk more points around "+some(far)+", which could hang more than 10 m off unseen")
	}
	return append(out, "tape one long distance, and compare it with the plan")
}

// bookendPoints are six points spread over the places walked first, each the
// farthest from those before it.
func (f *fit) bookendPoints() []string {
	r := f.v.rows
	if r.n == 0 || r.merged {
		return nil
	}
	chosen := []int{0}
	for len(chosen) < bookendPoints {
		best, far := -1, 0.0
		for i := range r.n {
			least := math.Inf(1)
			for _, j := range chosen {
				if r.floor[i] == r.floor[j] {
					least = min(least, distance(r.at[i], r.at[j]))
				}
			}
			if least > far && !math.IsInf(least, 1) {
				best, far = i, least
			}
		}
		if best < 0 {
			break
		}
		chosen = append(chosen, best)
	}
	slices.Sort(chosen)
	var out []string
	for _, i := range chosen {
		out = append(out, r.called(i))
	}
	return out
}

// bothAt counts the places that both receivers visited.
func (f *fit) bothAt(a, b int) int {
	r := f.v.rows
	of := map[int][2]bool{}
	for i := range r.n {
		seen := of[r.place[i]]
		seen[0], seen[1] = seen[0] || r.receiver[i] == a, seen[1] || r.receiver[i] == b
		of[r.place[i]] = seen
	}
	n := 0
	for _, s := range of {
		if s[0] && s[1] {
			n++
		}
	}
	return n
}
