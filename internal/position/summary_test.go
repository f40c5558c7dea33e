package position_test

import (
	"fmt"
	"math"
	"testing"

	"footrule/internal/position"
	"footrule/internal/walk"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
)

// Shares have the exact interval of Clopper and Pearson over places: R 4.2.2,
// binom.test(8, 10) gives 0.4439045 to 0.9747893, binom.test(10, 10) from
// 0.6915029, binom.test(0, 10) to 0.3084971. Floor and zone detection are those of
// ISO/IEC 18305:2016, 8.2 and 8.3.
func TestShares(t *testing.T) {
	var judged []position.Judged
	for i := range 10 {
		r := position.Judged{Place: walk.Place{Point: fmt.Sprint(i)}, Floor: "G", Area: "hall", FixFloor: "G", FixArea: "hall",
			Fix: position.Fix{Located: true}, BoundM: math.NaN(), Ellipse: position.Ellipse{MajorM: 2, MinorM: 1}}
		if i < 2 {
			r.FixFloor = "1" // above the place, and in the zone of the same name there
		}
		if i == 2 {
			r.FixArea = "yard"
		}
		if i == 3 {
			r.Area = ""
		}
		if i >= 8 {
			r.At = orb.Point{1.5, 0} // the major axis lies along +y
		}
		r.VectorM = orb.Point{r.Fix.At[0] - r.At[0], 0}
		r.ErrorM = math.Abs(r.VectorM[0])
		judged = append(judged, r)
	}
	s := position.SummariseJudged(judged, 0, 0)
	assert.Equal(t, 10, s.Points)
	assert.Equal(t, 10, s.Coverage.Fixes)
	assert.InDelta(t, .6915029, s.Coverage.CI95.Lo, 1e-6)
	assert.Equal(t, 1.0, s.Coverage.CI95.Hi)
	assert.Equal(t, .8, s.FloorDetection.Est())
	assert.InDelta(t, .4439045, s.FloorDetection.CI95.Lo, 1e-6)
	assert.InDelta(t, .9747893, s.FloorDetection.CI95.Hi, 1e-6)
	assert.Equal(t, 9, s.ZoneDetection.Of, "one stood in no zone")
	assert.Equal(t, 6, s.ZoneDetection.Fixes)
	assert.Equal(t, 6, s.Ellipse.Fixes, "two on the wrong floor, two outside")
	assert.Equal(t, 10, s.Ellipse.Of)
	assert.InDelta(t, 2*math.Pi, s.EllipseM2, 1e-12)
	assert.Empty(t, s.CI95)

	// Facings of one place are one trial: half of a place is no hit for the lower
	// end and one for the upper.
	for i := range judged {
		judged[i].Place = walk.Place{Point: fmt.Sprint(i / 2)}
		judged[i].Fix.Located = i%2 == 0
	}
	s = position.SummariseJudged(judged, 0, 0)
	assert.Equal(t, 5, s.Points)
	assert.Equal(t, 5, s.Located)
	assert.Equal(t, .5, s.Coverage.Est())
	// binom.test(2, 5)$conf.int[1] and binom.test(3, 5)$conf.int[2].
	assert.InDelta(t, .0527450, s.Coverage.CI95.Lo, 1e-6)
	assert.InDelta(t, .9472550, s.Coverage.CI95.Hi, 1e-6)

	none := position.SummariseJudged(nil, 100, 1)
	assert.Zero(t, none.Points)
	assert.True(t, math.IsNaN(none.Coverage.Est()) && math.IsNaN(none.Coverage.CI95.Lo) && math.IsNaN(none.EllipseM2) && math.IsNaN(none.CI95["mean_m"].Lo))

	// An interval needs five places.
	few := position.SummariseJudged(judged[:8], 100, 1)
	assert.Equal(t, 4, few.Points)
	assert.True(t, math.IsNaN(few.CI95["ce50_m"].Lo))
	enough := position.SummariseJudged(judged, 100, 1)
	assert.False(t, math.IsNaN(enough.CI95["ce50_m"].Lo))
}
