package doubt_test

import (
	"context"
	"testing"

	"footrule/internal/doubt"
)

// BenchmarkFind is a clean site of 24 radios and 60 visits.
func BenchmarkFind(b *testing.B) {
	k := twoBands
	k.points = [2]int{60, 61}
	sc := newScene(0, k)
	for seed := uint64(0); len(sc.site.AccessPoints) != 12; seed++ {
		sc = newScene(seed, k)
	}
	s, w := sc.walked(b)
	for b.Loop() {
		if _, err := doubt.Find(context.Background(), s, w, doubt.Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
