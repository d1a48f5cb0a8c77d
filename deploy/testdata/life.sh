#!/bin/bash
# The life of the package on a Debian system that has just booted: installed,
# started, hung, upgraded during a run, started by its socket, removed, purged. Run
# as root by life.service; /test holds old.deb, new.deb and a simulated device.
. /test/booted.sh

property() { systemctl show --value -p "$2" "$1"; }
running() { systemctl --quiet is-active sweepd.service; }
accounts='^/etc/\(passwd\|group\|shadow\|gshadow\|.pwd.lock\)-\?$'

files >/test/before
step "installing starts nothing"
dpkg -i /test/old.deb
same "$(systemctl is-active sweepd.service sweepd.socket || true)" $'inactive\ninactive' "after the installation"
same "$(systemctl is-enabled sweepd.service sweepd.socket || true)" $'disabled\ndisabled' "after the installation"
if pgrep_out=$(grep -ls '^sweepd$' /proc/[0-9]*/comm); then fail "runs: $pgrep_out"; fi
same "$(stat -c '%U:%G %a' /var/lib/sweepd)" "sweepd:sweepd 2770" "folder of the data"
same "$(getent passwd sweepd | cut -d: -f7)" /usr/sbin/nologin "shell of the user"

step "the units are well-formed and closed"
same "$(systemd-analyze verify --man=no /usr/lib/systemd/system/sweepd.service /usr/lib/systemd/system/sweepd.socket 2>&1)" "" "systemd-analyze verify"
same "$(XDG_RUNTIME_DIR=/run systemd-analyze verify --user --man=no /usr/lib/systemd/user/sweepd-runner.service 2>&1)" "" "systemd-analyze verify --user"
systemd-analyze security --offline=true --threshold=15 /usr/lib/systemd/system/sweepd.service | tail -n 1
for page in agent run-start; do [ -s /usr/share/man/man1/sweepd-$page.1.gz ] || fail "no man page of $page"; done
bash -n /usr/share/bash-completion/completions/sweepd

step "a member of the group imports before the agent ever ran"
member() { setpriv --reuid 4321 --regid 4321 --groups "$(getent group sweepd | cut -d: -f3)" env HOME=/tmp sweepd "$@"; }
printf 'device,workload,setting_w,fps_mean\nunit-elm,tile-sort,25,60\n' >/tmp/table.csv
member import /tmp/table.csv

step "the agent starts, reads what only root may, and says so"
mkdir -p /etc/systemd/system/sweepd.service.d
printf '[Service]\nEnvironment=HOST_SYS=/test/device/sys HOST_PROC=/test/device/proc\nWatchdogSec=3s\nRestartSec=0\n' \
    >/etc/systemd/system/sweepd.service.d/test.conf
sed -i 's/^#device: .*/device: unit-oak/' /etc/sweepd/sweepd.yaml
systemctl daemon-reload
systemctl enable --now sweepd.service
running
pid=$(property sweepd.service MainPID)
same "$(stat -c %U /proc/"$pid")" sweepd "user of the agent"
same "$(sed -n 's/^CapEff:\t//p' /proc/"$pid"/status)" 0000000000000004 "capabilities (CAP_DAC_READ_SEARCH alone, capability.h)"
same "$(stat -c '%U %a' /test/device/sys/class/powercap/*:0/energy_uj | sort -u)" "root 400" "the counter of the test"
until_true shows '^sweepd_energy_joules_total{device="unit-oak",domain="core"' # a package has other sources too

