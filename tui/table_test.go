package tui_test

import (
	"strings"
	"testing"

	"footrule/tui"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestTable(t *testing.T) {
	var b strings.Builder
	require.NoError(t, tui.Table(&b, [][]string{{"radio", "dBm", "note"}, {"AP-01/5", "−7.5", ""}, {"倉庫", "−112.0", "far ±3"}}))
	assert.Equal(t, strings.Join([]string{
		"radio       dBm    note",
		"AP-01/5    −7.5",
		"倉庫     −112.0  far ±3",
		"",
	}, "\n"), b.String())
	b.Reset()
	require.NoError(t, tui.Table(&b, nil))
	assert.Empty(t, b.String())
}

// BenchmarkTable is a table of 3,000 rows, as many fixes of a large walk.
func BenchmarkTable(b *testing.B) {
	rows := make([][]string, 3000)
	for i := range rows {
		rows[i] = []string{"P0001", "G", "270", "12.5, 3.5", "11.0, 2.4", "1.9", "2.4", "7"}
	}
	var out strings.Builder
	for b.Loop() {
		out.Reset()
		_ = tui.Table(&out, rows)
	}
}
