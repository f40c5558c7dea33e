package main

import (
	"bytes"
	"crypto/md5"
	_ "embed"
	"fmt"
	"path"
	"sort"
	"strings"
	"time"
)

//go:embed debian/postinst
var postinst []byte

//go:embed debian/copyright
var copyright []byte

//go:embed debian/description
var description string

const maintainer = "footrule contributors <footrule@contributors.invalid>"

// debian is a Debian package in the making: format 2.0 of deb(5), an ar archive
// of a version, what dpkg has to know, and the files.
type debian struct {
	release
	arch string
	own  tree // as in the archive of the release
}

// debianVersion is the version as Debian sorts it: 1.2.0-dev comes before 1.2.0,
// and a revision of it before a later one.
func (r release) debianVersion() string {
	number, pre, is := strings.Cut(r.version, "-")
	if !is {
		return number
	}
	return fmt.Sprintf("%s~%s+%s.%s", number, pre, r.date.Format("200601021504"), r.revision)
}

// installed is where the files go by the Filesystem Hierarchy Standard 3.0 and
// by what each shell looks through for packages. None is a conffile.
func (d debian) installed() (tree, error) {
	doc := "usr/share/doc/footrule/"
	where := map[string]string{
		"footrule":                 "usr/bin/footrule",
		"README.md":                doc + "README.md",
		"LICENCES-OF-LIBRARIES":    doc + "LICENCES-OF-LIBRARIES.gz",
		"LICENSE":                  "", // among Debian's common licences already
		"completion/footrule.bash": "usr/share/bash-completion/completions/footrule",
		"completion/footrule.zsh":  "usr/share/zsh/vendor-completions/_footrule",
		"completion/footrule.fish": "usr/share/fish/vendor_completions.d/footrule.fish",
	}
	changes := fmt.Sprintf("footrule (%s) unstable; urgency=medium\n\n  * Built from revision %s.\n\n -- %s  %s\n",
		d.debianVersion(), d.revision, maintainer, d.date.Format(time.RFC1123Z))
	out := tree{{doc + "copyright", 0o644, copyright}}
	all := append(tree{{"changelog", 0o644, []byte(changes)}}, d.own...)
	for _, f := range all {
		to, is := where[f.path]
		switch {
		case is && to == "":
			continue
		case is:
		case f.path == "changelog":
			to = doc + "changelog.gz"
		case path.Dir(f.path) == "man":
			to = "usr/share/man/man1/" + path.Base(f.path) + ".gz"
		default:
			return nil, fmt.Errorf("%s has no place in the Debian package; give it one", f.path)
		}
		data := f.data
		if path.Ext(to) == ".gz" {
			var err error
			if data, err = compress(data); err != nil {
				return nil, err
			}
		}
		out = append(out, file{to, f.mode, data})
	}
	return out, nil
}

func (d debian) pack() ([]byte, error) {
	files, err := d.installed()
	if err != nil {
		return nil, err
	}
	control := tree{
		{"control", 0o644, []byte(d.control(files))},
		{"md5sums", 0o644, md5sums(files)},
		{"postinst", 0o755, postinst},
	}
	about, err := control.tarGz(d.date)
	if err != nil {
		return nil, err
	}
	data, err := files.tarGz(d.date)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	out.WriteString("!<arch>\n")
	for _, m := range []file{{"debian-binary", 0o644, []byte("2.0\n")}, {"control.tar.gz", 0o644, about}, {"data.tar.gz", 0o644, data}} {
		fmt.Fprintf(&out, "%-16s%-12d%-6d%-6d%-8s%-10d`\n", m.path, d.date.Unix(), 0, 0, "100644", len(m.data))
		out.Write(m.data)
		if len(m.data)%2 == 1 {
			out.WriteByte('\n')
		}
	}
	return out.Bytes(), nil
}

// control is the paragraph that dpkg reads, of Debian policy 5.3.
func (d debian) control(files tree) string {
	kib := 0
	for _, f := range files {
		kib += (len(f.data) + 1023) / 1024
	}
	return fmt.Sprintf(`Package: footrule
Version: %s
Architecture: %s
Maintainer: %s
Installed-Size: %d
Recommends: libcap2-bin
Suggests: iw
Section: net
Priority: optional
Description: %s`, d.debianVersion(), d.arch, maintainer, kib, description)
}

func md5sums(files tree) []byte {
	var lines []string
	for _, f := range files {
		lines = append(lines, fmt.Sprintf("%x  %s\n", md5.Sum(f.data), f.path))
	}
	sort.Slice(lines, func(i, k int) bool { return lines[i][34:] < lines[k][34:] })
	return []byte(strings.Join(lines, ""))
}