step "with the group and the mode of the udev rule it needs no capability"
chgrp sweepd /test/device/sys/class/powercap/*:0/energy_uj
chmod 440 /test/device/sys/class/powercap/*:0/energy_uj
printf '[Service]\nCapabilityBoundingSet=\nAmbientCapabilities=\n' >/etc/systemd/system/sweepd.service.d/bare.conf
systemctl daemon-reload
systemctl restart sweepd.service
same "$(sed -n 's/^CapEff:\t//p' /proc/"$(property sweepd.service MainPID)"/status)" 0000000000000000 "capabilities"
until_true shows '^sweepd_energy_joules_total{device="unit-oak",domain="core"' # a package has other sources too
rm /etc/systemd/system/sweepd.service.d/bare.conf
systemctl daemon-reload
systemctl restart sweepd.service
pid=$(property sweepd.service MainPID)

step "a loop that hangs is restarted, and its run is kept"
sweepd run start --workload harbour-flight --setting 25W
kill -STOP "$pid"
restarted() { running && [ "$(property sweepd.service NRestarts)" = 1 ]; }
until_true restarted
interrupted() { sweepd run list --json | grep -q '"state": "interrupted"'; }
until_true interrupted # systemd may count the restart before the new agent is at work
sed -i '/WatchdogSec/d' /etc/systemd/system/sweepd.service.d/test.conf
systemctl daemon-reload

step "an upgrade cuts off no run and keeps data and configuration"
sweepd run start --workload tile-sort
pid=$(property sweepd.service MainPID)
dpkg -i /test/new.deb
same "$(property sweepd.service MainPID)" "$pid" "agent during the upgrade"
sweepd run stop --result score=12
same "$(sweepd run list --json | grep -c '"state"')" 3 "runs after the upgrade"
grep -q '^device: unit-oak' /etc/sweepd/sweepd.yaml
same "$(dpkg-query -W -f '${Version}' sweepd)" "$(cat /test/new.version)" "version"
systemctl restart sweepd.service
same "$(sweepd run list --json | grep -c '"state"')" 3 "runs in the new version"

step "an agent that may not write its data does not start, and says why"
systemctl stop sweepd.service
chmod 440 /var/lib/sweepd/sweepd.db
! systemctl start sweepd.service 2>/dev/null
journalctl -b -u sweepd.service | grep -q 'write /var/lib/sweepd/sweepd.db: permission denied'
chmod 660 /var/lib/sweepd/sweepd.db
systemctl reset-failed sweepd.service
systemctl start sweepd.service

step "a member of the group corrects runs and plans"
member run reject last --why "seen"
member plan new --workload tile-sort --settings 25W --repeats 1

step "a person without the group asks the agent, and corrects nothing"
person() { setpriv --reuid 4321 --regid 4321 --clear-groups env HOME=/tmp/person sweepd "$@"; }
same "$(person run list --json | grep -c '"state"')" 3 "runs that a person sees"
person plan new --workload tile-sort --settings 25W --repeats 1 --replace
person run start --workload tile-sort --setting 25W
person run stop --result score=13
person export --as csv --out /tmp/person.csv
same "$(stat -c %u /tmp/person.csv)" 4321 "owner of what a person exports"
person status | tr -s ' \n' ' ' | grep -q 'keeps its data in /var/lib/sweepd; it runs as sweepd, and the group sweepd may correct'
person run reject last --why "seen" 2>/tmp/refused && fail "a person without the group corrects"
tr -s ' \n' ' ' </tmp/refused | grep -q 'sudo usermod -aG sweepd'
[ ! -e /tmp/person ] || fail "a second database was made"
member run reject last --why "seen"
same "$(stat -c '%U:%G %a' /var/lib/sweepd/api.token)" "sweepd:sweepd 640" "the file of the right"

step "systemd opens the port and starts the agent when somebody asks"
systemctl stop sweepd.service
echo 'ARGS="--web.systemd-socket"' >/etc/default/sweepd
systemctl start sweepd.socket
! running
until_true shows '^sweepd_build_info'
until_true running # it may answer a moment before systemd hears that it is ready
sweepd run list >/dev/null

step "where nothing was set, the end of the agent sets nothing and says nothing"
systemctl stop sweepd.socket sweepd.service
sed -i 's/^ARGS=.*/ARGS=""/' /etc/default/sweepd
same "$(property sweepd.service Result)" success "the end of the agent"
[ ! -e /var/lib/sweepd/first_values.journal ] || fail "first values of nothing"
if journalctl -b -u sweepd.service | grep -i 'put back'; then fail "it speaks of putting back"; fi

step "the drop-in grants the right to set, and little else"
profile=/test/device/sys/firmware/acpi/platform_profile
chmod 644 $profile
same "$(stat -c '%U %a' $profile)" "root 644" "a file that root may write"
sets() { # as an agent does that is killed then
    install -o sweepd -g sweepd -m 600 /test/first_values.journal /var/lib/sweepd/
    echo performance >$profile
}
back() { [ "$(cat $profile)" = balanced ] && [ ! -e /var/lib/sweepd/first_values.journal ]; }
ln -s /usr/share/sweepd/hands-off.conf /etc/systemd/system/sweepd.service.d/
printf '[Service]\nRestart=no\nReadWritePaths=/test/device/sys\n' >/etc/systemd/system/sweepd.service.d/rights.conf # where the test has its sysfs
systemctl daemon-reload
systemctl restart sweepd.service
pid=$(property sweepd.service MainPID)
same "$(stat -c %U /proc/"$pid")" sweepd "user of the agent"
same "$(sed -n 's/^CapEff:\t//p' /proc/"$pid"/status)" 0000000000000006 "capabilities (CAP_DAC_OVERRIDE too, capability.h)"
systemd-analyze security --threshold=25 sweepd.service | tail -n 1

step "an agent that is killed has its first values back at once"
sets
kill -KILL "$pid"
until_true back
same "$(systemctl is-active sweepd.service || true)" failed "the agent that was killed, which nobody started again"
journalctl -b -u sweepd.service | grep -F "$profile has its first value again: balanced, after performance"

step "so they are when it starts, after a cut of the power"
sets
systemctl start sweepd.service
back || fail "the agent answers, and its first values are not back: $(cat $profile)"

step "without the right it says what is left and how to put it back, and watches"
rm /etc/systemd/system/sweepd.service.d/hands-off.conf /etc/systemd/system/sweepd.service.d/rights.conf
systemctl daemon-reload
sets
systemctl restart sweepd.service
running
journalctl -b -u sweepd.service | grep -F "NOT put back" | grep -F "by hand: echo balanced | sudo tee $profile" >/dev/null
same "$(cat $profile)" performance "what nobody could put back"
HOST_SYS=/test/device/sys sweepd actuators restore
back || fail "root's restore leaves $(cat $profile)"

step "removing stops it and keeps what is the user's"
dpkg -r sweepd
! running
! systemctl --quiet is-active sweepd.socket
[ -s /var/lib/sweepd/sweepd.db ] && [ -s /etc/sweepd/sweepd.yaml ]
[ ! -e /usr/bin/sweepd ]
[ ! -e /etc/systemd/system/multi-user.target.wants/sweepd.service ]

step "purging removes that too"
dpkg -P sweepd
files >/test/after
diff <(grep -v "$accounts" /test/before) <(grep -v "$accounts" /test/after)
echo "PASSED"
