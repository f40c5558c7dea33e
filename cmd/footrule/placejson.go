package main

import "footrule/internal/coverage"

type jsonPlaced struct {
	ID      string    `json:"id"`
	Floor   string    `json:"floor"`
	At      [2]number `json:"at"`
	HeightM number    `json:"height_m"`
	Bands   []string  `json:"bands"`
}

type jsonMoved struct {
	ID        string    `json:"id"`
	FromFloor string    `json:"from_floor"`
	From      [2]number `json:"from"`
	Floor     string    `json:"floor"`
	To        [2]number `json:"to"`
}

type jsonState struct {
	NeedShare number     `json:"need_share"`
	HeardBy   jsonShares `json:"heard_by_at_least"`
	ErrorM    number     `json:"expected_error_rms_m"`
}

type jsonPlace struct {
	Source       jsonSource   `json:"source"`
	ThresholdDBm number       `json:"threshold_dbm"`
	Confidence   number       `json:"confidence"`
	Need         int          `json:"need"`
	CellM        number       `json:"cell_m"`
	Places       int          `json:"places_tried"`
	Added        []jsonPlaced `json:"added"`
	Moved        []jsonMoved  `json:"moved"`
	Fewest       int          `json:"fewest_proven"`
	Optimal      bool         `json:"optimal"`
	ShortM2      number       `json:"short_m2"`
	Before       jsonState    `json:"before"`
	After        jsonState    `json:"after"`
}

func placeJSON(p *prediction, got *coverage.Placement) jsonPlace {
	o := got.Before.Options
	p.notes = got.Notes
	before, after := got.Before.Shares(), got.After.Shares()
	out := jsonPlace{Source: p.json(), ThresholdDBm: number(o.ThresholdDBm), Confidence: number(o.Confidence), Need: o.Need, CellM: number(o.CellM),
		Places: got.Mounts, Added: []jsonPlaced{}, Moved: []jsonMoved{}, Fewest: got.Fewest, Optimal: got.Optimal, ShortM2: number(got.ShortM2),
		Before: jsonState{number(before.Need), sharesJSON(before.Heard), number(got.ErrorBeforeM)},
		After:  jsonState{number(after.Need), sharesJSON(after.Heard), number(got.ErrorAfterM)}}
	for _, ap := range got.Added {
		j := jsonPlaced{ID: ap.ID, Floor: ap.Floor, At: pair(ap.At[0], ap.At[1]), HeightM: number(ap.HeightM)}
		for _, r := range ap.Radios {
			j.Bands = append(j.Bands, string(r.Band))
		}
		out.Added = append(out.Added, j)
	}
	for _, m := range got.Moved {
		out.Moved = append(out.Moved, jsonMoved{m.ID, p.plan.Floors[m.From.Floor].ID, pair(m.From.At[0], m.From.At[1]), p.plan.Floors[m.To.Floor].ID, pair(m.To.At[0], m.To.At[1])})
	}
	return out
}
