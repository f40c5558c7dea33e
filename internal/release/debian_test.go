package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// invented is a release without a compiler: the files that documents and
// compile make, with invented contents.
func invented() debian {
	r := release{version: "1.2.0", revision: "0123456789ab", date: time.Date(2026, 3, 2, 10, 30, 0, 0, time.UTC)}
	return debian{r, "arm64", tree{
		{"footrule", 0o755, []byte("a program")},
		{"README.md", 0o644, []byte("# read\n")},
		{"LICENSE", 0o644, []byte("a licence")},
		{"LICENCES-OF-LIBRARIES", 0o644, []byte("licences")},
		{"completion/footrule.bash", 0o644, []byte("complete")},
		{"completion/footrule.zsh", 0o644, []byte("#compdef footrule")},
		{"completion/footrule.fish", 0o644, []byte("complete")},
		{"man/footrule.1", 0o644, []byte(".TH")},
		{"man/footrule-fit.1", 0o644, []byte(".TH")},
	}}
}

// Law 1, of what this program itself adds.
func TestEqualTreesMakeEqualPackages(t *testing.T) {
	d := invented()
	first, err := d.pack()
	require.NoError(t, err)
	slices.Reverse(d.own)
	t.Setenv("TZ", "Pacific/Apia")
	second, err := d.pack()
	require.NoError(t, err)
	assert.True(t, bytes.Equal(first, second))
	d.own[0].data = []byte("another")
	other, err := d.pack()
	require.NoError(t, err)
	assert.False(t, bytes.Equal(first, other))
}

// TestArchiveDatesAndOwners reads a tree back with the standard library.
func TestArchiveDatesAndOwners(t *testing.T) {
	date := time.Date(2026, 3, 2, 10, 30, 0, 0, time.UTC)
	packed, err := tree{{"b/z", 0o755, []byte("zz")}, {"b.c", 0o644, nil}, {"b/a/q", 0o644, []byte("q")}}.under("top").tarGz(date)
	require.NoError(t, err)
	zip, err := gzip.NewReader(bytes.NewReader(packed))
	require.NoError(t, err)
	assert.True(t, zip.ModTime.IsZero())
	r := tar.NewReader(zip)
	var got []string
	for {
		h, err := r.Next()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		assert.True(t, h.ModTime.Equal(date), h.Name)
		got = append(got, fmt.Sprintf("%s %o %s:%s %d", h.Name, h.Mode, h.Uname, h.Gname, h.Size))
	}
	assert.Equal(t, []string{
		"./top/ 755 root:root 0", "./top/b/ 755 root:root 0", "./top/b/a/ 755 root:root 0", "./top/b/a/q 644 root:root 1",
		"./top/b/z 755 root:root 2", "./top/b.c 644 root:root 0",
	}, got)
}

// TestPackageAsDpkgReadsIt holds the package against dpkg-deb.
func TestPackageAsDpkgReadsIt(t *testing.T) {
	packed, err := invented().pack()
	require.NoError(t, err)
	deb := filepath.Join(t.TempDir(), "footrule.deb")
	require.NoError(t, os.WriteFile(deb, packed, 0o644))
	fields := dpkg(t, "dpkg-deb", "--field", deb)
	for _, line := range []string{"Package: footrule", "Version: 1.2.0", "Architecture: arm64", "Section: net", "Priority: optional", "Recommends: libcap2-bin"} {
		assert.Contains(t, strings.Split(fields, "\n"), line)
	}
	var paths []string
	for _, line := range strings.Split(strings.TrimSpace(dpkg(t, "dpkg-deb", "--contents", deb)), "\n") {
		part := strings.Fields(line)
		assert.Equal(t, "root/root", part[1], line)
		if p := part[len(part)-1]; !strings.HasSuffix(p, "/") {
			paths = append(paths, part[0]+" "+p)
		}
	}
	assert.Equal(t, []string{
		"-rwxr-xr-x ./usr/bin/footrule",
		"-rw-r--r-- ./usr/share/bash-completion/completions/footrule",
		"-rw-r--r-- ./usr/share/doc/footrule/LICENCES-OF-LIBRARIES.gz",
		"-rw-r--r-- ./usr/share/doc/footrule/README.md",
		"-rw-r--r-- ./usr/share/doc/footrule/changelog.gz",
		"-rw-r--r-- ./usr/share/doc/footrule/copyright",
		"-rw-r--r-- ./usr/share/fish/vendor_completions.d/footrule.fish",
		"-rw-r--r-- ./usr/share/man/man1/footrule-fit.1.gz",
		"-rw-r--r-- ./usr/share/man/man1/footrule.1.gz",
		"-rw-r--r-- ./usr/share/zsh/vendor-completions/_footrule",
	}, paths)
	assert.Equal(t, "control\nmd5sums\npostinst\n", names(dpkg(t, "dpkg-deb", "--ctrl-tarfile", deb)))
}

