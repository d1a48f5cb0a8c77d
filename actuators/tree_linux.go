package actuators

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"golang.org/x/sys/unix"
)

// tree is the kernel's sysfs, real or recorded; "" means /sys. It is only read.
type tree string

func (t tree) path(elem ...string) string {
	root := string(t)
	if root == "" {
		root = "/sys"
	}
	return filepath.Join(append([]string{root}, elem...)...)
}

// text is the text of a file.
func text(path string) (string, error) {
	return bounded(context.Background(), path, func() (string, error) { return readText(path) })
}

// textOr is the text of a file, "" where it cannot be read.
func textOr(path string) string {
	s, err := text(path)
	if err != nil {
		return ""
	}
	return s
}

func exists(path string) bool {
	_, err := os.Stat(path)
	return err == nil
}

// folders lists a folder in the order of the alphabet; nothing where it cannot be listed.
func folders(dir string) []string {
	entries, _ := os.ReadDir(dir)
	var names []string
	for _, e := range entries {
		names = append(names, e.Name())
	}
	return names
}

// numbered lists the entries of a folder that are prefix and a decimal number, in the
// order of the numbers.
func numbered(dir, prefix string) (names []string) {
	number := func(name string) int {
		digits, ok := strings.CutPrefix(name, prefix)
		if n, err := strconv.Atoi(digits); ok && err == nil && n >= 0 {
			return n
		}
		return -1
	}
	for _, name := range folders(dir) {
		if number(name) >= 0 {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, func(a, b string) int { return number(a) - number(b) })
	return names
}

// atDevice is a file of a class by the path of its device, which does not change with the
// order in which devices arrive; the path itself in a tree without links.
func atDevice(path string) string {
	if real, err := filepath.EvalSymlinks(filepath.Dir(path)); err == nil {
		return filepath.Join(real, filepath.Base(path))
	}
	return path
}

// writable tells whether this process may write all of these files now, and what would
// have to be done if not.
func writable(paths ...string) (ok bool, needs string) {
	for _, path := range paths {
		err := unix.Faccessat(unix.AT_FDCWD, path, unix.W_OK, unix.AT_EACCESS)
		switch {
		case err == nil:
		case errors.Is(err, unix.EROFS), errors.Is(err, unix.EACCES), errors.Is(err, unix.EPERM):
			return false, "this process may not write to " + path + ": the system's service may once its drop-in hands-off.conf is linked, see docs/linux.md"
		default:
			return false, fmt.Sprintf("%s: %v", path, err)
		}
	}
	return true, ""
}
