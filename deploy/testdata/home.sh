#!/bin/bash
# The life of an installation below a home folder, on a system whose root is
# read-only: refused where it cannot be, installed without and with a log-in, upgraded
# during a run, removed. Run as root by life.service; /test holds a simulated device.
. /test/booted.sh

me=walker
home=/home/$me
id=$(id -u $me)
# One for whom no systemd runs, and one who has logged in.
stranger() { (cd $home && setpriv --reuid $me --regid $me --init-groups env -i HOME=$home PATH=/usr/bin:/bin "$@"); }
user() { (cd $home && setpriv --reuid $me --regid $me --init-groups env -i HOME=$home PATH=$home/.local/bin:/usr/bin:/bin XDG_RUNTIME_DIR=/run/user/"$id" "$@"); }
log_in() { systemd-run --quiet --unit=seat -p PAMName=login -p User=$me -p WorkingDirectory=$home sleep infinity; }
log_out() { systemctl stop seat.service; }
property() { user systemctl --user show --value -p "$1" sweepd.service; }
running() { user systemctl --user --quiet is-active sweepd.service; }
says() { # WORDS COMMAND...: it works and says so
    local words=$1; shift
    "$@" >/tmp/said 2>&1 || fail "exit $?: $*: $(cat /tmp/said)"
    cat /tmp/said
    grep -qF -- "$words" /tmp/said || fail "$* does not say \"$words\""
}
refuses() { # WORDS COMMAND...: it exits with 1 and says why
    local words=$1 code=0; shift
    "$@" >/tmp/said 2>&1 || code=$?
    cat /tmp/said
    same "$code" 1 "exit of $*"
    grep -qF -- "$words" /tmp/said || fail "$* does not say \"$words\""
}
unpack() { # VERSION
    stranger tar -xzf /test/"sweepd_$1_linux_amd64.tar.gz"
    echo "$home/sweepd_$1_linux_amd64/sweepd"
}

old=$(unpack 0.0.1)
new=$(unpack "$(cat /test/new.version)")
mount -t tmpfs -o mode=1777 none /tmp
mount -o remount,bind,ro / # but for /home, /var and /test, which the test has mounted
! touch /usr/bin/sweepd 2>/dev/null
! touch /etc/sweepd 2>/dev/null
files >/test/before

step "what cannot be done is said, and leaves nothing behind"
mount -t tmpfs none /etc/systemd/system
touch /etc/systemd/system/sweepd.service # as an administrator's own, or a package's beside it
refuses "installed for the whole system already (/etc/systemd/system/sweepd.service)" stranger "$old" service install
umount /etc/systemd/system
refuses "without sudo" env HOME=$home "$old" service install
refuses "nothing to remove" stranger "$old" service remove
mount --bind $home $home
mount -o remount,bind,ro $home
refuses "read-only file system: your home folder has to be writable" stranger "$old" service install
umount $home
chmod 500 $home
refuses "permission denied: your home folder has to be writable" stranger "$old" service install
chmod 700 $home
files | diff /test/before -

step "where no systemd of the user answers it is installed, and says when it starts"
says "sudo loginctl enable-linger $me" stranger "$old" service install
grep -qF "$home/.local/bin is not in PATH" /tmp/said
[ ! -e /run/user/"$id" ]
stranger mkdir -p .config/systemd/user/sweepd.service.d
stranger tee .config/systemd/user/sweepd.service.d/test.conf >/dev/null <<<$'[Service]\nEnvironment=HOST_SYS=/test/device/sys HOST_PROC=/test/device/proc'
sed -i 's/^#device: .*/device: unit-oak/' $home/.config/sweepd/sweepd.yaml

step "logging in starts it, logging out ends it"
log_in
until_true shows '^sweepd_build_info.*version="0.0.1"'
same "$(stat -c %U /proc/"$(property MainPID)")" $me "user of the agent"
until_true shows '^sweepd_battery_discharge_watts{device="unit-oak"'
log_out
gone() { ! metrics >/dev/null; }
until_true gone
log_in
until_true shows '^sweepd_build_info'

step "twice is once"
pid=$(property MainPID)
says "sweepd 0.0.1 was installed already: the agent runs" user "$old" service install
says "was installed already" user sweepd service install
same "$(property MainPID)" "$pid" "agent after the second installation"
! grep -q "PATH\|SWEEPD_DATA\|linger\|root" /tmp/said
says "commands typed here use /tmp/else" user SWEEPD_DATA=/tmp/else sweepd service install
says "enable-linger $me" user SSH_CONNECTION="10.0.0.2 5 10.0.0.1 22" sweepd service install

