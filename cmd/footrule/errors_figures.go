package main

import (
	"fmt"
	"math"

	"footrule/internal/position"
	"footrule/internal/say"
	"footrule/internal/walk"
)

// statistic is one row of the error statistics, by the field name in JSON.
type statistic struct {
	key, name string
	value     float64
}

func statistics(s *position.Statistics) []statistic {
	return []statistic{
		{"mean_m", "mean", s.MeanM}, {"rms_m", "RMS", s.RMSM}, {"ce50_m", "CE50 (CEP), half within", s.CE50M},
		{"ce90_m", "CE90, 9 of 10 within", s.CE90M}, {"ce95_m", "CE95", s.CE95M}, {"max_m", "largest", s.MaxM},
	}
}

// shares are the rows of what part of the fixes has a property.
func shares(s *position.Summary) []struct {
	key, name string
	position.Share
} {
	return []struct {
		key, name string
		position.Share
	}{
		{"coverage", "located (coverage)", s.Coverage},
		{"floor_detection", "on the right floor", s.FloorDetection},
		{"zone_detection", "in the right zone", s.ZoneDetection},
		{"ellipse_coverage", "true place in the 95 % ellipse", s.Ellipse},
	}
}

// span prints an interval.
func span(i position.Interval, digits int) string {
	if math.IsNaN(i.Lo) {
		return "–"
	}
	return say.Fixed(i.Lo, digits) + " to " + say.Fixed(i.Hi, digits)
}

func hundredths(v float64) string { return say.Fixed(100*v, 0) }

// printFigures prints the error statistics and shares of a summary as tables.
func printFigures(sh *shell, s *position.Summary) {
	rows := [][]string{{"error", "m", "95 % interval"}}
	for _, st := range statistics(&s.Statistics) {
		ci := ""
		if i, ok := s.CI95[st.key]; ok {
			ci = span(i, 2)
		}
		rows = append(rows, []string{st.name, say.Fixed(st.value, 2), ci})
	}
	b := s.Statistics.BiasM
	rows = append(rows, []string{"mean vector right, up", say.Fixed(b[0], 2) + ", " + say.Fixed(b[1], 2), ""},
		[]string{"bound, RMS", say.Fixed(s.BoundRMSM, 2), ""})
	table(sh.out, rows)
	fmt.Fprintln(sh.out)
	rows = [][]string{{"share of fixes", "%", "95 % interval"}}
	for _, p := range shares(s) {
		if p.Of > 0 {
			rows = append(rows, []string{p.name, hundredths(p.Est()), span(position.Interval{Lo: 100 * p.CI95.Lo, Hi: 100 * p.CI95.Hi}, 0)})
		}
	}
	table(sh.out, rows)
	if s.Ellipse.Of > 0 {
		fmt.Fprintf(sh.out, "\n%s\n", ellipses(s))
	}
}

// ellipses says how large the error ellipses are and what their share says.
func ellipses(s *position.Summary) string {
	text := fmt.Sprintf("95 %% ellipses are %s m² in the mean", say.Fixed(s.EllipseM2, 0))
	switch ci := s.Ellipse.CI95; {
	case ci.Hi < position.EllipseConfidence:
		return text + ", and hold too few places: fixes are surer than they should be, as with walls that the plan does not have, access points that do not fit, or parts where nobody walked"
	case ci.Lo > position.EllipseConfidence:
		return text + ", and hold more places than they need: fixes are better than they claim"
	}
	return text + ", and hold about as many places as they should"
}

