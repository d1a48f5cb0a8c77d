package collectors

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"golang.org/x/sys/unix"
)

// namedFolder is a folder that gives sensors their instance, before names are made
// unique.
type namedFolder struct {
	dir     string
	name    string // what the driver calls it; may be shared or empty
	address string // where it sits on its bus; survives renumbering
}

// uniqueNames gives each source a name of its own: its driver's name where no
// other has that, else name@address, else a count in the order given. The
// kernel's running number is not used where anything better exists, because it
// changes with the order in which drivers load.
func uniqueNames(sources []namedFolder) []string {
	names := make([]string, len(sources))
	for i, s := range sources {
		names[i] = s.name
		if names[i] == "" {
			names[i] = s.address
		}
	}
	names = distinguish(names, func(i int) string {
		if a := sources[i].address; a != "" && a != names[i] {
			return names[i] + "@" + a
		}
		return names[i]
	})
	seen := map[string]int{}
	return distinguish(names, func(i int) string {
		seen[names[i]]++
		return fmt.Sprintf("%s#%d", names[i], seen[names[i]])
	})
}

// distinguish replaces the names that occur more than once.
func distinguish(names []string, replacement func(i int) string) []string {
	count := map[string]int{}
	for _, n := range names {
		count[n]++
	}
	out := slices.Clone(names)
	for i, n := range names {
		if count[n] > 1 {
			out[i] = replacement(i)
		}
	}
	return out
}

// deviceAddress is the bus address of the device that a link points to: the
// last part of its path that looks like one ("0000:01:00.0", "1-0048",
// "LNXTHERM:00"), because a class folder's own name ("nvme0") counts arrivals.
// The last part itself where no part looks so; empty where there is no device.
func (r Roots) deviceAddress(link string) string {
	real, err := realPath(link)
	if err != nil {
		return ""
	}
	base := filepath.Base(real)
	if root, err := realPath(r.sys()); err == nil {
		if rel, err := filepath.Rel(root, real); err == nil && strings.HasPrefix(rel, "devices/") {
			parts := strings.Split(rel, "/")
			for _, part := range slices.Backward(parts) {
				if isBusAddress(part) {
					return part
				}
			}
		}
	}
	if base == "device" { // a copied tree, where the link is a folder
		return ""
	}
	return base
}

func isBusAddress(part string) bool {
	i := strings.IndexAny(part, ":.-")
	return i >= 0 && i+1 < len(part) && strings.ContainsAny(part[i+1:], "0123456789")
}

// numbered lists the entries of dir that are prefix and a decimal number, in
// the order of the numbers.
func numbered(dir, prefix string) []string {
	var found []string
	number := map[string]int{}
	for _, name := range folderNames(dir) {
		digits, ok := strings.CutPrefix(name, prefix)
		n, err := strconv.Atoi(digits)
		if ok && err == nil && n >= 0 {
			found = append(found, name)
			number[name] = n
		}
	}
	slices.SortFunc(found, func(a, b string) int { return number[a] - number[b] })
	return found
}

// folderNames lists a folder in no order; nothing where it cannot be listed.
func folderNames(dir string) []string {
	f, err := os.Open(dir)
	if err != nil {
		return nil
	}
	defer f.Close()
	names, _ := f.Readdirnames(-1)
	return names
}

// staticText reads a file that names something: its first line without control
// characters. Empty where it cannot be read.
func staticText(elem ...string) string {
	lines := staticLines(elem...)
	if len(lines) == 0 {
		return ""
	}
	return lines[0]
}

// staticLines reads the lines of a file that describes something, at most
// textMax bytes of it, without control characters and outer blanks.
func staticLines(elem ...string) []string {
	f, err := os.OpenFile(filepath.Join(elem...), os.O_RDONLY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil
	}
	defer f.Close()
	buf := make([]byte, textMax)
	n, _ := f.Read(buf)
	var lines []string
	for line := range strings.Lines(string(buf[:n])) {
		lines = append(lines, strings.TrimSpace(strings.Map(printable, line)))
	}
	return lines
}

func printable(r rune) rune {
	if r == unicode.ReplacementChar || !unicode.IsPrint(r) {
		return -1
	}
	return r
}

func exists(elem ...string) bool {
	_, err := os.Stat(filepath.Join(elem...))
	return err == nil
}
