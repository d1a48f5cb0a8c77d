package realkernel

import (
	"bytes"
	"context"
	_ "embed"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

//go:embed battery.asl
var batterySource []byte

//go:embed init.sh
var initScript []byte

//go:embed packages.txt
var packages string

// Options says what to run. Script is required.
type Options struct {
	// Binary is the path of a static Linux program for amd64. The script finds
	// it on its PATH under its own name. None if empty.
	Binary string
	// Script is the text of a busybox sh script.
	Script string
	// ChargeUnits makes the battery report charge and current (mAh, mA)
	// instead of energy and power.
	ChargeUnits bool
	// Disks are files with a file system, such as NewDisk makes, that the guest has as
	// /dev/vda, /dev/vdb and so on after `modprobe virtio_pci; modprobe virtio_blk`. They
	// keep what the guest brought onto them.
	Disks []string
	// Cuts says that the script cuts the power, by `echo b >/proc/sysrq-trigger`: the kernel
	// stops at once, without bringing anything onto the disk (Linux,
	// Documentation/admin-guide/sysrq.rst). A script that gets to its end is a failure then,
	// and the result has no exit code and no OutDir.
	Cuts bool
	// Processors is how many the guest has, 1 if zero. With several the guest's time is the
	// host's, and no output is the same every time.
	Processors int
	// KernelArgs are added to the kernel's command line, such as
	// "battery.cache_time=0".
	KernelArgs []string
	// Timeout ends the guest after that much of the host's time, 3 minutes if
	// zero.
	Timeout time.Duration
}

// Result is what a run of the guest left.
type Result struct {
	Stdout   string // what the script printed, standard error included
	ExitCode int    // that of the script
	OutDir   string // copy of the guest's /out; gone when the test ends
	Console  string // the kernel's log
}

// Boot starts the guest, runs the script and returns what it left. The test
// fails here if the guest does not run the script to its end; a script that
// ends with another exit code than 0 is the caller's to judge. Where the host
// lacks a package the test is skipped, in CI (environment CI=true) it fails.
// Several tests may boot at once.
func Boot(t testing.TB, o Options) Result {
	t.Helper()
	requireHost(t)
	timeout := o.Timeout
	if timeout == 0 {
		timeout = 3 * time.Minute
	}
	ctx, cancel := context.WithTimeout(t.Context(), timeout)
	defer cancel()
	got, err := boot(ctx, t.TempDir(), o)
	if o.Cuts && errors.Is(err, errEndedEarly) {
		return got
	}
	if err == nil && o.Cuts {
		err = errors.New("the script came to its end and did not cut the power")
	}
	if err != nil {
		t.Fatalf("realkernel: %v\nThe script had printed:\n%s\nThe kernel's log ends:\n%s",
			err, tail(got.Stdout, 40), tail(got.Console, 40))
	}
	return got
}

// Kernel returns the release of the guest's kernel, as uname -r prints it, for a
// caller who brings a module. It fails or skips as Boot does.
func Kernel(t testing.TB) string {
	t.Helper()
	requireHost(t)
	image, err := guestImage(t.Context())
	if err != nil {
		t.Fatalf("realkernel: prepare the guest's kernel: %v", err)
	}
	releases, err := os.ReadDir(filepath.Join(image, "root/lib/modules"))
	if err != nil || len(releases) != 1 {
		t.Fatalf("realkernel: the guest has modules of %d kernels, want 1: %v", len(releases), err)
	}
	return releases[0].Name()
}

// requireHost skips the test where the host lacks a package, and fails it in CI.
func requireHost(t testing.TB) {
	t.Helper()
	if err := checkHost(); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal(err)
		}
		t.Skip(err)
	}
}

// checkHost says what the host lacks and how to get it.
func checkHost() error {
	if runtime.GOARCH != "amd64" {
		return fmt.Errorf("realkernel: the guest's packages are for amd64, this host is %s", runtime.GOARCH)
	}
	for _, tool := range []string{"qemu-system-x86_64", "iasl", "xz", "apt-get", "dpkg-deb"} {
		if _, err := exec.LookPath(tool); err != nil {
			return fmt.Errorf("realkernel: no %s on this host; on Debian: apt-get install --no-install-recommends %s",
				tool, strings.Join(strings.Fields(packages), " "))
		}
	}
	return nil
}

// boot does the work of Boot in an empty folder. The result is filled as far
// as it got, also beside an error.
func boot(ctx context.Context, dir string, o Options) (Result, error) {
	var got Result
	image, err := guestImage(ctx)
	if err != nil {
		return got, fmt.Errorf("prepare the guest's kernel: %w", err)
	}
	ram, err := initramfs(ctx, filepath.Join(dir, "root"), image, o)
	if err != nil {
		return got, fmt.Errorf("build the initramfs: %w", err)
	}
	if err := os.WriteFile(filepath.Join(dir, "initramfs"), ram, 0o600); err != nil {
		return got, err
	}
	if err := compileTable(ctx, dir, o.ChargeUnits); err != nil {
		return got, fmt.Errorf("compile battery.asl: %w", err)
	}
	runErr := runGuest(ctx, dir, filepath.Join(image, "kernel"), o)
	console, _ := os.ReadFile(filepath.Join(dir, "console"))
	got.Console = string(console)
	output, err := os.ReadFile(filepath.Join(dir, "output"))
	if err = errors.Join(runErr, err); err != nil {
		got.Stdout = string(output)
		return got, err
	}
	return parseOutput(ctx, got, output, filepath.Join(dir, "out"))
}

