package main

import (
	"strconv"

	"footrule/internal/coverage"
)

type jsonAdded struct {
	At      [2]number `json:"at"`
	HeightM number    `json:"height_m"`
	Closes  number    `json:"closes_m2"`
	Helps   number    `json:"helps_m2"`
}

type jsonHole struct {
	Floor  string     `json:"floor"`
	AreaM2 number     `json:"area_m2"`
	Centre [2]number  `json:"centre"`
	Heard  int        `json:"heard"`
	Added  *jsonAdded `json:"added"`
}

// jsonShares is keyed by the number of access points.
type jsonShares map[string]number

type jsonExpected struct {
	InHull      number `json:"inside_hull"`
	NoFix       number `json:"no_fix"`
	BoundMedian number `json:"bound_median_m"`
	Bound90     number `json:"bound_90_m"`
	Mean        number `json:"expected_error_mean_m"`
	Median      number `json:"expected_error_median_m"`
	Ninety      number `json:"expected_error_90_m"`
	Most        number `json:"expected_error_max_m"`
}

type jsonFloorCover struct {
	Floor     string     `json:"floor"`
	AreaM2    number     `json:"area_m2"`
	HeardBy   jsonShares `json:"heard_by_at_least"`
	NeedShare number     `json:"need_share"`
	jsonExpected
}

type jsonMeasured struct {
	Method     string     `json:"method"`
	ReachM     number     `json:"reach_m"`
	AreaM2     number     `json:"area_m2"`
	HeardBy    jsonShares `json:"heard_by_at_least"`
	NeedShare  number     `json:"need_share"`
	Predicted  jsonShares `json:"predicted_there"`
	Difference jsonShares `json:"difference"`
	MoreM2     number     `json:"more_m2"`
	FewerM2    number     `json:"fewer_m2"`
	NeedAgrees number     `json:"need_agrees"`
	Holes      []jsonHole `json:"holes"`
}

type jsonCover struct {
	Source       jsonSource `json:"source"`
	ThresholdDBm number     `json:"threshold_dbm"`
	Confidence   number     `json:"confidence"`
	Need         int        `json:"need"`
	CellM        number     `json:"cell_m"`
	Scans        int        `json:"scans"`
	AreaM2       number     `json:"area_m2"`
	HeardBy      jsonShares `json:"heard_by_at_least"`
	Probability  jsonShares `json:"probability_of_at_least"`
	NeedShare    number     `json:"need_share"`
	jsonExpected
	Floors   []jsonFloorCover `json:"floors"`
	Holes    []jsonHole       `json:"holes"`
	Measured *jsonMeasured    `json:"measured"`
	Files    []string         `json:"files"`
}

func sharesJSON(v [coverage.Reported]float64) jsonShares {
	out := jsonShares{}
	for k, s := range v {
		out[strconv.Itoa(k+1)] = number(s)
	}
	return out
}

func (e expected) json() jsonExpected {
	return jsonExpected{number(e.inHull), number(e.noFix), number(e.boundMedian), number(e.bound90),
		number(e.errorMean), number(e.errorMedian), number(e.errorNinety), number(e.errorMost)}
}

func (c *cover) json() jsonCover {
	o, s := c.m.Options, c.m.Shares()
	out := jsonCover{Source: c.prediction.json(), ThresholdDBm: number(o.ThresholdDBm), Confidence: number(o.Confidence), Need: o.Need,
		CellM: number(o.CellM), Scans: o.Scans, AreaM2: number(s.AreaM2), HeardBy: sharesJSON(s.Heard), Probability: sharesJSON(s.AtLeast),
		NeedShare: number(s.Need), jsonExpected: c.expect(all(len(c.m.Floors))...).json(), Holes: c.holesJSON(c.holes), Files: append([]string{}, c.files...)}
	for i := range c.m.Floors {
		fm := &c.m.Floors[i]
		s := fm.Shares(o.Need)
		out.Floors = append(out.Floors, jsonFloorCover{c.plan.Floors[fm.Floor].ID, number(s.AreaM2), sharesJSON(s.Heard), number(s.Need), c.expect(i).json()})
	}
	if c.measured != nil {
		d := c.diff
		m := &jsonMeasured{Method: "nearest place of a stay", ReachM: number(c.reachM), AreaM2: number(d.Measured.AreaM2), HeardBy: sharesJSON(d.Measured.Heard),
			NeedShare: number(d.Measured.Need), Predicted: sharesJSON(d.Predicted.Heard), Difference: jsonShares{}, MoreM2: number(d.MoreM2),
			FewerM2: number(d.FewerM2), NeedAgrees: number(d.NeedAgrees), Holes: c.holesJSON(c.found)}
		for k := range coverage.Reported {
			m.Difference[strconv.Itoa(k+1)] = number(d.Measured.Heard[k] - d.Predicted.Heard[k])
		}
		out.Measured = m
	}
	return out
}

func (c *cover) holesJSON(holes []coverage.Hole) []jsonHole {
	out := []jsonHole{}
	for _, h := range holes {
		j := jsonHole{Floor: c.plan.Floors[h.Floor].ID, AreaM2: number(h.AreaM2), Centre: pair(h.Centre[0], h.Centre[1]), Heard: h.Heard}
		if a := h.Added; a != nil {
			j.Added = &jsonAdded{pair(a.At[0], a.At[1]), number(a.HeightM), number(a.ClosesM2), number(a.HelpsM2)}
		}
		out = append(out, j)
	}
	return out
}
