package sqlite

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"sweepd/internal/scripted"
	"sweepd/run"
	"sweepd/store"
)

// onOpenFiles skips where nobody can do what the test does.
func onOpenFiles(t *testing.T) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("Windows deletes and renames no file that is open")
	}
}

func copyFile(t *testing.T, from, to string) {
	t.Helper()
	data, err := os.ReadFile(from)
	must(t, err)
	must(t, os.WriteFile(to, data, 0o644))
}

// grow stores runs with sweeps until the file and its log have grown.
func grow(t *testing.T, s *Store, from, runs int) {
	t.Helper()
	for i := from; i < from+runs; i++ {
		r := newRun(fmt.Sprintf("run-%04d", i))
		must(t, s.BeginRun(t.Context(), r))
		var sweeps []run.Sweep
		for j := range 200 {
			sweeps = append(sweeps, run.Sweep{At: scripted.After(scripted.Start, scripted.Interval), Values: []float64{float64(j*j) * 1.37}})
		}
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: r.ID, Sensors: []run.Sensor{{ID: "x"}}, Sweeps: sweeps}))
		end := finished(r.ID, 0)
		must(t, s.FinishRun(t.Context(), end))
	}
}

// wantRuns opens a file as it is and wants so many runs in a sound file.
func wantRuns(t *testing.T, path string, n int) {
	t.Helper()
	s, err := Open(path, Options{ReadOnly: true})
	must(t, err)
	defer s.Close()
	runs, err := s.Runs(t.Context(), store.Filter{})
	if err != nil || len(runs) != n {
		t.Errorf("%s has %d runs, %v; want %d", path, len(runs), err, n)
	}
	checkIntegrity(t, path)
}

// Nothing is acknowledged once the file is not at its path; when it is back, everything
// goes on.
func TestNothingIsStoredInAFileThatIsGone(t *testing.T) {
	onOpenFiles(t)
	for name, c := range map[string]struct {
		away func(t *testing.T, dir, path string)
		back func(t *testing.T, dir, path string) // nil: it cannot come back
		says string
	}{
		"file renamed": {
			func(t *testing.T, _, path string) { must(t, os.Rename(path, path+".old")) },
			func(t *testing.T, _, path string) { must(t, os.Rename(path+".old", path)) }, "is not there",
		},
		"folder renamed": {
			func(t *testing.T, dir, _ string) { must(t, os.Rename(dir, dir+".old")) },
			func(t *testing.T, dir, _ string) { must(t, os.Rename(dir+".old", dir)) }, "is not there",
		},
		"folder deleted": {func(t *testing.T, dir, _ string) { must(t, os.RemoveAll(dir)) }, nil, "is not there"},
		"another in its place": {
			func(t *testing.T, _, path string) {
				must(t, os.Rename(path, path+".old"))
				copyFile(t, path+".old", path)
			},
			func(t *testing.T, _, path string) { must(t, os.Rename(path+".old", path)) }, "another file",
		},
		"log deleted": {func(t *testing.T, _, path string) { must(t, os.Remove(path+"-wal")) }, nil, "-wal is not there"},
	} {
		t.Run(name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "data")
			s, err := Open(dir, Options{})
			must(t, err)
			defer s.Close()
			grow(t, s, 0, 3)
			must(t, s.CheckPlace(t.Context()))
			must(t, s.BeginRun(t.Context(), newRun("going-on")))
			c.away(t, dir, s.Path())
			sweeps := run.Batch{Device: "unit-oak", RunID: "going-on", Sensors: []run.Sensor{{ID: "x"}}, Sweeps: []run.Sweep{quarter(0, 1)}}
			acts := map[string]func() error{
				"place":  func() error { return s.CheckPlace(t.Context()) },
				"begin":  func() error { return s.BeginRun(t.Context(), newRun("run-new")) },
				"finish": func() error { return s.FinishRun(t.Context(), finished("going-on", 0)) },
				"append": func() error { return s.Append(t.Context(), sweeps) },
				"upkeep": func() error { return s.Upkeep(t.Context(), 0, noon) },
				"result": func() error {
					_, err := s.Correct(t.Context(), "run-0001", oneResult("score", run.Result{Better: run.Higher}, noon))
					return err
				},
			}
			for what, act := range acts {
				if err := act(); !errors.Is(err, ErrMoved) {
					t.Errorf("%s: %v, want ErrMoved", what, err)
				} else {
					wantSentence(t, err, c.says, "put it back", "end the agent")
				}
			}
			if c.back == nil {
				return
			}
			c.back(t, dir, s.Path())
			for _, what := range []string{"append", "finish", "begin", "result"} {
				if err := acts[what](); err != nil {
					t.Errorf("it is back, but %s: %v", what, err)
				}
			}
			must(t, s.Close())
			wantRuns(t, s.Path(), 5)
		})
	}
}

