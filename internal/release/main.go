package main

import (
	"crypto/sha256"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"time"
)

// architectures are those of the Linux releases; a package is named alike.
var architectures = []string{"amd64", "arm64"}

// release is what a build is a function of, beside the source and Go itself.
type release struct {
	version, revision string
	date              time.Time
	out               string
}

func main() {
	var r release
	var epoch int64
	flag.StringVar(&r.version, "version", "", "version, such as 1.2.0 or 1.2.0-dev")
	flag.StringVar(&r.revision, "revision", "", "revision that is built")
	flag.Int64Var(&epoch, "date", 0, "time of the revision in seconds since 1970")
	flag.StringVar(&r.out, "out", "", "folder to write to")
	flag.Parse()
	r.date = time.Unix(epoch, 0).UTC()
	if err := r.check(); err != nil {
		fmt.Fprintln(os.Stderr, "release: "+err.Error())
		os.Exit(2)
	}
	if err := r.build(); err != nil {
		fmt.Fprintln(os.Stderr, "release: "+err.Error())
		os.Exit(1)
	}
}

var (
	versions  = regexp.MustCompile(`^[0-9]+\.[0-9]+\.[0-9]+(-[0-9a-z.]+)?$`)
	revisions = regexp.MustCompile(`^[0-9a-z]+(\+changes)?$`)
)

func (r release) check() error {
	switch {
	case flag.NArg() > 0:
		return fmt.Errorf("%q is one word too many; see -help", flag.Arg(0))
	case !versions.MatchString(r.version):
		return fmt.Errorf("version %q; give three numbers, such as 1.2.0 or 1.2.0-dev", r.version)
	case !revisions.MatchString(r.revision):
		return fmt.Errorf("revision %q; give what git calls it", r.revision)
	case r.date.Unix() <= 0:
		return errors.New("give the -date of the revision in seconds since 1970")
	case r.out == "":
		return errors.New("give the folder to write to: -out FOLDER")
	}
	return nil
}

// build writes the archives, the packages, the bare binaries and SHA256SUMS.
func (r release) build() error {
	work, err := os.MkdirTemp("", "footrule-release-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	docs, err := r.documents(work)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(r.out, 0o755); err != nil {
		return err
	}
	made := map[string][]byte{}
	for _, arch := range architectures {
		exe, err := r.compile(work, arch)
		if err != nil {
			return err
		}
		notices, err := licences(exe)
		if err != nil {
			return err
		}
		program, err := os.ReadFile(exe)
		if err != nil {
			return err
		}
		own := append(tree{{"footrule", 0o755, program}, {"LICENCES-OF-LIBRARIES", 0o644, notices}}, docs...)
		name := fmt.Sprintf("footrule-%s-linux-%s", r.version, arch)
		if made[name+".tar.gz"], err = own.under(name).tarGz(r.date); err != nil {
			return err
		}
		d := debian{r, arch, own}
		if made[fmt.Sprintf("footrule_%s_%s.deb", r.debianVersion(), arch)], err = d.pack(); err != nil {
			return err
		}
		made[name] = program
	}
	return r.write(made)
}

// write puts what was made into the folder, with its checksums.
func (r release) write(made map[string][]byte) error {
	var names []string
	for name := range made {
		names = append(names, name)
	}
	sort.Strings(names)
	var sums strings.Builder
	for _, name := range names {
		mode := os.FileMode(0o644)
		if filepath.Ext(name) != ".gz" && filepath.Ext(name) != ".deb" {
			mode = 0o755
		}
		if err := os.WriteFile(filepath.Join(r.out, name), made[name], mode); err != nil {
			return err
		}
		fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(made[name]), name)
	}
	fmt.Print(sums.String())
	return os.WriteFile(filepath.Join(r.out, "SHA256SUMS"), []byte(sums.String()), 0o644)
}
