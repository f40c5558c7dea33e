#!/usr/bin/env bash
# The lab: boots a stock distribution kernel under QEMU with simulated radios
# (mac80211_hwsim) and runs the live scanner on its real nl80211.
#
#   run.sh                                 all checks
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
if [ ${#binaries[@]} -gt 0 ] && [ -z "$script" ]; then
  echo "run.sh: -b needs -s, the script that uses the binary" >&2
  exit 2
fi

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
  if [ "$(id -u)" = 0 ]; then apt-get update -qq >/dev/null 2>&1 || true; fi
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
what='/bin/guest checks'
if [ -n "$script" ]; then
  cp "$script" "$disk/script"
  what='/bin/guest up && /bin/busybox sh /script'
fi
cat >"$disk/init" <<INIT
#!/bin/busybox sh
/bin/busybox mount -t proc proc /proc
/bin/busybox mount -t sysfs sys /sys
/bin/busybox mount -t devtmpfs dev /dev
/bin/busybox --install -s /bin
export PATH=/bin HOME=/work TERM=dumb
ip link set lo up
cd /work
( $what ) 2>&1
echo "END \$?"
poweroff -f
INIT
chmod +x "$disk/init"
(cd "$disk" && find . | "$system/root/bin/cpio" -H newc -o --quiet >"$work/initrd")

log=$work/log
began=$(date +%s)
timeout "${LAB_TIMEOUT:-240}" qemu-system-x86_64 -accel tcg -cpu qemu64 -m 512 -smp 1 \
  -kernel "$system/kernel" -initrd "$work/initrd" -append "console=ttyS0 panic=-1 quiet" \
  -nodefaults -nic none -display none -serial stdio -no-reboot </dev/null 2>"$work/qemu" |
  tr -d '\r' | tee "$log" || true
[ -s "$log" ] || { cat "$work/qemu" >&2; skip "QEMU did not start"; }

passed=$(grep -c '^PASS ' "$log" || true)
failed=$(grep -c '^FAIL ' "$log" || true)
if ! grep -q '^END 0$' "$log"; then
  echo "FAIL guest: did not end well"
  failed=$((failed + 1))
fi
echo "lab: $passed passed, $failed failed ($(($(date +%s) - began)) s)"
[ "$failed" = 0 ] && [ "$passed" -gt 0 ]
