package site

import (
	"math"
)

// How well a taped distance is known, as half a 95 % interval: the ends are
// where someone stood or where a box hangs as seen from below, and a tape sags
// (common practice).
const (
	tapeEndsM = 0.3
	tapeShare = 0.01
)

// TapeRow holds a taped distance against the plan.
type TapeRow struct {
	From, To string
	TapedM   float64
	PlanM    float64 // plan distance of the same two places
	SlackM   float64 // within which both agree: 0.3 m + 1 %
	Off      bool
}

// TapeCheck is what the taped distances of a floor say of its scale. Scale is
// building over plan, by least squares through the origin with weights 1/Slack²:
// s = Σ w d p / Σ w p², d taped and p on the plan. Slack is 1/√(Σ w p²): a
// scale nearer to 1 than that can't be told from 1.
type TapeCheck struct {
	Floor  string
	Rows   []TapeRow
	Scale  float64
	Slack  float64
	Off    bool // the scale is off
	Uneven bool // the distances contradict each other
}

// CheckTaped holds the taped distances of a floor, an index into Floors, to the
// plan. Without any, Scale and Slack are not numbers.
func (s *Site) CheckTaped(floor int) TapeCheck {
	f := &s.Floors[floor]
	c := TapeCheck{Floor: f.ID, Scale: math.NaN(), Slack: math.NaN()}
	var dp, pp float64
	for _, t := range f.Taped {
		a, okA := s.Spot(f, t.From)
		b, okB := s.Spot(f, t.To)
		if !okA || !okB {
			continue
		}
		r := TapeRow{From: t.From.String(), To: t.To.String(), TapedM: t.DistanceM, PlanM: math.Hypot(a[0]-b[0], a[1]-b[1])}
		r.SlackM = tapeEndsM + tapeShare*r.TapedM
		r.Off = math.Abs(r.TapedM-r.PlanM) > r.SlackM
		c.Rows = append(c.Rows, r)
		w := 1 / (r.SlackM * r.SlackM)
		dp += w * r.TapedM * r.PlanM
		pp += w * r.PlanM * r.PlanM
	}
	if pp > 0 {
		c.Scale, c.Slack = dp/pp, 1/math.Sqrt(pp)
		c.Off = math.Abs(c.Scale-1) > c.Slack
		for _, r := range c.Rows {
			c.Uneven = c.Uneven || math.Abs(r.TapedM-c.Scale*r.PlanM) > r.SlackM
		}
	}
	return c
}
