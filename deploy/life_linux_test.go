package deploy

import (
	"context"
	"fmt"
	"hash/crc32"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"sweepd/internal/simdevice"
)

// TestLifeOfThePackage boots a Debian system with its real systemd and has
// testdata/life.sh take the package through its life there.
func TestLifeOfThePackage(t *testing.T) {
	needBoot(t)
	newer := packageFile(built(t), "amd64")
	passes(t, "life.sh", func(root string) []string {
		command(t, nil, "cp", newer, filepath.Join(root, "test/new.deb"))
		older(t, newer, filepath.Join(root, "test/old.deb"))
		write(t, filepath.Join(root, "test/first_values.journal"), firstValues("profile", "/test/device/sys/firmware/acpi/platform_profile", "performance", "balanced"))
		return nil
	})
}

// firstValues is the file that an agent leaves which set a place and died.
func firstValues(actuator, path, text, was string) string {
	entry := fmt.Sprintf(`{"first":{"actuator":%q,"path":%q,"text":%q,"was":%q}}`, actuator, path, text, was)
	return fmt.Sprintf("sweepd first values, version 1\n%08x %s\n", crc32.Checksum([]byte(entry), crc32.MakeTable(crc32.Castagnoli)), entry)
}

// TestLifeInAHomeFolder does the same with the archive, as an ordinary user on a system
// with a read-only root.
func TestLifeInAHomeFolder(t *testing.T) {
	needBoot(t)
	newer := archiveFile(built(t), testVersion)
	passes(t, "home.sh", func(root string) (options []string) {
		test := filepath.Join(root, "test")
		command(t, nil, "cp", newer, test)
		olderArchive(t, newer, archiveFile(test, "0.0.1"))
		command(t, nil, "chroot", root, "useradd", "--create-home", "--shell", "/bin/bash", "walker")
		for _, dir := range []string{"/home", "/var", "/test"} { // stay writable
			options = append(options, "--bind="+root+dir+":"+dir)
		}
		return options
	})
}

func needBoot(t *testing.T) {
	t.Helper()
	need(t, "debootstrap", "systemd-nspawn", "dpkg-deb", "tar")
	if os.Geteuid() != 0 {
		t.Skip("needs root to boot a system")
	}
}

// passes boots a Debian system that runs a script of testdata, in whose folder /test
// are a simulated device and what prepare puts there, with the options that it wants.
func passes(t *testing.T, script string, prepare func(root string) (options []string)) {
	t.Helper()
	root := withScript(t, script)
	boot(t, root, prepare(root)...)
	log, err := os.ReadFile(filepath.Join(root, "test/log"))
	if err != nil {
		t.Fatal("the system did not get to the test: ", err)
	}
	passed(t, script, string(log))
}

// withScript is a Debian system that runs a script of testdata when it has booted.
func withScript(t *testing.T, script string) (root string) {
	t.Helper()
	root = debian(t)
	test := filepath.Join(root, "test")
	if err := os.Mkdir(test, 0o755); err != nil {
		t.Fatal(err)
	}
	handheld(t, filepath.Join(test, "device"))
	write(t, filepath.Join(test, "new.version"), testVersion)
	command(t, nil, "cp", "deploy/testdata/booted.sh", test)
	command(t, nil, "cp", "deploy/testdata/"+script, filepath.Join(test, "life.sh"))
	unit := filepath.Join(root, "etc/systemd/system")
	command(t, nil, "cp", "deploy/testdata/life.service", unit)
	wants := filepath.Join(unit, "multi-user.target.wants")
	if err := os.MkdirAll(wants, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("../life.service", filepath.Join(wants, "life.service")); err != nil {
		t.Fatal(err)
	}
	return root
}

func passed(t *testing.T, script, log string) {
	t.Helper()
	if !strings.HasSuffix(log, "\nPASSED\n") {
		t.Errorf("%s failed:\n%s", script, log)
	}
	t.Logf("%s", log)
}

// boot runs the system in root until it powers off.
func boot(t *testing.T, root string, options ...string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, "systemd-nspawn", append(options, "--quiet", "--boot", "--directory="+root, "--register=no", "--keep-unit",
		"--private-network", "--machine="+fmt.Sprintf("sweepd-%d", os.Getpid()), "--console=pipe")...)
	cmd.Cancel = func() error { return cmd.Process.Signal(os.Interrupt) }
	cmd.WaitDelay = 10 * time.Second
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("boot: %v\n%s", err, out)
	}
}

// debian unpacks a small system with systemd, also a user's, which is made once and kept in the
// user's cache.
func debian(t *testing.T) (root string) {
	t.Helper()
	cache, err := os.UserCacheDir()
	if err != nil {
		t.Fatal(err)
	}
	const suite = "bookworm"
	kept := filepath.Join(cache, "sweepd-debootstrap", suite+"-session.tar")
	root = filepath.Join(t.TempDir(), "root")
	if _, err := os.Stat(kept); err != nil {
		fresh := filepath.Join(t.TempDir(), "fresh")
		command(t, nil, "debootstrap", "--variant=minbase", "--include=systemd,libpam-systemd,dbus,dbus-user-session", suite, fresh)
		if err := os.MkdirAll(filepath.Dir(kept), 0o755); err != nil {
			t.Fatal(err)
		}
		command(t, nil, "tar", "-C", fresh, "-cf", kept+".new", ".")
		if err := os.Rename(kept+".new", kept); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.Mkdir(root, 0o755); err != nil {
		t.Fatal(err)
	}
	command(t, nil, "tar", "-C", root, "-xpf", kept)
	return root
}

// handheld makes the files of a simulated device whose energy counter only root
// may read, as the kernel's (Documentation/ABI/testing/sysfs-class-powercap).
func handheld(t *testing.T, dir string) {
	t.Helper()
	d, err := simdevice.New(dir, simdevice.UnitOak(), time.Now())
	if err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	counters, err := filepath.Glob(filepath.Join(dir, "sys/class/powercap/*/energy_uj"))
	if err != nil || len(counters) == 0 {
		t.Fatal("the simulated device has no energy counter", err)
	}
	for _, c := range counters {
		if err := os.Chmod(c, 0o400); err != nil {
			t.Fatal(err)
		}
	}
}

// older makes the package that is upgraded: the same under a smaller version.
func older(t *testing.T, newer, file string) {
	t.Helper()
	dir := t.TempDir()
	command(t, nil, "dpkg-deb", "-R", newer, dir)
	command(t, nil, "sed", "-i", "s/^Version: .*/Version: 0.0.1/", filepath.Join(dir, "DEBIAN/control"))
	command(t, nil, "dpkg-deb", "-Zgzip", "-b", dir, file)
}

// olderArchive makes the archive that is upgraded.
func olderArchive(t *testing.T, newer, file string) {
	t.Helper()
	dir := t.TempDir()
	command(t, nil, "tar", "-C", dir, "-xzf", newer)
	folder := strings.TrimSuffix(filepath.Base(file), ".tar.gz")
	if err := os.Rename(filepath.Join(dir, strings.TrimSuffix(filepath.Base(newer), ".tar.gz")), filepath.Join(dir, folder)); err != nil {
		t.Fatal(err)
	}
	command(t, []string{"VERSION=0.0.1"}, "deploy/build", filepath.Join(dir, folder, "sweepd"))
	command(t, nil, "tar", "-C", dir, "-czf", file, folder)
}

func write(t *testing.T, file, text string) {
	t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
}
