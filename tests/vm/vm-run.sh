#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Runs a command inside the CAN guest, prints its output, returns its exit code (124: no verdict).
#   vm-run.sh [-a kvm|tcg|auto] [-t SECONDS] [-o SHAREDIR] -- COMMAND ARG...
# The guest sees the host's whole file system, read-only below a throw-away layer, and starts in the same
# directory; SHAREDIR is /vm in the guest, writable, and keeps out.log, rc, console.log, accel.
set -eu
cache=${PIN16_VM_CACHE:-${XDG_CACHE_HOME:-$HOME/.cache}/pin16-vm}
accel=auto limit=300 share=
while getopts a:t:o: o; do
    case $o in
    a) accel=$OPTARG ;;
    t) limit=$OPTARG ;;
    o) share=$OPTARG ;;
    *) exit 2 ;;
    esac
done
shift $((OPTIND - 1))
[ "${1:-}" = -- ] && shift
[ $# -gt 0 ] || { echo "vm-run: no command" >&2; exit 2; }
own=0
[ -n "$share" ] || { share=$(mktemp -d); own=1; }
mkdir -p "$share"
rm -f "$share/rc" "$share/started" "$share/out.log"

# The command, quoted so that it arrives as given.
{
    printf 'cd %s 2>/dev/null || cd /\nexec' "'$(pwd)'"
    for a; do printf " '%s'" "$(printf %s "$a" | sed "s/'/'\\\\''/g")"; done
    echo
} > "$share/cmd.sh"

# KVM only when the CPU offers virtualisation and QEMU starts one with it: an openable /dev/kvm alone proves
# nothing (a nested one without vmx/svm interprets the kernel instruction by instruction).
if [ "$accel" = auto ]; then
    accel=tcg
    if grep -qwE 'vmx|svm' /proc/cpuinfo && [ -w /dev/kvm ] &&
        echo quit | timeout 10 qemu-system-x86_64 -accel kvm -cpu host -nodefaults \
            -display none -S -monitor stdio > /dev/null 2>&1; then accel=kvm; fi
fi
echo "$accel" > "$share/accel"
case $accel in
kvm) flags="-accel kvm -cpu host" ;;
tcg) flags="-accel tcg,thread=multi -cpu max" ;;
*) echo "vm-run: -a kvm, tcg or auto" >&2; exit 2 ;;
esac
# can0 and can1: two controllers on one bus, of the first kind that QEMU emulates and Linux has a driver for.
controller=$(qemu-system-x86_64 -device help 2>&1 |
    sed -n 's/^name "\([^"]*\)", bus PCI, desc "[^"]*PCICANx"$/\1/p' | head -n1)
# multidevs: the root may span several devices.
# shellcheck disable=SC2086
timeout -k 5 "$limit" qemu-system-x86_64 -M pc,usb=off,vmport=off,hpet=off $flags -smp 2 -m 1024 \
    -nodefaults -no-user-config -display none -no-reboot -serial file:"$share/console.log" \
    -kernel "$cache/vmlinux" -initrd "$cache/initrd.cpio" \
    -append "console=ttyS0 quiet panic=-1 reboot=t mitigations=off random.trust_cpu=on 8250.nr_uarts=1" \
    -fsdev local,id=root,path=/,security_model=none,readonly=on,multidevs=remap \
    -device virtio-9p-pci,fsdev=root,mount_tag=hostroot \
    -fsdev local,id=share,path="$share",security_model=none \
    -device virtio-9p-pci,fsdev=share,mount_tag=results \
    -device virtio-rng-pci -object can-bus,id=bus \
    -device "$controller",canbus=bus -device "$controller",canbus=bus \
    < /dev/null 2> "$share/qemu.err" && status=0 || status=$?
cat "$share/out.log" 2>/dev/null || true
if [ ! -s "$share/rc" ]; then
    echo "vm-run: the guest gave no exit code (qemu: $status); its console:" >&2
    tail -n 30 "$share/console.log" "$share/qemu.err" >&2 || true
    exit 124
fi
rc=$(cat "$share/rc")
[ $own = 0 ] || rm -rf "$share"
exit "$rc"
