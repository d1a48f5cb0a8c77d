package realkernel_test

import (
	"archive/tar"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/internal/realkernel"
)

// cutScript mounts the disk of the data, and one whose file stands for what firmware keeps:
// it lies where the kernel would have the platform profile, on a file system of its own that
// has all on the disk at once, and nothing else on the disk because of it. The second processor is the kernel's own.
const cutScript = `
set -e
tar xf /rig/payload.tar -C /bin
modprobe virtio_pci; modprobe virtio_blk; modprobe crc32c_generic; modprobe ext4
mkdir -p /data
mount /dev/vda /data
mount -o sync /dev/vdb /sys/firmware/acpi
export NO_COLOR=1 COLUMNS=200
profile=/sys/firmware/acpi/platform_profile
cpu=/sys/devices/system/cpu/cpu1/online
[ -e $profile ] || { echo balanced >$profile; sync; }
fail() { echo "FAILED: $*"; exit 1; }
has() { # PROFILE CPU WHEN
	[ "$(cat $profile) $(cat $cpu)" = "$1 $2" ] || fail "$3: $(cat $profile) $(cat $cpu), want $1 $2"
}
kept() { [ -e /data/first_values.journal ]; }
restore() { # as the agent does first thing; then nothing is changed and nothing is kept
	kept || fail "$1: no first value is kept"
	sweepd actuators restore --data /data
	has balanced 1 "$1, restored"
	kept && fail "$1: first values are still kept"
	[ "$(sweepd actuators restore --data /data)" = "nothing to put back: /data has no first value of anything that sweepd set" ] || fail "$1: twice"
}
set_both() { setter set /data "$1" "$2" $profile=performance $cpu=0; }
`

// TestPowerCuts cuts the power while something is set, at the steps that count, and has the
// next start put it back. The profile stays changed over the cut where nobody does; after
// a cut the kernel itself has all processors again, after a kill it has not.
func TestPowerCuts(t *testing.T) {
	t.Parallel()
	payload := filepath.Join(t.TempDir(), "payload.tar")
	archive(t, payload, realkernel.Build(t, "sweepd/cmd/sweepd"), realkernel.Build(t, "./testdata/setter"))
	disks := []string{realkernel.NewDisk(t, ""), realkernel.NewDisk(t, "")}
	boot := func(cuts bool, script string) {
		t.Helper()
		got := realkernel.Boot(t, realkernel.Options{Binary: payload, Disks: disks, Processors: 2, Cuts: cuts, Script: cutScript + script})
		if got.ExitCode != 0 || strings.Contains(got.Stdout, "FAILED") {
			t.Fatalf("the script ended with %d:\n%s", got.ExitCode, got.Stdout)
		}
		t.Log(got.Stdout)
	}
	boot(true, `
has balanced 1 "at first"
kept && fail "there are first values"
if set_both kill "written online"; then fail "not killed"; fi
has performance 0 "killed after the writes"
restore "killed"
set_both cut "folder on the disk"
`)
	boot(true, `
has balanced 1 "cut between the journal and the write"
restore "cut between the journal and the write"
set_both cut "written online"
`)
	boot(true, `
has performance 1 "cut between the write and the restore"
restore "cut between the write and the restore"
set_both cut "put back online"
`)
	boot(true, `
has performance 1 "cut in the middle of the restore"
if setter restore /data kill "put back platform_profile"; then fail "not killed"; fi
has balanced 1 "killed before it was forgotten"
restore "killed before it was forgotten"
set_both cut "written platform_profile"
`)
	boot(false, `
has performance 1 "cut after the first of two writes"
restore "cut after the first of two writes"
`)
}

// archive packs programs.
func archive(t *testing.T, file string, programs ...string) {
	t.Helper()
	out, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	w := tar.NewWriter(out)
	for _, program := range programs {
		in, err := os.Open(program)
		if err != nil {
			t.Fatal(err)
		}
		info, err := in.Stat()
		if err != nil {
			t.Fatal(err)
		}
		if err := w.WriteHeader(&tar.Header{Name: filepath.Base(program), Mode: 0o755, Size: info.Size()}); err != nil {
			t.Fatal(err)
		}
		if _, err := io.Copy(w, in); err != nil {
			t.Fatal(err)
		}
		in.Close()
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
}
