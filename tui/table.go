package tui

import (
	"io"
	"strings"

	"github.com/charmbracelet/lipgloss"
	"github.com/charmbracelet/lipgloss/table"
	"github.com/muesli/termenv"
)

// Table writes rows in columns, for commands that print results: the first
// column to the left, the others to the right, two blanks between, nothing at
// the ends of lines. The first row is the header. There is no colour in it.
func Table(w io.Writer, rows [][]string) error {
	if len(rows) == 0 {
		return nil
	}
	plain := lipgloss.NewRenderer(io.Discard, termenv.WithProfile(termenv.Ascii))
	first := plain.NewStyle()
	other := plain.NewStyle().Align(lipgloss.Right).PaddingLeft(2)
	t := table.New().Headers(rows[0]...).Rows(rows[1:]...).
		BorderTop(false).BorderBottom(false).BorderLeft(false).BorderRight(false).
		BorderColumn(false).BorderRow(false).BorderHeader(false).
		StyleFunc(func(_, col int) lipgloss.Style {
			if col == 0 {
				return first
			}
			return other
		})
	var b strings.Builder
	for line := range strings.SplitSeq(t.String(), "\n") {
		b.WriteString(strings.TrimRight(line, " "))
		b.WriteByte('\n')
	}
	_, err := io.WriteString(w, b.String())
	return err
}
