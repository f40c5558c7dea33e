package infra

import (
	"fmt"

	"footrule/internal/site"
)

// Question is one thing to find out on site.
type Question struct {
	ID    string
	Group string
	Text  string
}

// Questions is the list of the walk-down, in the order in which they are asked.
var Questions = []Question{
	{"building-use", "building", "What is the building used for, floor by floor, and what will change within a year?"},
	{"building-hours", "building", "Who is in it at which hours, and when can work be done without disturbing them?"},
	{"building-plans", "building", "Are the plans at hand to scale and up to date, and who confirmed one measured length on each floor?"},
	{"building-walls", "building", "What are walls, doors, floors and shelving made of, and which of it holds metal, water or foil?"},

	{"ceiling-height", "ceilings", "How high are the ceilings of each area, and what hangs below them?"},
	{"ceiling-mount", "ceilings", "What can an access point be fixed to in each area, and may it be drilled, clamped or hung?"},
	{"ceiling-void", "ceilings", "Is there a void above the ceiling, is it an air path, and what rating must cable in it have?"},
	{"ceiling-reach", "ceilings", "How is each mounting place reached: ladder, platform, lift, and who is trained and allowed to use it?"},

	{"locate-what", "locating", "What is to be located: people, vehicles, tools, stock; how many of each, and how fast do they move?"},
	{"locate-how-well", "locating", "How far off may a position be, in metres, for what share of the time, and how old may it be?"},
	{"locate-where", "locating", "Where does it matter most, where not at all, and must floors or rooms be told apart?"},
	{"locate-why", "locating", "What is decided by the position, and what happens when it is wrong or missing?"},

	{"devices-radio", "devices", "Which devices or tags send what, in which bands, how often and with which power?"},
	{"devices-other", "devices", "Which other radio systems, machines or neighbours use the same bands?"},
	{"devices-network", "devices", "Which existing access points stay, and who may fix their channels and power during the walk?"},

	{"cable-ways", "cable", "Which cable ways lead from the closets to each mounting place, and how full are they?"},
	{"cable-length", "cable", "How long is each run as it would really be pulled, with its rises and loops?"},
	{"cable-existing", "cable", "Which cables are there already, of what category, tested when, and with what result?"},
	{"cable-fire", "cable", "Which fire stops have to be opened, and who closes and records them?"},

	{"closet-access", "closets", "Where are the closets, who has the keys, and when may they be entered?"},
	{"closet-space", "closets", "How many rack units are free in each, and is there room to work in front and behind?"},
	{"closet-power", "closets", "What supply, earth and cooling does each closet have to spare, and how long does it run in a power cut?"},
	{"closet-ports", "closets", "Which switch ports are free, how fast are they, and which power class does each give?"},

	{"hazard-asbestos", "hazards", "Is there an asbestos register, and does it clear every void and wall to be opened?"},
	{"hazard-mains", "hazards", "Where are mains, busbars and live plant near the work, and who isolates them?"},
	{"hazard-explosive", "hazards", "Are there areas with explosive gas or dust, and which equipment may enter them?"},
	{"hazard-medical", "hazards", "Are there patients, medical devices or a radio rule of the house, and who has cleared the work?"},
	{"hazard-traffic", "hazards", "Which cranes, vehicles, lifts or machines move where somebody will stand or climb?"},

	{"permission-written", "permission", "Who has given written permission to measure and to work on the premises, for which days and areas?"},
	{"permission-people", "permission", "Who has to be told beforehand: staff, their representatives, data protection, neighbours?"},
	{"permission-codes", "permission", "Which local codes apply, and which of the work needs a licensed person or a permit?"},
	{"permission-contact", "permission", "Who on site is called when something goes wrong, and what is the way out?"},
}

// QuestionOf gives a question by its ID; nil where there is none.
func QuestionOf(id string) *Question {
	for i := range Questions {
		if Questions[i].ID == id {
			return &Questions[i]
		}
	}
	return nil
}

// Cautions go with every plan to climb, to open a closet or to switch on.
var Cautions = []string{
	"Ladders and work at height: a trained person, never alone, three points of contact, nothing carried in the hands.",
	"Closets and voids hold mains and live plant: a competent person isolates them, and nobody else opens them.",
	"Asbestos: no drilling and no tile lifted before the register clears the place.",
	"Keep 20 cm from an antenna that sends, and more where its maker says so (47 CFR 2.1091).",
	"Hazardous areas: no laptop, phone or access point that is not certified for the zone; hospitals and construction sites have rules of their own.",
	"Written permission for the premises comes before the first measurement.",
	"These are checks of figures on paper: local codes and a licensed person decide.",
}

// openQuestions says, group by group, what nobody has answered yet.
func openQuestions(l *look) []Finding {
	var groups []string
	total, open := map[string]int{}, map[string][]string{}
	for _, q := range Questions {
		if total[q.Group] == 0 {
			groups = append(groups, q.Group)
		}
		total[q.Group]++
		if l.site.Answer(q.ID) == nil {
			open[q.Group] = append(open[q.Group], q.ID)
		}
	}
	var out []Finding
	for _, g := range groups {
		n := len(open[g])
		f := judged(g, Holds, float64(total[g]-n), float64(total[g]), "answers", fmt.Sprintf("%d of %d answered", total[g]-n, total[g]))
		if n > 0 {
			f.Status = Unknown
			f.Text += "; open: " + listed(open[g])
		}
		out = append(out, f)
	}
	for _, a := range l.site.Answers {
		if QuestionOf(a.Question) == nil {
			out = append(out, Finding{Subjects: []string{a.Question}, Status: Doubtful, Text: "an answer to a question that is not on the list"})
		}
	}
	return out
}

// Answered gives a copy of a site with one more answer; an older one to the
// same question is replaced, and stays in the revision before.
func Answered(s *site.Site, a site.Answer) *site.Site {
	out := s.Clone()
	if old := out.Answer(a.Question); old != nil {
		*old = a
	} else {
		out.Answers = append(out.Answers, a)
	}
	return out
}
