package main_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211/lab/air"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// TestLive drives the program on a real kernel with a simulated radio, as a
// surveyor does: doctor, scan, new, a walk of 25 points that is killed twice
// and loses its interface once, fit and errors. The levels on disk are held
// against the air's, the fit against the truth that the air computes from.
//
// The seed is fixed, so the 95 % intervals either hold the truth or don't; of
// other seeds one in twenty misses it rightly. With the same hall and levels but
// no kernel, 96 and 94.5 % of 200 seeds held it, by band.
func TestLive(t *testing.T) {
	if os.Getenv("FOOTRULE_LAB") == "" {
		t.Skip("runs inside the emulated machine of internal/radio/nl80211/lab/run.sh")
	}
	control, err := air.Dial(air.Socket)
	require.NoError(t, err)
	defer control.Close()
	l := &live{t: t, air: control, points: livePoints(), truth: map[string]map[radio.BSSID]int{}}
	l.do("clear")
	for _, line := range []string{fmt.Sprintf("shadow %g", liveShadow), fmt.Sprintf("loss %g", liveLoss), fmt.Sprintf("floor %d", liveFloor),
		fmt.Sprintf("seed %d", liveSeed), "at 16 10", "ap 02:00:5e:51:00:00 freq=2437 level=-60 ssid=neighbour"} {
		l.do(line)
	}
	for _, r := range liveRadios() {
		l.do(fmt.Sprintf("ap %s freq=%d at=%g,%g above=%g p1=%g n=%g ssid=hall", r.bssid, r.freq, r.at[0], r.at[1], apHeight-receiver, r.level, liveExponent[r.band]))
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "site.footrule")
	toml := filepath.Join(dir, "site.toml")
	require.NoError(t, os.WriteFile(toml, []byte(liveTOML()), 0o644))

	l.before(file, toml)
	l.walked(file)
	l.recorded(file)
	l.fitted(file)
	l.judged(file)
	l.down(file)
	require.Zero(t, l.failed, "checks of the lab")
}

// before: what a user tries first.
func (l *live) before(file, toml string) {
	out, errs, code := l.footrule("", "doctor")
	l.check(code == 0, "doctor", "exit %d: %s%s", code, out, errs)
	out, errs, code = l.footrule("", "scan", "--json")
	var scan struct {
		Interface string
		Readings  []struct {
			BSSID string  `json:"bssid"`
			RSSI  float64 `json:"rssi_dbm"`
		}
	}
	require.NoError(l.t, json.Unmarshal([]byte(out), &scan), "%s%s", out, errs)
	truth, exact := l.levels(), 0
	for _, r := range scan.Readings {
		b, err := radio.ParseBSSID(r.BSSID)
		require.NoError(l.t, err)
		if level, ok := truth[b]; ok && float64(level) == r.RSSI {
			exact++
		}
	}
	l.check(code == 0 && scan.Interface == "wlan0" && exact == len(scan.Readings) && exact >= len(truth)/2, "scan",
		"exit %d on %s: %d of %d in the air, %d exact", code, scan.Interface, len(scan.Readings), len(truth), exact)
	out, errs, code = l.footrule("", "new", file, "--from", toml)
	l.check(code == 0, "new", "exit %d: %s%s", code, out, errs)
}

// walked: the walk with all that befalls it.
func (l *live) walked(file string) {
	began := time.Now()
	hit := ""
	code, _ := l.walk(file, events{recording: func(point string, p *prompts) {
		if len(l.said) == 7 {
			hit = point
			time.Sleep(600 * time.Millisecond) // a scan or so into the visit
			require.NoError(l.t, p.cmd.Process.Kill())
		}
	}})
	l.check(code == -1 && hit != "" && len(l.said) == 7, "killed in a visit", "at %s, after %v", hit, l.said)
	l.kept("killed in a visit: what was saved", file)

	n := len(l.said)
	code, said := l.walk(file, events{saved: func(point string, p *prompts) {
		if len(l.said) == n+4 {
			require.NoError(l.t, p.cmd.Process.Kill())
		}
	}})
	want := fmt.Sprintf("going on with walk 1: %d done, 0 skipped, %d to do", n, len(l.points)-n)
	l.check(said[0] == want && l.said[n] == hit, "resumed", "%q, first at %s", said[0], l.said[n])
	l.check(code == -1 && len(l.said) == n+4, "killed as a visit was called saved", "%d saved", len(l.said))
	l.kept("killed as a visit was called saved: what was saved", file)

	n = len(l.said)
	reason, down := "", false
	code, said = l.walk(file, events{
		recording: func(string, *prompts) {
			if len(l.said) == n+4 && !down {
				down = true
				time.Sleep(400 * time.Millisecond)
				l.link("down")
			}
		},
		refused: func(s string) { reason = s; l.link("up") },
	})
	l.check(down && strings.Contains(reason, "ip link set wlan0 up"), "interface lost in a visit", "%s", reason)
	l.check(code == 0 && len(l.said) == len(l.points), "walk", "exit %d, %d of %d points in %.1f s: %s",
		code, len(l.said), len(l.points), time.Since(began).Seconds(), said[len(said)-1])
	l.kept("walk: what was saved", file)
	l.check(l.stored(file).Completed, "walk is finished", "completed: %v", l.stored(file).Completed)
}

