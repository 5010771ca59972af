#!/bin/bash
# The first process of the guest. Its root are this computer's files, which it cannot change: what it writes lies in an
# overlay in memory. BlueZ is a second layer. The kernel's command line gives READY (what prepare.sh has made), SHARE (a
# folder that both sides write), PYTHON and CHECKOUT.
busybox=$READY/packages/usr/bin/busybox
if [ "$1" != inside ]; then
    mount -t proc proc /proc
    "$busybox" insmod "$READY/modules/overlay.ko"
    mount -t tmpfs tmpfs /mnt
    mkdir -p /mnt/packages /mnt/upper /mnt/work /mnt/root
    mount -t hostfs -o "$READY/packages" none /mnt/packages
    mount -t overlay -o lowerdir=/mnt/packages:/,upperdir=/mnt/upper,workdir=/mnt/work overlay /mnt/root
    cd /mnt/root || "$busybox" poweroff -f
    mount -t proc proc proc
    mount -t sysfs sys sys
    mount -t devtmpfs dev dev
    mkdir -p dev/shm dev/pts
    mount -t tmpfs shm dev/shm
    mount -t devpts pts dev/pts
    mount -t tmpfs run run
    mkdir -p mnt/share
    mount -t hostfs -o "$SHARE" none mnt/share
    exec chroot . /bin/bash "$0" inside
fi
export PATH=/usr/sbin:/usr/bin:/sbin:/bin HOME=/var/guest LANG=C.UTF-8
mkdir -p "$HOME" /run/dbus /var/lib/bluetooth
for module in cmac ecb ecc ecdh_generic af_alg algif_hash algif_skcipher bluetooth hci_vhci; do
    "$busybox" insmod "$READY/modules/$module.ko"
done
[ -e /dev/vhci ] || mknod /dev/vhci c 10 137
"$busybox" ifconfig lo 127.0.0.1 up
rm -f /run/dbus/pid
dbus-uuidgen --ensure
dbus-daemon --system --fork
"$PYTHON" "$CHECKOUT/tests/bluez/agent.py" /mnt/share
"$busybox" poweroff -f