// A file that is put in the place of another stays as it is: the log that is left beside
// it covers nothing of it. Where it belongs, nothing is missing.
func TestALogStaysWithItsFile(t *testing.T) {
	onOpenFiles(t)
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	must(t, err)
	grow(t, s, 0, 3)
	must(t, s.Upkeep(t.Context(), 0, noon))
	path := s.Path()
	copyFile(t, path, path+".backup") // three runs
	grow(t, s, 3, 20)
	must(t, os.Rename(path, path+".moved"))
	must(t, os.Rename(path+".backup", path))
	if err := s.BeginRun(t.Context(), newRun("lost")); !errors.Is(err, ErrMoved) {
		t.Errorf("%v, want ErrMoved", err)
	}
	wantRuns(t, path, 3)
	must(t, s.Close())
	wantRuns(t, path, 3)
	wantRuns(t, path+".moved", 23)
}

// The same where the process was killed before it noticed: the log that is left is
// refused, with or without a file beside it.
func TestALogOfAnotherFileIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, filepath.Join(dir, "live"))
	grow(t, s, 0, 3)
	must(t, s.Upkeep(t.Context(), 0, noon))
	old := filepath.Join(dir, "old.db")
	copyFile(t, s.Path(), old)
	grow(t, s, 3, 5)
	must(t, s.Upkeep(t.Context(), 0, noon)) // what follows goes on from here, not from the copy
	grow(t, s, 8, 5)
	// After a kill, file and log are as they are now.
	crashed := filepath.Join(dir, "crashed.db")
	copyFile(t, s.Path(), crashed)
	copyFile(t, s.Path()+"-wal", crashed+"-wal")
	wantRuns(t, crashed, 13)

	copyFile(t, s.Path()+"-wal", old+"-wal")
	alone := filepath.Join(dir, "alone.db")
	copyFile(t, s.Path()+"-wal", alone+"-wal")
	for _, path := range []string{old, alone} {
		for _, readOnly := range []bool{true, false} {
			if path == alone && readOnly {
				continue // there is no data
			}
			_, err := Open(path, Options{ReadOnly: readOnly})
			if !errors.Is(err, ErrForeignLog) {
				t.Fatalf("%s: %v, want ErrForeignLog", path, err)
			}
			wantSentence(t, err, path, "move the log", "put back")
		}
		if info, err := os.Stat(path + "-wal"); err != nil || info.Size() == 0 {
			t.Errorf("the log beside %s is gone: %v", path, err)
		}
	}
	must(t, os.Remove(old+"-wal"))
	wantRuns(t, old, 3)
}

// A file that is written over keeps its number; that it is shorter tells, whatever is in
// the log. Nothing of the log is brought into it, not even at the end.
func TestAFileThatIsWrittenOver(t *testing.T) {
	dir := t.TempDir()
	s, err := Open(dir, Options{})
	must(t, err)
	grow(t, s, 0, 3)
	must(t, s.Close())
	path, backup, large := s.Path(), filepath.Join(dir, "backup.db"), filepath.Join(dir, "large.db")
	copyFile(t, path, backup)
	s, err = Open(dir, Options{})
	must(t, err)
	grow(t, s, 3, 40)
	must(t, s.Close())
	copyFile(t, path, large)
	for name, write := range map[string]func(s *Store){
		"nothing":      func(*Store) {},
		"few pages":    func(s *Store) { correctOne(t, s) },
		"many pages":   func(s *Store) { grow(t, s, 43, 20) },
		"checkpointed": func(s *Store) { grow(t, s, 43, 20); must(t, s.Upkeep(t.Context(), 0, noon)) },
	} {
		t.Run(name, func(t *testing.T) {
			copyFile(t, large, path)
			s, err := Open(dir, Options{})
			must(t, err)
			write(s)
			must(t, s.CheckPlace(t.Context()))
			copyFile(t, backup, path)
			for range 2 {
				err := s.BeginRun(t.Context(), newRun("lost"))
				if !errors.Is(err, ErrMoved) {
					t.Fatalf("%v, want ErrMoved", err)
				}
				wantSentence(t, err, "it was written over", "put it back")
			}
			must(t, s.Close())
			now, err := os.ReadFile(path)
			must(t, err)
			was, err := os.ReadFile(backup)
			must(t, err)
			if !bytes.Equal(now, was) {
				t.Error("the file that was put in place was changed")
			}
			must(t, s.write.Close()) // it kept its log open
			for _, end := range []string{"-wal", "-shm"} {
				os.Remove(path + end)
			}
		})
	}
}

