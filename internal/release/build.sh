#!/usr/bin/env bash
# Builds a release: static Linux binaries, archives and Debian packages, the same
# to the byte wherever it is run with the same revision and Go release.
#
#   internal/release/build.sh [VERSION] [OUT]
#
# VERSION is 1.2.0 or 1.2.0-dev; without it, what a tag vVERSION at this revision
# says, else the version in the source. OUT is dist in the project's folder unless
# given. Outside of git, REVISION and SOURCE_DATE_EPOCH have to be set.
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
version=${1:-}
out=${2:-$here/../../dist}
[ $# -le 2 ] || { echo "build.sh takes VERSION and OUT, and \"$3\" is one too many" >&2; exit 2; }
mkdir -p "$out"
out=$(cd "$out" && pwd)
cd "$here"

revision=${REVISION:-} date=${SOURCE_DATE_EPOCH:-}
if git rev-parse --git-dir >/dev/null 2>&1; then
  if [ -z "$revision" ]; then
    revision=$(git rev-parse --short=12 HEAD)
    [ -z "$(git status --porcelain)" ] || revision+=+changes
  fi
  date=${date:-$(git log -1 --format=%ct)}
  version=${version:-$(git describe --tags --exact-match --match 'v[0-9]*' 2>/dev/null | sed 's/^v//' || true)}
fi
version=${version:-$(sed -n 's/^[[:space:]]*version  *= "\(.*\)"$/\1/p' ../../cmd/footrule/root.go)}
if [ -z "$revision" ] || [ -z "$date" ]; then
  echo "this is no git checkout: set REVISION, and SOURCE_DATE_EPOCH to its time in seconds since 1970" >&2
  exit 2
fi
exec go run . -version "$version" -revision "$revision" -date "$date" -out "$out"
