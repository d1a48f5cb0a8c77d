//go:build unix

package actuators

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// What a process that is killed was told: the folder, what it does, and at which step it
// kills itself.
const (
	killDir  = "SWEEPD_TEST_KILL_DIR"
	killIn   = "SWEEPD_TEST_KILL_IN"
	killStep = "SWEEPD_TEST_KILL_STEP"
)

// files is a machine whose places are files, written in one call as the kernel's are.
type files struct {
	dir     string
	step    func(string)
	refuses string // what cannot be put back
}

var firstOfFiles = map[string]string{"low": "15", "middle": "20", "high": "25"}

func (f *files) put(path, text string) error {
	file, err := os.OpenFile(path, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = file.WriteAt([]byte(fmt.Sprintf("%-8s", text)), 0)
	return errors.Join(err, file.Close())
}

func (f *files) Read(_ context.Context, w Write) (string, error) {
	text, err := os.ReadFile(w.Path)
	return strings.TrimSpace(string(text)), err
}

func (f *files) Write(_ context.Context, w Write) error {
	f.step("before the write of " + filepath.Base(w.Path))
	defer f.step("after the write of " + filepath.Base(w.Path))
	return f.put(w.Path, w.Text)
}

func (f *files) PutBack(_ context.Context, w Write) error {
	f.step("before " + filepath.Base(w.Path) + " is put back")
	if f.refuses == filepath.Base(w.Path) {
		return syscall.EACCES
	}
	defer f.step("after " + filepath.Base(w.Path) + " is put back")
	return f.put(w.Path, w.Was)
}

func (f *files) now(t *testing.T) map[string]string {
	t.Helper()
	has := map[string]string{}
	for name := range firstOfFiles {
		text, err := f.Read(t.Context(), Write{Path: filepath.Join(f.dir, name)})
		must(t, err)
		has[name] = text
	}
	return has
}

// killed is the process that is killed: it sets three places, one of them twice, and
// restores, first all but one that refuses and then that one; or it restores what another one left, as sweepd does first thing.
func killed(dir, doing string, at int) error {
	step := func(name string) {
		if at--; at == 0 {
			fmt.Print(name)
			_ = syscall.Kill(os.Getpid(), syscall.SIGKILL)
			select {}
		}
	}
	first, err := OpenFirstValues(dir, FirstValuesOptions{Root: dir, Step: step})
	if err != nil {
		return err
	}
	m := &files{dir: dir, step: step}
	if doing == "restore" {
		_, err := first.Restore(context.Background(), m)
		return err
	}
	panel := NewPanel(PanelOptions{Machine: m, FirstValues: first, Allowed: map[string]Limits{"firmware": {}}})
	for _, w := range [][2]string{{"low", "10"}, {"middle", "12"}, {"low", "11"}, {"high", "30"}} {
		if err := panel.Apply(context.Background(), set(filepath.Join(dir, w[0]), w[1], "")); err != nil {
			return err
		}
	}
	pauses, m.refuses = nil, "middle"
	if err := panel.Restore(context.Background()); err == nil {
		return errors.New("what refuses was put back")
	}
	m.refuses = ""
	return panel.Restore(context.Background())
}

func TestMain(m *testing.M) {
	if dir := os.Getenv(killDir); dir != "" {
		at, err := strconv.Atoi(os.Getenv(killStep))
		if err == nil {
			err = killed(dir, os.Getenv(killIn), at)
		}
		if err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// killAt has a process killed at a step and returns the step's name; "" where it came to
// its end before.
func killAt(t *testing.T, dir, doing string, at int) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, os.Args[0])
	cmd.Env = append(os.Environ(), killDir+"="+dir, killIn+"="+doing, killStep+"="+strconv.Itoa(at), "GORACE=atexit_sleep_ms=0")
	out, err := cmd.Output()
	var exit *exec.ExitError
	switch {
	case err == nil:
		return ""
	case !errors.As(err, &exit) || exit.Sys().(syscall.WaitStatus).Signal() != syscall.SIGKILL || len(out) == 0:
		t.Fatalf("%s, killed at step %d: %v: %s", doing, at, err, out)
	}
	return string(out)
}

func newFiles(t *testing.T) *files {
	t.Helper()
	f := &files{dir: t.TempDir(), step: func(string) {}}
	for name, text := range firstOfFiles {
		must(t, os.WriteFile(filepath.Join(f.dir, name), []byte(fmt.Sprintf("%-8s", text)), 0o600))
	}
	return f
}

// nextStart is what sweepd does first thing after a kill.
func nextStart(t *testing.T, m *files) {
	t.Helper()
	first := openFirst(t, m.dir)
	if n := first.Damaged(); n > 0 {
		t.Errorf("%d entries are damaged", n)
	}
	_, err := first.Restore(t.Context(), m)
	must(t, err)
	noFile(t, first)
	must(t, first.Close())
}

// TestKillPoints kills a process that sets and restores at every step. After each, the
// next start has every first value back, also when it is killed at each of its own steps
// in turn. `go test -v` shows the table.
func TestKillPoints(t *testing.T) {
	changed, steps := 0, []string{}
	for at := 1; ; at++ {
		m := newFiles(t)
		step := killAt(t, m.dir, "set", at)
		if step == "" {
			break
		}
		steps = append(steps, step)
		left := m.now(t)
		differ := cmp.Diff(firstOfFiles, left) != ""
		if differ {
			changed++
		}
		kills := 0
		for k := 1; killAt(t, m.dir, "restore", k) != ""; k++ {
			kills++
		}
		nextStart(t, m)
		if d := cmp.Diff(firstOfFiles, m.now(t)); d != "" {
			t.Errorf("killed %d, %s: the next start leaves %s", at, step, d)
		}
		t.Logf("| %2d | %-32s | low %s, middle %s, high %s | %2d | low 15, middle 20, high 25 |", at, step, left["low"], left["middle"], left["high"], kills)
	}
	// Without restoring, most of them leave something set.
	if changed < 10 {
		t.Errorf("only %d of %d kills left anything set: %q", changed, len(steps), steps)
	}
	// Each place is written to only when the file with its first value, and the folder with
	// the file, are on the disk.
	order := strings.Join(steps, "\n")
	for _, want := range []string{
		"machine locked\nfile made\nfile written\nfile on the disk\nfolder on the disk\nbefore the write of low\nafter the write of low\n",
		"file written\nfile on the disk\nbefore the write of middle\nafter the write of middle\nbefore the write of low\nafter",
		"file written\nfile on the disk\nbefore the write of high\n",
		"after low is put back\nbefore middle is put back\nfile written\nfile on the disk\nmachine locked\nbefore middle is put back\nafter middle is put back\nfile removed",
	} {
		if !strings.Contains(order, want) {
			t.Errorf("the steps are\n%s\nwithout\n%s", order, want)
		}
	}
}
