#!/bin/bash
# The Windows program under Wine, on a simulated battery: Wine reads power_supply,
# so in a mount namespace of our own a folder stands in for the kernel's. WORK holds
# sweepd.exe, bcryptprimitives.dll, supply/, the table day.csv, tests of packages, and
# sweepd, the program for this system, which must say the same; run in `unshare --mount`.
#   wine.sh WORK
set -eEuo pipefail
work=$1
unset CI # tests that need a program of Linux skip here
export WINEPREFIX=$work/prefix WINEDEBUG=-all WINEARCH=win64 SWEEPD_AGENT=http://127.0.0.1:9745
data=$WINEPREFIX/drive_c/ProgramData/sweepd
program="$WINEPREFIX/drive_c/Program Files/sweepd/sweepd.exe"
trap 'echo "FAILED in line $LINENO: $BASH_COMMAND"; cat "$work/agent.log" "$data/sweepd.log"' ERR
trap '[ -z "${agent:-}" ] || kill "$agent" 2>/dev/null || true; /usr/lib/wine/wineserver -k || true' EXIT

step() { echo "== $* (${SECONDS} s)"; }
fail() { echo "FAILED: $*"; tail -n 40 "$work/agent.log" "$data/sweepd.log" 2>/dev/null; exit 1; }
same() { [ "$1" = "$2" ] || fail "$3: got \"$1\", want \"$2\""; }
wine() { timeout 60 /usr/lib/wine/wine64 "$@"; }
sweepd() { echo "$*" >>"$work/tried"; wine "$program" "$@"; }
refuses() { # WORDS, COMMAND...: it ends with 1 and says so
    local said code=0
    said=$("${@:2}" 2>&1) || code=$?
    [[ $code = 1 && $said == *"$1"* ]] || fail "${*:2} ends with $code: $said"
}
supply() { # online, status
    echo "$1" >"$work/supply/ADP0/online"
    echo "$2" >"$work/supply/BAT0/status"
}
until_true() { # at most 30 s
    for _ in $(seq 300); do if "$@"; then return; fi; sleep 0.1; done
    fail "not within 30 s: $*"
}
metrics() { (exec 3<>/dev/tcp/127.0.0.1/9745 && printf 'GET /metrics HTTP/1.0\r\n\r\n' >&3 && cat <&3) 2>/dev/null; }
shows() { metrics | grep -q "$1"; }
silent() { if metrics | grep -q .; then fail "an agent answers"; fi; }
state() { wine sc query sweepd | sed -n 's/.*STATE *: \([0-9]\).*/\1/p'; } # 1 stopped, 4 running (winsvc.h)
latest() { sqlite3 "$data/sweepd.db" "SELECT state FROM run_table ORDER BY started_at DESC LIMIT 1"; }

ip link set lo up
mount --bind "$work/supply" /sys/class/power_supply
# The server that stays (-p) keeps the service manager while no program runs. The
# first program sets Wine up; `wineboot -i` would start a second service manager.
mkdir -p "$WINEPREFIX"
/usr/lib/wine/wineserver -p
wine cmd /c exit
cp "$work/bcryptprimitives.dll" "$WINEPREFIX/drive_c/windows/system32/"
mkdir "$(dirname "$program")"
cp "$work/sweepd.exe" "$program"

step "program and sensors"
supply 0 Discharging
sweepd version
sweepd sensors --json >"$work/sensors.json"

step "a run on battery, one whose supply changes, one on mains"
/usr/lib/wine/wine64 "$program" agent 2>"$work/agent.log" &
agent=$!
echo agent >>"$work/tried"
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
sweepd run watch --workload tile-sort --result-from 'score=sweepd ([0-9]+)' -- 'C:\Program Files\sweepd\sweepd.exe' version
sweepd run list --json >"$work/runs.json"
sweepd run start --workload tile-sort
kill -KILL "$agent" && wait "$agent" 2>/dev/null || true
agent=

step "the service manager starts, stops and removes the agent"
refuses "sweepd service install" sweepd service start
sweepd service install
# Wine puts the rights of administrators into the group of the mode.
same "$(stat -c %a "$data")" 775 "mode of the folder"
grep -q '^#interval: 250ms' "$data/sweepd.yaml"
same "$(state)" 1 "state of the installed service"
sweepd service start
same "$(state)" 4 "state of the started service"
shows '^sweepd_build_info' # "started" means that the agent answers
same "$(latest)" interrupted "the run that the kill cut off"
sweepd run start --workload tile-sort
sweepd service stop
same "$(state)" 1 "state of the stopped service"
silent
same "$(latest)" interrupted "the run that the stop cut off"
same "$(sqlite3 "$data/sweepd.db" 'PRAGMA integrity_check')" ok "the data"
[ ! -e "$data/sweepd.db-wal" ] # the data was closed
tail -n 1 "$data/sweepd.log" | grep -q '"msg":"stopped"'
echo 'devise: unit-oak' >"$data/sweepd.yaml"
refuses 'devise' sweepd service start
same "$(state)" 1 "state of a service that cannot start"
echo 'device: unit-oak' >"$data/sweepd.yaml"
sweepd service start
shows '^sweepd_supply_online{device="unit-oak"'

