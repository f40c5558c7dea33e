package main

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// offline is what every command does to the same site, without a network.
var offline = []struct {
	code int
	args string
}{
	{0, "new d.footrule --from hall.toml"},
	{0, "import d.footrule levels.csv"},
	{0, "new hall.footrule --from hall.toml"},
	{0, "plan hall.footrule"},
	{0, "prep hall.footrule"},
	{0, "cover hall.footrule --map heard --out heard.svg"},
	{0, "place hall.footrule --plan planned.toml"},
	{0, "walk hall.footrule --synthetic --plain --scans 1 --facings free"},
	{0, "import hall.footrule walk.csv"},
	{0, "radios d.footrule"},
	{0, "receivers d.footrule"},
	{0, "fit d.footrule --model ols"},
	{0, "errors d.footrule --model ols"},
	{0, "next d.footrule --model ols"},
	{0, "doubts d.footrule"},
	{0, "report d.footrule --model ols"},
	{0, "export d.footrule --out handover"},
	{0, "check d.footrule"},
	{0, "merge d.footrule hall.footrule"},
	{0, "drill plain-1 --file drill.footrule"},
	{0, "replay d.footrule --plain --every 50"},
	{0, "man pages"},
	{0, "completion bash"},
	{0, "--version"},
	{0, "demo --plain --scans 1 --facings 0 --file demo.footrule"}, // half a minute: with FOOTRULE_NETWORK alone
}

// radioOnly are the commands that speak to the kernel's radio, and to nothing else.
var radioOnly = []string{"doctor", "scan"}

// elsewhere are commands that are not run here, and why not.
var elsewhere = map[string]string{
	"validate": "takes half a minute; it is the computations of the others on simulated sites",
	"help":     "prints what --help prints",
}

const (
	offlineHall = `format = "footrule-site/1"
name = "Hall"
[[floor]]
id = "G"
outline = [[0, 0], [20, 0], [20, 12], [0, 12]]
[[floor.point]]
id = "P01"
at = [3, 3]
[[access_point]]
id = "A"
floor = "G"
at = [1, 1]
height_m = 2.8
[[access_point.radio]]
band = "5"
bssids = ["02:00:5e:10:01:00"]
[[access_point]]
id = "B"
floor = "G"
at = [19, 1]
height_m = 2.8
[[access_point.radio]]
band = "5"
bssids = ["02:00:5e:10:02:00"]
[[access_point]]
id = "C"
floor = "G"
at = [10, 11]
height_m = 2.8
[[access_point.radio]]
band = "5"
bssids = ["02:00:5e:10:03:00"]
`
	offlineWalk = `time,visit,point,floor,x_m,y_m,facing_deg,scan,bssid,ssid,freq_mhz,rssi_dbm
2026-03-02T09:00:00Z,V1,,G,3,3,,1,02:00:5e:10:01:00,hall,5180,-50
`
)

// offlineLevels is an invented walk of 12 places with levels of −40 dBm at 1 m and
// an exponent of 3, and something of a spread.
func offlineLevels() string {
	var b strings.Builder
	b.WriteString("time,visit,point,floor,x_m,y_m,facing_deg,scan,bssid,ssid,freq_mhz,rssi_dbm\n")
	for i := range 12 {
		x, y := 2.5+5*float64(i%4), 2+4*float64(i/4)
		for k, ap := range [][2]float64{{1, 1}, {19, 1}, {10, 11}} {
			level := -40 - 30*math.Log10(math.Hypot(math.Hypot(x-ap[0], y-ap[1]), 1.6)) + 3*math.Sin(float64(7*i+3*k))
			fmt.Fprintf(&b, "2026-03-02T09:%02d:00Z,V%d,,G,%g,%g,,1,02:00:5e:10:%02d:00,hall,5180,%.0f\n", i, i+1, x, y, k+1, level)
		}
	}
	return b.String()
}

