package drill

import (
	"fmt"
	"math"
	"slices"

	"footrule/internal/doubt"
	"footrule/internal/walk"
)

// Evidence is what a trainee had to go by.
type Evidence struct {
	Walks  []walk.Walk
	Report *doubt.Report // on the plan as it was handed out; nil where there is no walk
}

// Credit is what one thing about a fault was worth.
type Credit struct {
	What string  `json:"what"`
	Got  float64 `json:"got"`
	Of   float64 `json:"of"`
	Why  string  `json:"why"`
}

// Shown says whether the walks could have shown a fault.
type Shown string

// Whether a fault could have been seen.
const (
	Yes   Shown = "yes"
	No    Shown = "no"
	Guess Shown = "guess" // nothing was walked that could show it
)

// Mark is how one planted fault was answered.
type Mark struct {
	Fault   Fault    `json:"fault"`
	Truth   string   `json:"truth"`
	Answers []Answer `json:"answers"`
	Credits []Credit `json:"credits"`
	Shown   Shown    `json:"could_be_seen"`
	Why     string   `json:"why"` // it could, or not
}

// Score is what answers are worth, of 100.
type Score struct {
	Points int      `json:"points"`
	Right  bool     `json:"right"` // every fault named with what is at fault, and nothing else
	Marks  []Mark   `json:"marks"`
	False  []Answer `json:"false"` // that accuse what is in order
	Also   []Answer `json:"also"`  // that call what was named by another name as well
	Lost   int      `json:"lost"`  // for either
	Why    []string `json:"why"`
}

// Worth of things in an answer, of 100.
const (
	falseCharge = 25  // lost for each answer that accuses what is in order
	second      = 10  // lost for each that calls a fault by another name as well
	guessed     = 0.5 // share that counts of what nothing shows
	nearKind    = 0.5 // share of the kind that a near one is worth
)

// Grade holds answers against the truth of a case.
//
//  1. The score is 100 only if every planted fault is named with all that the walks
//     can tell of it, and nothing else. Where, since when and how much are not asked
//     of a fault that the walks could hardly show.
//  2. Nothing on a faulty site, and any fault on a clean one, is worth 0.
//  3. Another answer that is about no fault never raises a score.
//  4. A fault that only levels show, named without a walk, counts half.
func Grade(c *Case, answers []Answer, e Evidence) Score {
	s := Score{Marks: []Mark{}, False: []Answer{}, Also: []Answer{}, Why: []string{}}
	nothing := slices.ContainsFunc(answers, func(a Answer) bool { return a.Kind == Nothing })
	switch {
	case len(answers) == 0:
		s.Why = append(s.Why, "no answer was given")
	case len(c.Faults) == 0 && nothing:
		s.Points, s.Right = 100, true
		s.Why = append(s.Why, "the site is clean, and it was said so")
		if !e.walked() {
			s.Points = 50
			s.Why = append(s.Why, "nothing was walked, so it was a guess and counts half")
		}
		return s
	case len(c.Faults) == 0:
		s.False = answers
		s.Why = append(s.Why, "the site is clean: who accuses it sends somebody up a ladder for nothing")
		return s
	case nothing:
		s.Why = append(s.Why, "there is something wrong, and it was signed off")
	}
	used := make([]bool, len(answers))
	total := 0.0
	for i := range c.Faults {
		f := &c.Faults[i]
		m := Mark{Fault: *f, Truth: c.Says(f), Answers: matching(f, answers, used)}
		if also := near(f, answers, used); len(m.Answers) == 0 {
			m.Answers = also
		} else if len(also) > 0 {
			s.Also = append(s.Also, also...)
			s.Lost += second * len(also)
		}
		m.Shown, m.Why = e.shows(c, f)
		m.Credits = c.credits(f, m.Answers, m.Shown, e)
		share := 0.0
		for k := range m.Credits {
			m.Credits[k].Of *= 100 / float64(len(c.Faults))
			m.Credits[k].Got *= 100 / float64(len(c.Faults))
			if m.Shown == Guess {
				m.Credits[k].Got *= guessed
			}
			share += m.Credits[k].Got
		}
		total += share
		s.Marks = append(s.Marks, m)
	}
	for i, a := range answers {
		if !used[i] && a.Kind != Nothing {
			s.False = append(s.False, a)
			s.Lost += falseCharge
		}
	}
	s.Points = int(math.Round(max(0, total-float64(s.Lost))))
	s.Right = len(s.False)+len(s.Also) == 0
	for _, m := range s.Marks {
		s.Right = s.Right && m.right()
	}
	return s
}

// right reports whether a fault was named for what it is, at what has it.
func (m *Mark) right() bool {
	return len(m.Answers) == 1 && m.Answers[0].Kind == m.Fault.Kind && m.named() == 1
}

