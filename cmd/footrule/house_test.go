package main_test

import (
	"encoding/json"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pkg is what `go list` says of a package.
type pkg struct {
	ImportPath, Dir, Doc string
	GoFiles              []string
	Imports, Deps        []string
}

func list(t *testing.T) []pkg {
	t.Helper()
	cmd := exec.Command("go", "list", "-deps", "-json=ImportPath,Dir,Doc,GoFiles,Imports,Deps", "footrule/...")
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	require.NoError(t, err)
	var pkgs []pkg
	dec := json.NewDecoder(strings.NewReader(string(out)))
	for {
		var p pkg
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		if p.ImportPath == "footrule" || strings.HasPrefix(p.ImportPath, "footrule/") {
			pkgs = append(pkgs, p)
		}
	}
	require.NotEmpty(t, pkgs)
	return pkgs
}

// role is the first part of a package's path: cmd, tui, store or internal.
func role(path string) string {
	r, _, _ := strings.Cut(strings.TrimPrefix(path, "footrule/"), "/")
	return r
}

func under(path, prefix string) bool { return path == prefix || strings.HasPrefix(path, prefix+"/") }

// TestArrows holds the one-way imports: cmd to tui and store, those to internal.
func TestArrows(t *testing.T) {
	may := map[string][]string{
		"cmd":      {"cmd", "tui", "store", "internal"},
		"tui":      {"tui", "internal"},
		"store":    {"store", "internal"},
		"internal": {"internal"},
	}
	for _, p := range list(t) {
		for _, imp := range p.Imports {
			if strings.HasPrefix(imp, "footrule/") {
				assert.Contains(t, may[role(p.ImportPath)], role(imp), "%s imports %s", p.ImportPath, imp)
			}
		}
	}
}

// TestOwners holds who alone may know a library, directly; and that domain
// packages don't reach the disk, the screen or the radio by any way.
func TestOwners(t *testing.T) {
	owners := map[string][]string{
		"go.etcd.io/bbolt":                   {"footrule/store"},
		"github.com/mdlayher/wifi":           {"footrule/internal/radio/nl80211"},
		"github.com/mdlayher/genetlink":      {"footrule/internal/radio/nl80211"},
		"github.com/charmbracelet/bubbletea": {"footrule/tui"},
		"github.com/charmbracelet/lipgloss":  {"footrule/tui"},
		"github.com/spf13/cobra":             {"footrule/cmd"},
		"codeberg.org/go-pdf/fpdf":           {"footrule/internal/report"},
		"github.com/parquet-go/parquet-go":   {"footrule/internal/export"},
	}
	domain := []string{"footrule/internal/site", "footrule/internal/walk", "footrule/internal/propagation",
		"footrule/internal/position", "footrule/internal/kriging", "footrule/internal/doubt", "footrule/internal/coverage", "footrule/internal/route", "footrule/internal/canvas", "footrule/internal/figure", "footrule/internal/report", "footrule/internal/drawing", "footrule/internal/draft", "footrule/internal/radio", "footrule/internal/radio/grouping",
		"footrule/internal/validation", "footrule/internal/drill", "footrule/internal/infra"}
	for _, p := range list(t) {
		for _, imp := range p.Imports {
			for lib, who := range owners {
				if under(imp, lib) {
					ok := slices.ContainsFunc(who, func(w string) bool { return under(p.ImportPath, w) })
					assert.True(t, ok, "%s imports %s, which only %v may", p.ImportPath, imp, who)
				}
			}
		}
		if slices.Contains(domain, p.ImportPath) {
			for _, dep := range p.Deps {
				for lib, who := range owners {
					assert.False(t, under(dep, lib) && !slices.Contains(who, p.ImportPath), "%s reaches %s", p.ImportPath, dep)
				}
				assert.NotEqual(t, "net/http", dep, "%s reaches the network", p.ImportPath)
			}
		}
	}
}

// TestEveryPackageSaysItsJob wants a doc.go with a package comment everywhere.
func TestEveryPackageSaysItsJob(t *testing.T) {
	for _, p := range list(t) {
		assert.Contains(t, p.GoFiles, "doc.go", p.ImportPath)
		assert.NotEmpty(t, p.Doc, p.ImportPath)
	}
}

// TestTopLevel holds the top level of the repository.
func TestTopLevel(t *testing.T) {
	root := filepath.Join("..", "..")
	entries, err := os.ReadDir(root)
	require.NoError(t, err)
	want := []string{"cmd", "internal", "tui", "store", "testdata", "go.mod", "go.sum", "README.md", "DEVELOPERS.md", "LICENSE"}
	var got []string
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			got = append(got, e.Name())
		}
	}
	assert.ElementsMatch(t, want, got)
}

// TestBootImportsOnlyOs keeps the package that must be initialised first able to be.
func TestBootImportsOnlyOs(t *testing.T) {
	for _, p := range list(t) {
		if p.ImportPath == "footrule/internal/boot" {
			assert.Equal(t, []string{"os"}, p.Imports)
			return
		}
	}
	t.Fatal("internal/boot is gone")
}
