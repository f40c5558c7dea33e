package drill

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Answer is one fault that a trainee names, or Nothing.
type Answer struct {
	Kind   Kind       `json:"kind"`
	APs    []string   `json:"access_points,omitempty"`
	Points []string   `json:"points,omitempty"`
	At     *orb.Point `json:"at,omitempty"`    // on the plan
	Since  string     `json:"since,omitempty"` // the first point after a change
	Size   float64    `json:"size,omitempty"`  // 0: not said
}

// Check holds an answer to the plan: it names what is there, and only what its
// kind has.
func (a *Answer) Check(plan *site.Site) error {
	f := a.Kind.family()
	if f == nil {
		return fmt.Errorf("no fault %q; name one of %s", a.Kind, listed(Kinds()))
	}
	for _, has := range []struct {
		given bool
		part  part
		flag  string
	}{{len(a.APs) > 0, theAPs, "--ap"}, {len(a.Points) > 0, thePoints, "--point"}, {a.At != nil, thePlace, "--at"}, {a.Since != "", theMoment, "--since"}, {a.Size != 0, theSize, "--size"}} {
		if has.given && f.parts[has.part] == 0 {
			if f.asks == "" {
				return fmt.Errorf("%s does not belong to %s, which says it all", has.flag, a.Kind)
			}
			return fmt.Errorf("%s does not belong to %s, which wants %s", has.flag, a.Kind, f.asks)
		}
	}
	if len(a.APs) == 0 && f.parts[theAPs] > 0 || len(a.Points) == 0 && f.parts[thePoints] > 0 {
		return fmt.Errorf("%s wants a name: %s", a.Kind, f.asks)
	}
	for _, id := range a.APs {
		if !slices.ContainsFunc(plan.AccessPoints, func(ap site.AccessPoint) bool { return ap.ID == id }) {
			return fmt.Errorf("no access point %q on the plan", id)
		}
	}
	points := a.Points
	if a.Since != "" {
		points = append(slices.Clone(points), a.Since)
	}
	for _, id := range points {
		if !slices.ContainsFunc(plan.Floors, func(fl site.Floor) bool { return fl.Point(id) != nil }) {
			return fmt.Errorf("no point %q on the plan", id)
		}
	}
	if math.IsNaN(a.Size) || math.IsInf(a.Size, 0) {
		return errors.New("a size is a number")
	}
	return nil
}

// Give adds an answer to those given. Nothing and a fault can't both be true, so
// either takes the other back; an answer of the same kind about the same thing
// takes the place of the earlier one.
func Give(answers []Answer, a Answer) []Answer {
	slices.Sort(a.APs)
	slices.Sort(a.Points)
	out := slices.DeleteFunc(slices.Clone(answers), func(o Answer) bool {
		return (a.Kind == Nothing) != (o.Kind == Nothing) || o.Kind == a.Kind && slices.Equal(o.APs, a.APs) && slices.Equal(o.Points, a.Points)
	})
	return append(out, a)
}

// Withdraw takes back the answers of a kind; gone is how many there were.
func Withdraw(answers []Answer, k Kind) (left []Answer, gone int) {
	left = slices.DeleteFunc(slices.Clone(answers), func(o Answer) bool { return o.Kind == k })
	return left, len(answers) - len(left)
}

// String says an answer in one line.
func (a Answer) String() string {
	s := a.Kind.Name()
	if len(a.APs) > 0 {
		s += ": " + listed(a.APs)
	}
	if len(a.Points) > 0 {
		s += ": " + listed(a.Points)
	}
	if a.At != nil {
		s += fmt.Sprintf(", really at %s", coordinates(*a.At))
	}
	if a.Since != "" {
		s += ", since " + a.Since
	}
	if a.Size != 0 {
		s += ", " + sized(a.Kind, a.Size)
	}
	return s
}

func coordinates(p orb.Point) string {
	return fmt.Sprintf("%s, %s", decimal(p[0], 1), decimal(p[1], 1))
}

// decimal prints a number with the sign that is as wide as a digit.
func decimal(v float64, digits int) string {
	s := fmt.Sprintf("%.*f", digits, math.Abs(v))
	if v < 0 {
		return "−" + s
	}
	return s
}

// sized prints the size of a fault with its unit.
func sized(k Kind, v float64) string {
	switch k.Unit() {
	case "×":
		return "factor " + decimal(v, 2)
	case "dB":
		if v > 0 && k == Power {
			return "+" + decimal(v, 1) + " dB"
		}
		return decimal(v, 1) + " dB"
	}
	return decimal(v, 1) + " " + k.Unit()
}
