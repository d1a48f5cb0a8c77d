package deploy

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/internal/realkernel"
)

// guestSystem starts the system on the disk under its own systemd, which is the first
// process of its own names for processes, and prints what its script logged.
const guestSystem = `
set -e
modprobe virtio_pci; modprobe virtio_blk; modprobe crc32c_generic; modprobe ext4
mkdir -p /new
mount /dev/vda /new
for fs in sysfs:sys devtmpfs:dev tmpfs:run cgroup2:sys/fs/cgroup; do mount -t ${fs%:*} ${fs%:*} /new/${fs#*:}; done
unshare -p -f -m sh -c 'cd /new && mount -t proc proc proc && mount --move . / && exec chroot . /usr/bin/env container=rig /lib/systemd/systemd --log-target=console' >/new/console.log 2>&1 || true
[ -e /new/test/log ] || tail -n 40 /new/console.log
cat /new/test/log
`

// TestRightToSet has the unit of the package, without and with its drop-in, write to the
// files of a real kernel under a real systemd.
func TestRightToSet(t *testing.T) {
	need(t, "debootstrap", "dpkg-deb", "tar", "mke2fs")
	if os.Geteuid() != 0 {
		t.Skip("needs root to unpack a system")
	}
	root := withScript(t, "rights.sh")
	command(t, nil, "dpkg-deb", "-x", packageFile(built(t), "amd64"), root)
	command(t, nil, "chroot", root, "systemd-sysusers", "sweepd.conf")
	const processor = "/sys/devices/system/cpu/cpu1/online"
	write(t, filepath.Join(root, "test/off.journal"), firstValues("cores", processor, "1", "0"))
	write(t, filepath.Join(root, "test/on.journal"), firstValues("cores", processor, "0", "1"))
	got := realkernel.Boot(t, realkernel.Options{Disks: []string{realkernel.NewDisk(t, root)}, Processors: 2, Timeout: 5 * time.Minute, Script: guestSystem})
	if got.ExitCode != 0 {
		t.Errorf("the guest ended with %d", got.ExitCode)
	}
	passed(t, "rights.sh", strings.ReplaceAll(got.Stdout, "\r", ""))
}
