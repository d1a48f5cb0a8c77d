#!/bin/bash
# README's "Five minutes without hardware", as somebody types it: in a network of its own,
# below a copy of the project. The blocks of commands are in WORK/1, 2, 3 and 4.
#   unshare --net --pid --fork --kill-child deploy/testdata/walk.sh WORK
set -eEuo pipefail
work=$1
export LC_ALL=C
unset SWEEPD_DATA SWEEPD_AGENT SWEEPD_CONFIG HOST_SYS HOST_PROC HOST_ETC
trap 'echo "FAILED in line $LINENO: $BASH_COMMAND"; cat "$work"/*.log' ERR
ip link set lo up
until_true() { # SECONDS COMMAND...
    for _ in $(seq "${1}0"); do if "${@:2}"; then return; fi; sleep 0.1; done
    echo "FAILED: not within $1 s: ${*:2}"; cat "$work"/*.log; exit 1
}
answers() { (exec 3<>/dev/tcp/127.0.0.1/"$1") 2>/dev/null; }

source "$work/1" >"$work/1.log" 2>&1 &
until_true 300 answers 9745 # it is built first
source "$work/2" | tee "$work/2.out"

head -n 1 "$work/3" >"$work/3a"
tail -n +2 "$work/3" >"$work/3b"
source "$work/3a" >"$work/3.log" 2>&1 &
scraped() { (source "$work/3b") >"$work/3.out" 2>>"$work/3b.log" && grep -q "=>" "$work/3.out"; }
until_true 60 scraped
cat "$work/3.out"
bin/sweepd compare --by supply

# A plan does itself: the person agrees, and is the hand at the plug when it is asked for one.
mapfile -t typed < <(sed 's/ *#.*//' "$work/4")
[[ ${#typed[@]} = 4 && ${typed[2]} = "bin/sweepd plan run" && ${typed[3]} = "bin/sweepd demo unplug" ]] || { echo "FAILED: README has other commands: ${typed[*]}"; exit 1; }
eval "${typed[0]}"
eval "${typed[1]}"
eval "${typed[2]} --consent --as-root" >"$work/4.log" 2>&1 &
day=$!
hand() { bin/sweepd plan status | grep -qi "by hand"; }
until_true 240 hand
before=$(bin/sweepd run list --json | grep -c '"finished"' || true)
eval "${typed[3]}"
more() { [ "$(bin/sweepd run list --json | grep -c '"finished"')" -gt "$before" ]; }
until_true 120 more
bin/sweepd plan stop --now
wait $day
! bin/sweepd plan status | grep -i "set now" || { echo "FAILED: something is still set"; exit 1; }
cat "$work/4.log"
echo PASSED
