#!/usr/bin/env bash
# The lab: boots a stock distribution kernel under QEMU with simulated radios
# (mac80211_hwsim) and runs the live scanner, and then the whole program, on its
# real nl80211.
#
#   run.sh [checks|walk]
#       checks: the live scanner, condition by condition and figure by figure.
#       walk: footrule as a surveyor uses it, TestLive of cmd/footrule.
#       Without a word, both, each in a guest of its own.
#   run.sh -b BINARY... -s SCRIPT [-f FILE...]
#       runs SCRIPT in the guest (BusyBox sh) with wlan0 up and the air running.
#       Static BINARYs are in its PATH, FILEs in its working directory, and
#       "air LINE" tells the air where the receiver stands: see lab/air/scene.go.
#       Lines that begin with PASS or FAIL are counted.
#
# It needs Debian's apt-get and dpkg; QEMU is installed where it is missing and
# this is root, all other packages are only unpacked in a cache. Where that
# can't be had it says "SKIP: reason" and succeeds, unless LAB_REQUIRED is set.
# LAB_CACHE names the cache, LAB_TIMEOUT the seconds a guest may run (240).
set -euo pipefail
here=$(cd "$(dirname "$0")" && pwd)
root=$(cd "$here/../../../.." && pwd)
cache=${LAB_CACHE:-${XDG_CACHE_HOME:-/tmp}/footrule-lab}

skip() {
  if [ -n "${LAB_REQUIRED:-}" ]; then
    echo "the lab can't run: $*" >&2
    exit 1
  fi
  echo "SKIP: $*"
  exit 0
}

binaries=() files=() script=
while getopts b:f:s: option; do
  case $option in
  b) binaries+=("$OPTARG") ;;
  f) files+=("$OPTARG") ;;
  s) script=$OPTARG ;;
  *) exit 2 ;;
  esac
done
shift $((OPTIND - 1))
if [ ${#binaries[@]} -gt 0 ] && [ -z "$script" ]; then
  echo "run.sh: -b needs -s, the script that uses the binary" >&2
  exit 2
fi
parts=("$@")
if [ -n "$script" ]; then
  parts=(script)
elif [ $# = 0 ]; then
  parts=(checks walk)
fi
for part in "${parts[@]}"; do
  case $part in
  checks | walk) ;;
  script) [ -n "$script" ] || { echo "run.sh: script needs -s" >&2; exit 2; } ;;
  *) echo "run.sh: no part $part; there are checks and walk" >&2; exit 2 ;;
  esac
done

[ "$(uname -s)-$(uname -m)" = Linux-x86_64 ] || skip "the lab emulates x86-64 and is made for x86-64 Linux"
for tool in apt-get apt-cache dpkg xz go; do
  command -v "$tool" >/dev/null || skip "$tool is missing"
done
mkdir -p "$cache"
exec 9>"$cache/lock"
flock -w 600 9 || skip "another lab has held $cache for ten minutes"

updated=
update() {
  [ -n "$updated" ] && return
  updated=yes
  if [ "$(id -u)" = 0 ]; then apt-get -o Acquire::http::Timeout=20 update -qq >/dev/null 2>&1 || true; fi
}

if ! command -v qemu-system-x86_64 >/dev/null; then
  [ "$(id -u)" = 0 ] || skip "QEMU is missing; install qemu-system-x86"
  update
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends qemu-system-x86 >/dev/null 2>&1 ||
    skip "qemu-system-x86 can't be installed"
fi