step "the counters are opened by the one step that needs root"
same "$(stat -c '%U %a' /test/device/sys/class/powercap/*/energy_uj | sort -u)" "root 400" "the counter of the test"
says "sudo cp $home/.local/share/sweepd/60-sweepd.rules /etc/udev/rules.d/" user HOST_SYS=/test/device/sys sweepd service install
! shows 'sweepd_energy_joules_total{device="unit-oak",domain="core"'
chown $me /test/device/sys/class/powercap/*/energy_uj # as the rule does: udev.sh has it in a kernel
until_true shows 'sweepd_energy_joules_total{device="unit-oak",domain="core"'

step "an upgrade cuts off no run, and says when the new program runs"
user sweepd run start --workload tile-sort --setting 15W
says "in place of 0.0.1." user "$new" service install
grep -qF "The agent goes on as the program it was" /tmp/said
same "$(property MainPID)" "$pid" "agent during the upgrade"
says "The agent goes on as the program it was" user "$new" service install
user sweepd run stop --result score=12
user systemctl --user restart sweepd
until_true shows "^sweepd_build_info.*version=\"$(cat /test/new.version)\""
same "$(user sweepd run list --json | grep -c '"state": "finished"')" 1 "runs after the upgrade"

step "what the user switched off stays off, and a stopped service is started"
user systemctl --user disable --now sweepd
says "You have switched the service off" user sweepd service install
! running
user systemctl --user enable sweepd
says "the agent runs" user sweepd service install
running

step "an agent that cannot start says why"
user systemctl --user stop sweepd
systemd-run --quiet --unit=by-hand -p User=$me $home/.local/bin/sweepd agent --data /tmp/other
until_true shows '^sweepd_build_info'
refuses "the port is in use" user sweepd service install
systemctl stop by-hand.service
echo 'devise: x' >>$home/.config/sweepd/sweepd.yaml
refuses "devise" user sweepd service install
sed -i '/^devise/d' $home/.config/sweepd/sweepd.yaml
user sweepd service install >/dev/null
running

step "removing cuts off no run, and keeps data and configuration"
user sweepd run start --workload tile-sort --setting 15W
refuses "is recording, and removing would cut it off" user sweepd service remove
running
# What carries out workloads comes with it, and is the user's to enable.
same "$(user systemctl --user is-enabled sweepd-runner.service || true)" disabled "the runner"
user systemctl --user --quiet enable sweepd-runner.service
[ -L $home/.config/systemd/user/graphical-session.target.wants/sweepd-runner.service ]
same "$(user systemctl --user show --value -p ExecStart sweepd-runner.service | grep -o "argv\[\]=[^;]*")" "argv[]=$home/.local/bin/sweepd plan runner " "the runner"
user sweepd run stop --result score=13
says "rm -r $home/.local/state/sweepd $home/.config/sweepd/sweepd.yaml" user sweepd service remove
gone
refuses "nothing to remove" user "$new" service remove
[ -s $home/.local/state/sweepd/sweepd.db ]
same "$(user systemctl --user show --value -p LoadState sweepd.service)" "not-found" "the unit"

step "installed anew it has its data and its settings again, also where XDG folders are elsewhere"
user "$new" service install >/dev/null
same "$(user sweepd run list --json | grep -c '"device": "unit-oak"')" 2 "runs of the first installation"
user sweepd service remove >/dev/null
user XDG_STATE_HOME="$home/my state/100%" "$new" service install >/dev/null
until_true shows '^sweepd_build_info'
[ -s "$home/my state/100%/sweepd/sweepd.db" ]
user XDG_STATE_HOME="$home/my state/100%" "$new" service remove | grep -F "'$home/my state/100%/sweepd'"

step "what it said deletes the rest"
rm -r "$home/my state" $home/.local/state/sweepd $home/.config/sweepd/sweepd.yaml $home/.config/systemd/user/sweepd.service.d
log_out
files >/test/after
diff /test/before <(grep -vE "^$home/\.(local|config)(/(bin|state|share|sweepd|systemd|systemd/user))?$" /test/after)
echo "PASSED"
