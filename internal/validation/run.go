package validation

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"footrule/internal/parallel"
)

// Options choose what is validated. Sites, Seed and Quick decide all that is
// drawn, so that equal options give equal rows on any number of processors.
type Options struct {
	Program string    // version, for the report
	Date    time.Time // for the report
	Seed    uint64
	Sites   int      // simulated sites of each kind; 0 is FullSites, or QuickSites with Quick
	Quick   bool     // fewer kinds of sites and fewer places on them
	Studies []string // some of [Studies]; none for all
	Real    []RealSite
	// Progress, if set, hears how many of how many tasks are done. It is called
	// from several goroutines, one at a time.
	Progress func(done, of int)
}

// Numbers of simulated sites of each kind. With FullSites the interval of a
// coverage of 95 % is some 4 % to either side.
const (
	FullSites  = 150
	QuickSites = 8
)

// task is a part of a study that can run beside others; it leaves its result
// with the study.
type task func(ctx context.Context) error

// study is one question: tasks, and the rows that they answer it with.
type study func(o Options) (tasks []task, rows func() []Row)

// RealStudy is the one study that simulates nothing.
const RealStudy = "real"

// studies is the table of studies, in the order of the report.
var studies = []struct {
	name string
	ask  study
}{
	{"levels", levels},
	{"bound", efficiency},
	{"leave-one-out", honesty},
	{RealStudy, realSites},
}

// Studies names the studies, in the order of the report.
func Studies() []string {
	var out []string
	for _, s := range studies {
		out = append(out, s.name)
	}
	return out
}

// Run carries out studies. Where ctx ends it stops between two sites, with the
// error of ctx.
func Run(ctx context.Context, o Options) (*Report, error) {
	if o.Sites == 0 {
		if o.Sites = FullSites; o.Quick {
			o.Sites = QuickSites
		}
	}
	if o.Sites < 2 {
		return nil, fmt.Errorf("%d simulated sites; an interval needs 2 or more", o.Sites)
	}
	for _, name := range o.Studies {
		if !slices.Contains(Studies(), name) {
			return nil, fmt.Errorf("no study %q; use some of %s", name, strings.Join(Studies(), ", "))
		}
	}
	out := &Report{Program: o.Program, Date: o.Date, Seed: o.Seed, Sites: o.Sites, Quick: o.Quick}
	if len(o.Studies) > 0 && !slices.ContainsFunc(o.Studies, func(name string) bool { return name != RealStudy }) {
		out.Sites = 0
	}
	var all []task
	var sums []func() []Row
	for _, s := range studies {
		if len(o.Studies) > 0 && !slices.Contains(o.Studies, s.name) {
			continue
		}
		tasks, rows := s.ask(o)
		all, sums = append(all, tasks...), append(sums, rows)
	}
	if err := runAll(ctx, all, o.Progress); err != nil {
		return nil, err
	}
	for _, rows := range sums {
		for _, r := range rows() {
			r.judge()
			out.Rows = append(out.Rows, r)
		}
	}
	return out, nil
}

// runAll runs tasks on all processors; the first that fails stops the rest.
func runAll(ctx context.Context, tasks []task, progress func(done, of int)) error {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	var mu sync.Mutex
	done := 0
	_ = parallel.Until(ctx, len(tasks), func(i int) {
		if err := tasks[i](ctx); err != nil {
			cancel(err)
			return
		}
		mu.Lock()
		defer mu.Unlock()
		if done++; progress != nil {
			progress(done, len(tasks))
		}
	})
	if done < len(tasks) {
		return context.Cause(ctx)
	}
	return nil
}

// overSites makes one task a scene and site; results[scene][site] gets what
// each found.
func overSites[T any](o Options, scenes []scene, sites int, one func(ctx context.Context, d *drawn) (T, error)) (tasks []task, results [][]T) {
	for i := range scenes {
		row := make([]T, sites)
		results = append(results, row)
		for j := range sites {
			tasks = append(tasks, func(ctx context.Context) error {
				d, err := scenes[i].draw(o.Seed, j)
				if err != nil {
					return fmt.Errorf("%s, site %d: %w", scenes[i].name, j, err)
				}
				if row[j], err = one(ctx, d); err != nil {
					return fmt.Errorf("%s, site %d: %w", scenes[i].name, j, err)
				}
				return nil
			})
		}
	}
	return tasks, results
}