step "every other command"
sweepd plan new --workload tile-sort --settings 25W,35W --supply mains --repeats 1 --seed 7
sweepd plan next
sweepd run start
printf 'frame_ms\r\n16.7\r\n16.6\r\n33.5\r\n' >"$WINEPREFIX/drive_c/frames.csv"
sweepd run stop --result score=14 --frames 'C:\frames.csv' --frame-column frame_ms
sweepd plan extend --repeats 1
sweepd plan status
sweepd plan list
refuses "in force already" sweepd plan follow 1
for command in "run --no-runner" pause resume stop runner; do # the configuration names nothing that may be set
    # shellcheck disable=SC2086
    refuses "hands_off:" sweepd plan $command
done
sweepd status
sweepd actuators
sweepd actuators restore
sweepd run doubts
sweepd device list
# Not into grep -q, which hangs up on what is long.
sweepd console openapi >"$work/openapi.json"
grep -q openapi "$work/openapi.json"
sweepd console list
sweepd console pair --json | grep code
sweepd console pair --program scraper --json | grep token
sweepd console revoke scraper
refuses "no phone or program named" sweepd console revoke nobody
refuses "there is no device" sweepd device rename nobody somebody
sweepd run show last
sweepd run result last score=15
refuses "no line names columns" sweepd run meter last 'C:\frames.csv'
sweepd run reject last --why "seen"
sweepd run keep last --why "seen again"
sweepd run keep last --undo
sweepd run keep last --why "seen again"
sweepd run correct last --set-note "seen twice"
sweepd run correct --undo
sweepd run history last
refuses "was not found idle at its end" sweepd run trim last
sweepd setting quiet
sweepd schedule
sweepd import "Z:$work/day.csv" --data 'C:\day' | grep '^48 runs added'
sweepd import --list --data 'C:\day'
sweepd merge 'C:\day\sweepd.db' | grep '^48 runs added'
sweepd check | tail -n 1
sweepd export --as json --out 'C:\runs.json'
for shell in bash zsh fish powershell; do sweepd completion $shell >/dev/null; done
sweepd help >/dev/null
refuses "runs on Linux only" sweepd demo
sweepd service remove
silent
refuses "sweepd service install" sweepd service stop

step "the same answers as on this system"
unset SWEEPD_AGENT # none runs any more: one that is named would have to answer
for words in "run list" "run list --json" "run show last --json" "compare --by supply" "compare --by device --a unit-elm --b unit-oak --json" \
    "curve --json" "battery --json" "plan status --csv"; do
    # shellcheck disable=SC2086 # words they are
    sweepd $words >"$work/there"
    "$work/sweepd" $words --data "$data" --config "$data/sweepd.yaml" >"$work/here"
    diff "$work/here" "$work/there" || fail "$words differs"
done
sweepd export --as csv --out 'C:\runs.csv'
sweepd report --out 'C:\report'
"$work/sweepd" export --as csv --out "$work/runs.csv" --data "$data"
"$work/sweepd" report --out "$work/report" --data "$data"
diff "$work/runs.csv" "$WINEPREFIX/drive_c/runs.csv"
sed -i 's|<footer>.*</footer>|<footer></footer>|' "$work/report/report.html" "$WINEPREFIX/drive_c/report/report.html" # it has the time, in UTC or GMT
diff -r "$work/report" "$WINEPREFIX/drive_c/report"

step "no command was left out"
commands() { wine "$program" __complete "$@" "" 2>/dev/null | sed '/^:/,$d' | cut -f1; }
for group in "" run plan actuators service completion; do
    for command in $(commands $group); do
        grep -q "^${group:+$group }$command\b" "$work/tried" || fail "${group:+$group }$command was not tried"
    done
done

# Left out: a test that needs the go command, and what takes long and is the same on
# every system.
for suite in "$work"/*.test.exe; do
    name=$(basename "$suite" .test.exe)
    step "tests of $name"
    (cd "${name/_//}" && timeout 420 /usr/lib/wine/wine64 "$suite" -test.short -test.skip '^(TestCaptureIsComplete|TestStudy.*|TestBadInput|TestWritersPassBetweenSlices|TestMergeLeavesBadRunsOut|TestFlippedBytes|TestALiveLogIsItsOwn)$' >"$work/$name.log" 2>&1) || true
    grep -q '^\(PASS\|FAIL\)' "$work/$name.log" || { tail "$work/$name.log"; fail "$name did not end"; }
    # os.RemoveAll does not work in Wine 8, so cleaning up may fail; nothing else may.
    if bad=$(grep -E '^ +[a-z_]+\.go:[0-9]+: |^panic:|^fatal error:' "$work/$name.log" | grep -v 'TempDir RemoveAll cleanup'); then
        fail "$bad"
    fi
done
echo PASSED
