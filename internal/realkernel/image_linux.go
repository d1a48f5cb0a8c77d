package realkernel

import (
	"bytes"
	"context"
	"crypto/sha256"
	"debug/elf"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

// shipped are the kernel modules that the guest has; what they depend on comes
// along. init.sh loads the first three.
var shipped = []string{"ac", "battery", "acpi_power_meter", "i2c-dev", "i2c-stub", "lm75"}

// imageForm changes when what guestImage makes does, so that an older image in
// the cache is not taken for it.
const imageForm = 1

// guestImage returns a folder with what the guest needs of Debian's packages,
// made by the first call: the kernel, and the folder root with busybox and
// modules.
func guestImage(ctx context.Context) (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		return "", err
	}
	cache = filepath.Join(cache, "sweepd-realkernel")
	if err := os.MkdirAll(cache, 0o700); err != nil {
		return "", err
	}
	unlock, err := lock(ctx, filepath.Join(cache, "lock"))
	if err != nil {
		return "", err
	}
	defer unlock()
	key := sha256.Sum256(fmt.Append(nil, imageForm, shipped))
	image := filepath.Join(cache, fmt.Sprintf("image-%x", key[:6]))
	if _, err := os.Stat(image); err == nil {
		return image, nil
	}
	work := filepath.Join(cache, "work") // left over where an earlier call was killed
	if err := os.RemoveAll(work); err != nil {
		return "", err
	}
	defer os.RemoveAll(work)
	made, err := makeImage(ctx, work)
	if err != nil {
		return "", err
	}
	return image, os.Rename(made, image)
}

// lock waits for the lock file and returns what gives it back.
func lock(ctx context.Context, path string) (unlock func(), err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return nil, err
	}
	for {
		err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if err == nil {
			return func() { f.Close() }, nil
		}
		if !errors.Is(err, unix.EWOULDBLOCK) {
			f.Close()
			return nil, fmt.Errorf("lock %s: %w", path, err)
		}
		select {
		case <-ctx.Done():
			f.Close()
			return nil, fmt.Errorf("wait for lock %s: %w", path, ctx.Err())
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// makeImage downloads and unpacks the packages in work and returns the folder
// that guestImage keeps.
func makeImage(ctx context.Context, work string) (string, error) {
	debian := filepath.Join(work, "debian")
	if err := os.MkdirAll(debian, 0o700); err != nil {
		return "", err
	}
	kernel, err := download(ctx, work)
	if err != nil {
		return "", err
	}
	debs, err := filepath.Glob(filepath.Join(work, "*.deb"))
	if err != nil {
		return "", err
	}
	for _, deb := range debs {
		if _, err := command(ctx, work, "dpkg-deb", "-x", deb, debian); err != nil {
			return "", err
		}
	}
	version := strings.TrimPrefix(kernel, "linux-image-")
	made := filepath.Join(work, "image")
	if err := copyModules(ctx, debian, version, filepath.Join(made, "root/lib/modules", version)); err != nil {
		return "", fmt.Errorf("modules of %s: %w", kernel, err)
	}
	if err := copyBusybox(debian, filepath.Join(made, "root/bin")); err != nil {
		return "", err
	}
	return made, copyKernel(ctx, filepath.Join(debian, "boot", "vmlinuz-"+version), filepath.Join(made, "kernel"))
}

// download gets the two packages and returns the name of the kernel's. Where
// the lists of packages are missing or old it renews them, if it may.
func download(ctx context.Context, dir string) (kernel string, err error) {
	attempt := func() error {
		listed, err := command(ctx, dir, "apt-cache", "depends", "linux-image-amd64")
		if err != nil {
			return err
		}
		_, kernel, _ = strings.Cut(string(listed), "Depends: ")
		kernel, _, _ = strings.Cut(kernel, "\n")
		if !strings.HasPrefix(kernel, "linux-image-") {
			return fmt.Errorf("apt-cache depends linux-image-amd64: no kernel in %q", listed)
		}
		_, err = command(ctx, dir, "apt-get", "-q", "-o", "APT::Sandbox::User=root", "download", kernel, "busybox-static")
		return err
	}
	first := attempt()
	if first == nil {
		return kernel, nil
	}
	if _, err := command(ctx, dir, "apt-get", "-q", "-o", "DPkg::Lock::Timeout=120", "update"); err != nil {
		return "", fmt.Errorf("%w; as root, apt-get update may help: %w", first, err)
	}
	return kernel, attempt()
}

func copyBusybox(debian, to string) error {
	content, err := os.ReadFile(filepath.Join(debian, "bin/busybox"))
	if errors.Is(err, fs.ErrNotExist) { // Debian 13 and later
		content, err = os.ReadFile(filepath.Join(debian, "usr/bin/busybox"))
	}
	if err != nil {
		return err
	}
	return write(filepath.Join(to, "busybox"), content)
}

// copyKernel unpacks a bzImage, which saves the guest from doing so (3 s), or
// copies it as it is where it is not packed with xz. The offsets are those of
// the header in Linux, Documentation/arch/x86/boot.rst.
func copyKernel(ctx context.Context, from, to string) error {
	b, err := os.ReadFile(from)
	if err != nil {
		return err
	}
	if len(b) < 0x250 {
		return fmt.Errorf("%s: %d bytes are no kernel", from, len(b))
	}
	start := (int(b[0x1f1])+1)*512 + int(binary.LittleEndian.Uint32(b[0x248:]))
	end := start + int(binary.LittleEndian.Uint32(b[0x24c:]))
	if end > len(b) || !bytes.HasPrefix(b[start:end], []byte("\xfd7zXZ\x00")) {
		return write(to, b)
	}
	packed := to + ".xz"
	if err := write(packed, b[start:end]); err != nil {
		return err
	}
	defer os.Remove(packed)
	plain, err := command(ctx, filepath.Dir(to), "xz", "-dc", "--single-stream", packed)
	if err != nil {
		return err
	}
	return write(to, plain)
}

// copyModules copies the shipped modules and what they depend on, side by side,
// and writes the modules.dep that modprobe reads.
func copyModules(ctx context.Context, debian, version, to string) error {
	found, err := findModules(debian, version)
	if err != nil {
		return err
	}
	needs := map[string][]string{} // by name: all that must be loaded before
	for _, name := range shipped {
		if err := copyModule(ctx, found, moduleName(name), to, needs); err != nil {
			return err
		}
	}
	var dep strings.Builder
	for _, name := range slices.Sorted(maps.Keys(needs)) {
		fmt.Fprintf(&dep, "%s.ko:", name)
		for _, b := range slices.Backward(needs[name]) { // modprobe loads from the end
			fmt.Fprintf(&dep, " %s.ko", b)
		}
		dep.WriteByte('\n')
	}
	return write(filepath.Join(to, "modules.dep"), []byte(dep.String()))
}

// findModules returns the path of every module by its name.
func findModules(debian, version string) (map[string]string, error) {
	found := map[string]string{}
	for _, lib := range []string{"lib", "usr/lib"} { // Debian 12, and later
		root := filepath.Join(debian, lib, "modules", version)
		err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
			if name, _, is := strings.Cut(filepath.Base(path), ".ko"); is {
				found[moduleName(name)] = path
			}
			return err
		})
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return nil, err
		}
	}
	return found, nil
}