// named is the share of the things that was named rightly.
func (m *Mark) named() float64 {
	f := &m.Fault
	switch p := f.Kind.family().parts; {
	case p[theAPs] > 0:
		return overlap(f.APs, m.Answers, func(a *Answer) []string { return a.APs })
	case f.Kind == Stale:
		return stalePoints(f, m.Answers)
	case p[thePoints] > 0:
		return overlap(f.Points, m.Answers, func(a *Answer) []string { return a.Points })
	}
	return 1
}

// matching takes the answer of a fault's own kind that names most of its things.
func matching(f *Fault, answers []Answer, used []bool) []Answer {
	best, most := -1, -1.0
	for i, a := range answers {
		if !used[i] && a.Kind == f.Kind {
			m := Mark{Fault: *f, Answers: []Answer{a}}
			if n := m.named(); n > most {
				best, most = i, n
			}
		}
	}
	if best >= 0 {
		used[best] = true
		return []Answer{answers[best]}
	}
	return []Answer{}
}

// near takes the answers of near kinds about the things of a fault.
func near(f *Fault, answers []Answer, used []bool) []Answer {
	out := []Answer{}
	for i, a := range answers {
		if used[i] || !slices.Contains(f.Kind.family().near, a.Kind) {
			continue
		}
		// With a wrong scale everything seems to be off its place.
		if len(f.APs)+len(f.Points) == 0 || shares(f.APs, a.APs) || shares(f.Points, a.Points) {
			used[i] = true
			out = append(out, a)
		}
	}
	return out
}

func shares(a, b []string) bool {
	return slices.ContainsFunc(a, func(x string) bool { return slices.Contains(b, x) })
}

// overlap is how many of the things were named, of those or of all named where
// these are more.
func overlap(things []string, answers []Answer, of func(*Answer) []string) float64 {
	var named []string
	for i := range answers {
		named = append(named, of(&answers[i])...)
	}
	slices.Sort(named)
	named = slices.Compact(named)
	hits := 0
	for _, n := range named {
		if slices.Contains(things, n) {
			hits++
		}
	}
	return float64(hits) / float64(max(len(things), len(named), 1))
}

// stalePoints is the share of the points named that have stale scans; one is
// enough.
func stalePoints(f *Fault, answers []Answer) float64 {
	hits, all := 0.0, 0.0
	for _, a := range answers {
		for _, p := range a.Points {
			all++
			if slices.Contains(f.Points, p) {
				hits++
			}
		}
	}
	return hits / max(all, 1)
}

// credits gives the parts of a fault with what was got, together 1.
func (c *Case) credits(f *Fault, answers []Answer, shown Shown, e Evidence) []Credit {
	fam := f.Kind.family()
	asked := func(p part) bool { return fam.parts[p] > 0 && (shown != No || p < thePlace) }
	sum := 0.0
	for p, w := range fam.parts {
		if asked(p) {
			sum += w
		}
	}
	m := Mark{Fault: *f, Answers: answers}
	things := m.named()
	if len(answers) == 0 {
		things = 0
	}
	var out []Credit
	add := func(p part, what string, share float64, why string) {
		if w := fam.parts[p] / sum; w > 0 {
			out = append(out, Credit{What: what, Got: w * share, Of: w, Why: why})
		}
	}
	switch {
	case len(answers) == 0:
		add(theKind, "what it is", 0, "not named")
	case answers[0].Kind != f.Kind:
		add(theKind, "what it is", nearKind, fmt.Sprintf("near: %s can look like %s", f.Kind, answers[0].Kind))
	case things == 0 && fam.parts[theAPs]+fam.parts[thePoints] > 0:
		add(theKind, "what it is", nearKind, fmt.Sprintf("%s is right, but not there", f.Kind))
	default:
		add(theKind, "what it is", 1, "named rightly")
	}
	add(theAPs, "which access points", things, c.namedWhy(f.APs, things))
	add(thePoints, "which points", things, c.namedWhy(f.Points, things))
	exact := len(answers) == 1 && answers[0].Kind == f.Kind && things > 0
	for _, p := range []part{thePlace, theMoment, theSize} {
		if !asked(p) {
			continue
		}
		what := map[part]string{thePlace: "where it really is", theMoment: "since when", theSize: "how much"}[p]
		if !exact {
			add(p, what, 0, "not said of the right one")
			continue
		}
		share, why := c.detail(p, f, &answers[0], e)
		add(p, what, share, why)
	}
	return out
}

func (c *Case) namedWhy(things []string, share float64) string {
	switch {
	case share == 1:
		return "named rightly"
	case share == 0:
		return "it was " + listed(things)
	}
	return "in part: it was " + listed(things)
}
