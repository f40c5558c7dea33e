package main

import (
	"time"

	"footrule/internal/infra"
	"footrule/internal/site"
)

type jsonFinding struct {
	Check    string   `json:"check"`
	Group    string   `json:"group"`
	Title    string   `json:"title"`
	Against  string   `json:"against"`
	Subjects []string `json:"subjects"` // none: the site
	Status   string   `json:"status"`
	Have     *number  `json:"have"`
	Limit    *number  `json:"limit"`
	Unit     *string  `json:"unit"`
	Text     string   `json:"text"`
	Proposed bool     `json:"proposed"`
	Estimate bool     `json:"estimated"` // rests on an estimated length
}

type jsonPatch struct {
	AccessPoint string  `json:"access_point"`
	Switch      string  `json:"switch"`
	Port        int     `json:"port"`
	LinkM       *number `json:"link_m"`
	Measured    bool    `json:"measured"`
	Proposed    bool    `json:"proposed"`
}

type jsonAnswer struct {
	Text     string `json:"text"`
	By       string `json:"by"`
	Answered string `json:"answered"`
}

type jsonQuestion struct {
	ID       string      `json:"id"`
	Group    string      `json:"group"`
	Question string      `json:"question"`
	Answer   *jsonAnswer `json:"answer"` // null: open
}

type jsonPrep struct {
	Site      string         `json:"site"`
	Revision  *uint64        `json:"revision"` // that was written; null where none was
	Verdict   string         `json:"verdict"`
	Counts    map[string]int `json:"counts"`
	Checks    []jsonFinding  `json:"checks"`
	Patching  []jsonPatch    `json:"patching"`
	Unpatched []string       `json:"unpatched"`
	Proven    bool           `json:"patching_proven"`
	Questions []jsonQuestion `json:"questions"`
	Cautions  []string       `json:"cautions"`
}

// statusNames are the statuses as JSON says them.
var statusNames = map[infra.Status]string{infra.Fails: "fails", infra.Doubtful: "doubtful", infra.Unknown: "not_known", infra.Holds: "holds"}

// numberOf turns what may be unknown into what JSON says as null.
func numberOf(v *float64) *number {
	if v == nil {
		return nil
	}
	n := number(*v)
	return &n
}

func prepJSON(plan *site.Site, r *infra.Report, rev uint64) jsonPrep {
	out := jsonPrep{Site: plan.Name, Revision: known(rev), Verdict: statusNames[r.Verdict()], Counts: map[string]int{}, Checks: []jsonFinding{}, Patching: []jsonPatch{},
		Unpatched: append([]string{}, r.Unpatched...), Proven: r.Proof, Questions: questionsJSON(plan), Cautions: infra.Cautions}
	for _, s := range infra.Statuses {
		out.Counts[statusNames[s]] = r.Count(s)
	}
	for _, f := range r.Findings {
		c := infra.CheckOf(f.Check)
		out.Checks = append(out.Checks, jsonFinding{Check: f.Check, Group: c.Group, Title: c.Title, Against: c.Against, Subjects: append([]string{}, f.Subjects...),
			Status: statusNames[f.Status], Have: numberOf(f.Have), Limit: numberOf(f.Limit), Unit: known(f.Unit), Text: f.Text, Proposed: f.Proposed, Estimate: f.Estimate})
	}
	for _, p := range r.Patching {
		out.Patching = append(out.Patching, jsonPatch{AccessPoint: p.AP, Switch: p.Switch, Port: p.Port, LinkM: numberOf(p.LengthM), Measured: p.Measured, Proposed: p.Proposed})
	}
	return out
}

func questionsJSON(plan *site.Site) []jsonQuestion {
	var out []jsonQuestion
	for _, q := range infra.Questions {
		j := jsonQuestion{ID: q.ID, Group: q.Group, Question: q.Text}
		if a := plan.Answer(q.ID); a != nil {
			j.Answer = &jsonAnswer{Text: a.Text, By: a.By, Answered: a.At.Format(time.RFC3339)}
		}
		out = append(out, j)
	}
	return out
}
