package deploy

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestWalkWithoutHardware carries out what README's five minutes say, word by word, with a
// real Prometheus, and wants the table that it shows.
func TestWalkWithoutHardware(t *testing.T) {
	need(t, "git", "make", "unshare", "ip", "prometheus", "promtool")
	if os.Geteuid() != 0 {
		t.Skip("needs root for a network of its own")
	}
	readme, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(readme), "\n## Five minutes without hardware\n")
	section, _, _ = strings.Cut(section, "\n## ")
	blocks := regexp.MustCompile(`(?m)(?:^    .*\n)+`).FindAllString(section, -1)
	if len(blocks) != 5 {
		t.Fatalf("the section has %d blocks, want commands, commands, a table, commands, commands:\n%s", len(blocks), section)
	}
	copied := filepath.Join(t.TempDir(), "project")
	copyTree(t, copied)
	work := t.TempDir()
	for name, block := range map[string]string{"1": blocks[0], "2": blocks[1], "3": blocks[3], "4": blocks[4]} {
		write(t, filepath.Join(work, name), unindented(block))
	}
	out := command(t, nil, "env", "-C", copied, "unshare", "--net", "--pid", "--fork", "--kill-child", "deploy/testdata/walk.sh", work)
	if !strings.HasSuffix(out, "\nPASSED\n") {
		t.Fatal(out)
	}
	t.Log(out)
	said, err := os.ReadFile(filepath.Join(work, "2.out"))
	if err != nil {
		t.Fatal(err)
	}
	if want := masked(unindented(blocks[2])); !strings.Contains(masked(string(said)), want) {
		t.Errorf("README shows\n%sthe commands say\n%s", want, masked(string(said)))
	}
	scraped, err := os.ReadFile(filepath.Join(work, "3.out"))
	if err != nil || !regexp.MustCompile(`(?m)^sweepd_battery_discharge_watts\{.*device="unit-oak".*\} => [0-9.]+ `).Match(scraped) {
		t.Errorf("the Prometheus says %q (%v)", scraped, err)
	}
}

func unindented(block string) string {
	return regexp.MustCompile(`(?m)^    `).ReplaceAllString(block, "")
}

// masked leaves out of a list of runs what no two days share: ids and times, and the
// findings of a busy machine.
func masked(list string) string {
	for _, m := range [][2]string{
		{`(?m)^[0-9a-f]{8} `, "RUN "}, {`(\d{4}-\d{2}-\d{2} )?\d{2}:\d{2}`, "TIME"}, {` findings `, " "}, {`finished +\d+ `, "finished "}, {` +`, " "},
	} {
		list = regexp.MustCompile(m[0]).ReplaceAllString(list, m[1])
	}
	return list
}
