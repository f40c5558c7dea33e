// Command release packs footrule for those who only want to run it: a static
// binary for each Linux target with manual pages, completions and the licences
// of what is linked in, as an archive and as a Debian package. build.sh beside it
// asks git for version, revision and date, and calls it.
//
// Everything that it writes is a function of the source, the Go release and
// those three, so two builds anywhere are equal byte by byte: paths are trimmed,
// archives are sorted, owned by root and dated by the revision. It reaches no
// network beyond what `go build` needs for modules that are not there yet.
//
// Laws, which the tests hold:
//
//  1. Equal trees make equal packages, whatever the clock and the umask say.
//  2. A development version sorts before the release that it leads to.
//  3. What a package installs, its removal takes away.
package main
