#!/bin/bash
# SPDX-License-Identifier: Apache-2.0
# Installs the Debian packages that Pin16 needs: `install-deps.sh build` or `install-deps.sh test`.
# Uses sudo only for this, only if something is missing, and says so.
set -eu
build="g++ cmake ninja-build ccache pkg-config git
  libboost1.81-dev libboost-json1.81-dev libspdlog-dev libfmt-dev libcli11-dev libtomlplusplus-dev
  qt6-base-dev libqt6opengl6-dev qt6-charts-dev qt6-multimedia-dev qt6-tools-dev qt6-l10n-tools qt6-tools-dev-tools
  libeigen3-dev libmnl-dev libserialport-dev libssl-dev libsystemd-dev"
test="libgtest-dev libgmock-dev libbenchmark-dev python3-jsonschema clang clang-tidy clang-format
  xvfb fonts-dejavu-core man-db appstream desktop-file-utils
  tshark python3-scapy ngspice can-utils iproute2
  qemu-system-x86 busybox-static cpio xz-utils zstd kmod binutils"
case ${1:-build} in
  build) want=$build ;;
  test) want="$build $test" ;;
  *) echo "usage: $0 build|test" >&2; exit 2 ;;
esac
missing=
for p in $want; do
  dpkg-query -W -f='${Status}' "$p" 2>/dev/null | grep -q '^install ok installed' || missing="$missing $p"
done
lists=known
# The VM's kernel is found through apt's lists.
if [ "${1:-build}" = test ] && ! apt-cache show linux-image-amd64 >/dev/null 2>&1; then lists=missing; fi
[ -n "$missing" ] || [ $lists = missing ] || exit 0
as_root=
if [ "$(id -u)" != 0 ]; then
  as_root="sudo"
  echo "sudo is used to install these packages and for nothing else:${missing:- none, only package lists}" >&2
else
  echo "installing:${missing:- package lists}" >&2
fi
$as_root apt-get update -qq
[ -n "$missing" ] || exit 0
# shellcheck disable=SC2086
$as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends $missing >/dev/null
