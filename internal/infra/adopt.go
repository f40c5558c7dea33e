package infra

import (
	_ "embed" // the example of the keys
	"fmt"
	"slices"

	"footrule/internal/input"
	"footrule/internal/say"
	"footrule/internal/site"
)

// Keys is an example of the tables of site.toml that this package checks, each
// key with what it means. The head of the file and its floors are not in it.
//
//go:embed keys.toml
var Keys string

// Adopt gives a copy of a plan with what its access points hang on, and the
// answers of the walk-down, as another plan has them. Closets, switches,
// control and location are taken whole. Access points go by their ID and radios
// by their place in it, which has to be of the same band; an access point that
// the other plan lacks keeps what it has, and is listed. Of two answers to a
// question the later one stays.
//
// An access point that only the other plan has is an [*input.Error].
func Adopt(plan, other *site.Site) (next *site.Site, kept []string, err error) {
	next, other = plan.Clone(), other.Clone()
	next.Infra = other.Infra
	there := map[string]bool{}
	for i := range other.AccessPoints {
		from := &other.AccessPoints[i]
		k := slices.IndexFunc(next.AccessPoints, func(ap site.AccessPoint) bool { return ap.ID == from.ID })
		if k < 0 {
			return nil, nil, &input.Error{What: fmt.Sprintf("access point %q is not on the plan", from.ID), Want: "take it out, or add it to the plan first"}
		}
		to := &next.AccessPoints[k]
		there[to.ID] = true
		if len(from.Radios) != len(to.Radios) {
			return nil, nil, &input.Error{What: fmt.Sprintf("access point %q has %s, and on the plan %d", from.ID, say.Count(len(from.Radios), "radio"), len(to.Radios)), Want: "write the radios of the plan, in its order"}
		}
		to.Power, to.Drop = from.Power, from.Drop
		for j := range to.Radios {
			if a, b := from.Radios[j].Band, to.Radios[j].Band; a != b {
				return nil, nil, &input.Error{What: fmt.Sprintf("radio %d of access point %q is of band %q, and on the plan %q", j+1, from.ID, a, b), Want: "write the radios of the plan, in its order"}
			}
			to.Radios[j].PHY = from.Radios[j].PHY
		}
	}
	for _, ap := range next.AccessPoints {
		if !there[ap.ID] {
			kept = append(kept, ap.ID)
		}
	}
	for _, a := range other.Answers {
		if old := next.Answer(a.Question); old == nil || old.At.Before(a.At) {
			next = Answered(next, a)
		}
	}
	return next, kept, next.Validate()
}
