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

	"github.com/prometheus/procfs"
	"golang.org/x/sys/unix"
)

// watched is a running agent, the real program.
type watched struct {
	binary, data, url string
	cmd               *exec.Cmd
	complaint         bytes.Buffer
}

// startAgent starts the program on a device's files and waits until it has
// taken its first sweep.
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
	for deadline := time.Now().Add(30 * time.Second); ; time.Sleep(time.Millisecond) {
		text, err := w.scrape(ctx)
		if err == nil && sweepsTaken(text) > 0 {
			return w, nil
		}
		if time.Now().After(deadline) || ctx.Err() != nil {
			return nil, errors.Join(errors.New("the agent took no sweep within 30 s of its start"), err, w.stop())
		}
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

// sweepsTaken is the number of sweeps that a scrape tells, 0 where it tells none.
func sweepsTaken(metrics string) int {
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
	switches  uint64  // voluntary context switches of all threads that live
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
	threads, err := procfs.AllThreads(pid)
	if err != nil {
		return u, err
	}
	for _, thread := range threads {
		status, err := thread.NewStatus()
		if err != nil {
			continue // it has ended meanwhile
		}
		u.switches += status.VoluntaryCtxtSwitches
		u.anonymous, u.resident = float64(status.RssAnon)/1e6, float64(status.VmRSS)/1e6 // of the process, in each of its threads
	}
	return u, nil
}