# The packages, unpacked once. "done" is written last.
system=$cache/system
if [ ! -e "$system/done" ]; then
  rm -rf "$system" && mkdir -p "$system/deb" "$system/root"
  find_kernel() { apt-cache depends linux-image-amd64 2>/dev/null | sed -n 's/^ *Depends: \(linux-image-.*\)/\1/p' | head -n1; }
  fetch() { (cd "$system/deb" && apt-get download -qq "$(find_kernel)" busybox-static kmod libkmod2 cpio wireless-regdb) >/dev/null 2>&1; }
  fetch || { update && fetch; } || skip "the kernel packages can't be downloaded"
  for deb in "$system"/deb/*.deb; do dpkg -x "$deb" "$system/root"; done
  rm -r "$system/deb"
  # The kernel proper, for a quicker boot: the XZ stream in the packed image.
  image=$(ls "$system"/root/boot/vmlinuz-*)
  cp "$image" "$system/kernel"
  offset=$(LC_ALL=C grep -aobP '\xfd7zXZ\x00' "$image" | head -n1 | cut -d: -f1 || true)
  if [ -n "$offset" ]; then
    tail -c +$((offset + 1)) "$image" | xz -dc >"$system/vmlinux" 2>/dev/null || true # what follows the stream is no error
    if [ "$(head -c4 "$system/vmlinux" | tail -c3)" = ELF ]; then mv "$system/vmlinux" "$system/kernel"; fi
  fi
  touch "$system/done"
fi
release=$(basename "$system"/root/boot/vmlinuz-*)
release=${release#vmlinuz-}

work=$(mktemp -d "$cache/run.XXXXXX")
trap 'rm -rf "$work"' EXIT
disk=$work/disk
modules=lib/modules/$release
mkdir -p "$disk"/{bin,dev,proc,sys,run,tmp,work,lib/firmware} "$disk/$modules"
cp "$system/root/bin/busybox" "$disk/bin/"
# mac80211_hwsim and what it depends on, in order by depmod of the unpacked kmod.
for m in mac80211_hwsim mac80211 libarc4 cfg80211 rfkill virtio virtio_ring; do
  found=$(find "$system/root/$modules" -name "$m.ko*" | head -n1)
  [ -n "$found" ] || skip "the kernel package has no module $m"
  target=$disk/${found#"$system/root/"}
  mkdir -p "$(dirname "$target")"
  cp "$found" "$target"
done
cp "$system/root/$modules"/modules.{order,builtin,builtin.modinfo} "$disk/$modules/"
ln -sf kmod "$system/root/bin/depmod"
(cd "$work" && LD_LIBRARY_PATH=$(dirname "$(find "$system/root" -name 'libkmod.so.2' | head -n1)") "$system/root/bin/depmod" -b "$disk" "$release")
cp "$system/root/lib/firmware/regulatory.db-debian" "$disk/lib/firmware/regulatory.db"
cp "$system/root/lib/firmware/regulatory.db.p7s-debian" "$disk/lib/firmware/regulatory.db.p7s"

(cd "$root" && CGO_ENABLED=0 go build -trimpath -o "$disk/bin/guest" ./internal/radio/nl80211/lab/guest)
printf '#!/bin/busybox sh\nexec /bin/guest air "$@"\n' >"$disk/bin/air"
chmod +x "$disk/bin/air"
for b in "${binaries[@]}"; do cp "$b" "$disk/bin/"; done
for f in "${files[@]}"; do cp "$f" "$disk/work/"; done
if [ -n "$script" ]; then cp "$script" "$disk/script"; fi
if [[ " ${parts[*]} " == *" walk "* ]]; then
  (cd "$root" && CGO_ENABLED=0 go build -trimpath -o "$disk/bin/footrule" ./cmd/footrule &&
    CGO_ENABLED=0 go test -c -trimpath -ldflags=-s -o "$disk/bin/live" ./cmd/footrule)
fi
# The walk is in a country with few channels, since a sweep of all begins each run.
cat >"$disk/init" <<'INIT'
#!/bin/busybox sh
/bin/busybox mount -t proc proc /proc
/bin/busybox mount -t sysfs sys /sys
/bin/busybox mount -t devtmpfs dev /dev
/bin/busybox --install -s /bin
export PATH=/bin HOME=/work TERM=dumb FOOTRULE_LAB=yes
ip link set lo up
cd /work
case $(cat /proc/cmdline) in
*lab=checks*) guest checks ;;
*lab=walk*) guest up ID 5745 && live -test.run '^TestLive$' ;;
*lab=script*) guest up && sh /script ;;
esac 2>&1
echo "END $?"
poweroff -f
INIT
chmod +x "$disk/init"
(cd "$disk" && find . | "$system/root/bin/cpio" -H newc -o --quiet >"$work/initrd")

# boot runs a part in a guest of its own, its words on the terminal and in the log.
boot() {
  timeout --foreground "${LAB_TIMEOUT:-240}" qemu-system-x86_64 -accel tcg -cpu qemu64 -m 512 -smp 1 \
    -kernel "$system/kernel" -initrd "$work/initrd" -append "console=ttyS0 panic=-1 quiet lab=$1" \
    -nodefaults -nic none -display none -serial stdio -no-reboot </dev/null 2>"$work/qemu" |
    tr -d '\r' | tee "$work/log" || true
}

status=0
for part in "${parts[@]}"; do
  began=$(date +%s)
  boot "$part"
  [ -s "$work/log" ] || { cat "$work/qemu" >&2; skip "QEMU did not start"; }
  passed=$(grep -c '^PASS ' "$work/log" || true)
  failed=$(grep -c '^FAIL ' "$work/log" || true)
  if ! grep -q '^END 0$' "$work/log"; then
    echo "FAIL $part: did not end well"
    failed=$((failed + 1))
  fi
  echo "lab, $part: $passed passed, $failed failed ($(($(date +%s) - began)) s)"
  if [ "$failed" != 0 ] || [ "$passed" = 0 ]; then status=1; fi
done
exit $status