// TestNeedsNoNetwork runs every command where there is no network, not even a
// loopback that is up, and watches the sockets that it opens.
func TestNeedsNoNetwork(t *testing.T) {
	exe := build(t)
	alone := func(name string, args ...string) *exec.Cmd {
		cmd := exec.Command(name, args...)
		cmd.Stdin = strings.NewReader("\n")
		cmd.SysProcAttr = &syscall.SysProcAttr{Cloneflags: syscall.CLONE_NEWNET}
		if os.Geteuid() != 0 {
			cmd.SysProcAttr.Cloneflags |= syscall.CLONE_NEWUSER
		}
		return cmd
	}
	routes, err := alone("cat", "/proc/self/net/route").Output()
	if errors.Is(err, syscall.EPERM) || errors.Is(err, syscall.EACCES) || errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EINVAL) {
		t.Skipf("this machine allows no network of one's own: %v", err)
	}
	require.NoError(t, err)
	require.Len(t, strings.Split(strings.TrimSpace(string(routes)), "\n"), 1, "a head and no route: %s", routes)

	strace, err := exec.LookPath("strace")
	if err == nil {
		err = exec.Command(strace, "-f", "-o", os.DevNull, "true").Run()
	}
	watched := err == nil
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "hall.toml"), []byte(offlineHall), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "walk.csv"), []byte(offlineWalk), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "levels.csv"), []byte(offlineLevels()), 0o644))
	// ran gives the exit code and the families of the sockets that were opened.
	ran := func(args ...string) (int, []string) {
		name, log := exe, filepath.Join(dir, "strace.log")
		words := args
		if watched {
			name, words = strace, append([]string{"-f", "--seccomp-bpf", "-qq", "-e", "trace=%network", "-o", log, exe}, args...)
		}
		cmd := alone(name, words...)
		cmd.Dir = dir
		var out bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &out
		err := cmd.Run()
		var bad *exec.ExitError
		if err != nil && !errors.As(err, &bad) {
			require.NoError(t, err, "%v", args)
		}
		t.Logf("footrule %s: exit %d, %d bytes", strings.Join(args, " "), cmd.ProcessState.ExitCode(), out.Len())
		if cmd.ProcessState.ExitCode() == exitUsage {
			t.Log(out.String())
		}
		var families []string
		if watched {
			calls, err := os.ReadFile(log)
			require.NoError(t, err)
			for _, m := range sockets.FindAllStringSubmatch(string(calls), -1) {
				families = append(families, m[1])
			}
		}
		return cmd.ProcessState.ExitCode(), families
	}

	tried := map[string]bool{}
	for _, run := range offline {
		args := strings.Fields(run.args)
		tried[args[0]] = true
		if args[0] == "demo" && os.Getenv("FOOTRULE_NETWORK") == "" {
			continue
		}
		code, families := ran(args...)
		assert.Equal(t, run.code, code, run.args)
		assert.Empty(t, families, "sockets of footrule %s", run.args)
	}
	for _, name := range radioOnly {
		tried[name] = true
		code, families := ran(name)
		assert.Contains(t, []int{exitNo, exitRefused}, code, name)
		families = slices.Compact(families)
		if watched {
			assert.Equal(t, []string{"AF_NETLINK"}, families, "sockets of footrule %s", name)
		}
	}
	root := newRoot(&shell{})
	root.InitDefaultHelpCmd()
	for _, cmd := range root.Commands() {
		if cmd.IsAdditionalHelpTopicCommand() {
			continue
		}
		assert.True(t, tried[cmd.Name()] || elsewhere[cmd.Name()] != "", "footrule %s is not run without a network; add it to offline, or to elsewhere with the reason", cmd.Name())
	}
	if !watched {
		t.Logf("sockets were not watched: strace: %v", err)
	}
}

var sockets = regexp.MustCompile(`socket(?:pair)?\((AF_\w+)`)

