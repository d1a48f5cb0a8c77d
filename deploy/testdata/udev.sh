# The udev rule on a real kernel, whose class powercap has a counter that is made up
# (testdata/powercap). The guest is that of internal/realkernel; payload.tar holds the
# package, udev with its libraries, and the module. Run by busybox sh, as root.
set -e
fail() { echo "FAILED: $*"; exit 1; }
same() { [ "$1" = "$2" ] || fail "$3: got \"$1\", want \"$2\""; }
owners() { stat -c '%U:%G %a' /sys/class/powercap/*/energy_uj | sort -u; }
as() { # USER COMMAND...: with that user's rights and no others
	who=$1; shift
	su -s /bin/sh "$who" -c "$*"
}
sensors() { as sweepd /usr/bin/sweepd sensors --json; }
energy() { sensors | tr -d ' \n' | grep -o '"sensor":"package_energy_joules"[^}]*}' || true; }

tar xf /rig/payload.tar -C /
mkdir -p /etc/udev/rules.d /var/lib/sweepd
printf '%s\n' root:x:0:0::/:/bin/sh sweepd:x:900:900::/:/bin/sh other:x:901:901::/:/bin/sh >/etc/passwd
printf '%s\n' root:x:0: sweepd:x:900: other:x:901: >/etc/group
chown sweepd:sweepd /var/lib/sweepd
chmod 755 / # as every system's; the guest's root is its first process's

echo "== the kernel gives the counters to root alone"
insmod /payload/counter.ko
same "$(owners)" "root:root 400" "the counters without the rule"
if as sweepd cat /sys/class/powercap/rig:0/energy_uj; then fail "the counter can be read"; fi
sensors >/out/without.json
rmmod counter

echo "== a device that appears gets the group and the mode"
cp /usr/share/doc/sweepd/examples/60-sweepd.rules /etc/udev/rules.d/
/lib/systemd/systemd-udevd --daemon 2>/out/udevd.log
insmod /payload/counter.ko
udevadm settle
same "$(owners)" "root:sweepd 440" "the counters with the rule"
if as other cat /sys/class/powercap/rig:0/energy_uj; then fail "another user can read the counter"; fi

echo "== so does one that was there before the rule"
chgrp root /sys/class/powercap/*/energy_uj
chmod 400 /sys/class/powercap/*/energy_uj
udevadm trigger --settle --subsystem-match=powercap
same "$(owners)" "root:sweepd 440" "the counters after udevadm trigger"
same "$(grep -v "^Starting systemd-udevd" /out/udevd.log)" "" "what udev complains of"

echo "== the agent as its own user reads the counter, without a capability"
sensors >/out/with.json
as sweepd /usr/bin/sweepd agent >/out/agent.log 2>&1 &
tries=0
until wget -q -O /out/metrics http://127.0.0.1:9745/metrics 2>/dev/null; do tries=$((tries + 1)); [ $tries -lt 200 ] || fail "no agent"; usleep 50000; done
pid=$(pidof sweepd)
same "$(stat -c %U /proc/$pid)" sweepd "user of the agent"
same "$(sed -n 's/^CapEff:\t//p' /proc/$pid/status)" 0000000000000000 "its capabilities"
sleep 30 # an idle sweep every 10 s
wget -q -O /out/metrics http://127.0.0.1:9745/metrics

echo "== the rule of an installation in a home folder opens them to its user alone"
rm /etc/udev/rules.d/60-sweepd.rules /usr/lib/systemd/system/sweepd.service
chgrp root /sys/class/powercap/*/energy_uj
chmod 400 /sys/class/powercap/*/energy_uj
mkdir -p /home/other && chown other:other /home/other
as other HOME=/home/other /usr/bin/sweepd service install >/out/home.txt
grep -q "This system has no systemd" /out/home.txt || fail "$(cat /out/home.txt)"
commands=$(sed -n 's/^  sudo \(cp\|udevadm\)/\1/p' /out/home.txt)
same "$(echo "$commands" | wc -l)" 2 "the commands for root"
echo "$commands" | while read -r line; do sh -c "$line"; done
udevadm settle
same "$(owners)" "other:root 400" "the counters with that rule"
as other cat /sys/class/powercap/rig:0/energy_uj >/dev/null
if as sweepd cat /sys/class/powercap/rig:0/energy_uj 2>/dev/null; then fail "another user can read the counter"; fi
echo PASSED
