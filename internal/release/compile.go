package main

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
)

// compile builds the static program for Linux on an architecture; it gives the
// path. What the environment may say of how Go compiles is set aside.
func (r release) compile(work, arch string) (string, error) {
	return r.gobuild(filepath.Join(work, "footrule-"+arch), "GOOS=linux", "GOARCH="+arch)
}

func (r release) gobuild(exe string, env ...string) (string, error) {
	cmd := exec.Command("go", "build", "-trimpath", "-buildvcs=false", "-mod=readonly",
		"-ldflags", "-s -w -X main.version="+r.version+" -X main.revision="+r.revision,
		"-o", exe, "footrule/cmd/footrule")
	cmd.Env = append(os.Environ(), append([]string{"CGO_ENABLED=0", "GOFLAGS=", "GOAMD64=v1", "GOARM64=v8.0", "GOEXPERIMENT=", "GOFIPS140=off"}, env...)...)
	cmd.Stdout, cmd.Stderr = os.Stderr, os.Stderr
	if err := cmd.Run(); err != nil {
		return "", fmt.Errorf("building %s: %w", filepath.Base(exe), err)
	}
	return exe, nil
}

// documents are the files that are the same on every architecture: manual pages
// and completions, as the program itself writes them, and the texts.
func (r release) documents(work string) (tree, error) {
	exe, err := r.gobuild(filepath.Join(work, "footrule-here"), "GOOS="+runtime.GOOS, "GOARCH="+runtime.GOARCH)
	if err != nil {
		return nil, err
	}
	root, err := moduleDir()
	if err != nil {
		return nil, err
	}
	var docs tree
	for _, name := range []string{"README.md", "LICENSE"} {
		data, err := os.ReadFile(filepath.Join(root, name))
		if err != nil {
			return nil, err
		}
		docs = append(docs, file{name, 0o644, data})
	}
	run := func(args ...string) ([]byte, error) {
		cmd := exec.Command(exe, args...)
		cmd.Env = []string{fmt.Sprintf("SOURCE_DATE_EPOCH=%d", r.date.Unix())}
		var errs bytes.Buffer
		cmd.Stderr = &errs
		out, err := cmd.Output()
		if err != nil {
			return nil, fmt.Errorf("footrule %s: %w: %s", strings.Join(args, " "), err, errs.String())
		}
		return out, nil
	}
	for _, shell := range []string{"bash", "zsh", "fish"} {
		script, err := run("completion", shell)
		if err != nil {
			return nil, err
		}
		docs = append(docs, file{"completion/footrule." + shell, 0o644, script})
	}
	pages := filepath.Join(work, "man")
	if _, err := run("man", pages); err != nil {
		return nil, err
	}
	entries, err := os.ReadDir(pages)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		page, err := os.ReadFile(filepath.Join(pages, e.Name()))
		if err != nil {
			return nil, err
		}
		docs = append(docs, file{"man/" + e.Name(), 0o644, page})
	}
	return docs, nil
}

// moduleDir is where this module's source is.
func moduleDir() (string, error) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "footrule").Output()
	if err != nil {
		return "", fmt.Errorf("go list -m footrule: %w; run it inside the source", err)
	}
	return strings.TrimSpace(string(out)), nil
}
