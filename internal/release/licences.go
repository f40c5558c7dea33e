package main

import (
	"bytes"
	"debug/buildinfo"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
)

// licences is the licence and the notices of Go and of every module that is
// linked into a program: most of them ask that copies carry these. A module
// without a licence is an error.
func licences(exe string) ([]byte, error) {
	info, err := buildinfo.ReadFile(exe)
	if err != nil {
		return nil, err
	}
	goroot, err := exec.Command("go", "env", "GOROOT").Output()
	if err != nil {
		return nil, fmt.Errorf("go env GOROOT: %w", err)
	}
	var out bytes.Buffer
	out.WriteString("footrule is linked with Go's standard library and the modules below.\n")
	if err := notices(&out, "Go "+strings.TrimPrefix(info.GoVersion, "go"), strings.TrimSpace(string(goroot))); err != nil {
		return nil, err
	}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", m.Path+"@"+m.Version).Output()
		if err != nil {
			return nil, fmt.Errorf("where is module %s: %w", m.Path, err)
		}
		if err := notices(&out, m.Path+" "+m.Version, strings.TrimSpace(string(dir))); err != nil {
			return nil, err
		}
	}
	return out.Bytes(), nil
}

var (
	noticeNames   = regexp.MustCompile(`(?i)^((licen[cs]e|copying|notice|patents)([-._].*)?|.*[-_.]licen[cs]e(\.txt|\.md)?)$`)
	noticeFolders = regexp.MustCompile(`(?i)licen[cs]es$`)
)

// notices adds the files of a folder that state a licence or ask to be passed on,
// and those of a folder of licences in it.
func notices(out *bytes.Buffer, what, dir string) error {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return fmt.Errorf("the licence of %s: %w", what, err)
	}
	licensed := false
	for _, e := range entries {
		if e.IsDir() && noticeFolders.MatchString(e.Name()) {
			if err := notices(out, what+", "+e.Name(), filepath.Join(dir, e.Name())); err != nil {
				return err
			}
		}
		if e.IsDir() || !noticeNames.MatchString(e.Name()) {
			continue
		}
		text, err := os.ReadFile(filepath.Join(dir, e.Name()))
		if err != nil {
			return err
		}
		upper := strings.ToUpper(e.Name())
		licensed = licensed || strings.Contains(upper, "LICEN") || strings.HasPrefix(upper, "COPYING")
		fmt.Fprintf(out, "\n%s\n%s: %s\n\n%s\n", strings.Repeat("=", 78), what, e.Name(), strings.TrimSpace(strings.ReplaceAll(string(text), "\r\n", "\n")))
	}
	if !licensed {
		return fmt.Errorf("no licence is in %s, the folder of %s", dir, what)
	}
	return nil
}
