# For the scripts that a Debian system runs when it has just booted: what they print
# goes to /test/log, and the system powers off when they end.
set -eEuo pipefail
exec >/test/log 2>&1
export LC_ALL=C DEBIAN_FRONTEND=noninteractive
trap 'echo "FAILED in line $LINENO: $BASH_COMMAND"; journalctl --no-pager -b _COMM=sweepd + _COMM=systemd | tail -n 40' ERR
trap 'kill -s RTMIN+4 1' EXIT # power off, as systemd(1) says

step() { echo "== $*"; }
fail() { echo "FAILED: $*"; exit 1; }
same() { [ "$1" = "$2" ] || fail "$3: got \"$1\", want \"$2\""; }
until_true() { # at most 30 s
    for _ in $(seq 300); do if "$@"; then return; fi; sleep 0.1; done
    fail "not within 30 s: $*"
}
metrics() {
    (exec 3<>/dev/tcp/127.0.0.1/9745 && printf 'GET /metrics HTTP/1.0\r\n\r\n' >&3 && cat <&3) 2>/dev/null
}
shows() { metrics | grep -q "$1"; }
# What an installation could leave behind: everything but what runs, and dpkg's and
# systemd's own books.
files() {
    find / /home -xdev \( -path /proc -o -path /sys -o -path /run -o -path /tmp -o -path /test -o -path /var/log -o -path /var/tmp \
        -o -path /var/lib/dpkg -o -path /var/lib/systemd -o -path /var/cache/ldconfig \) -prune -o -print | sort -u
}