// moduleName is a module's name as the kernel writes it.
func moduleName(file string) string { return strings.ReplaceAll(file, "-", "_") }

// copyModule copies a module after those it depends on and notes them in needs.
func copyModule(ctx context.Context, found map[string]string, name, to string, needs map[string][]string) error {
	if _, done := needs[name]; done {
		return nil
	}
	path, ok := found[name]
	if !ok {
		return fmt.Errorf("no module %s", name)
	}
	content, err := os.ReadFile(path)
	if strings.HasSuffix(path, ".xz") {
		content, err = command(ctx, "", "xz", "-dc", path)
	}
	if err != nil {
		return err
	}
	direct, err := dependsOn(content)
	if err != nil {
		return fmt.Errorf("%s: %w", path, err)
	}
	var all []string
	for _, d := range direct {
		if err := copyModule(ctx, found, d, to, needs); err != nil {
			return err
		}
		for _, n := range append(slices.Clone(needs[d]), d) {
			if !slices.Contains(all, n) {
				all = append(all, n)
			}
		}
	}
	needs[name] = all
	return write(filepath.Join(to, name+".ko"), content)
}

// dependsOn reads the names of the modules that a module needs.
func dependsOn(module []byte) ([]string, error) {
	f, err := elf.NewFile(bytes.NewReader(module))
	if err != nil {
		return nil, err
	}
	section := f.Section(".modinfo")
	if section == nil {
		return nil, errors.New("no section .modinfo: not a kernel module")
	}
	info, err := section.Data()
	if err != nil {
		return nil, err
	}
	for field := range strings.SplitSeq(string(info), "\x00") {
		if list, is := strings.CutPrefix(field, "depends="); is && list != "" {
			names := strings.Split(list, ",")
			for i := range names {
				names[i] = moduleName(names[i])
			}
			return names, nil
		}
	}
	return nil, nil
}

// write makes the file's folder too.
func write(path string, content []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	return os.WriteFile(path, content, 0o600)
}
