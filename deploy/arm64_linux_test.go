package deploy

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// TestProgramForArm64Runs runs the program of the arm64 package under QEMU, which
// carries out its instructions and hands its system calls to this machine's kernel:
// the agent on a simulated device, and analyses that must agree with those of amd64.
func TestProgramForArm64Runs(t *testing.T) {
	need(t, "qemu-aarch64-static", "dpkg-deb")
	amd64 := packaged{file: programOf(t, "amd64")}
	arm64 := packaged{file: programOf(t, "arm64"), emulator: "qemu-aarch64-static"}
	want := fmt.Sprintf("sweepd %s (%s, linux/arm64)\n", testVersion, runtime.Version())
	if got := arm64.says(t, nil, "version"); got != want {
		t.Errorf("version prints %q, want %q", got, want)
	}
	arm64.watches(t)

	table := filepath.Join(t.TempDir(), "day.csv")
	write(t, table, tableOfDay())
	amd64.imports(t, table)
	arm64.imports(t, table)
	for _, words := range []string{"compare --by supply", "curve", "battery --full-energy 50Wh"} {
		args := append(strings.Fields(words), "--json")
		here, there := amd64.answers(t, args...), arm64.answers(t, args...)
		// arm64 multiplies and adds in one step, which rounds once less.
		if diff := cmp.Diff(here, there, cmpopts.EquateApprox(1e-9, 1e-12)); diff != "" {
			t.Errorf("%s differs (- amd64, + arm64):\n%s", words, diff)
		}
	}
}

// packaged is the program of a package.
type packaged struct {
	file     string
	emulator string // carries out the instructions of another processor
	data     string // its folder of data
}

func programOf(t *testing.T, arch string) (file string) {
	t.Helper()
	root := t.TempDir()
	command(t, nil, "dpkg-deb", "-x", packageFile(built(t), arch), root)
	return filepath.Join(root, "usr/bin/sweepd")
}

func (p packaged) command(env []string, args ...string) *exec.Cmd {
	words := append([]string{p.file}, args...)
	if p.emulator != "" {
		words = append([]string{p.emulator}, words...)
	}
	cmd := exec.Command(words[0], words[1:]...)
	cmd.Env = append(append(os.Environ(), "SWEEPD_DATA="+p.data), env...)
	return cmd
}

func (p packaged) says(t *testing.T, env []string, args ...string) string {
	t.Helper()
	cmd := p.command(env, args...)
	var log strings.Builder
	cmd.Stderr = &log
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("%v: %v\n%s%s", cmd.Args, err, out, log.String())
	}
	return string(out)
}

func (p packaged) answers(t *testing.T, args ...string) (answer any) {
	t.Helper()
	if err := json.Unmarshal([]byte(p.says(t, nil, args...)), &answer); err != nil {
		t.Fatalf("%v: %v", args, err)
	}
	return answer
}

func (p *packaged) imports(t *testing.T, table string) {
	t.Helper()
	p.data = filepath.Join(t.TempDir(), "data")
	p.says(t, nil, "import", table)
}

// watches has the agent record a run on a simulated device.
func (p *packaged) watches(t *testing.T) {
	t.Helper()
	device := filepath.Join(t.TempDir(), "device")
	handheld(t, device)
	p.data = filepath.Join(t.TempDir(), "data")
	agent := p.command([]string{"HOST_SYS=" + filepath.Join(device, "sys"), "HOST_PROC=" + filepath.Join(device, "proc")}, "agent", "--listen", "127.0.0.1:0")
	log, err := agent.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := agent.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		_ = agent.Process.Signal(syscall.SIGTERM)
		if err := agent.Wait(); err != nil {
			t.Errorf("the agent ended with %v", err)
		}
	}()
	address := ""
	for lines := bufio.NewScanner(log); address == "" && lines.Scan(); {
		var line struct{ Address string }
		if err := json.Unmarshal(lines.Bytes(), &line); err != nil {
			t.Fatalf("the agent says %q", lines.Text())
		}
		address = line.Address
	}
	go io.Copy(io.Discard, log) //nolint:errcheck // ends with the agent
	url := "http://" + address
	there := []string{"SWEEPD_AGENT=" + url}
	p.says(t, there, "run", "start", "--workload", "tile-sort", "--setting", "25W")
	metrics := scraped(t, url+"/metrics")
	for _, series := range []string{`sweepd_run_active\{.*setting="25W".*\} 1`, `sweepd_energy_joules_total\{.*domain="core".*\}`, `sweepd_temperature_celsius\{.*\}`} {
		if !regexp.MustCompile(`(?m)^` + series).MatchString(metrics) {
			t.Errorf("no %s in\n%s", series, metrics)
		}
	}
	p.says(t, there, "run", "stop", "--result", "score=12")
	if list := p.says(t, nil, "run", "list"); !strings.Contains(list, "finished") {
		t.Errorf("the run is not finished:\n%s", list)
	}
}

func scraped(t *testing.T, url string) string {
	t.Helper()
	r, err := http.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s: %s %v", url, r.Status, err)
	}
	return string(text)
}
