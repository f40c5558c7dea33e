package main

import (
	"bytes"
	"encoding/binary"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// TestInstalls installs the package that FOOTRULE_DEB names in a fresh root, as
// dpkg does on a machine, runs the program there as a user without rights, and
// removes it again: law 3.
func TestInstalls(t *testing.T) {
	root, deb := fresh(t)
	provide(t, root, "/bin/sh", "/usr/sbin/setcap")
	before := listing(t, root)
	out := dpkg(t, "dpkg", "--root="+root, "--install", deb)
	assert.NotContains(t, out, "setcap is missing")
	assert.Empty(t, dpkg(t, "dpkg", "--root="+root, "--verify", "footrule"), "files that differ from their checksums")
	assert.Equal(t, "install ok installed", dpkg(t, "dpkg-query", "--admindir="+root+"/var/lib/dpkg", "--show", "--showformat=${Status}${Conffiles}", "footrule"))

	t.Run("capability", func(t *testing.T) {
		exe := filepath.Join(root, "usr/bin/footrule")
		trial := filepath.Join(root, "tmp/trial")
		require.NoError(t, os.WriteFile(trial, nil, 0o755))
		defer os.Remove(trial)
		if err := exec.Command("setcap", "cap_net_admin+ep", trial).Run(); err != nil {
			assert.Contains(t, out, "the capability could not be set")
			t.Skip("the file system takes no capabilities")
		}
		raw := make([]byte, 64)
		n, err := unix.Getxattr(exe, "security.capability", raw)
		require.NoError(t, err)
		require.GreaterOrEqual(t, n, 20)
		// struct vfs_cap_data of linux/capability.h, revision 2 or 3, little endian.
		assert.EqualValues(t, 1, binary.LittleEndian.Uint32(raw)&1, "effective")
		assert.EqualValues(t, 1<<unix.CAP_NET_ADMIN, binary.LittleEndian.Uint32(raw[4:]))
		assert.Zero(t, binary.LittleEndian.Uint32(raw[8:]), "inheritable")
	})
	t.Run("demo", func(t *testing.T) {
		out := inside(t, root, "/usr/bin/footrule", "demo", "--plain", "--scans", "1", "--facings", "0", "--file", "/tmp/d.footrule")
		require.NoError(t, os.Remove(filepath.Join(root, "tmp/d.footrule")))
		assert.Contains(t, out, "42 of 42 points saved")
		assert.Contains(t, out, "CE50 (CEP), half within")
	})
	t.Run("version", func(t *testing.T) {
		assert.Regexp(t, regexp.MustCompile(`^footrule [0-9]+\.[0-9]+\.[0-9]+\S* [0-9a-f]{12}(\+changes)? go1\.[0-9.]+\n$`), inside(t, root, "/usr/bin/footrule", "--version"))
	})
	t.Run("manual", func(t *testing.T) { readable(t, root) })
	t.Run("completion", func(t *testing.T) { completes(t, root) })

	dpkg(t, "dpkg", "--root="+root, "--purge", "footrule")
	assert.Equal(t, before, listing(t, root), "what is left after removal")
}

// TestInstallsWithoutSetcap holds that a root without setcap gets a sentence, and
// the program all the same.
func TestInstallsWithoutSetcap(t *testing.T) {
	root, deb := fresh(t)
	provide(t, root, "/bin/sh")
	out := dpkg(t, "dpkg", "--root="+root, "--install", deb)
	assert.Contains(t, out, "footrule: setcap is missing, so only root can take live readings; install libcap2-bin and run: setcap cap_net_admin+ep /usr/bin/footrule\n")
	assert.Contains(t, inside(t, root, "/usr/bin/footrule", "--version"), "footrule ")
}

// fresh is an empty root that dpkg can install into, and the package.
func fresh(t *testing.T) (root, deb string) {
	deb = os.Getenv("FOOTRULE_DEB")
	switch {
	case deb == "":
		t.Skip("set FOOTRULE_DEB to a package of this machine's architecture that build.sh made")
	case os.Geteuid() != 0:
		t.Skip("only root can install into a root of its own")
	}
	root, err := filepath.EvalSymlinks(t.TempDir())
	require.NoError(t, err)
	for dir := root; dir != filepath.Dir(os.TempDir()) && dir != "/"; dir = filepath.Dir(dir) {
		require.NoError(t, os.Chmod(dir, 0o755|fs.ModeSticky)) // others have to get in
	}
	for _, dir := range []string{"usr/bin", "usr/sbin", "usr/lib", "usr/lib64", "tmp", "var/lib/dpkg/info", "var/lib/dpkg/updates"} {
		require.NoError(t, os.MkdirAll(filepath.Join(root, dir), 0o755))
	}
	require.NoError(t, os.Chmod(filepath.Join(root, "tmp"), 0o777|fs.ModeSticky))
	for _, dir := range []string{"bin", "sbin", "lib", "lib64"} {
		require.NoError(t, os.Symlink("usr/"+dir, filepath.Join(root, dir)))
	}
	require.NoError(t, os.WriteFile(filepath.Join(root, "var/lib/dpkg/status"), nil, 0o644))
	return root, deb
}

var library = regexp.MustCompile(`(?m)(/\S+) \(0x`)

// provide copies programs of this machine into a root, with the libraries that
// they are linked to.
func provide(t *testing.T, root string, programs ...string) {
	for _, p := range programs {
		out, err := exec.Command("ldd", p).CombinedOutput()
		if err != nil {
			t.Skipf("what %s is linked to can't be found out: %v: %s", p, err, out)
		}
		paths := []string{p}
		for _, m := range library.FindAllStringSubmatch(string(out), -1) {
			paths = append(paths, m[1])
		}
		for _, path := range paths {
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.MkdirAll(filepath.Join(root, filepath.Dir(path)), 0o755))
			require.NoError(t, os.WriteFile(filepath.Join(root, path), data, 0o755))
		}
	}
}

