package main_test

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"os/exec"
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
	missed float64 // share of the scans within hearing that missed
}

// faltered is the share of missed scans from which on the emulated radio lost
// whole dwells, as it does on a loaded machine: the air loses a tenth. The levels
// that are left are still exact, but what an estimator makes of them is then not
// a matter of the scene's truth.
const faltered = 0.15

// held is check for what rests on the scene's truth, where the air was as the
// scene says.
func (l *live) held(ok bool, name, detail string, args ...any) {
	if l.missed > faltered && !ok {
		fmt.Printf("INFO %s, not held to the truth since the radio missed %.0f %%: %s\n", name, 100*l.missed, fmt.Sprintf(detail, args...))
		return
	}
	l.check(ok, name, detail, args...)
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
