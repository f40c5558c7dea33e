package main_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"footrule/internal/radio"
	"footrule/internal/radio/nl80211/lab/air"
	"footrule/internal/walk"
	"footrule/store"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/require"
)

// The invented hall of the live walk, and the truth of its air: what
// [air.Scene] computes levels from, by band.
const (
	liveScans  = 3
	liveShadow = 4.0 // dB
	liveLoss   = 0.1
	liveFloor  = -88 // dBm
	liveSeed   = 1
	apHeight   = 2.8 // m
	receiver   = 1.2 // m
)

var (
	liveExponent = map[string]float64{"2.4": 2.9, "5": 3.3}
	liveLevel    = map[string]float64{"2.4": -38, "5": -44} // at 1 m, of the first access point
	liveAPs      = []orb.Point{{3, 3}, {16, 2}, {29, 4}, {4, 17}, {17, 18}, {28, 16}}
	liveFreqs    = map[string][]int{"2.4": {2412, 2437, 2462}, "5": {5745, 5765, 5785}}
)

// liveRadio is one radio of the hall.
type liveRadio struct {
	ap, band string
	bssid    radio.BSSID
	freq     int
	at       orb.Point
	level    float64 // at 1 m, dBm
}

func liveRadios() []liveRadio {
	var out []liveRadio
	for i, at := range liveAPs {
		band := []string{"2.4", "5"}[i%2]
		out = append(out, liveRadio{ap: fmt.Sprintf("AP-%d", i+1), band: band, bssid: radio.BSSID{2, 0, 0x5e, 0x50, 0, byte(i + 1)},
			freq: liveFreqs[band][i/2], at: at, level: liveLevel[band] + float64(i/2) - 1})
	}
	return out
}

// livePoints is a grid of 25 points.
func livePoints() map[string]orb.Point {
	out := map[string]orb.Point{}
	for i := range 25 {
		out[fmt.Sprintf("P%02d", i+1)] = orb.Point{2 + 7*float64(i%5), 2 + 4*float64(i/5)}
	}
	return out
}

// liveTOML writes the hall as a user would.
func liveTOML() string {
	var b strings.Builder
	fmt.Fprintf(&b, "format = \"footrule-site/1\"\nname = \"Live Hall\"\nreceiver_height_m = %g\n\n[[floor]]\nid = \"G\"\noutline = [[0, 0], [32, 0], [32, 20], [0, 20]]\n", receiver)
	for i := range 25 {
		id := fmt.Sprintf("P%02d", i+1)
		at := livePoints()[id]
		fmt.Fprintf(&b, "[[floor.point]]\nid = %q\nat = [%g, %g]\n", id, at[0], at[1])
	}
	for _, r := range liveRadios() {
		fmt.Fprintf(&b, "[[access_point]]\nid = %q\nfloor = \"G\"\nat = [%g, %g]\nheight_m = %g\n", r.ap, r.at[0], r.at[1], apHeight)
		fmt.Fprintf(&b, "[[access_point.radio]]\nband = %q\nbssids = [%q]\n", r.band, r.bssid)
	}
	return b.String()
}

// live is a surveyor in the lab: the air that the receiver moves through, and
// what the program said.
type live struct {
	t      *testing.T
	air    *air.Control
	points map[string]orb.Point
	truth  map[string]map[radio.BSSID]int // by point, as the air said while the receiver stood there
	said   []string                       // points called saved
	failed int
}

// check prints a line that the lab counts.
func (l *live) check(ok bool, name, detail string, args ...any) {
	word := "PASS"
	if !ok {
		word = "FAIL"
		l.failed++
	}
	fmt.Printf("%s %s: %s\n", word, name, strings.ReplaceAll(fmt.Sprintf(detail, args...), "\n", " "))
}

func (l *live) do(line string) string {
	l.t.Helper()
	answer, err := l.air.Do(line)
	require.NoError(l.t, err)
	return answer
}

// levels is what the air says of where the receiver stands.
func (l *live) levels() map[radio.BSSID]int {
	out := map[radio.BSSID]int{}
	for _, w := range strings.Fields(l.do("levels")) {
		f := strings.Split(w, ",")
		b, err := radio.ParseBSSID(f[0])
		require.NoError(l.t, err)
		var level int
		_, err = fmt.Sscan(f[2], &level)
		require.NoError(l.t, err)
		out[b] = level
	}
	return out
}

// footrule runs one command to its end.
func (l *live) footrule(in string, args ...string) (out, errs string, code int) {
	l.t.Helper()
	cmd := exec.Command(program, args...)
	var o, e bytes.Buffer
	cmd.Stdin, cmd.Stdout, cmd.Stderr = strings.NewReader(in), &o, &e
	began := time.Now()
	code = exitCode(l.t, cmd.Run())
	fmt.Printf("INFO footrule %s: exit %d after %.1f s\n", strings.Join(args, " "), code, time.Since(began).Seconds())
	return o.String(), e.String(), code
}

func exitCode(t *testing.T, err error) int {
	t.Helper()
	var e *exec.ExitError
	if err != nil && !errors.As(err, &e) {
		require.NoError(t, err)
	}
	if e != nil {
		return e.ExitCode()
	}
	return 0
}

func (l *live) link(state string) {
	l.t.Helper()
	out, err := exec.Command("/bin/busybox", "ip", "link", "set", "wlan0", state).CombinedOutput()
	require.NoError(l.t, err, string(out))
}

// program is the static binary in the guest; this test binary answers to the
// name footrule elsewhere.
const program = "/bin/footrule"

