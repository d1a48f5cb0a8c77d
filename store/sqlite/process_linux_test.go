package sqlite

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
)

// childRole names what this test binary does instead of testing.
const childRole = "SWEEPD_STORE_TEST_CHILD"

func TestMain(m *testing.M) {
	roles := map[string]func(dir string) error{"record": recordForever, "lock": lockAndOpen, "correct": correctForever}
	if role := roles[os.Getenv(childRole)]; role != nil {
		if err := role(os.Args[1]); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// child is this test binary in another role, on a data folder.
func child(role, dir string) *exec.Cmd {
	c := exec.Command("/proc/self/exe", dir)
	c.Env = append(os.Environ(), childRole+"="+role)
	c.Stderr = os.Stderr
	return c
}

// recordForever is an agent that says after each batch how many sweeps it has
// stored.
func recordForever(dir string) error {
	ctx := context.Background()
	if _, err := LockAgent(dir); err != nil {
		return err
	}
	s, err := Open(dir, Options{})
	if err != nil {
		return err
	}
	if err := s.BeginRun(ctx, newRun("run-0001")); err != nil {
		return err
	}
	sensors := []run.Sensor{{ID: run.PackagePower, Unit: "watts", Resolution: 1e-6}}
	for n := 0; ; n += 4 {
		var sweeps []run.Sweep
		for i := n; i < n+4; i++ {
			sweeps = append(sweeps, quarter(i, float64(i)))
		}
		if err := s.Append(ctx, run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: sensors, Sweeps: sweeps}); err != nil {
			return err
		}
		fmt.Println(n + 4)
	}
}

// A killed agent loses no sweep that Append has stored, its lock dies with it,
// and its run is found unfinished.
func TestKilledWhileRecording(t *testing.T) {
	for _, batches := range []int{1, 70, 200} {
		dir := t.TempDir()
		c := child("record", dir)
		out, err := c.StdoutPipe()
		must(t, err)
		must(t, c.Start())
		lines := bufio.NewScanner(out)
		told := 0
		for range batches {
			if !lines.Scan() {
				t.Fatal("the recording process ended by itself")
			}
		}
		_, err = LockAgent(dir)
		wantSentence(t, err, fmt.Sprintf("another agent (pid %d)", c.Process.Pid))
		must(t, c.Process.Kill()) // SIGKILL
		for ok := true; ok; ok = lines.Scan() {
			fmt.Sscan(lines.Text(), &told)
		}
		if err := c.Wait(); err == nil {
			t.Fatal("the killed process ended well")
		}

		lock, err := LockAgent(dir)
		must(t, err)
		s := openAt(t, dir)
		left, err := s.Unfinished(t.Context(), "unit-oak")
		must(t, err)
		if len(left) != 1 || left[0].ID != "run-0001" {
			t.Fatalf("unfinished runs: %+v", left)
		}
		trace, err := s.Trace(t.Context(), "run-0001")
		must(t, err)
		n := 0
		must(t, trace.Each(func(x run.Sweep) error {
			if x.Values[0] != float64(n) {
				return fmt.Errorf("sweep %d has value %v", n, x.Values[0])
			}
			n++
			return nil
		}))
		if n < told || n > told+4 {
			t.Errorf("%d sweeps stored, the killed process told of %d", n, told)
		}
		// The next agent goes on with the same run's series.
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: "run-0001", Sensors: trace.Sensors(), Sweeps: []run.Sweep{quarter(n, float64(n))}}))
		must(t, lock.Release())
	}
}

// correctForever gives a run's three results and its finding the same number, a
// larger one each time, and says so.
func correctForever(dir string) error {
	s, err := Open(dir, Options{})
	if err != nil {
		return err
	}
	for n := 1.0; ; n++ {
		f := run.Finding{Code: run.FramesShort, Severity: run.SeverityDoubt, Text: fmt.Sprint(n)}
		c := run.Correction{Results: map[string]run.NewResult{}, Findings: map[run.Code]*run.Finding{f.Code: &f}, At: noon}
		for _, name := range []string{"a", "b", "c"} {
			c.Results[name] = run.NewResult{Result: run.Result{Value: n, Better: run.Higher}}
		}
		if _, err := s.Correct(context.Background(), "run-0001", c); err != nil {
			return err
		}
		fmt.Println(n)
	}
}

// A process killed in the middle of a correction leaves the whole of it, or nothing.
func TestKilledWhileCorrecting(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, dir)
	imported(t, s, finished("run-0001", 0))
	for i := range 8 {
		c := child("correct", dir)
		out, err := c.StdoutPipe()
		must(t, err)
		must(t, c.Start())
		lines := bufio.NewScanner(out)
		for range 3 + i {
			if !lines.Scan() {
				t.Fatal("the correcting process ended by itself")
			}
		}
		time.Sleep(time.Duration(i) * 300 * time.Microsecond) // somewhere in the next one
		must(t, c.Process.Kill())
		told := 0.0
		for ok := true; ok; ok = lines.Scan() {
			fmt.Sscan(lines.Text(), &told)
		}
		if c.Wait() == nil {
			t.Fatal("the killed process ended well")
		}
		r, err := s.Run(t.Context(), "run-0001")
		must(t, err)
		n := r.Results["a"].Value
		if n < told || n > told+1 || r.Results["b"].Value != n || r.Results["c"].Value != n || len(r.Findings) != 1 || r.Findings[0].Text != fmt.Sprint(n) {
			t.Errorf("after %v corrections the run has %v and %v", told, r.Results, r.Findings)
		}
	}
}

// lockAndOpen tries all that needs a writable folder, without the right to
// write, and prints what it is told.
func lockAndOpen(dir string) error {
	_, err := LockAgent(dir)
	fmt.Println("lock:", err)
	_, err = Open(dir, Options{})
	fmt.Println("open:", err)
	s, err := Open(dir, Options{ReadOnly: true})
	fmt.Println("read:", err)
	if err != nil {
		return nil
	}
	runs, err := s.Runs(context.Background(), store.Filter{})
	fmt.Println("runs:", len(runs), err)
	_, err = s.Correct(context.Background(), "run-0001", oneResult("score", run.Result{Better: run.Higher}, noon))
	fmt.Println("correct:", err)
	return s.Close()
}

// In a folder that may only be read, writing fails with a sentence and reading
// works.
func TestReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, dir)
	imported(t, s, finished("run-0001", 0))
	must(t, s.Close())
	for _, d := range []string{dir, filepath.Dir(dir)} {
		must(t, os.Chmod(d, 0o555))
	}
	t.Cleanup(func() {
		for _, d := range []string{filepath.Dir(dir), dir} {
			os.Chmod(d, 0o755)
		}
	})
	c := child("lock", dir)
	if os.Geteuid() == 0 { // root may write everywhere
		c.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
	}
	out, err := c.Output()
	if errors.Is(err, os.ErrPermission) {
		t.Skip("cannot become another user here: ", err)
	}
	must(t, err)
	lines := strings.Split(string(out), "\n")
	for i, want := range []string{
		"lock: locking " + dir + ": ", "open: opening " + filepath.Join(dir, FileName) + ": ", "read: <nil>", "runs: 1 <nil>", "correct: storing a result in ",
	} {
		if i >= len(lines) || !strings.HasPrefix(lines[i], want) {
			t.Fatalf("line %d does not begin with %q:\n%s", i, want, out)
		}
	}
	for _, line := range lines[:2] {
		if !strings.Contains(line, "--data") {
			t.Errorf("%q does not say what to do", line)
		}
	}
}
