package drill

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
)

// title invents the name of a place.
func title(rng *rand.Rand) string {
	first := []string{"Quill", "Thistle", "Ember", "Pewter", "Saffron", "Cobble", "Larkspur", "Tallow", "Juniper", "Bramble", "Lantern", "Osier"}
	second := []string{"Archive", "Clinic", "Depot", "Library", "Workshop", "Cold Store", "School", "Print Hall", "Bakery", "Laboratory"}
	return first[rng.IntN(len(first))] + " " + second[rng.IntN(len(second))]
}

// complaint is what a customer says. Each fits several families, so that it gives
// none away.
type complaint struct {
	text  string
	kinds []Kind
}

var complaints = []complaint{
	{"Trolleys are shown a room or two from where they stand, mostly about the middle of the building. The ones at the ends are fine, more or less.", []Kind{Labels, Moved, Stale, Point, Nothing}},
	{"Since the painters were in, tags turn up in rooms where nobody carried them. The night shift has stopped looking at the screen.", []Kind{Labels, Moved, Storey, Dead, Nothing}},
	{"The supplier says that the positions are as good as the building allows. We would like to hear that from somebody else.", []Kind{Labels, Moved, Scale, Plan, Line, Nothing, Dead}},
	{"It was better in the morning, says the shift leader; the caretaker says it never was. We need to know which of them is right.", []Kind{Power, Dies, Stale, Nothing}},
	{"One part of the building is clearly worse than the rest, but nobody agrees on which part.", []Kind{Dead, Dies, Power, Point, Exchange, Storey, Line, Moved, Nothing}},
	{"Everything is a bit off, everywhere. The more often we look at it, the less we trust it.", []Kind{Receiver, Scale, Plan, Line, Facing, Nothing, Stale}},
	{"A colleague walked it last week and wants it signed off. The figures look all right to us, but we are no experts.", []Kind{Exchange, Receiver, Facing, Few, Stale, Point, Power, Nothing, Dies}},
	{"The walk was made in a hurry, between two deliveries. Can it be used, or does somebody have to go again?", []Kind{Exchange, Receiver, Facing, Few, Stale, Point, Nothing, Power}},
	{"The access points were put up by one firm and drawn by another. They have not spoken since.", []Kind{Labels, Moved, Storey, Scale, Dead, Line, Plan, Nothing}},
}

// story gives what the customer says, and what somebody taped.
func story(rng *rand.Rand, c *Case) string {
	kinds := []Kind{Nothing}
	if len(c.Faults) > 0 {
		kinds = nil
		for _, f := range c.Faults {
			kinds = append(kinds, f.Kind)
		}
	}
	kind := kinds[rng.IntN(len(kinds))]
	var fit []string
	for _, s := range complaints {
		if slices.Contains(s.kinds, kind) {
			fit = append(fit, s.text)
		}
	}
	return fit[rng.IntN(len(fit))] + fmt.Sprintf(" The front wall, which runs from 0, 0 along the lower edge of the plan, was taped: %.1f m.", c.TapedM())
}

// listed puts names one after the other.
func listed[T ~string](names []T) string {
	var out []string
	for _, n := range names {
		out = append(out, string(n))
	}
	if len(out) < 2 {
		return strings.Join(out, "")
	}
	return strings.Join(out[:len(out)-1], ", ") + " and " + out[len(out)-1]
}

// parseNumber reads a number that is one.
func parseNumber(text string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("%q is no number", text)
	}
	return v, nil
}

func parseCount(text string) (int, error) {
	v, err := strconv.Atoi(text)
	if err != nil {
		return 0, fmt.Errorf("%q is no whole number", text)
	}
	return v, nil
}
