package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"strings"
	"text/tabwriter"
)

func main() {
	quick := flag.Bool("quick", false, "leave out the largest sizes")
	only := flag.String("only", "", "only computations whose name has this in it")
	timings := flag.Int("timings", 5, "timings of each, of which the least counts")
	flag.Parse()
	if flag.NArg() > 0 || *timings < 1 {
		flag.Usage()
		os.Exit(2)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	ok, err := run(ctx, *quick, *only, *timings)
	switch {
	case err != nil:
		fmt.Fprintln(os.Stderr, "speed:", err)
		os.Exit(3)
	case !ok:
		os.Exit(1)
	}
}

// measured is one computation with its references.
type measured struct {
	bench
	one, all took // on one processor and on all
	refs     []against
}

// against is a reference of a computation.
type against struct {
	script string
	took
	digits float64
	ok     bool
}

// run measures and prints; false where results do not agree.
func run(ctx context.Context, quick bool, only string, timings int) (bool, error) {
	known := map[string]*interpreter{}
	for _, p := range interpreters() {
		if p.find(ctx) {
			known[p.Suffix] = p
			fmt.Println(p.version)
		} else {
			fmt.Printf("%s is missing, and what it is a reference for is left out: %s\n", p.Name, p.Install)
		}
	}
	if len(known) == 0 {
		fmt.Println("there is no reference on this machine to hold speed against")
		return true, nil
	}
	folder, err := os.MkdirTemp("", "speed-")
	if err != nil {
		return false, err
	}
	defer os.RemoveAll(folder)
	if err := unpack(folder); err != nil {
		return false, err
	}
	ok := true
	var all []measured
	for _, b := range benches(quick) {
		if !strings.Contains(b.What, only) {
			continue
		}
		fmt.Fprintf(os.Stderr, "%s, %s\n", b.What, b.Size)
		m, err := measure(ctx, folder, b, known, timings)
		if err != nil {
			return false, fmt.Errorf("%s, %s: %w", b.What, b.Size, err)
		}
		for _, r := range m.refs {
			ok = ok && r.ok
		}
		all = append(all, *m)
	}
	return ok, table(all)
}

func measure(ctx context.Context, folder string, b bench, known map[string]*interpreter, timings int) (*measured, error) {
	ours, err := b.Prepare(folder)
	if err != nil {
		return nil, err
	}
	m := &measured{bench: b}
	var values []float64
	if m.one, values, err = clock(ours, 1, timings); err != nil {
		return nil, err
	}
	if m.all, _, err = clock(ours, runtime.NumCPU(), timings); err != nil {
		return nil, err
	}
	for _, script := range b.Refs {
		p := known[filepath.Ext(script)]
		if p == nil {
			continue
		}
		t, want, err := p.run(ctx, folder, script, timings)
		if err != nil {
			return nil, err
		}
		r := against{script: script, took: t, digits: digits(values, want)}
		r.ok = r.digits >= b.Digits
		if b.Digits == 0 {
			r.ok = r.digits >= -math.Log10(b.Within)
		}
		m.refs = append(m.refs, r)
	}
	return m, nil
}

// table prints ratios of reference to ours, seconds, and how time grows.
func table(all []measured) error {
	w := tabwriter.NewWriter(os.Stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "\nwhat\tsize\treference\tref s\tours s, 1 core\t%d cores\tratio, 1 core\t%d cores\tCPU ref s\tours\tratio\tdigits\t\n", runtime.NumCPU(), runtime.NumCPU())
	for _, m := range all {
		if len(m.refs) == 0 {
			fmt.Fprintf(w, "%s\t%s\t–\t–\t%.3g\t%.3g\t–\t–\t–\t%.3g\t–\t–\t\n", m.What, m.Size, m.one.Wall, m.all.Wall, m.one.CPU)
		}
		for _, r := range m.refs {
			verdict := ""
			if !r.ok {
				verdict = "DIFFERS"
			}
			fmt.Fprintf(w, "%s\t%s\t%s\t%.3g\t%.3g\t%.3g\t%.3g\t%.3g\t%.3g\t%.3g\t%.3g\t%.1f\t%s\n", m.What, m.Size, r.script, r.Wall, m.one.Wall, m.all.Wall,
				r.Wall/m.one.Wall, r.Wall/m.all.Wall, r.CPU, m.one.CPU, r.CPU/m.one.CPU, r.digits, verdict)
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	fmt.Println()
	for i := 0; i < len(all); {
		var size, seconds []float64
		k := i
		for ; k < len(all) && all[k].Family == all[i].Family; k++ {
			size, seconds = append(size, all[k].N), append(seconds, all[k].one.CPU)
		}
		if len(size) > 1 {
			fmt.Printf("%s: CPU time grows as size to the power of %.2f\n", all[i].What, growth(size, seconds))
		}
		i = k
	}
	return nil
}