// recorded: each reading is the air's level at its point, and scans miss what
// the air lost and no more.
func (l *live) recorded(file string) {
	w := l.stored(file)
	l.check(w.Receiver == "wlan0" && w.Adapter == "wlan0, driver mac80211_hwsim", "interface and driver are recorded", "%q, %q", w.Receiver, w.Adapter)
	points, readings, worst, ghosts, due, missed := map[string]bool{}, 0, 0.0, 0, 0, 0
	ok := true
	for _, v := range w.Standing() {
		points[v.Point] = true
		ok = ok && len(v.Scans) == liveScans && v.At == l.points[v.Point]
		truth := l.truth[v.Point]
		for _, s := range v.Scans {
			heard := map[radio.BSSID]bool{}
			for _, r := range s.Readings {
				readings++
				level, there := truth[r.BSSID]
				if !there || level < liveFloor || heard[r.BSSID] {
					ghosts++
				}
				heard[r.BSSID] = true
				worst = max(worst, math.Abs(r.RSSIDBm-float64(level)))
			}
			for b, level := range truth {
				if level >= liveFloor {
					due++
					if !heard[b] {
						missed++
					}
				}
			}
		}
	}
	l.check(ok && len(points) == len(l.points), "visits on disk", "%d points, %d scans each where they were on the plan", len(points), liveScans)
	l.check(readings > 0 && worst <= 1 && ghosts == 0, "levels on disk", "%d readings, worst difference %g dB, %d that can't be", readings, worst, ghosts)
	// A dwell that holds a beacon and an answer has two chances, and an
	// emulated machine on a loaded one falters for a dwell now and then.
	l.missed = float64(missed) / float64(due)
	l.check(missed > 0 && float64(missed) < 0.4*float64(due), "missed", "%.1f %% of %d, where %.0f %% of the frames are lost", 100*float64(missed)/float64(due), due, 100*liveLoss)
}

// fitted: the 95 % intervals of the exponents hold the truth, and those of the
// levels at 1 m at least 4 times in 6 (fewer has a chance of 0.2 %, binomial).
func (l *live) fitted(file string) {
	out, errs, code := l.footrule("", "fit", file, "--json")
	var fit struct {
		Groups []struct {
			Band string
			Exp  float64    `json:"exponent"`
			CI   [2]float64 `json:"exponent_ci95"`
			Miss float64    `json:"miss_rate"`
		}
		APs []struct {
			ID, Band string
			CI       [2]float64 `json:"level_1m_ci95"`
		} `json:"access_points"`
	}
	require.NoError(l.t, json.Unmarshal([]byte(out), &fit), "exit %d: %s%s", code, out, errs)
	l.check(code == 0 && len(fit.Groups) == 2, "fit", "exit %d, %d bands", code, len(fit.Groups))
	for _, g := range fit.Groups {
		n := liveExponent[g.Band]
		l.held(g.CI[0] < n && n < g.CI[1] && g.CI[1]-g.CI[0] < 2.5, "exponent at "+g.Band+" GHz",
			"%.2f, 95 %% interval %.2f to %.2f, truth %g; missed %.0f %%", g.Exp, g.CI[0], g.CI[1], n, 100*g.Miss)
	}
	in, all := 0, liveRadios()
	for _, r := range all {
		for _, a := range fit.APs {
			if a.ID == r.ap && a.Band == r.band && a.CI[0] < r.level && r.level < a.CI[1] {
				in++
			}
		}
	}
	l.held(len(fit.APs) == len(all) && in >= 4, "levels at 1 m", "the truth is in %d of %d intervals", in, len(all))
}

// judged: the position errors are distances from where the surveyor stood.
func (l *live) judged(file string) {
	out, errs, code := l.footrule("", "errors", file, "--json")
	var e struct {
		Points, Located int
		CE50            float64 `json:"ce50_m"`
		CE90            float64 `json:"ce90_m"`
		Bound           float64 `json:"bound_rms_m"`
		PerPoint        []struct {
			Point string
			At    orb.Point
			Fix   *orb.Point
			Error float64 `json:"error_m"`
		} `json:"per_point"`
	}
	require.NoError(l.t, json.Unmarshal([]byte(out), &e), "exit %d: %s%s", code, out, errs)
	wrong, within := 0, 0
	for _, p := range e.PerPoint {
		if p.At != l.points[p.Point] {
			wrong++
		}
		if p.Fix == nil { // fewer than three were heard there
			continue
		}
		if math.Abs(math.Hypot(p.Fix[0]-p.At[0], p.Fix[1]-p.At[1])-p.Error) > 1e-3 {
			wrong++
		}
		if p.Error <= e.CE50+1e-3 {
			within++
		}
	}
	l.check(code == 0 && e.Points == len(l.points) && 5*e.Located >= 4*e.Points && len(e.PerPoint) == e.Points && wrong == 0, "errors",
		"exit %d, %d of %d located, %d not the distance from the plan's point", code, e.Located, e.Points, wrong)
	// Half are within CE50 by its definition. Standing in the middle and
	// guessing, half of the hall is within 10 m.
	l.check(2*within >= e.Located && e.CE50 > 0 && e.CE50 < 6 && e.CE50 < e.CE90 && e.Bound > 0, "position error",
		"CE50 %.2f m, CE90 %.2f m, bound %.2f m", e.CE50, e.CE90, e.Bound)
}

// down: what each command ends in when the interface is down.
func (l *live) down(file string) {
	l.link("down")
	const mend = "ip link set wlan0 up"
	_, errs, code := l.footrule("", "scan")
	l.check(code == 3 && strings.Contains(errs, mend) && strings.Count(errs, "\n") == 1, "interface down: scan", "exit %d: %s", code, errs)
	out, errs, code := l.footrule("", "doctor")
	l.check(code == 1 && strings.Contains(out, mend), "interface down: doctor", "exit %d: %s%s", code, out, errs)
	out, errs, code = l.footrule("\nd\nq\n", "walk", file, "--walk", "second", "--plain", "--facings", "free")
	l.check(code == 3 && strings.Contains(out+errs, mend), "interface down: walk", "exit %d: %s%s", code, out, errs)
	l.link("up")
}
