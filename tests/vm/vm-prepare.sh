#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Fetches a Debian kernel that has CAN, without installing it, and builds a small initramfs for it.
#   vm-prepare.sh [-f]      -f rebuilds what is there
# Needs qemu-system-x86 busybox-static cpio xz-utils. Result in the cache directory ($PIN16_VM_CACHE, default
# ${XDG_CACHE_HOME:-$HOME/.cache}/pin16-vm): vmlinux (unpacked kernel), initrd.cpio, kver, stamp.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
cache=${PIN16_VM_CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/pin16-vm}
busybox=/bin/busybox
# Loadable in the guest; what they depend on is resolved below.
modules="virtio_pci virtio_rng 9p 9pnet_virtio overlay can can-raw can-isotp can-dev vcan slcan"

mkdir -p "$cache"
cd "$cache"
# What the initramfs is made from: if any of it changed, it is made anew.
stamp=$(cat "$here/vm-prepare.sh" "$here/vm-init" | sha256sum | cut -d' ' -f1)
if [ "${1:-}" != -f ] && [ -s vmlinux ] && [ -s initrd.cpio ] && [ "$(cat stamp 2>/dev/null)" = "$stamp" ]; then
    exit 0
fi

if [ "${1:-}" = -f ] || [ ! -s vmlinux ] || [ ! -d kernel/lib/modules ]; then
    # The meta package names the kernel that is current; the versions before it vanish from the archive.
    package=$(apt-cache depends linux-image-amd64 |
        sed -n 's/.*Depends: \(linux-image-[0-9].*-amd64\)$/\1/p' | head -n1)
    [ -n "$package" ] || { echo "vm-prepare: apt knows no linux-image-amd64 (run apt-get update)" >&2; exit 1; }
    rm -rf kernel linux-image-*.deb
    apt-get download "$package" > download.log 2>&1 || { cat download.log >&2; exit 1; }
    # Only what is needed: the whole package unpacks to 400 MB.
    mkdir kernel
    dpkg-deb --fsys-tarfile ./linux-image-*.deb | tar -C kernel -x --wildcards \
        './boot/vmlinuz-*' './boot/config-*' './lib/modules/*/modules.*' \
        './lib/modules/*/kernel/net/can/*' './lib/modules/*/kernel/drivers/net/can/*' \
        './lib/modules/*/kernel/net/9p/*' './lib/modules/*/kernel/fs/9p/*' \
        './lib/modules/*/kernel/fs/netfs/*' './lib/modules/*/kernel/fs/fscache/*' \
        './lib/modules/*/kernel/fs/overlayfs/*' './lib/modules/*/kernel/drivers/virtio/*' \
        './lib/modules/*/kernel/drivers/char/hw_random/*'
    rm -f linux-image-*.deb
    # QEMU starts an ELF kernel with CONFIG_PVH directly: unpacked once here, it need not unpack itself at
    # every boot (about 2 s without KVM). Bytes behind the xz stream are normal, hence "|| true".
    grep -q '^CONFIG_PVH=y' kernel/boot/config-*
    offset=$(LC_ALL=C grep -aboP '\xfd7zXZ\x00' kernel/boot/vmlinuz-* | head -n1 | cut -d: -f1)
    tail -c +$((offset + 1)) kernel/boot/vmlinuz-* | xz -dc --single-stream > vmlinux 2>/dev/null || true
    [ "$(head -c 4 vmlinux | tail -c 3)" = ELF ] || { echo "vm-prepare: no ELF kernel in $package" >&2; exit 1; }
fi
version=$(ls kernel/lib/modules | head -n1)
echo "$version" > kver

rm -rf stage
mkdir -p stage/bin stage/sbin stage/dev stage/proc stage/sys stage/lower stage/upper stage/root stage/share \
    "stage/lib/modules/$version"
cp "$busybox" stage/bin/busybox
for a in sh mount mkdir cat echo sleep chroot poweroff modprobe cp tr; do ln -s busybox "stage/bin/$a"; done
ln -s ../bin/busybox stage/sbin/modprobe  # the kernel's own loading on demand calls it there

"$busybox" depmod -b "$PWD/kernel" "$version" 2>/dev/null || true
dep=kernel/lib/modules/$version/modules.dep
[ -s "$dep" ] || { echo "vm-prepare: depmod gave no modules.dep" >&2; exit 1; }
needed=""
# And every PCI controller's driver: which one is emulated, vm-run.sh asks QEMU.
todo="$modules $(cd "kernel/lib/modules/$version/kernel/drivers/net/can" && ls -- */*_pci.ko | sed 's,.*/,,; s,\.ko,,')"
while [ -n "$todo" ]; do
    next=""
    for m in $todo; do
        pattern=$(echo "$m" | sed 's/[-_]/[-_]/g')
        line=$(grep -E "(^|/)$pattern\.ko:" "$dep" | head -n1) || true
        [ -n "$line" ] || continue  # built in
        file=${line%%:*}
        case " $needed " in *" $file "*) continue ;; esac
        needed="$needed $file"
        for d in ${line#*:}; do
            base=${d##*/}
            next="$next ${base%%.ko*}"
        done
    done
    todo=$next
done
for f in $needed; do
    mkdir -p "stage/lib/modules/$version/$(dirname "$f")"
    cp "kernel/lib/modules/$version/$f" "stage/lib/modules/$version/$f"
done
cp "kernel/lib/modules/$version"/modules.builtin* "kernel/lib/modules/$version/modules.order" \
    "stage/lib/modules/$version/"
"$busybox" depmod -b "$PWD/stage" "$version"
cp "$here/vm-init" stage/init
chmod 755 stage/init
# Not compressed: the guest need not unpack it.
(cd stage && find . | cpio -o -H newc --quiet -R 0:0) > initrd.cpio
rm -rf stage
echo "$stamp" > stamp
echo "vm-prepare: kernel $version, $(echo $needed | wc -w) modules, initramfs $(stat -c %s initrd.cpio) bytes" >&2
