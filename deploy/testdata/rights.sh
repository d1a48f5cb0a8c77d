#!/bin/bash
# The right to set, on a real kernel (internal/realkernel) that has just booted under its
# systemd: the unit of the package without and with the drop-in. The guest's second
# processor is what is set: the first values that an agent left are put back by a write of
# the unit's own. Run as root by life.service.
. /test/booted.sh

cpu=/sys/devices/system/cpu/cpu1/online
kept=/var/lib/sweepd/first_values.journal
property() { systemctl show --value -p "$1" sweepd.service; }
capabilities() { sed -n 's/^CapEff:\t//p' /proc/"$(property MainPID)"/status; }
mounted() { # how the agent sees the deepest mount that holds a folder: rw or ro
    awk -v dir="$1" '{ at = $5 == "/" ? "" : $5 } index(dir "/", at "/") == 1 { split($6, o, ","); found = o[1] } END { print found }' /proc/"$(property MainPID)"/mountinfo
}
left() { install -o sweepd -g sweepd -m 600 /test/"$1".journal $kept; } # as by an agent that died
says() { journalctl -b -u sweepd.service | grep -F "$1" >/dev/null || fail "the log does not say \"$1\""; }

mkdir -p /etc/systemd/system/sweepd.service.d
printf '[Service]\nRestart=no\n' >/etc/systemd/system/sweepd.service.d/test.conf
systemctl daemon-reload

step "without the drop-in the agent may read, and write nothing"
systemctl start sweepd.service
same "$(mounted /sys/devices/system) $(mounted /sys/firmware/acpi) $(mounted /sys/kernel)" "ro ro ro" "sysfs"
same "$(capabilities)" 0000000000000004 "capabilities (CAP_DAC_READ_SEARCH alone, capability.h)"
left off
systemctl stop sweepd.service
same "$(cat $cpu)" 1 "the processor"
says "$cpu: read-only file system; by hand: echo 0 | sudo tee $cpu"
rm $kept

step "with it the agent may write where things are set, and nowhere else"
ln -s /usr/share/sweepd/hands-off.conf /etc/systemd/system/sweepd.service.d/
systemctl daemon-reload
systemctl start sweepd.service
same "$(stat -c %U /proc/"$(property MainPID)")" sweepd "user of the agent"
same "$(capabilities)" 0000000000000006 "capabilities (CAP_DAC_OVERRIDE too)"
same "$(mounted /sys/devices/system) $(mounted /sys/firmware/acpi)" "rw rw" "where things are set"
same "$(mounted /sys/kernel) $(mounted /sys/fs/cgroup) $(mounted /proc/sys) $(mounted /etc) $(mounted /usr) $(mounted /run) $(mounted /run/dbus) $(mounted /dev/shm)" "ro ro ro ro ro ro ro ro" "all else"
same "$(echo $(ls /proc/"$(property MainPID)"/root/run /proc/"$(property MainPID)"/root/run/systemd | grep -v :))" "dbus systemd incoming journal notify" "what it sees of other services"
left off
systemctl stop sweepd.service
same "$(cat $cpu)" 0 "the processor that the unit switched off"
[ ! -e $kept ] || fail "it was not forgotten"
says "$cpu has its first value again: 0, after 1"

step "what a killed agent set is put back by the unit"
systemctl start sweepd.service
left on
kill -KILL "$(property MainPID)"
on() { [ "$(cat $cpu)" = 1 ] && [ ! -e $kept ]; }
until_true on

step "and first thing when it starts"
echo 0 >$cpu
left on
systemctl start sweepd.service
on || fail "the agent is ready, and the processor has $(cat $cpu)"
echo "PASSED"
