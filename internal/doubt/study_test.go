package doubt_test

import (
	"context"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"footrule/internal/doubt"

	"github.com/stretchr/testify/require"
)

// asked is how many sites of each kind a study is asked for; 0 for none.
func asked() int {
	n, _ := strconv.Atoi(os.Getenv("FOOTRULE_STUDY"))
	return n
}

func sites(t *testing.T) int {
	n := asked()
	if n <= 0 {
		t.Skip("set FOOTRULE_STUDY to a number of sites, e.g. 200")
	}
	return n
}

// outcome counts what was said of sites with one fault.
type outcome struct {
	sites, hit, first, wrong, other int
	errs                            []float64
}

// study plants a fault in sites and counts.
func study(t testing.TB, f fault, k kind, from, n int) outcome {
	var o outcome
	for seed := uint64(from); o.sites < n; seed++ {
		sc := newScene(seed, k)
		hit, ok := f.plant(sc)
		if !ok {
			continue
		}
		s, w := sc.walked(t)
		rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
		require.NoError(t, err)
		o.sites++
		found := false
		for i, fd := range rep.Findings {
			if fd.Kind != f.kind {
				continue
			}
			if ok, e := hit(fd); ok && !found {
				found = true
				o.hit++
				o.errs = append(o.errs, e)
				if i == 0 {
					o.first++
				}
			}
		}
		if len(rep.Findings) > 0 && !found {
			o.wrong++
		}
		if len(rep.Findings) > 1 || len(rep.Findings) == 1 && !found {
			o.other++
		}
	}
	return o
}

func TestStudyFaults(t *testing.T) {
	n := sites(t)
	for _, k := range []struct {
		name string
		kind kind
	}{{"clean", clean}, {"hard", hard}} {
		for _, f := range faults {
			o := study(t, f, k.kind, 1000, n)
			fmt.Printf("%-6s %-20s %-18s found %3d/%3d  named first %3d  only others %2d  others too %2d  median error %.1f\n", k.name, f.name, f.size, o.hit, o.sites, o.first, o.wrong, o.other, median(o.errs))
		}
	}
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return v[len(v)/2]
}

func TestStudyTry(t *testing.T) {
	n := sites(t)
	for name, k := range map[string]kind{"clean": clean, "two bands": twoBands, "walls": withWalls, "hard": hard, "underway": underway} {
		named := 0
		start := time.Now()
		kinds := map[doubt.Kind]int{}
		var took time.Duration
		for seed := range n {
			s, w := newScene(uint64(seed), k).walked(t)
			a := time.Now()
			rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
			took += time.Since(a)
			require.NoError(t, err)
			if len(rep.Findings) > 0 {
				named++
				for _, f := range rep.Findings {
					kinds[f.Kind]++
					if n <= 20 {
						fmt.Println(name, seed, f.Kind, f.APs, f.Effect, f.LBF)
					}
				}
			}
		}
		t.Logf("%s: %d of %d, %v, %v a site of which %v in Find", name, named, n, kinds, time.Since(start)/time.Duration(n), took/time.Duration(n))
	}
}
