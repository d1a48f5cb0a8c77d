#!/bin/bash
# A package in the hands of its own package manager, in a root folder that holds a small
# system: refused without what it depends on, installed, removed.
#   unshare --mount deploy/testdata/manager.sh deb|rpm|archlinux ROOT PACKAGE VERSION
set -eEuo pipefail
manager=$1 root=$2 file=$3 version=$4
export LC_ALL=C DEBIAN_FRONTEND=noninteractive
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
trap 'echo "FAILED in line $LINENO: $BASH_COMMAND"' ERR

step() { echo "== $*"; }
fail() { echo "FAILED: $*"; exit 1; }
same() { [ "$1" = "$2" ] || fail "$3: got \"$1\", want \"$2\""; }
# What is in the system: files and links, and each folder that is the package's own.
files() { (cd "$root" && find . -xdev \( -path ./proc -o -path ./var/lib/rpm -o -path ./var/lib/pacman -o -path ./var/lib/dpkg -o -path ./var/log -o -path ./var/cache \) -prune -o \( ! -type d -o -name 'sweepd*' \) -print | sort); }
accounts='^\./etc/\(passwd\|group\|shadow\|gshadow\|.pwd.lock\)-\?$'

case $manager in
deb)
    manage() { dpkg --root="$root" "$@"; }
    install() { manage -i "$file"; }
    remove() { manage -r sweepd; }
    installed() { dpkg-query --admindir="$root/var/lib/dpkg" -W -f '${db:Status-Status} ${Version}' sweepd; }
    state="installed $version"
    kept=etc/sweepd/sweepd.yaml
    ;;
rpm)
    manage() { rpm --force-debian --root "$root" "$@"; }
    rpm --root "$root" --initdb
    missing="systemd is needed by sweepd"
    install() { manage -i "$file"; }
    remove() { manage -e sweepd; }
    installed() { manage -q sweepd; }
    state="sweepd-$version-1.x86_64"
    kept=etc/sweepd/sweepd.yaml.rpmsave
    # The system is Debian's, so rpm does not know that systemd is there.
    printf '%s\n' 'Name: systemd' 'Version: 252' 'Release: 1' 'Summary: Stands for what is there' 'License: none' 'BuildArch: noarch' \
        '%description' 'Stands for what is there.' '%files' >"$work/systemd.spec"
    rpmbuild --quiet -bb --define "_topdir $work" "$work/systemd.spec" 2>&1
    provide() { manage -i "$work"/RPMS/noarch/systemd-252-1.noarch.rpm; }
    ;;
archlinux)
    mkdir -p "$root/var/lib/pacman"
    ln -sf bash "$root/usr/bin/sh" # as Arch has it; what pacman runs is bash's
    kept=etc/sweepd/sweepd.yaml.pacsave
    assumed=()
    manage() { pacman --root "$root" --dbpath "$root/var/lib/pacman" --arch x86_64 --noconfirm "$@" "${assumed[@]}"; }
    missing="unable to satisfy dependency 'systemd' required by sweepd"
    install() { manage -U "$file"; }
    remove() { manage -R sweepd; }
    installed() { pacman --root "$root" --dbpath "$root/var/lib/pacman" -Q sweepd; }
    state="sweepd $version-1"
    provide() { assumed=(--assume-installed systemd=252); }
    ;;
esac
mount -t proc proc "$root/proc" # as installers have it; systemd-tmpfiles wants it

if [ "$manager" != deb ]; then
    step "without what it needs it is refused"
    if install >"$work/said" 2>&1; then fail "it was installed"; fi
    grep -F "$missing" "$work/said" || fail "$(cat "$work/said")"
    [ ! -e "$root/usr/bin/sweepd" ]
    provide
fi
files >"$work/before"

step "installed, with the user and the folder, and nothing starts at boot"
install 2>&1
same "$(installed)" "$state" "what the manager knows"
same "$(chroot "$root" sweepd version --json | sed -n 's/.*"version": "\(.*\)".*/\1/p')" "$version" "what the program says"
same "$(chroot "$root" stat -c '%U:%G %a' /var/lib/sweepd)" "sweepd:sweepd 2770" "folder of the data"
same "$(chroot "$root" systemctl is-enabled sweepd.service sweepd.socket || true)" $'disabled\ndisabled' "after the installation"
for there in usr/share/man/man1/sweepd-agent.1.gz usr/share/bash-completion/completions/sweepd usr/share/doc/sweepd/README.md usr/lib/sysusers.d/sweepd.conf; do
    [ -s "$root/$there" ] || fail "no $there"
done
[ -s "$root/usr/share/licenses/sweepd/copyright" ] || [ -s "$root/usr/share/doc/sweepd/copyright" ] || fail "no licences"

step "installing it again keeps what was changed"
echo 'device: unit-oak' >>"$root/etc/sweepd/sweepd.yaml"
chroot "$root" systemctl --quiet enable sweepd.service
case $manager in rpm) manage -U --force "$file" ;; *) install ;; esac 2>&1
same "$(tail -n 1 "$root/etc/sweepd/sweepd.yaml")" "device: unit-oak" "the configuration"
[ -L "$root/etc/systemd/system/multi-user.target.wants/sweepd.service" ] || fail "the service is switched off"
touch "$root/var/lib/sweepd/data"

step "removing keeps data and configuration, and nothing else"
remove 2>&1
if installed >/dev/null 2>&1 && [ "$manager" != deb ]; then fail "the manager has it still"; fi
[ ! -L "$root/etc/systemd/system/multi-user.target.wants/sweepd.service" ] || fail "the service is still switched on"
same "$(tail -n 1 "$root/$kept")" "device: unit-oak" "the configuration"
rm "$root/var/lib/sweepd/data" "$root/$kept"
rm -f "$root/etc/default/sweepd" # dpkg keeps what was not changed, too
rmdir "$root/var/lib/sweepd" "$root/etc/sweepd" 2>/dev/null || true
files >"$work/after"
diff <(grep -v "$accounts" "$work/before") <(grep -v "$accounts" "$work/after")
echo PASSED