// names lists the files of a tar archive, without their folder.
func names(archive string) string {
	r := tar.NewReader(strings.NewReader(archive))
	var b strings.Builder
	for h, err := r.Next(); err == nil; h, err = r.Next() {
		b.WriteString(strings.TrimPrefix(h.Name, "./") + "\n")
	}
	return b.String()
}

// TestEveryFileHasAPlace holds that nothing new is left out of the package silently.
func TestEveryFileHasAPlace(t *testing.T) {
	d := invented()
	d.own = append(d.own, file{"icons/footrule.png", 0o644, nil})
	_, err := d.pack()
	assert.EqualError(t, err, "icons/footrule.png has no place in the Debian package; give it one")
}

// Law 2, as dpkg compares.
func TestDevelopmentSortsBefore(t *testing.T) {
	day := time.Date(2026, 3, 2, 23, 59, 0, 0, time.UTC)
	order := []string{
		release{version: "1.1.9", revision: "ffff", date: day}.debianVersion(),
		release{version: "1.2.0-dev", revision: "ffff", date: day}.debianVersion(),
		release{version: "1.2.0-dev", revision: "0000+changes", date: day.Add(time.Minute)}.debianVersion(),
		release{version: "1.2.0-rc.1", revision: "aaaa", date: day}.debianVersion(),
		release{version: "1.2.0", revision: "0000", date: day}.debianVersion(),
	}
	assert.Equal(t, "1.2.0~dev+202603022359.ffff", order[1])
	for i := 1; i < len(order); i++ {
		dpkg(t, "dpkg", "--compare-versions", order[i-1], "lt", order[i])
	}
}

// TestRelease holds what is refused before anything is built.
func TestRelease(t *testing.T) {
	good := release{version: "1.2.0", revision: "0123456789ab+changes", date: time.Unix(1e9, 0), out: "x"}
	require.NoError(t, good.check())
	for want, spoil := range map[string]func(*release){
		`version "v1.2"; give three numbers, such as 1.2.0 or 1.2.0-dev`:              func(r *release) { r.version = "v1.2" },
		`version "1.2.0 -X main.a=b"; give three numbers, such as 1.2.0 or 1.2.0-dev`: func(r *release) { r.version = "1.2.0 -X main.a=b" },
		`revision "a b"; give what git calls it`:                                      func(r *release) { r.revision = "a b" },
		`give the -date of the revision in seconds since 1970`:                        func(r *release) { r.date = time.Unix(0, 0) },
		`give the folder to write to: -out FOLDER`:                                    func(r *release) { r.out = "" },
	} {
		r := good
		spoil(&r)
		assert.EqualError(t, r.check(), want)
	}
}

// TestNoticesWantALicence holds that a module without a licence stops a release.
func TestNoticesWantALicence(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "NOTICE"), []byte("n"), 0o644))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "licensing.go"), []byte("p"), 0o644))
	var out bytes.Buffer
	assert.ErrorContains(t, notices(&out, "a module", dir), "no licence is in "+dir)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "LICENSE.txt"), []byte("do as you like\r\n"), 0o644))
	out.Reset()
	require.NoError(t, notices(&out, "a module", dir))
	assert.Contains(t, out.String(), "a module: LICENSE.txt\n\ndo as you like\n")
	assert.Contains(t, out.String(), "a module: NOTICE\n\nn\n")
	assert.NotContains(t, out.String(), "licensing.go")
	require.NoError(t, os.MkdirAll(filepath.Join(dir, "THIRD_PARTY_LICENSES"), 0o755))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "THIRD_PARTY_LICENSES", "Alder-LICENSE"), []byte("of Alder"), 0o644))
	out.Reset()
	require.NoError(t, notices(&out, "a module", dir))
	assert.Contains(t, out.String(), "a module, THIRD_PARTY_LICENSES: Alder-LICENSE\n\nof Alder\n")
}

// dpkg runs one of dpkg's programs and gives what it prints.
func dpkg(t *testing.T, args ...string) string {
	t.Helper()
	if _, err := exec.LookPath(args[0]); err != nil {
		t.Skipf("%s is not on this machine", args[0])
	}
	cmd := exec.Command(args[0], args[1:]...)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	require.NoError(t, err, "%v: %s", args, errs.String())
	return string(out)
}
