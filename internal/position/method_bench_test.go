package position_test

import (
	"context"
	"testing"

	"footrule/internal/position"
	"footrule/internal/propagation"
	"footrule/internal/walk"

	"github.com/stretchr/testify/require"
)

// surveyed is a floor as large as those that radio maps are published for: 170
// points, 6 access points, 8 facings of 3 scans.
func surveyed() invented {
	return invented{width: 45, depth: 25, aps: 6, points: 170, facings: 8, scans: 3, floor: -88, miss: .1}
}

func BenchmarkMethodLeaveOneOut(b *testing.B) {
	s, w := surveyed().walk(1)
	for _, m := range position.Methods() {
		for _, fix := range []position.Unit{position.PerVisit, position.PerFacing} {
			b.Run(string(m)+"/170 points 6 radios 8 facings/"+string(fix), func(b *testing.B) {
				for range b.N {
					e, err := position.Judge(context.Background(), s, []walk.Walk{w}, position.Options{Method: m, Fix: fix, Resamples: 100})
					require.NoError(b, err)
					b.ReportMetric(e.Statistics.CE50M, "ce50-m")
				}
			})
		}
	}
}

func BenchmarkMethodFix(b *testing.B) {
	s, w := surveyed().walk(1)
	stays := walk.Stays(s, []walk.Walk{w}, walk.ByVisit)
	d := propagation.Observe(s, stays)
	f, err := propagation.Estimate(d, propagation.Options{})
	require.NoError(b, err)
	g := position.NewGrid(s)
	for _, m := range position.Methods() {
		l := position.NewLocator(m, g, d, f)
		b.Run(string(m), func(b *testing.B) {
			for i := range b.N {
				l.Fix(&stays[i%len(stays)])
			}
		})
	}
}