// correctOne changes a run that is stored.
func correctOne(t *testing.T, s *Store) {
	t.Helper()
	_, err := s.Correct(t.Context(), "run-0001", oneResult("score", run.Result{Value: 5, Better: run.Higher}, noon))
	must(t, err)
}

// A smaller file is no other one where somebody tidied it.
func TestAFileThatIsTidied(t *testing.T) {
	s := openTest(t)
	grow(t, s, 0, 20)
	must(t, s.Upkeep(t.Context(), 0, noon))
	must(t, s.CheckPlace(t.Context()))
	before, err := os.Stat(s.Path())
	must(t, err)
	execOn(t, s.Path(), "DELETE FROM readings; VACUUM; PRAGMA wal_checkpoint(PASSIVE)")
	after, err := os.Stat(s.Path())
	must(t, err)
	if after.Size() >= before.Size() {
		t.Fatalf("VACUUM left %d of %d bytes", after.Size(), before.Size())
	}
	must(t, s.CheckPlace(t.Context()))
	grow(t, s, 20, 1)
}

// Whatever a log looks like, one that is written at the same time is never taken for
// another's.
func TestALiveLogIsItsOwn(t *testing.T) {
	s := openTest(t)
	done := make(chan struct{})
	go func() {
		defer close(done)
		grow(t, s, 0, 300)
	}()
	for n := 0; ; n++ {
		select {
		case <-done:
			if n == 0 {
				t.Error("it was never looked at")
			}
			return
		default:
			must(t, checkLog(s.Path()))
		}
	}
}

// A log of noise, or one that was cut off, has no say.
func TestDamagedLogs(t *testing.T) {
	dir := t.TempDir()
	s := openAt(t, filepath.Join(dir, "live"))
	grow(t, s, 0, 5)
	whole, err := os.ReadFile(s.Path() + "-wal")
	must(t, err)
	path := filepath.Join(dir, "copy.db")
	copyFile(t, s.Path(), path)
	for cut := 0; cut < len(whole); cut += 977 {
		must(t, os.WriteFile(path+"-wal", whole[:cut], 0o644))
		must(t, checkLog(path))
		spoilt := append([]byte{}, whole...)
		spoilt[cut] ^= 0x40
		must(t, os.WriteFile(path+"-wal", spoilt, 0o644))
		must(t, checkLog(path))
	}
}

// The lock outlives its file, and follows no link.
func TestTheLockIsNoFile(t *testing.T) {
	onOpenFiles(t)
	dir := t.TempDir()
	lock, err := LockAgent(dir)
	must(t, err)
	must(t, os.Remove(filepath.Join(dir, lockFile)))
	for range 2 {
		_, err = LockAgent(dir)
		wantSentence(t, err, "another agent (pid unknown) is using "+dir)
	}
	must(t, lock.Release())

	target := filepath.Join(t.TempDir(), "target")
	must(t, os.WriteFile(target, []byte("mine"), 0o644))
	must(t, os.Symlink(target, filepath.Join(dir, lockFile)))
	_, err = LockAgent(dir)
	wantSentence(t, err, "is a link", "take it away")
	if text, err := os.ReadFile(target); err != nil || string(text) != "mine" {
		t.Errorf("the link's target is %q, %v", text, err)
	}
	must(t, os.Remove(filepath.Join(dir, lockFile)))
	must(t, os.Mkdir(filepath.Join(dir, lockFile), 0o755))
	if _, err = LockAgent(dir); err == nil {
		t.Error("a folder was taken for the lock's file")
	}
}

// An agent of an earlier version goes by the file alone, and is kept out just the same.
func TestEarlierAgentsAreKeptOut(t *testing.T) {
	dir := t.TempDir()
	earlier, err := os.OpenFile(filepath.Join(dir, lockFile), os.O_RDWR|os.O_CREATE, 0o644)
	must(t, err)
	defer earlier.Close()
	taken, err := tryLock(earlier)
	if err != nil || !taken {
		t.Fatal(taken, err)
	}
	must(t, writePid(earlier))
	_, err = LockAgent(dir)
	wantSentence(t, err, fmt.Sprintf("another agent (pid %d)", os.Getpid()))
	must(t, earlier.Close())
	lock, err := LockAgent(dir)
	must(t, err)
	defer lock.Release()
	if earlier, err = os.OpenFile(filepath.Join(dir, lockFile), os.O_RDWR, 0); err != nil {
		t.Fatal(err)
	}
	defer earlier.Close()
	if taken, err := tryLock(earlier); err != nil || taken {
		t.Errorf("it got in: %v, %v", taken, err)
	}
}
