package doubt

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"footrule/internal/say"

	"github.com/paulmach/orb"
)

// tell writes the sentences of a finding.
func (fd *Finding) tell(r *rows) {
	var names []string
	for _, ap := range fd.APs {
		names = append(names, r.site.AccessPoints[ap].ID)
	}
	var points []string
	for i := range fd.Visits {
		points = append(points, fd.Visits[i].Name())
	}
	odds := "by " + odds(fd.LBF)
	switch fd.Kind {
	case Moved:
		p := fd.Seems[0]
		off := fmt.Sprintf("%.0f m from there", fd.Effect)
		if own := r.site.AccessPoints[fd.APs[0]].Floor; r.site.Floors[p.Floor].ID != own {
			off = "not floor " + own
		}
		fd.Text = fmt.Sprintf("%s does not hang where the plan says: its levels point to %s ±%.0f m, %s, %s", names[0], r.spot(p.Floor, p.At), math.Ceil(p.SDM), off, odds)
		if p.Other != nil {
			fd.Text += fmt.Sprintf("; %s is nearly as likely", r.spot(p.Floor, *p.Other))
		}
		fd.Do = "look up at both places, then correct its place on the plan, or its BSSIDs if another box hangs there"
	case Labels:
		fd.Text = fmt.Sprintf("%s and %s are exchanged: each is heard as if it hung at the place of the other, %s", names[0], last(names), odds)
		if len(names) > 2 {
			var parts []string
			for i := range fd.APs {
				parts = append(parts, fmt.Sprintf("%s at the place of %s", names[i], r.site.AccessPoints[fd.AtPlaceOf[i]].ID))
			}
			fd.Text = fmt.Sprintf("labels are shifted: %s, %s", strings.Join(parts, ", "), odds)
		}
		fd.Do = "compare the labels on the boxes with the BSSIDs on the plan, and exchange the BSSIDs there"
	case Power:
		fd.Text = fmt.Sprintf("%s is %s (±%.1f dB) from %s on, %s; the change lies between %s and %s", names[0], changed(fd.Effect), 1.96*fd.SE, fd.When.Name(), odds, fd.Early.Name(), fd.Late.Name())
		fd.Do = "find out whether its power is regulated by itself, hold it for the walk, and walk again what came before"
		if fd.Suspicion {
			fd.Text = "suspicion: " + fd.Text
			fd.Do = "come back over every other point: time and place can't be told apart where no point was walked before and after"
		}
	case Event:
		fd.Text = fmt.Sprintf("levels of %s change together from %s on, by %s dB in the mean, %s", list(names), fd.When.Name(), signed(fd.Effect), odds)
		fd.Do = "look for what they have in common (a door or gate, a stock of goods, the receiver or how it is held) before any of them is blamed"
	case Dies:
		fd.Text = fmt.Sprintf("%s is silent from %s on, where %.0f hearings were to be expected in places apart; it was heard last at %s, %s", names[0], fd.When.Name(), math.Max(fd.Effect, 1), fd.Early.Name(), odds)
		fd.Do = "check whether it is up, then walk again from there"
	case Dead:
		what := names[0]
		if len(fd.Radios) > 0 {
			what = r.site.RadioName(r.refs[fd.Radios[0]])
		}
		fd.Text = fmt.Sprintf("%s was never heard, and if it were alive it would have been, %s", what, odds)
		fd.Do = "check that it is powered and sends, and that its BSSIDs on the plan are those it sends"
	case Unreached:
		fd.Text = fmt.Sprintf("%s was never heard, and no visit was near enough to say that it is dead", names[0])
		fd.Do = "walk a point under it"
	case Scale:
		about := "the plan's origin"
		if fd.partner == 1 {
			about = "their middle"
		}
		fd.Text = fmt.Sprintf("points and access points are not drawn to one scale: levels fit best with the points %.2f (±%.2f) times as far from %s, %s", fd.Effect, 1.96*fd.SE, about, odds)
		fd.Do = "tape one long distance between two points and one between two access points, and compare both with the plan"
	case Point:
		p := fd.Seems[0]
		fd.Text = fmt.Sprintf("the visit at %s was made elsewhere: its levels point to %s ±%.0f m, %.0f m away, %s", list(unique(points)), r.spot(p.Floor, p.At), math.Ceil(p.SDM), fd.Effect, odds)
		if p.Other != nil {
			fd.Text += fmt.Sprintf("; %s is nearly as likely", r.spot(p.Floor, *p.Other))
		}
		fd.Do = "walk that point again, and void the visit"
	case Exchange:
		fd.Text = fmt.Sprintf("the visits at %s and %s seem to be exchanged, %s", points[0], points[1], odds)
		fd.Do = "walk both again, and void the two visits"
	case Receiver:
		fd.Text = fmt.Sprintf("receiver %s reports %s dB (±%.1f) against %s, %s", quoted(fd.Receiver), signed(fd.Effect), 1.96*fd.SE, quoted(fd.Against), odds)
		fd.Do = "walk the same points with both, or fit the walks of each receiver by themselves"
	case Slope:
		fd.Text = fmt.Sprintf("the level of %s does not fall with distance: its own exponent is %s (±%.1f), %s", names[0], say.Minus(fmt.Sprintf("%.1f", fd.Effect)), 1.96*fd.SE, odds)
		fd.Do = "check where it hangs and its BSSIDs, and walk points near it; don't take positions from it until then"
	}
}

// Name is how a visit is called: by its point, or where it was.
func (v *Visit) Name() string {
	if v == nil {
		return "?"
	}
	if v.Point != "" {
		return v.Point
	}
	return fmt.Sprintf("(%.1f, %.1f)", v.At[0], v.At[1])
}

// spot writes a place, with its floor where there are several.
func (r *rows) spot(floor int, at orb.Point) string {
	s := say.Minus(fmt.Sprintf("(%.1f, %.1f)", at[0], at[1]))
	if len(r.site.Floors) > 1 {
		s += " on floor " + r.site.Floors[floor].ID
	}
	return s
}

// odds writes a log Bayes factor.
func odds(lbf float64) string {
	switch v := math.Exp(lbf); {
	case v > 1e6:
		return "more than a million to one"
	case v >= 1e3:
		return strconv.Itoa(int(v/1e3)) + ",000 to one"
	default:
		return strconv.Itoa(int(max(v, 1))) + " to one"
	}
}

func changed(db float64) string {
	if db < 0 {
		return fmt.Sprintf("%.1f dB weaker", -db)
	}
	return fmt.Sprintf("%.1f dB stronger", db)
}

func signed(v float64) string { return say.Minus(fmt.Sprintf("%+.1f", v)) }

func quoted(name string) string {
	if name == "" {
		return "(not named)"
	}
	return name
}

func last(v []string) string { return v[len(v)-1] }

// list joins names: A, B and C.
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + last(names)
}

// unique drops repetitions.
func unique(names []string) []string {
	var out []string
	for i, n := range names {
		if i == 0 || n != names[i-1] {
			out = append(out, n)
		}
	}
	return out
}
