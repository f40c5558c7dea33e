package doubt_test

import (
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"footrule/internal/doubt"
	"footrule/internal/median"

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
	sites, hit, first int
	wrong             int // something was named, but not the fault
	more              int // something was named besides
	errs              []float64
	by, se            []sized
	apart             [][2]int // per density of access points: found, sites
}

// sized is one site with the size of its fault.
type sized struct {
	by  float64
	hit bool
}

// study plants a fault in sites and counts.
func study(t testing.TB, f fault, k kind, from uint64, n int) outcome {
	o := outcome{apart: make([][2]int, len(allDensity))}
	for seed := from; o.sites < n; seed++ {
		sc := newScene(seed, k)
		p, ok := f.plant(sc)
		if !ok {
			continue
		}
		s, w := sc.walked(t)
		rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
		require.NoError(t, err)
		o.sites++
		found := false
		for i, fd := range rep.Findings {
			if fd.Kind != f.kind || found {
				continue
			}
			if ok, e := p.hit(fd); ok {
				found = true
				o.hit++
				o.errs = append(o.errs, e)
				if i == 0 {
					o.first++
				}
			}
		}
		d := slices.Index(allDensity, sc.spacing)
		o.apart[d][1]++
		if found {
			o.apart[d][0]++
		}
		switch {
		case !found && len(rep.Findings) > 0:
			o.wrong++
			t.Logf("%s %s, seed %d: %s", f.name, f.size, seed, rep.Findings[0].Text)
		case len(rep.Findings) > 1:
			o.more++
		}
		if p.of != nil {
			s, w = p.of.walked(t)
			rep, err = doubt.Find(context.Background(), s, w, doubt.Options{})
			require.NoError(t, err)
		}
		if p.by != nil {
			o.by = append(o.by, sized{p.by(rep), found})
		}
		if p.se != nil {
			o.se = append(o.se, sized{p.se(rep), found})
		}
	}
	return o
}

// kinds are the sites of a study.
var kinds = []struct {
	name string
	kind kind
}{{"clean", clean}, {"two bands", twoBands}, {"walls on the plan", withWalls}, {"underway", underway}, {"hard", hard}}

// edges are the sizes between which hits are counted, by the family's unit.
var edges = map[doubt.Kind]struct {
	unit string
	at   []float64
}{
	doubt.Moved: {"distance over that promised", []float64{.33, .67, 1, 1.5}},
	doubt.Point: {"distance over that promised", []float64{.33, .67, 1, 1.5}},
	doubt.Power: {"change over that promised", []float64{.33, .67, 1, 1.5}},
	doubt.Dies:  {"hearings expected", []float64{2, 3, 4, 6}},
}

// chosen reports whether FOOTRULE_STUDY_ONLY, a regular expression, leaves a line
// of the study in.
func chosen(t *testing.T, line string) bool {
	re, err := regexp.Compile(os.Getenv("FOOTRULE_STUDY_ONLY"))
	require.NoError(t, err)
	return re.MatchString(line)
}

// TestStudy prints what is found and what is falsely named, on so many sites of
// each kind as FOOTRULE_STUDY says. testdata/results.md keeps one.
func TestStudy(t *testing.T) {
	n := sites(t)
	fmt.Printf("| sites | something named | what |\n| --- | --- | --- |\n")
	for _, k := range kinds {
		for _, back := range []bool{false, true} {
			name := k.name
			if back {
				name += ", back over half"
			}
			if !chosen(t, "no fault, "+name) {
				continue
			}
			what, some := map[doubt.Kind]int{}, 0
			for seed := range n {
				sc := newScene(uint64(5000+seed), k.kind)
				if back {
					sc.back()
				}
				s, w := sc.walked(t)
				rep, err := doubt.Find(context.Background(), s, w, doubt.Options{})
				require.NoError(t, err)
				if len(rep.Findings) > 0 {
					some++
				}
				for _, f := range rep.Findings {
					what[f.Kind]++
				}
			}
			fmt.Printf("| %s | %d of %d (%.1f %%) | %v |\n", name, some, n, 100*float64(some)/float64(n), what)
		}
	}
	fmt.Printf("\n| sites | fault | size | found | at 8, 11, 15 m between access points | named first | only another named | another named too | median error |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n")
	by, se := map[string]map[doubt.Kind][]sized{}, map[string][]sized{}
	for _, k := range kinds {
		if k.name != "clean" && k.name != "hard" {
			continue
		}
		by[k.name] = map[doubt.Kind][]sized{}
		for _, f := range faults {
			if !chosen(t, fmt.Sprintf("%s, %s, %s", k.name, f.name, f.size)) {
				continue
			}
			o := study(t, f, k.kind, 1000, n)
			fmt.Printf("| %s | %s | %s | %d of %d (%.0f %%) | %s | %d | %d | %d | %.1f |\n", k.name, f.name, f.size, o.hit, o.sites, 100*float64(o.hit)/float64(o.sites), o.byDensity(), o.first, o.wrong, o.more, median.Of(o.errs))
			by[k.name][f.kind] = append(by[k.name][f.kind], o.by...)
			if _, walk, ok := strings.Cut(f.name, "power, "); ok {
				walk = k.name + ", " + walk
				se[walk] = append(se[walk], o.se...)
			}
		}
	}
	perError(se)
	fmt.Printf("\n| sites | fault | by | found |\n| --- | --- | --- | --- |\n")
	for _, k := range []string{"clean", "hard"} {
		for _, f := range []doubt.Kind{doubt.Moved, doubt.Point, doubt.Power, doubt.Dies} {
			lo := 0.0
			for _, hi := range append(slices.Clone(edges[f].at), math.Inf(1)) {
				hits, all := between(by[k][f], lo, hi)
				if len(by[k][f]) == 0 {
					break
				}
				fmt.Printf("| %s | %s | %s %g to %g | %d of %d (%.0f %%) |\n", k, f, edges[f].unit, lo, hi, hits, all, 100*float64(hits)/float64(all))
				lo = hi
			}
			hits, all := 0, 0
			for _, s := range by[k][f] {
				if math.IsNaN(s.by) {
					all++
					if s.hit {
						hits++
					}
				}
			}
			if all > 0 {
				fmt.Printf("| %s | %s | nothing promised | %d of %d |\n", k, f, hits, all)
			}
		}
	}
}

// byDensity is the share found at each density of access points.
func (o *outcome) byDensity() string {
	var out []string
	for _, a := range o.apart {
		out = append(out, fmt.Sprintf("%.0f %%", 100*float64(a[0])/float64(a[1])))
	}
	return strings.Join(out, ", ")
}

// perError prints what is found of changes of power by their size over its
// standard error, per kind of walk.
func perError(se map[string][]sized) {
	fmt.Printf("\n| walk | change over its standard error | found |\n| --- | --- | --- |\n")
	for _, walk := range slices.Sorted(maps.Keys(se)) {
		lo := 0.0
		for _, hi := range []float64{2, 3, 4, 5, math.Inf(1)} {
			hits, all := between(se[walk], lo, hi)
			fmt.Printf("| %s | %g to %g | %d of %d |\n", walk, lo, hi, hits, all)
			lo = hi
		}
	}
}

func between(v []sized, lo, hi float64) (hits, all int) {
	for _, s := range v {
		if s.by >= lo && s.by < hi {
			all++
			if s.hit {
				hits++
			}
		}
	}
	return hits, all
}
