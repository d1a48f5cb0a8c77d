package actuators

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"

	"golang.org/x/sys/unix"
)

// fileMost is the most that a file of sysfs can hold: a page (Documentation/filesystems/sysfs.rst).
const fileMost = 4096

// places are the files, below sysfs, that actuators of this package set. Nothing else is
// ever written, also not where a damaged or forged list of first values says so.
var places = regexp.MustCompile(`^(` + strings.Join([]string{
	`class/firmware-attributes/[^/]+/attributes/ppt_[a-z0-9_]+/current_value`,
	`class/powercap/[^/]+/constraint_[0-9]+_power_limit_uw`,
	`(devices|class/drm)/.+/hwmon/hwmon[0-9]+/power1_cap`,
	`firmware/acpi/platform_profile`,
	`(devices/.+|class)/platform-profile/platform-profile-[0-9]+/profile`,
	`devices/system/cpu/cpu[0-9]+/online`,
	`devices/system/cpu/(cpufreq/policy[0-9]+|cpu[0-9]+/cpufreq)/(scaling_governor|energy_performance_preference)`,
}, "|") + `)$`)

func (h Host) readFile(path string) (string, error) {
	path, err := h.present(path)
	if err != nil {
		return "", err
	}
	return readText(path)
}

// readText is the text of a file of the kernel.
func readText(path string) (string, error) {
	f, err := os.OpenFile(path, os.O_RDONLY|unix.O_NONBLOCK|unix.O_NOCTTY, 0)
	if err != nil {
		return "", err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, fileMost+1))
	if err != nil {
		return "", err
	}
	if len(text) > fileMost {
		return "", fmt.Errorf("%s has more than %d bytes: it is no file of sysfs", path, fileMost)
	}
	return strings.TrimSpace(string(text)), nil
}

// writeFile writes a line in one call, as the kernel's files want it.
func (h Host) writeFile(path, text string) error {
	path, err := h.present(path)
	if err != nil {
		return err
	}
	// The kernel takes no notice of O_TRUNC; a recorded tree needs it.
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_TRUNC|unix.O_NONBLOCK|unix.O_NOCTTY|unix.O_NOFOLLOW, 0)
	if err != nil {
		return err
	}
	_, err = f.WriteString(text + "\n")
	if closed := f.Close(); err == nil {
		err = closed
	}
	return err
}

// counted is a folder with a number that counts arrivals, and its prefix.
var counted = regexp.MustCompile(`/(hwmon|platform-profile-)[0-9]+(/[^/]+)$`)

// present is where a place is now: after a restart, the only folder of its device that
// counts arrivals may have another number. It fails for what is no place below the root.
func (h Host) present(path string) (string, error) {
	root := h.Sys
	if root == "" {
		root = "/sys"
	}
	rel, err := filepath.Rel(root, path)
	if err != nil || filepath.Clean(path) != path || !places.MatchString(rel) {
		return "", fmt.Errorf("%s is nothing that sweepd sets below %s: it is left alone", path, root)
	}
	real, err := filepath.EvalSymlinks(path)
	if m := counted.FindStringSubmatchIndex(path); os.IsNotExist(err) && m != nil {
		others, globErr := filepath.Glob(globQuote(path[:m[2]]) + path[m[2]:m[3]] + "*" + path[m[4]:m[5]])
		switch {
		case globErr != nil || len(others) == 0:
			return "", err
		case len(others) > 1:
			return "", &fs.PathError{Op: "find", Path: path, Err: fmt.Errorf("it is gone, and %d others may be it: nothing is done", len(others))}
		}
		path = others[0]
		real, err = filepath.EvalSymlinks(path)
	}
	if err != nil {
		return "", err
	}
	realRoot, err := filepath.EvalSymlinks(root)
	if err != nil {
		return "", err
	}
	if inside, err := filepath.Rel(realRoot, real); err != nil || !filepath.IsLocal(inside) {
		return "", fmt.Errorf("%s leads out of %s: it is left alone", path, root)
	}
	return real, nil
}

// globQuote has the characters of a path mean themselves in a pattern.
func globQuote(path string) string {
	return regexp.MustCompile(`[*?\[\\]`).ReplaceAllString(path, `\$0`)
}
