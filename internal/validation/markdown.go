package validation

import (
	"fmt"
	"io"
	"strings"
	"time"
)

// Markdown writes the report as a page of tables. Equal reports give equal pages.
func (r *Report) Markdown(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "# Validation\n\n%s\n", r.Summary())
	for _, n := range r.Notes {
		fmt.Fprintf(&b, "\n%s\n", escape(n))
	}
	for _, study := range r.Studies() {
		fmt.Fprintf(&b, "\n## %s%s\n\n", strings.ToUpper(study[:1]), study[1:])
		line := func(cells []string) {
			for i := range cells {
				cells[i] = escape(cells[i])
			}
			fmt.Fprintf(&b, "| %s |\n", strings.Join(cells, " | "))
		}
		line(Columns())
		fmt.Fprintln(&b, strings.Repeat("| --- ", len(Columns()))+"|")
		for i := range r.Rows {
			if r.Rows[i].Study == study {
				line(r.Rows[i].Cells())
			}
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func escape(s string) string { return strings.ReplaceAll(s, "|", `\|`) }

// Summary says in a sentence or two what was run and how it went.
func (r *Report) Summary() string {
	drawn := "nothing simulated"
	if r.Sites > 0 {
		drawn = fmt.Sprintf("seed %d, %d simulated sites of each kind", r.Seed, r.Sites)
	}
	if r.Quick {
		drawn += ", the quick selection"
	}
	return fmt.Sprintf("footrule %s, %s: %s. Of %d figures %d are as expected, %d are open (more sites would tell), %d are off; %d are for comparison.",
		r.Program, r.Date.UTC().Format(time.DateOnly), drawn, len(r.Rows), r.Count(OK), r.Count(Open), r.Count(Off), r.Count(NoClaim))
}
