package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// watched is a running agent, the real program.
type watched struct {
	binary, data, url string
	cmd               *exec.Cmd
	complaint         bytes.Buffer
}

// startAgent starts the program on a device's files, or on this machine's where
// environ is nil, and waits until it answers.
func startAgent(ctx context.Context, binary, data string, interval time.Duration, environ []string) (*watched, error) {
	w := &watched{binary: binary, data: data}
	address, err := freeAddress()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(data, 0o755); err != nil {
		return nil, err
	}
	config := filepath.Join(data, "sweepd.yaml")
	if err := os.WriteFile(config, fmt.Appendf(nil, "device: unit-oak\ninterval: %v\n", interval), 0o644); err != nil {
		return nil, err
	}
	w.url = "http://" + address
	w.cmd = exec.CommandContext(ctx, binary, "agent", "--config", config, "--data", data, "--listen", address)
	w.cmd.Env = append(os.Environ(), environ...)
	w.cmd.Stderr = &w.complaint
	if err := w.cmd.Start(); err != nil {
		return nil, err
	}
	deadline := time.Now().Add(20 * time.Second)
	for {
		conn, err := net.Dial("tcp", address)
		if err == nil {
			return w, conn.Close()
		}
		if time.Now().After(deadline) || ctx.Err() != nil {
			return nil, errors.Join(fmt.Errorf("the agent does not answer: %w", err), w.stop())
		}
		time.Sleep(time.Millisecond)
	}
}

func freeAddress() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	defer l.Close()
	return l.Addr().String(), nil
}

// stop ends the agent as a service manager would.
func (w *watched) stop() error {
	if err := w.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	if err := w.cmd.Wait(); err != nil {
		return fmt.Errorf("the agent: %w: %s", err, bytes.TrimSpace(w.complaint.Bytes()))
	}
	return nil
}

// command runs another command of the program, as its user would.
func (w *watched) command(ctx context.Context, args ...string) error {
	cmd := exec.CommandContext(ctx, w.binary, append(args, "--agent", w.url, "--data", w.data)...)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("sweepd %s: %w: %s", strings.Join(args, " "), err, bytes.TrimSpace(out))
	}
	return nil
}

func (w *watched) startRun(ctx context.Context) error {
	return w.command(ctx, "run", "start", "--workload", "harbour-flight", "--setting", "15W")
}

func (w *watched) stopRun(ctx context.Context) error {
	return w.command(ctx, "run", "stop", "--result", "fps_mean=61.3fps")
}

// scrape asks for the metrics as Prometheus does, compressed.
func (w *watched) scrape(ctx context.Context) (string, error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, w.url+"/metrics", nil)
	if err != nil {
		return "", err
	}
	req.Header.Set("Accept", "application/openmetrics-text;version=1.0.0;q=0.75,text/plain;version=0.0.4;q=0.5")
	resp, err := http.DefaultClient.Do(req)
	if err != nil {
		return "", err
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err == nil && resp.StatusCode != http.StatusOK {
		err = fmt.Errorf("the scrape answers %s: %s", resp.Status, text)
	}
	return string(text), err
}

// swept is the number of sweeps that a scrape tells, 0 where it tells none.
func swept(metrics string) int {
	for line := range strings.Lines(metrics) {
		if rest, found := strings.CutPrefix(line, "sweepd_sweep_duration_seconds_count "); found {
			n, _ := strconv.ParseFloat(strings.TrimSpace(rest), 64)
			return int(n)
		}
	}
	return 0
}

// processUse is what a process has used so far, and its memory now.
type processUse struct {
	cpu       time.Duration
	switches  int64
	anonymous float64 // MB
	resident  float64 // MB
}

func (w *watched) use() (u processUse, err error) {
	pid := w.cmd.Process.Pid
	var ts unix.Timespec
	// The clock of a process's CPU time, all threads, ended ones too: clock_getcpuclockid(3).
	if err := unix.ClockGettime(int32(^pid<<3|2), &ts); err != nil {
		return u, fmt.Errorf("CPU time of the agent: %w", err)
	}
	u.cpu = time.Duration(ts.Nano())
	status, err := statusOf(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return u, err
	}
	const kB = 1024.0 / 1e6
	u.anonymous, u.resident = status["RssAnon"]*kB, status["VmRSS"]*kB
	threads, err := filepath.Glob(fmt.Sprintf("/proc/%d/task/*/status", pid))
	for _, path := range threads {
		if s, err := statusOf(path); err == nil {
			u.switches += int64(s["voluntary_ctxt_switches"])
		}
	}
	return u, err
}

// statusOf reads the numbers of a /proc/PID/status, kB where a unit is given.
func statusOf(path string) (map[string]float64, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	numbers := map[string]float64{}
	for line := range strings.Lines(string(text)) {
		name, rest, _ := strings.Cut(line, ":")
		if fields := strings.Fields(rest); len(fields) > 0 {
			if x, err := strconv.ParseFloat(fields[0], 64); err == nil {
				numbers[name] = x
			}
		}
	}
	return numbers, nil
}
