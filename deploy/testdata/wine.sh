#!/bin/bash
# The Windows program under Wine, on a simulated battery: Wine reads power_supply,
# so in a mount namespace of our own a folder stands in for the kernel's. WORK holds
# sweepd.exe, bcryptprimitives.dll and supply/; run in `unshare --mount`.
#   wine.sh WORK
set -eEuo pipefail
work=$1
unset CI # tests that need a program of Linux skip here
export WINEPREFIX=$work/prefix WINEDEBUG=-all WINEARCH=win64 SWEEPD_AGENT=http://127.0.0.1:9745
trap 'echo "FAILED in line $LINENO: $BASH_COMMAND"; cat "$work/agent.log"' ERR
trap '[ -z "${agent:-}" ] || kill "$agent" 2>/dev/null || true; /usr/lib/wine/wineserver -k || true' EXIT

step() { echo "== $*"; }
wine() { timeout 60 /usr/lib/wine/wine64 "$@"; }
sweepd() { wine "$work/sweepd.exe" "$@"; }
supply() { # online, status
    echo "$1" >"$work/supply/ADP0/online"
    echo "$2" >"$work/supply/BAT0/status"
}
until_true() { # at most 30 s
    for _ in $(seq 300); do if "$@"; then return; fi; sleep 0.1; done
    echo "FAILED: not within 30 s: $*"; return 1
}
metrics() { (exec 3<>/dev/tcp/127.0.0.1/9745 && printf 'GET /metrics HTTP/1.0\r\n\r\n' >&3 && cat <&3) 2>/dev/null; }
shows() { metrics | grep -q "$1"; }

ip link set lo up
mount --bind "$work/supply" /sys/class/power_supply
wine wineboot -i
cp "$work/bcryptprimitives.dll" "$WINEPREFIX/drive_c/windows/system32/"

step "program and sensors"
supply 0 Discharging
sweepd version
sweepd sensors --json >"$work/sensors.json"

step "a run on battery, one whose supply changes, one on mains"
supply 0 Discharging
/usr/lib/wine/wine64 "$work/sweepd.exe" agent 2>"$work/agent.log" &
agent=$!
until_true shows '^sweepd_supply_online{.*} 0'
sweepd run start --workload tile-sort --setting 25W
until_true shows '^sweepd_battery_discharge_watts{.*} 4.83'
sweepd run stop --result score=12
sweepd run start --workload tile-sort
sleep 2 # longer than a change is waited for at the start
supply 1 Charging
until_true shows '^sweepd_battery_discharge_watts{.*} -4.83'
sleep 2 # as long as a change must last
sweepd run stop --result score=11
sweepd run start --workload tile-sort
sweepd run stop --result score=13
sweepd run list --json >"$work/runs.json"

step "every other command"
sweepd run show last
sweepd run reject last --why "seen"
sweepd run keep last --why "seen again"
sweepd setting quiet
sweepd compare --by supply
sweepd curve
sweepd battery --full-energy 50Wh
sweepd report --out 'C:\report'
sweepd export --as csv --out 'C:\runs.csv'
sweepd import 'C:\runs.csv' --data 'C:\other'
sweepd run list --data 'C:\other' --json >"$work/imported.json"
[ -s "$WINEPREFIX/drive_c/ProgramData/sweepd/sweepd.db" ]
ls "$WINEPREFIX/drive_c/report" | head -n 5

kill "$agent" && wait "$agent" || true
agent=

# Two tests do not fit: one needs the go command, one the words of Unix.
for suite in "$work"/*.test.exe; do
    name=$(basename "$suite" .test.exe)
    step "tests of $name"
    (cd "$name" && timeout 120 /usr/lib/wine/wine64 "$suite" -test.short -test.skip '^(TestCaptureIsComplete|TestOpenRefuses)$' >"$work/$name.log" 2>&1) || true
    grep -q '^\(PASS\|FAIL\)' "$work/$name.log" || { echo "FAILED: $name did not end"; tail "$work/$name.log"; exit 1; }
    # os.RemoveAll does not work in Wine 8, so cleaning up may fail; nothing else may.
    if bad=$(grep -E '^ +[a-z_]+\.go:[0-9]+: |^panic:|^fatal error:' "$work/$name.log" | grep -v 'TempDir RemoveAll cleanup'); then
        echo "FAILED: $bad"; exit 1
    fi
done
echo "PASSED"
