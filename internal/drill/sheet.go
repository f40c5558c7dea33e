package drill

import (
	"fmt"
	"strings"

	"footrule/internal/say"
)

// Sheet is the solution of a case on paper, in Markdown or as plain text. Equal
// cases give equal sheets, to the byte.
func Sheet(c *Case, markdown bool) string {
	s := &sheet{markdown: markdown}
	s.head(1, fmt.Sprintf("%s: solution", c.Title))
	name := "a trainer's case"
	if c.ID != "" {
		name = "case " + c.ID
	}
	s.text(fmt.Sprintf("%s, %s, seed %d; an invented site.", capital(name), c.Level, c.Seed))
	s.head(2, "What the customer said")
	s.text(c.Story)
	s.head(2, "What was handed over")
	area, floors := 0.0, ""
	for i := range c.Plan.Floors {
		area += c.Plan.Floors[i].Area()
	}
	if n := len(c.Plan.Floors); n > 1 {
		floors = " on " + say.Count(n, "floor")
	}
	handed := "no walk"
	switch {
	case c.fault(Receiver) != nil:
		handed = "two walks by colleagues with two receivers"
	case c.Handed:
		handed = "a walk by a colleague"
	}
	var bands []string
	for _, r := range c.Plan.AccessPoints[0].Radios {
		bands = append(bands, string(r.Band)+" GHz")
	}
	s.text(fmt.Sprintf("A plan of %s m²%s, %s (%s), %s, and %s.", decimal(area, 0), floors, say.Count(len(c.Plan.AccessPoints), "access point"), strings.Join(bands, " and "), say.Count(len(c.points()), "point"), handed))
	s.head(2, "What is wrong")
	if len(c.Faults) == 0 {
		s.text("Nothing. " + capital(Nothing.family().name) + ", and the right answer is to say so.")
		s.list("How it is seen", Nothing.family().seen)
		s.text("What to do: " + Nothing.family().cure + ".")
		s.text("Full marks: " + c.answerLine(Answer{Kind: Nothing}))
	}
	for i := range c.Faults {
		f := &c.Faults[i]
		fam := f.Kind.family()
		if len(c.Faults) > 1 {
			s.head(3, fmt.Sprintf("%d of %d: %s", i+1, len(c.Faults), fam.name))
		}
		s.text(capital(c.Says(f)) + ".")
		s.list("How it is seen", fam.seen)
		s.text("What to do: " + fam.cure + ".")
		s.text("Full marks: " + c.answerLine(c.solution(f)))
	}
	s.head(2, "How it really is")
	rows := [][]string{{"band", "exponent", "shadowing dB"}}
	var r Revealed
	r.bands(c)
	for _, b := range r.Bands {
		rows = append(rows, []string{string(b.Band) + " GHz", decimal(b.TrueN, 2), decimal(b.TrueDB, 1)})
	}
	s.table(rows)
	rows = [][]string{{"access point", "on the plan m", "really m"}}
	for i, ap := range c.Plan.AccessPoints {
		really := c.onPlan(c.Building.AccessPoints[i].At)
		row := []string{ap.ID, coordinates(ap.At), coordinates(really)}
		if d := distance(ap.At, really); d > .1 {
			row[2] += fmt.Sprintf(", %s m off", decimal(d, 1))
		}
		if really := c.Building.AccessPoints[i].Floor; len(c.Plan.Floors) > 1 {
			row[1] += " on " + ap.Floor
			row[2] += " on " + really
		}
		rows = append(rows, row)
	}
	s.table(rows)
	s.text(fmt.Sprintf("The front wall is %s m long in the building and %s m on the plan.", decimal(c.TapedM(), 1), decimal(c.planM(), 1)))
	s.head(2, "How it is marked")
	s.text(fmt.Sprintf("Of 100: each fault has an equal share, for what it is, for which access points or points have it, and for where, since when or how much, within what the levels allow; this is not asked where the walk could hardly show the fault. "+
		"A kind that is easily taken for it counts half, and so does the right kind at the wrong place. Each accusation of what is in order costs %d, a second name for the same fault %d. "+
		"The answer nothing is worth 0 where something is wrong, and so is any other where nothing is. What only levels show counts half where nothing was walked.", falseCharge, second))
	return s.b.String()
}