// pack prints a folder as the archive that the kernel unpacks at boot (Linux,
// Documentation/driver-api/early-userspace/buffer-format.rst); $0 is busybox. Equal
// files give equal archives: no owner, no time.
const pack = `chmod -R 755 . && find . -exec touch -d @0 {} + &&
	find . -mindepth 1 | LC_ALL=C sort | "$0" cpio -o -H newc -R 0:0 --renumber-inodes --ignore-devno`

// initramfs is the image's root with init, script and binary added, in an empty folder.
func initramfs(ctx context.Context, dir, image string, o Options) ([]byte, error) {
	root := filepath.Join(image, "root")
	if err := os.CopyFS(dir, os.DirFS(root)); err != nil {
		return nil, err
	}
	files := map[string][]byte{"init": initScript, "rig/script": []byte(o.Script)}
	if o.Binary != "" {
		content, err := os.ReadFile(o.Binary)
		if err != nil {
			return nil, err
		}
		files["rig/"+filepath.Base(o.Binary)] = content
	}
	if err := os.Mkdir(filepath.Join(dir, "rig"), 0o755); err != nil {
		return nil, err
	}
	for name, content := range files {
		if err := os.WriteFile(filepath.Join(dir, name), content, 0o755); err != nil {
			return nil, err
		}
	}
	return command(ctx, dir, "sh", "-c", pack, filepath.Join(root, "bin/busybox"))
}

func compileTable(ctx context.Context, dir string, chargeUnits bool) error {
	source := filepath.Join(dir, "table.asl")
	if err := os.WriteFile(source, batterySource, 0o600); err != nil {
		return err
	}
	args := []string{"-p", filepath.Join(dir, "table")}
	if chargeUnits {
		args = append(args, "-D", "CHARGE_UNITS")
	}
	_, err := command(ctx, dir, "iasl", append(args, source)...)
	return err
}

// runGuest runs QEMU until the guest switches itself off.
func runGuest(ctx context.Context, dir, kernel string, o Options) error {
	args := []string{
		"-M", "q35", "-accel", "tcg", "-cpu", "max", "-m", "512",
		"-seed", "1", "-rtc", "base=2026-11-24T08:00:00,clock=vm",
		"-nodefaults", "-no-user-config", "-no-reboot", "-display", "none",
		"-kernel", kernel, "-initrd", "initramfs", "-acpitable", "file=table.aml",
		"-append", strings.Join(append([]string{"console=ttyS0 quiet panic=-1"}, o.KernelArgs...), " "),
		"-serial", "file:console", "-serial", "file:output",
	}
	if o.Processors > 1 {
		args = append(args, "-smp", strconv.Itoa(o.Processors))
	} else {
		// One instruction takes 1 ns, a sleep takes no time of the host's; date
		// and random numbers are always the same. With a second processor the
		// guest hangs at start (QEMU 7.2).
		args = append(args, "-icount", "shift=0,sleep=off")
	}
	for i, disk := range o.Disks {
		id := fmt.Sprintf("disk%d", i)
		args = append(args, "-drive", "if=none,format=raw,id="+id+",file="+disk, "-device", "virtio-blk-pci,drive="+id)
	}
	cmd := exec.CommandContext(ctx, "qemu-system-x86_64", args...)
	cmd.Dir = dir
	var log bytes.Buffer
	cmd.Stdout, cmd.Stderr = &log, &log
	// The guest must not outlive a test process that is killed. The signal
	// comes when the thread that started it ends, so the thread is kept.
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Run(); err != nil {
		if ctx.Err() != nil {
			return fmt.Errorf("the guest was stopped before the script's end: %w", context.Cause(ctx))
		}
		return fmt.Errorf("qemu-system-x86_64: %w: %s", err, log.Bytes())
	}
	return nil
}

// command runs a tool of the host and returns its standard output.
func command(ctx context.Context, dir, name string, args ...string) ([]byte, error) {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "LC_ALL=C", "DEBIAN_FRONTEND=noninteractive")
	var out, log bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &log
	if err := cmd.Run(); err != nil {
		return nil, fmt.Errorf("%s: %w: %s", strings.Join(cmd.Args, " "), err, tail(out.String()+log.String(), 10))
	}
	return out.Bytes(), nil
}

// tail returns the last n lines.
func tail(text string, n int) string {
	lines := strings.Split(strings.TrimRight(text, "\r\n"), "\n")
	return strings.Join(lines[max(0, len(lines)-n):], "\n")
}