// listing is every path of a root outside of dpkg's own books.
func listing(t *testing.T, root string) []string {
	var paths []string
	require.NoError(t, filepath.WalkDir(root, func(path string, _ fs.DirEntry, err error) error {
		if path == filepath.Join(root, "var/lib/dpkg") {
			return filepath.SkipDir
		}
		paths = append(paths, strings.TrimPrefix(path, root))
		return err
	}))
	return paths
}

// inside runs a program in a root, as nobody.
func inside(t *testing.T, root string, args ...string) string {
	t.Helper()
	cmd := exec.Command(args[0], args[1:]...)
	cmd.Dir, cmd.Env = "/tmp", []string{"HOME=/tmp"}
	cmd.SysProcAttr = &syscall.SysProcAttr{Chroot: root, Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	require.NoError(t, err, "%s%s", out, errs.String())
	assert.Empty(t, errs.String())
	return string(out)
}

// readable has man itself set a page, and complain of nothing.
func readable(t *testing.T, root string) {
	if _, err := exec.LookPath("man"); err != nil {
		t.Skip("man is not on this machine")
	}
	pages, err := filepath.Glob(filepath.Join(root, "usr/share/man/man1/footrule*.1.gz"))
	require.NoError(t, err)
	assert.Greater(t, len(pages), 15)
	cmd := exec.Command("man", "--warnings", "--local-file", filepath.Join(root, "usr/share/man/man1/footrule-errors.1.gz"))
	cmd.Env = append(os.Environ(), "MANWIDTH=100", "LC_ALL=C.UTF-8")
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	require.NoError(t, err, errs.String())
	assert.Empty(t, errs.String())
	assert.Contains(t, string(out), "FOOTRULE-ERRORS(1)")
	assert.Regexp(t, `Statistics\s+are\s+named\s+as\s+in\s+ISO/IEC\s+18305`, string(out))
	assert.Contains(t, string(out), "--target-ce50")
}

// completes has each shell that is here complete a word with the installed script.
func completes(t *testing.T, root string) {
	share := filepath.Join(root, "usr/share")
	for shell, ask := range map[string]string{
		"bash": `. "$SHARE"/bash-completion/completions/footrule && complete -p footrule`,
		"zsh":  `fpath=("$SHARE"/zsh/vendor-completions $fpath); autoload -Uz compinit && compinit -u -D && print -r -- "$_comps[footrule]"`,
		"fish": `source "$SHARE"/fish/vendor_completions.d/footrule.fish; complete --do-complete "footrule valid"`,
	} {
		want := map[string]string{"bash": "complete -o default -F __start_footrule footrule\n", "zsh": "_footrule\n", "fish": "validate\tHold the program against sites whose truth is known\n"}[shell]
		t.Run(shell, func(t *testing.T) {
			if _, err := exec.LookPath(shell); err != nil {
				t.Skipf("%s is not on this machine", shell)
			}
			cmd := exec.Command(shell, "-c", ask)
			cmd.Env = []string{"HOME=" + t.TempDir(), "SHARE=" + share, "PATH=" + filepath.Join(root, "usr/bin") + ":" + os.Getenv("PATH")}
			out, err := cmd.CombinedOutput()
			require.NoError(t, err, string(out))
			assert.Equal(t, want, string(out))
		})
	}
}