// prompts is a walk under way, seen through its pipes.
type prompts struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Reader
	err bytes.Buffer
}

// next gives the lines up to a prompt, and the prompt, "" where the program
// ended. line is told each line as it comes.
func (p *prompts) next(line func(string)) (prompt string, err error) {
	var b []byte
	for {
		c, err := p.out.ReadByte()
		switch {
		case errors.Is(err, io.EOF):
			return "", nil
		case err != nil:
			return "", err
		case c == '\a':
			continue
		case c == '\n':
			line(string(b))
			b = b[:0]
			continue
		}
		b = append(b, c)
		if s := string(b); strings.HasPrefix(s, "enter ") && (strings.HasSuffix(s, "q quits: ") || strings.HasSuffix(s, "? says what else: ")) {
			return s, nil
		}
	}
}

// events are what befalls a surveyor; nil ones don't.
type events struct {
	recording func(point string, p *prompts) // right after the order to record
	saved     func(point string, p *prompts) // right after a visit was called saved
	refused   func(reason string)            // before a failed scan is tried again
}

// walk starts or resumes the walk and goes wherever it is sent, until the
// program ends; a visit that the program doubts is repeated once. It gives the exit code and all that was said.
func (l *live) walk(file string, ev events) (code int, said []string) {
	l.t.Helper()
	p := &prompts{cmd: exec.Command(program, "walk", file, "--plain", "--facings", "free", "--scans", fmt.Sprint(liveScans))}
	var err error
	p.in, err = p.cmd.StdinPipe()
	require.NoError(l.t, err)
	out, err := p.cmd.StdoutPipe()
	require.NoError(l.t, err)
	p.out, p.cmd.Stderr = bufio.NewReader(out), &p.err
	require.NoError(l.t, p.cmd.Start())
	watch := time.AfterFunc(200*time.Second, func() { p.cmd.Process.Kill() })
	defer watch.Stop()
	last, stand, repeated := "", "", map[string]bool{}
	line := func(s string) {
		if s == "" {
			return
		}
		last = s
		said = append(said, s)
		l.t.Log(s) // shown where a check fails
		if point, ok := strings.CutPrefix(s, "Saved "); ok {
			point = strings.TrimSuffix(point, ".")
			l.said = append(l.said, point)
			if ev.saved != nil {
				ev.saved(point, p)
			}
		}
	}
	for {
		prompt, err := p.next(line)
		require.NoError(l.t, err)
		if prompt == "" {
			break
		}
		answer, point := "", ""
		switch {
		case strings.HasPrefix(prompt, "enter records"):
			point, _, _ = strings.Cut(last, ":")
			at, ok := l.points[point]
			require.True(l.t, ok, "sent to %q by %q", point, last)
			l.do(fmt.Sprintf("at %g %g", at[0], at[1]))
			l.truth[point] = l.levels()
			stand = point
		case strings.HasPrefix(prompt, "enter repeats"):
			if repeated[stand] {
				answer = "k" // the shadowing of the place is real
			}
			repeated[stand] = true
		case strings.HasPrefix(prompt, "enter tries again") && ev.refused != nil:
			ev.refused(last)
		case strings.HasPrefix(prompt, "enter finishes"):
		default:
			l.t.Fatalf("unexpected prompt %q after %q", prompt, last)
		}
		_, err = fmt.Fprintln(p.in, answer)
		require.NoError(l.t, err)
		if point != "" && ev.recording != nil {
			ev.recording(point, p)
		}
	}
	code = exitCode(l.t, p.cmd.Wait())
	if p.err.Len() > 0 {
		said = append(said, p.err.String())
	}
	return code, said
}

// stored reads the one walk of the file back.
func (l *live) stored(file string) walk.Walk {
	l.t.Helper()
	st, err := store.Open(file, store.Options{ReadOnly: true})
	require.NoError(l.t, err)
	defer st.Close()
	walks, err := st.Walks()
	require.NoError(l.t, err)
	require.Len(l.t, walks, 1)
	return walks[0]
}

// kept checks that exactly what was called saved is on disk, in its order.
func (l *live) kept(name, file string) {
	l.t.Helper()
	w := l.stored(file)
	var got []string
	for _, v := range w.Standing() {
		got = append(got, v.Point)
	}
	l.check(slices.Equal(got, l.said), name, "%d called saved, %d on disk", len(l.said), len(got))
}

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
		l.check(g.CI[0] < n && n < g.CI[1] && g.CI[1]-g.CI[0] < 2.5, "exponent at "+g.Band+" GHz",
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
	l.check(len(fit.APs) == len(all) && in >= 4, "levels at 1 m", "the truth is in %d of %d intervals", in, len(all))
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
		if p.At != l.points[p.Point] || p.Fix == nil || math.Abs(math.Hypot(p.Fix[0]-p.At[0], p.Fix[1]-p.At[1])-p.Error) > 1e-3 {
			wrong++
		}
		if p.Error <= e.CE50+1e-3 {
			within++
		}
	}
	l.check(code == 0 && e.Points == len(l.points) && e.Located == e.Points && len(e.PerPoint) == e.Points && wrong == 0, "errors",
		"exit %d, %d of %d located, %d not the distance from the plan's point", code, e.Located, e.Points, wrong)
	// Half are within CE50 by its definition. Standing in the middle and
	// guessing, half of the hall is within 10 m.
	l.check(2*within >= e.Points && e.CE50 > 0 && e.CE50 < 6 && e.CE50 < e.CE90 && e.Bound > 0, "position error",
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
