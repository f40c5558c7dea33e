#!/usr/bin/env bash
# Builds the release from copies in two folders, the second with a build cache of
# its own, and says whether every file is equal to the byte. OUT keeps the first.
#
#   internal/release/twice.sh OUT
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
[ $# = 1 ] || { echo "twice.sh needs the folder to build to" >&2; exit 2; }
out=$1
if [ -n "$(ls -A "$out" 2>/dev/null)" ]; then
  echo "$out is not empty; twice.sh compares whole folders" >&2
  exit 2
fi
work=$(mktemp -d)
trap 'chmod -R u+w "$work"; rm -rf "$work"' EXIT
mkdir -p "$work/one" "$work/another/folder"
tar -C "$here/../.." --exclude=./dist -cf - . | tar -C "$work/one" -xf -
cp -a "$work/one/." "$work/another/folder/"
"$work/one/internal/release/build.sh" "" "$out"
(umask 077 && GOCACHE="$work/cache" TZ=Pacific/Apia "$work/another/folder/internal/release/build.sh" "" "$work/out" >/dev/null)
diff -r "$out" "$work/out"
echo "two builds are equal in every file"
