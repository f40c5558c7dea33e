package main

import (
	"bytes"
	"context"
	"embed"
	"encoding/binary"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

//go:embed ref
var scripts embed.FS

// interpreter runs reference scripts.
type interpreter struct {
	Name    string
	Suffix  string   // of its scripts
	Tries   []string // commands, the first that can load what it needs is taken
	Probe   []string // arguments that load what is needed and print what it is
	Install string

	command string
	version string
}

func interpreters() []*interpreter {
	return []*interpreter{
		{Name: "R with survival and boot", Suffix: ".R", Tries: []string{"Rscript"},
			Probe:   []string{"-e", `library(survival); library(boot); cat(R.version.string, "on", extSoftVersion()["BLAS"], "\n")`},
			Install: "apt-get install r-base-core r-cran-survival r-cran-boot"},
		{Name: "Python with numpy and scipy", Suffix: ".py", Tries: []string{"python3", "/usr/bin/python3"},
			Probe:   []string{"-c", "import numpy, scipy, sys; print('Python', sys.version.split()[0], 'numpy', numpy.__version__, 'scipy', scipy.__version__)"},
			Install: "apt-get install python3-numpy python3-scipy"},
	}
}

// find looks for the interpreter; false where it or a library is missing.
func (p *interpreter) find(ctx context.Context) bool {
	for _, try := range p.Tries {
		out, err := exec.CommandContext(ctx, try, p.Probe...).Output()
		if err == nil {
			p.command, p.version = try, strings.TrimSpace(string(out))
			return true
		}
	}
	return false
}

// run gives what a script of ref took and found in a folder. A script gets the
// folder and the number of timings and prints a line of wall and processor
// seconds, then one value a line.
func (p *interpreter) run(ctx context.Context, folder, script string, timings int) (took, []float64, error) {
	cmd := exec.CommandContext(ctx, p.command, filepath.Join(folder, "ref", script), folder, strconv.Itoa(timings))
	var complaint bytes.Buffer
	cmd.Stderr = &complaint
	out, err := cmd.Output()
	if err != nil {
		return took{}, nil, fmt.Errorf("%s: %w\n%s", script, err, complaint.String())
	}
	var t took
	var values []float64
	for i, line := range strings.Split(strings.TrimSpace(string(out)), "\n") {
		if i == 0 {
			if _, err := fmt.Sscan(line, &t.Wall, &t.CPU); err != nil {
				return t, nil, fmt.Errorf("%s printed %q for its times", script, line)
			}
			continue
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(line), 64)
		if err != nil {
			return t, nil, fmt.Errorf("%s printed %q for a value", script, line)
		}
		values = append(values, v)
	}
	return t, values, nil
}

// unpack writes the scripts into a folder.
func unpack(folder string) error {
	if err := os.MkdirAll(filepath.Join(folder, "ref"), 0o755); err != nil {
		return err
	}
	return fs.WalkDir(scripts, "ref", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := scripts.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(filepath.Join(folder, filepath.FromSlash(path)), b, 0o644)
	})
}

// write puts numbers into a file of a folder, little endian, 8 bytes each.
func write(folder, name string, values []float64) error {
	var b bytes.Buffer
	b.Grow(8 * len(values))
	if err := binary.Write(&b, binary.LittleEndian, values); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(folder, name+".bin"), b.Bytes(), 0o644)
}
