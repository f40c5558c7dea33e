package site

import (
	"fmt"
	"reflect"
)

// Differences says in phrases how one plan differs from another: mine and theirs.
// It is empty for equal plans. What differs inside a floor or an access point is
// not told apart.
func Differences(mine, theirs *Site) []string {
	var out []string
	if mine.Name != theirs.Name {
		out = append(out, fmt.Sprintf("name %q, theirs %q", mine.Name, theirs.Name))
	}
	if mine.ReceiverHeightM != theirs.ReceiverHeightM {
		out = append(out, fmt.Sprintf("receiver height %g m, theirs %g m", mine.ReceiverHeightM, theirs.ReceiverHeightM))
	}
	out = append(out, differ("floor", mine.Floors, theirs.Floors, func(f Floor) string { return f.ID })...)
	out = append(out, differ("access point", mine.AccessPoints, theirs.AccessPoints, func(a AccessPoint) string { return a.ID })...)
	if !reflect.DeepEqual(mine.Infra, theirs.Infra) {
		out = append(out, "what the access points hang on")
	}
	out = append(out, differ("answer", mine.Answers, theirs.Answers, func(a Answer) string { return a.Question })...)
	if len(out) == 0 && !reflect.DeepEqual(mine, theirs) {
		out = append(out, "the order of what is on them")
	}
	return out
}

// differ compares two lists by what identifies their elements.
func differ[T any](what string, mine, theirs []T, id func(T) string) []string {
	find := func(list []T, want string) *T {
		for i := range list {
			if id(list[i]) == want {
				return &list[i]
			}
		}
		return nil
	}
	var out []string
	for _, m := range mine {
		switch t := find(theirs, id(m)); {
		case t == nil:
			out = append(out, fmt.Sprintf("%s %s only mine", what, id(m)))
		case !reflect.DeepEqual(m, *t):
			out = append(out, fmt.Sprintf("%s %s differs", what, id(m)))
		}
	}
	for _, t := range theirs {
		if find(mine, id(t)) == nil {
			out = append(out, fmt.Sprintf("%s %s only theirs", what, id(t)))
		}
	}
	return out
}
