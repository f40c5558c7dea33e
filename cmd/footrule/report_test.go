package main

import (
	"bytes"
	"html"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// output runs a command and gives what it printed.
func output(t *testing.T, args ...string) string {
	t.Helper()
	var out, errs bytes.Buffer
	code := run(args, strings.NewReader(""), &out, &errs)
	require.LessOrEqual(t, code, exitNo, errs.String())
	return out.String()
}

// rowsOf gives the rows of the tables of a page by their first cell.
func rowsOf(page string) map[string][]string {
	out := map[string][]string{}
	for _, tr := range regexp.MustCompile(`(?s)<tr>.*?</tr>`).FindAllString(page, -1) {
		var cells []string
		for _, c := range regexp.MustCompile(`(?s)<t[hd][^>]*>(.*?)</t[hd]>`).FindAllStringSubmatch(tr, -1) {
			cells = append(cells, html.UnescapeString(regexp.MustCompile(`<[^>]*>`).ReplaceAllString(c[1], "")))
		}
		out[cells[0]] = append(out[cells[0]], "|"+strings.Join(cells, "|")+"|")
	}
	return out
}

// printed parts the lines of a printed table at two blanks and more.
func printed(text, first string) []string {
	for line := range strings.SplitSeq(text, "\n") {
		if cells := regexp.MustCompile(` {2,}`).Split(strings.TrimSpace(line), -1); len(cells) > 1 && cells[0] == first {
			return cells
		}
	}
	return nil
}

// Every number of the report is the one that the commands print: the fit, the
// errors with their areas, the shares of the area, the checks and the next points.
func TestReportSaysWhatCommandsSay(t *testing.T) {
	s := demoWalk(t, 1)
	path := s.st.Path()
	require.NoError(t, s.st.Close())
	page := filepath.Join(t.TempDir(), "r.html")
	targets := []string{"--target-ce50", "5", "--target-ce90", "10"}
	output(t, append([]string{"report", path, "--out", page}, targets...)...)
	data, err := os.ReadFile(page)
	require.NoError(t, err)
	text := html.UnescapeString(string(data))
	rows := rowsOf(string(data))
	has := func(first string, cells ...string) {
		t.Helper()
		for _, row := range rows[first] {
			all := true
			for _, c := range cells {
				all = all && strings.Contains(row, "|"+c+"|")
			}
			if all {
				return
			}
		}
		t.Errorf("no row %q with %q among %q", first, cells, rows[first])
	}

	fit := output(t, "fit", path)
	for _, r := range []string{"AP-01/2.4", "AP-05/5", "AP-08/5"} {
		cells := printed(fit, r) // at 1 m and exponent with ±, places, silent, readings
		require.Len(t, cells, 6)
		est, _, _ := strings.Cut(cells[1], " ±")
		exp, _, _ := strings.Cut(cells[2], " ±")
		has(r, est, exp, cells[3], cells[4], cells[5])
	}
	for _, band := range []string{"2.4", "5"} {
		cells := printed(fit, band)
		exp, _, _ := strings.Cut(cells[1], " ±")
		spread, _, _ := strings.Cut(cells[2], " ±")
		has(band, exp, spread, cells[3], cells[4])
		has(band, cells[5], strings.TrimSuffix(cells[6], " %"), cells[7], cells[8])
	}
	tail := regexp.MustCompile(`prediction error with the place left out ([0-9.]+) dB`).FindStringSubmatch(fit)
	assert.Contains(t, text, "With the place left out, levels are predicted to "+tail[1]+" dB")

	errs := output(t, append([]string{"errors", path, "--by", "area"}, targets...)...)
	for in, as := range map[string]string{"mean": "mean", "RMS": "RMS", "CE50 (CEP), half within": "CE50 (CEP): half of the fixes are within", "CE90, 9 of 10 within": "CE90: 9 of 10 are within",
		"CE95": "CE95: 19 of 20 are within", "largest": "largest", "mean vector right, up": "mean vector, right and up on the plan", "bound, RMS": "bound for comparison, RMS",
		"in the right zone": "in the right zone", "true place in the 95 % ellipse": "true place in the 95 % ellipse", "workshop": "workshop", "laboratory": "laboratory"} {
		cells := printed(errs, in)
		require.NotEmpty(t, cells, in)
		has(as, cells[1:len(cells)-1]...)
	}
	for line := range strings.SplitSeq(errs, "\n") {
		if rest, ok := strings.CutPrefix(line, "target: "); ok {
			assert.Contains(t, text, "Target: "+rest)
		}
	}

	cover := output(t, "cover", path)
	for _, k := range []string{"at least 1", "at least 3", "at least 4"} {
		cells := printed(cover, k)
		has(k, strings.TrimSuffix(cells[1], " %"), cells[2])
	}
	hole := regexp.MustCompile(`holes, as predicted: (.*)`).FindStringSubmatch(cover)
	assert.Contains(t, text, "Holes: "+hole[1])

	prep := output(t, "prep", path)
	counts := regexp.MustCompile(`(?m)^.*: (\d+) fail, (\d+) doubtful, (\d+) not known, (\d+) hold$`).FindStringSubmatch(prep)
	require.NotEmpty(t, counts)
	has("checks of the infrastructure that fail, are doubtful, not known, hold", strings.Join(counts[1:], ", "))

	next := output(t, "next", path)
	first, _, _ := strings.Cut(strings.SplitN(next, "\n", 4)[2], " m")
	assert.Contains(t, text, strings.ToUpper(first[:1])+first[1:])
	cells := printed(next, "P43")
	has("P43", cells[2], cells[3], cells[4], cells[6])

	again := filepath.Join(t.TempDir(), "again.html")
	output(t, append([]string{"report", path, "--out", again}, targets...)...)
	same, err := os.ReadFile(again)
	require.NoError(t, err)
	assert.Equal(t, data, same)
}