// solution is the answer with full marks.
func (c *Case) solution(f *Fault) Answer {
	parts := f.Kind.family().parts
	a := Answer{Kind: f.Kind}
	if parts[theAPs] > 0 {
		a.APs = f.APs
	}
	if parts[thePoints] > 0 {
		a.Points = f.Points
	}
	if parts[thePlace] > 0 {
		a.At = f.At
	}
	if parts[theSize] > 0 {
		a.Size = f.Size
	}
	if order := c.order(); parts[theMoment] > 0 && f.After < len(order) {
		a.Since = c.points()[order[f.After]].ID
	}
	return a
}

// answerLine is the command that gives an answer.
func (c *Case) answerLine(a Answer) string {
	s := "footrule drill answer FILE " + string(a.Kind)
	for _, id := range a.APs {
		s += " --ap " + id
	}
	for i, id := range a.Points {
		if a.Kind == Stale && i > 0 {
			break
		}
		s += " --point " + id
	}
	if a.At != nil {
		s += fmt.Sprintf(" --at %.1f,%.1f", a.At[0], a.At[1])
	}
	if a.Since != "" {
		s += " --since " + a.Since
	}
	if a.Size != 0 {
		s += fmt.Sprintf(" --size %g", a.Size)
	}
	if a.Since != "" && !c.Handed {
		s += " (since: in the order of the program's own way)"
	}
	return s
}

func capital(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// sheet writes paragraphs, lists and tables.
type sheet struct {
	b        strings.Builder
	markdown bool
}

const sheetWidth = 80

func (s *sheet) head(level int, text string) {
	if s.b.Len() > 0 {
		s.b.WriteByte('\n')
	}
	if s.markdown {
		fmt.Fprintf(&s.b, "%s %s\n", strings.Repeat("#", level), text)
		return
	}
	s.b.WriteString(text + "\n")
	if level < 3 {
		line := map[int]string{1: "=", 2: "-"}[level]
		s.b.WriteString(strings.Repeat(line, len([]rune(text))) + "\n")
	}
}

func (s *sheet) text(text string) {
	s.b.WriteByte('\n')
	s.wrap("", text)
}

func (s *sheet) list(head string, items []string) {
	s.text(head + ":")
	if s.markdown {
		s.b.WriteByte('\n')
	}
	for _, it := range items {
		s.wrap("- ", it)
	}
}

// wrap breaks text at the width; in Markdown a paragraph is one line.
func (s *sheet) wrap(mark, text string) {
	if s.markdown {
		s.b.WriteString(mark + text + "\n")
		return
	}
	line := mark
	indent := strings.Repeat(" ", len(mark))
	for i, word := range strings.Fields(text) {
		if i > 0 && len([]rune(line))+1+len([]rune(word)) > sheetWidth {
			s.b.WriteString(line + "\n")
			line = indent + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	s.b.WriteString(line + "\n")
}

func (s *sheet) table(rows [][]string) {
	s.b.WriteByte('\n')
	if s.markdown {
		for i, r := range rows {
			s.b.WriteString("| " + strings.Join(r, " | ") + " |\n")
			if i == 0 {
				s.b.WriteString("|" + strings.Repeat(" --- |", len(r)) + "\n")
			}
		}
		return
	}
	wide := make([]int, len(rows[0]))
	for _, r := range rows {
		for i, v := range r {
			wide[i] = max(wide[i], len([]rune(v)))
		}
	}
	for _, r := range rows {
		line := ""
		for i, v := range r {
			line += v + strings.Repeat(" ", wide[i]-len([]rune(v))+2)
		}
		s.b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
}
