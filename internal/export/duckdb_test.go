package export_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// duckdb gives what runs a query by DuckDB, an engine that shares no code with the
// library that writes: the program itself, or its package for Node.js.
func duckdb(t *testing.T) func(query string) string {
	run := func(cmd *exec.Cmd) string {
		var out, errs bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &errs
		require.NoError(t, cmd.Run(), errs.String())
		return strings.TrimSpace(out.String())
	}
	if path, err := exec.LookPath("duckdb"); err == nil {
		return func(query string) string { return run(exec.Command(path, "-csv", "-noheader", "-c", query)) }
	}
	node, err := exec.LookPath("node")
	dir := os.Getenv("FOOTRULE_DUCKDB")
	if err != nil || dir == "" {
		t.Skip("no DuckDB here: neither the program, nor FOOTRULE_DUCKDB with a folder that has @duckdb/node-api")
	}
	return func(query string) string {
		text, err := json.Marshal(query)
		require.NoError(t, err)
		cmd := exec.Command(node, "-e", fmt.Sprintf(`const {DuckDBInstance} = require('@duckdb/node-api');
(async () => { const c = await (await DuckDBInstance.create()).connect();
  for (const r of (await c.runAndReadAll(%s)).getRowsJson()) console.log(r.join(',')) })()`, text))
		cmd.Dir = dir
		return run(cmd)
	}
}

// DuckDB reads what is written, with the columns that the folders name.
func TestDuckDB(t *testing.T) {
	query := duckdb(t)
	dir := t.TempDir()
	d := data(7)
	for name, b := range all(t, d) {
		if strings.HasSuffix(name, ".parquet") {
			path := filepath.Join(dir, filepath.FromSlash(name))
			require.NoError(t, os.MkdirAll(filepath.Dir(path), 0o755))
			require.NoError(t, os.WriteFile(path, b, 0o600))
		}
	}
	from := fmt.Sprintf("FROM read_parquet('%s/readings/*/*/*.parquet', hive_partitioning = true)", dir)
	for i := range d.Walks {
		n, sum := 0, 0.0
		for _, v := range d.Walks[i].Visits {
			for _, sc := range v.Scans {
				for _, r := range sc.Readings {
					n++
					sum += r.RSSIDBm
				}
			}
		}
		got := strings.Split(query(fmt.Sprintf("SELECT site, count(bssid), sum(rssi_dbm) %s WHERE walk = '%s' GROUP BY site", from, d.Walks[i].ID)), ",")
		require.Len(t, got, 3)
		assert.Equal(t, []string{d.Site.Name, fmt.Sprint(n)}, got[:2])
		v, err := strconv.ParseFloat(got[2], 64)
		require.NoError(t, err)
		assert.InDelta(t, sum, v, 1e-6)
	}
	assert.Equal(t, "8", query("SELECT count(*) "+from+" WHERE NOT counts AND bssid IS NOT NULL AND walk = 'w/0'"))
}
