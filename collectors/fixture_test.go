package collectors

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// capture unpacks the recorded sysfs and procfs trees that the module
// github.com/prometheus/procfs tests itself with (Apache-2.0) and gives their
// roots. They are not copied into this project: the archive is read from the
// module cache, at the version in go.mod. Given prefixes ("sys/class/powercap"),
// only what is below these is unpacked; name also where links lead to.
func capture(t testing.TB, prefixes ...string) Roots {
	t.Helper()
	records, err := captured()
	if err != nil {
		t.Fatalf("capture: %v; `go mod download github.com/prometheus/procfs` fetches it", err)
	}
	dir := t.TempDir()
	for _, r := range records {
		if !r.wanted(prefixes) {
			continue
		}
		if err := r.unpack(dir); err != nil {
			t.Fatalf("capture: line %d of the archive: %v", r.line, err)
		}
	}
	return Roots{Sys: filepath.Join(dir, "sys"), Proc: filepath.Join(dir, "proc")}
}

// ttarRecord is a file, folder or link of the archive.
type ttarRecord struct {
	line    int // where it starts
	path    string
	folder  bool
	link    string
	content string
}

func (r ttarRecord) wanted(prefixes []string) bool {
	if len(prefixes) == 0 {
		return true
	}
	for _, p := range prefixes {
		if r.path == p || strings.HasPrefix(r.path, p+"/") {
			return true
		}
	}
	return false
}

func (r ttarRecord) unpack(dir string) error {
	path := filepath.Join(dir, filepath.FromSlash(r.path))
	if r.folder {
		return os.MkdirAll(path, 0o755)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	if r.link != "" {
		return os.Symlink(r.link, path)
	}
	return os.WriteFile(path, []byte(r.content), 0o644)
}

var captured = sync.OnceValues(func() ([]ttarRecord, error) {
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/prometheus/procfs").Output()
	if err != nil {
		return nil, fmt.Errorf("go list: %w", err)
	}
	f, err := os.Open(filepath.Join(strings.TrimSpace(string(out)), "testdata", "fixtures.ttar"))
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return parseTtar(bufio.NewScanner(f))
})

// parseTtar reads the text archive: records separated by lines "# ttar - -",
// each a Directory, or a Path with a link's target or a number of lines that
// follow. In these a zero byte is spelled NULLBYTE, and EOF at the end says that
// the file does not end in a line feed. Paths lose their first part.
func parseTtar(lines *bufio.Scanner) (records []ttarRecord, err error) {
	lines.Buffer(nil, 1<<20)
	n := 0
	next := func() bool { n++; return lines.Scan() }
	for next() {
		key, value, _ := strings.Cut(lines.Text(), ": ")
		_, path, _ := strings.Cut(value, "/")
		switch key {
		case "Directory":
			records = append(records, ttarRecord{line: n, path: path, folder: true})
		case "Path":
			records = append(records, ttarRecord{line: n, path: path})
		case "SymlinkTo":
			records[len(records)-1].link = value
		case "Lines":
			count, err := strconv.Atoi(value)
			if err != nil {
				return nil, fmt.Errorf("line %d: %w", n, err)
			}
			var content strings.Builder
			for range count {
				if !next() {
					return nil, fmt.Errorf("line %d: the archive ends inside a file", n)
				}
				line, cut := strings.CutSuffix(lines.Text(), "EOF")
				content.WriteString(strings.ReplaceAll(line, "NULLBYTE", "\x00"))
				if !cut {
					content.WriteByte('\n')
				}
			}
			records[len(records)-1].content = content.String()
		}
	}
	return records, lines.Err()
}

// The archive as its documentation describes it: 2703 files and 343 links in
// version 0.23.0, counted with `grep -c`.
func TestCaptureIsComplete(t *testing.T) {
	records, err := captured()
	if err != nil {
		t.Fatal(err)
	}
	files, links := 0, 0
	for _, r := range records {
		switch {
		case r.link != "":
			links++
		case !r.folder:
			files++
		}
	}
	if files != 2703 || links != 343 {
		t.Errorf("%d files and %d links, want 2703 and 343", files, links)
	}
	roots := capture(t, "proc/26231", "sys/class/power_supply", "sys/devices/LNXSYSTM:00")
	text, err := os.ReadFile(roots.proc("26231", "cmdline"))
	if want := "vim\x00test.go\x00+10\x00"; err != nil || string(text) != want {
		t.Errorf("cmdline %q, %v; want %q", text, err, want)
	}
	text, err = os.ReadFile(roots.sys("class", "power_supply", "BAT0", "status"))
	if err != nil || string(text) != "Discharging\n" {
		t.Errorf("status through a link: %q, %v", text, err)
	}
}
