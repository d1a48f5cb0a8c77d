#!/bin/busybox sh
# The guest's first process: sets the machine up, runs /rig/script and sends,
# on the second serial port, what the script prints, FS "exit CODE" LF (FS is
# the ASCII file separator), and /out as a gzipped tar archive.
/bin/busybox mkdir -p /proc /sys /dev /tmp /run /root /out
/bin/busybox mount -t proc proc /proc
/bin/busybox --install -s /bin
mount -t sysfs sysfs /sys
mount -t devtmpfs dev /dev
for d in /tmp /run /out; do mount -t tmpfs tmpfs $d; done
for m in ac battery acpi_power_meter; do modprobe $m || poweroff -f; done
ip link set lo up
hostname rig
export PATH=/bin:/rig HOME=/root RIG_CLOCK=/sys/bus/acpi/devices/RIG0001:00/sun
cd /root
stty raw -echo </dev/ttyS1
exec >/dev/ttyS1 2>&1 </dev/null
cat $RIG_CLOCK >/dev/null || poweroff -f
sh /rig/script
printf '\034exit %d\n' $?
tar cz -C /out .
stty raw </dev/ttyS1 # waits until all is sent
poweroff -f