// reaching are functions of the standard library and below it that reach another
// machine or wait for one.
var reaching = regexp.MustCompile(`^(net/http|net/rpc|net/smtp|crypto/tls|golang.org/x/net/(http2|websocket|quic))\.|^net\.(Dial|Listen|Lookup|\(\*(Dialer|ListenConfig|Resolver|sysDialer|sysListener|netFD)\)|internetSocket)`)

// handlers is the one file among all that is linked in that knows HTTP: handlers
// for servers, in a compression that files of tables may use. Nothing calls them.
const handlersModule, handlersFile = "github.com/andybalholm/brotli", "http.go"

// TestLinksNoNetwork holds that no package but that of the handlers imports what
// reaches other machines, and that no handler is linked. With FOOTRULE_NETWORK set
// it also builds the program without their file, which takes a minute, and looks
// for those functions among all that the linker found to be reachable from main.
// The control program shows that they would be seen.
func TestLinksNoNetwork(t *testing.T) {
	list, err := exec.Command("go", "list", "-deps", "-f", `{{$p := .}}{{if not .Standard}}{{range .Imports}}{{$p.ImportPath}} {{.}}{{"\n"}}{{end}}{{end}}`, ".").Output()
	require.NoError(t, err)
	var importers []string
	for _, line := range strings.Split(string(list), "\n") {
		if who, what, _ := strings.Cut(line, " "); reaching.MatchString(what + ".") {
			importers = append(importers, who)
		}
	}
	assert.Equal(t, []string{handlersModule}, importers)

	linked := func(exe string, which *regexp.Regexp) (found []string) {
		out, err := exec.Command("go", "tool", "nm", exe).Output()
		require.NoError(t, err)
		for _, line := range strings.Split(string(out), "\n") {
			// Lines are: address, kind, name; names of generics have spaces.
			if f := strings.SplitN(strings.TrimSpace(line), " ", 3); len(f) == 3 && strings.EqualFold(f[1], "t") && which.MatchString(f[2]) {
				found = append(found, f[2])
			}
		}
		return found
	}
	assert.Empty(t, linked(build(t), regexp.MustCompile(`^`+handlersModule+`\.(HTTP|negotiate|\(\*?(http|Handler))`)))
	if os.Getenv("FOOTRULE_NETWORK") != "" {
		assert.Empty(t, linked(buildWithoutHandlers(t), reaching))
	}

	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "main.go"), []byte("package main\n\nimport \"net\"\n\nfunc main() { net.Dial(\"tcp\", \"192.0.2.1:1\") }\n"), 0o644))
	cmd := exec.Command("go", "build", "-o", "control", "main.go")
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, string(out))
	found := linked(filepath.Join(dir, "control"), reaching)
	assert.Contains(t, found, "net.Dial")
	assert.Contains(t, found, "net.(*Dialer).DialContext")
}

// buildWithoutHandlers builds the program with a copy of the module that lacks
// the file of the handlers.
func buildWithoutHandlers(t *testing.T) string {
	where, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", handlersModule).Output()
	require.NoError(t, err)
	module := strings.TrimSpace(string(where))
	require.FileExists(t, filepath.Join(module, handlersFile))
	work := t.TempDir()
	rest := filepath.Join(work, "rest")
	require.NoError(t, os.CopyFS(rest, os.DirFS(module)))
	require.NoError(t, os.Chmod(rest, 0o755))
	require.NoError(t, os.Remove(filepath.Join(rest, handlersFile)))
	for _, name := range []string{"go.mod", "go.sum"} {
		data, err := os.ReadFile(filepath.Join("..", "..", name))
		require.NoError(t, err)
		if name == "go.mod" {
			data = fmt.Appendf(data, "\nreplace %s => %s\n", handlersModule, rest)
		}
		require.NoError(t, os.WriteFile(filepath.Join(work, name), data, 0o644))
	}
	return build(t, "-modfile", filepath.Join(work, "go.mod"))
}
