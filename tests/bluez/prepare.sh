#!/bin/bash
# prepare.sh FOLDER: fills FOLDER with what the guest is made of. Once; about two minutes and 100 MB.
#
# Debian's user-mode Linux kernel runs as a process, without root and without virtualisation. Bluetooth is not in it: two
# modules are built from Debian's source of the same version, with the shipped configuration (the vermagic has to match).
# BlueZ and busybox come from their packages, unpacked and not installed.
set -euo pipefail
mkdir -p "$1"
cd "$1"
work=$(mktemp -d "$PWD/work.XXXXXX")
trap 'rm -rf "$work"' EXIT

fetch() { # FOLDER PACKAGE…: into FOLDER, unpacked
    local into=$1
    shift
    mkdir -p "$work/debs" "$into"
    (cd "$work/debs" && rm -f ./*.deb && apt-get -q download "$@")
    for deb in "$work"/debs/*.deb; do dpkg-deb --extract "$deb" "$into"; done
}

fetch "$work/kernel" user-mode-linux
version=$(ls "$work/kernel/usr/lib/uml/modules")
source_version=$(apt-cache madison linux-source-6.1 | awk '{print $3}' | grep -m1 "^${version//./\\.}-") || {
    echo "no source of kernel $version: apt-cache madison linux-source-6.1" >&2
    exit 1
}
fetch "$work/source" "linux-source-6.1=$source_version"
fetch "$work/tools" flex bison m4 libfl2 libfl-dev libsigsegv2
fetch "$work/guest" bluez busybox-static
# Debian's /bin, /sbin and /lib are links into /usr; a folder of that name in a layer would hide the link.
for folder in bin sbin lib; do
    if [ -d "$work/guest/$folder" ]; then
        mkdir -p "$work/guest/usr/$folder"
        cp -a "$work/guest/$folder/." "$work/guest/usr/$folder/"
        rm -rf "${work:?}/guest/$folder"
    fi
done

tar --extract --file "$work/source/usr/src/linux-source-6.1.tar.xz" --directory "$work"
export PATH=$work/tools/usr/bin:$PATH BISON_PKGDATADIR=$work/tools/usr/share/bison M4=$work/tools/usr/bin/m4
export LD_LIBRARY_PATH=$work/tools/usr/lib/x86_64-linux-gnu
mkdir "$work/build"
zcat "$work/kernel/usr/share/doc/user-mode-linux/config.gz" | grep -v -E '^CONFIG_(DEBUG_INFO|LOCALVERSION_AUTO)' >"$work/build/.config"
printf '%s\n' CONFIG_BT=m CONFIG_BT_BREDR=y CONFIG_BT_LE=y CONFIG_BT_HCIVHCI=m CONFIG_DEBUG_INFO_NONE=y \
    '# CONFIG_LOCALVERSION_AUTO is not set' >>"$work/build/.config"
kernel_make() { nice make --silent -C "$work/linux-source-6.1" ARCH=um O="$work/build" -j"$(nproc)" KBUILD_MODPOST_WARN=1 "$@"; }
kernel_make olddefconfig
kernel_make modules_prepare
kernel_make M=net/bluetooth modules
kernel_make M=drivers/bluetooth modules

modules=$work/kernel/usr/lib/uml/modules/$version/kernel
mkdir "$work/ready"
cp "$work/kernel/usr/bin/linux.uml" "$work/ready/kernel"
mkdir "$work/ready/modules"
for name in fs/overlayfs/overlay crypto/cmac crypto/ecb crypto/ecc crypto/ecdh_generic crypto/af_alg crypto/algif_hash \
    crypto/algif_skcipher; do
    cp "$modules/$name.ko" "$work/ready/modules/"
done
cp "$work/build/net/bluetooth/bluetooth.ko" "$work/build/drivers/bluetooth/hci_vhci.ko" "$work/ready/modules/"
mv "$work/guest" "$work/ready/packages"
rm -rf ready
mv "$work/ready" ready
echo "ready: kernel $version, $(du -sh ready | cut -f1)"
