package main

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"footrule/internal/radio/capture"
	"footrule/internal/site"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/paulmach/orb"
	"github.com/spf13/cobra"
)

// standFlags say where a capture was taken that does not say it itself.
type standFlags struct {
	at, floor, track string
	facing           float64
	hasFacing        bool
}

func (f *standFlags) add(cmd *cobra.Command) {
	cmd.Flags().StringVar(&f.at, "at", "", "point of the plan, or x,y in metres, where the capture was taken")
	cmd.Flags().StringVar(&f.floor, "floor", "", "floor of --at x,y, by its id (needed where the plan has several)")
	cmd.Flags().Float64Var(&f.facing, "facing", 0, "facing of --at in degrees clockwise from plan up (default: not known)")
	cmd.Flags().StringVar(&f.track, "track", "", "CSV file that says where the receiver was when")
	cmd.PreRun = func(cmd *cobra.Command, _ []string) { f.hasFacing = cmd.Flags().Changed("facing") }
}

func (f *standFlags) given() bool { return f.at != "" || f.track != "" || f.floor != "" || f.hasFacing }

func captureFormats() string {
	var b strings.Builder
	for _, f := range capture.Formats() {
		fmt.Fprintf(&b, "  %-7s %s\n", f.Name, f.About)
	}
	return strings.TrimRight(b.String(), "\n")
}

// isWalkCSV tells a walk.csv from other captures: by its name, or by a header
// with the columns that every walk.csv has.
func isWalkCSV(path string) bool {
	if strings.EqualFold(filepath.Ext(path), ".csv") {
		return true
	}
	f, err := os.Open(path)
	if err != nil {
		return false // the reader of captures says what is wrong
	}
	defer f.Close()
	line, _, _ := bufio.NewReader(f).ReadLine()
	cols := strings.Split(strings.TrimPrefix(string(line), "\ufeff"), ",")
	return slices.Contains(cols, "bssid") && slices.Contains(cols, "rssi_dbm")
}

// importCapture adds a capture that says only what was heard.
func (f *standFlags) importCapture(cmd *cobra.Command, sh *shell, st *store.Store, h walk.Header, path string) error {
	if (f.at == "") == (f.track == "") {
		return usage(fmt.Errorf("%s does not say where it was taken; give either --at POINT or --track FILE", path))
	}
	plan, rev, err := st.Plan()
	if err != nil {
		return err
	}
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil {
		return err
	}
	// Equal content taken at an equal place is the same walk.
	sum := sha256.New()
	fmt.Fprintf(sum, "%s\n%s\n%v %g\n", f.at, f.floor, f.hasFacing, f.facing)
	c, err := capture.Read(path, io.TeeReader(file, sum), capture.Options{Time: info.ModTime()})
	if err != nil {
		return err
	}
	if _, err := io.Copy(sum, file); err != nil { // what the reader did not need
		return err
	}
	h.PlanRev = rev
	var w walk.Walk
	warnings := c.Warnings
	if f.at != "" {
		stand, err := f.stand(plan)
		if err != nil {
			return err
		}
		if w, err = capture.AsWalk(c, h, stand); err != nil {
			return err
		}
	} else {
		t, err := readTrack(f.track, sum)
		if err != nil {
			return err
		}
		placed, err := capture.Place(c, t)
		if err != nil {
			return err
		}
		warnings = slices.Concat(warnings, t.Warnings, placed.Warnings)
		if w, err = placed.Walk(c, h); err != nil {
			return err
		}
	}
	if err := onPlan(plan, &w); err != nil {
		return err
	}
	w.Digest = hex.EncodeToString(sum.Sum(nil))
	w.ID = "capture-" + w.Digest[:16]
	heads, err := st.Headers()
	if err != nil {
		return err
	}
	for _, o := range heads {
		if o.ID == w.ID {
			printImport(sh, path, store.Report{Walk: o, AlreadyThere: true})
			return nil
		}
		if o.Name == w.Name {
			return usage(fmt.Errorf("there is a walk %q with other content; name this one with --walk NAME", w.Name))
		}
	}
	if _, err := st.AddWalk(w); err != nil {
		return err
	}
	printImport(sh, path, tally(plan, &w, warnings))
	return nil
}

func readTrack(path string, sum io.Writer) (*capture.Track, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return capture.ReadTrack(path, io.TeeReader(f, sum))
}

// stand finds the place that --at names.
func (f *standFlags) stand(plan *site.Site) (capture.Stand, error) {
	var s capture.Stand
	if f.hasFacing {
		if !(f.facing >= 0 && f.facing < 360) {
			return s, usage(fmt.Errorf("--facing %g; degrees from 0 to below 360", f.facing))
		}
		s.FacingDeg = &f.facing
	}
	for i := range plan.Floors {
		fl := &plan.Floors[i]
		if p := fl.Point(f.at); p != nil {
			if f.floor != "" && f.floor != fl.ID {
				return s, usage(fmt.Errorf("point %s is on floor %s, not on %s", p.ID, fl.ID, f.floor))
			}
			s.Point, s.Floor, s.At = p.ID, fl.ID, p.At
			return s, nil
		}
	}
	xs, ys, two := strings.Cut(f.at, ",")
	x, errX := strconv.ParseFloat(strings.TrimSpace(xs), 64)
	y, errY := strconv.ParseFloat(strings.TrimSpace(ys), 64)
	if !two || errX != nil || errY != nil {
		return s, usage(fmt.Errorf("--at %q is no point of the plan; name one, or give x,y in metres", f.at))
	}
	switch {
	case f.floor != "" && plan.Floor(f.floor) == nil:
		return s, usage(fmt.Errorf("no floor %q on the plan", f.floor))
	case f.floor != "":
		s.Floor = f.floor
	case len(plan.Floors) == 1:
		s.Floor = plan.Floors[0].ID
	default:
		return s, usage(errors.New("the plan has several floors; say which with --floor"))
	}
	s.At = orb.Point{x, y}
	if !plan.Floor(s.Floor).Walkable(s.At) {
		return s, usage(fmt.Errorf("nobody can stand at %g, %g on floor %s: it is outside the outline or in a void", x, y, s.Floor))
	}
	return s, nil
}

// onPlan refuses visits on floors that the plan does not have: they would count
// for nothing, and nobody would see it.
func onPlan(plan *site.Site, w *walk.Walk) error {
	for i := range w.Visits {
		if plan.Floor(w.Visits[i].Floor) == nil {
			return usage(fmt.Errorf("the track is on floor %q, which is not on the plan", w.Visits[i].Floor))
		}
	}
	return nil
}

// tally counts what a walk holds.
func tally(plan *site.Site, w *walk.Walk, warnings []string) store.Report {
	rep := store.Report{Walk: w.Header, Visits: len(w.Visits), Warnings: warnings}
	ours := plan.RadioOf()
	for _, v := range w.Visits {
		rep.Scans += len(v.Scans)
		for _, s := range v.Scans {
			rep.Readings += len(s.Readings)
			for _, r := range s.Readings {
				if _, ok := ours[r.BSSID]; !ok {
					rep.Unknown++
				}
			}
		}
	}
	return rep
}