type jsonFigures struct {
	Points     int                  `json:"points"`
	Located    int                  `json:"located"`
	Fixes      int                  `json:"fixes"`
	LocatedFix int                  `json:"located_fixes"`
	Mean       number               `json:"mean_m"`
	SD         number               `json:"sd_m"`
	RMS        number               `json:"rms_m"`
	CE50       number               `json:"ce50_m"`
	CE90       number               `json:"ce90_m"`
	CE95       number               `json:"ce95_m"`
	Max        number               `json:"max_m"`
	Bias       [2]number            `json:"bias_m"`
	Covariance [2][2]number         `json:"covariance_m2"`
	Bound      number               `json:"bound_rms_m"`
	Coverage   number               `json:"coverage"`
	Floor      number               `json:"floor_detection"`
	Zone       number               `json:"zone_detection"`
	Ellipse    number               `json:"ellipse_coverage"`
	EllipseM2  number               `json:"ellipse_area_m2"`
	CI95       map[string][2]number `json:"ci95"`
}

func figuresJSON(s *position.Summary) jsonFigures {
	st := &s.Statistics
	c := st.Covariance
	out := jsonFigures{Points: s.Points, Located: s.Located, Fixes: st.Fixes, LocatedFix: st.Located, Mean: number(st.MeanM), SD: number(st.SDM), RMS: number(st.RMSM),
		CE50: number(st.CE50M), CE90: number(st.CE90M), CE95: number(st.CE95M), Max: number(st.MaxM), Bias: pair(st.BiasM[0], st.BiasM[1]),
		Covariance: [2][2]number{pair(c.XX, c.XY), pair(c.XY, c.YY)}, Bound: number(s.BoundRMSM),
		Coverage: number(s.Coverage.Est()), Floor: number(s.FloorDetection.Est()), Zone: number(s.ZoneDetection.Est()), Ellipse: number(s.Ellipse.Est()),
		EllipseM2: number(s.EllipseM2), CI95: map[string][2]number{}}
	for k, i := range s.CI95 {
		out.CI95[k] = pair(i.Lo, i.Hi)
	}
	for _, p := range shares(s) {
		out.CI95[p.key] = pair(p.CI95.Lo, p.CI95.Hi)
	}
	return out
}

type jsonEllipse struct {
	Major number `json:"major_m"`
	Minor number `json:"minor_m"`
	Deg   number `json:"deg"`
	Holds bool   `json:"holds"`
}

type jsonFix struct {
	Point   *string      `json:"point"`
	Walk    string       `json:"walk"`
	Visit   string       `json:"visit"`
	Floor   string       `json:"floor"`
	Area    *string      `json:"area"`
	At      [2]number    `json:"at"`
	Facing  *number      `json:"facing_deg"`
	Fix     *[2]number   `json:"fix"`
	FixOn   *string      `json:"fix_floor"`
	Vector  *[2]number   `json:"error_vector_m"`
	ErrorM  number       `json:"error_m"`
	BoundM  number       `json:"bound_m"`
	Ellipse *jsonEllipse `json:"ellipse95"`
	Heard   int          `json:"heard"`
	Scans   int          `json:"scans"`
	Outside bool         `json:"on_outline"`
	Reason  *string      `json:"reason"`
}

func fixJSON(j *position.Judged) jsonFix {
	f := jsonFix{Walk: j.Walk, Visit: j.Visit, Floor: j.Floor, Point: known(j.Point), Area: known(j.Area), At: pair(j.At[0], j.At[1]),
		ErrorM: number(j.ErrorM), BoundM: number(j.BoundM), Heard: j.Fix.Heard, Scans: j.Scans, Outside: j.Fix.OnOutline}
	if j.FacingDeg != walk.NoFacing {
		n := number(j.FacingDeg)
		f.Facing = &n
	}
	if !j.Fix.Located {
		f.Reason = known(j.Fix.Reason)
		return f
	}
	p, v := pair(j.Fix.At[0], j.Fix.At[1]), pair(j.VectorM[0], j.VectorM[1])
	f.Fix, f.Vector, f.FixOn = &p, &v, &j.FixFloor
	if e := j.Ellipse; e != (position.Ellipse{}) {
		f.Ellipse = &jsonEllipse{number(e.MajorM), number(e.MinorM), number(e.Deg), j.Held()}
	}
	return f
}
