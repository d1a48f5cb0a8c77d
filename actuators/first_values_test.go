//go:build unix

package actuators

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
)

// shelf is a machine whose places are texts in memory.
type shelf struct {
	mu    sync.Mutex
	has   map[string]string
	wrote []string
	fails func(place, text string) error // of the next write; may be nil
}

func (s *shelf) Read(_ context.Context, w Write) (string, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	text, ok := s.has[w.Place()]
	if !ok {
		return "", fmt.Errorf("read %s: %w", w.Place(), os.ErrNotExist)
	}
	return text, nil
}

func (s *shelf) Write(_ context.Context, w Write) error   { return s.put(w.Place(), w.Text) }
func (s *shelf) PutBack(_ context.Context, w Write) error { return s.put(w.Place(), w.Was) }

func (s *shelf) put(place, text string) error {
	s.mu.Lock()
	fails := s.fails
	s.mu.Unlock()
	if fails != nil {
		if err := fails(place, text); err != nil {
			return err
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.has[place] = text
	s.wrote = append(s.wrote, place+"="+text)
	return nil
}

func place3() *shelf {
	return &shelf{has: map[string]string{"/sys/low": "15", "/sys/middle": "20", "/sys/high": "25"}}
}

func set(path, text, was string) Write {
	return Write{Actuator: "firmware", Path: path, Text: text, Was: was}
}

func openFirst(t *testing.T, dir string) *FirstValues {
	t.Helper()
	f, err := OpenFirstValues(dir, FirstValuesOptions{Root: dir})
	must(t, err)
	t.Cleanup(func() { f.Close() })
	return f
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func noFile(t *testing.T, f *FirstValues) {
	t.Helper()
	if _, err := os.Lstat(f.Path()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the file is there: %v", err)
	}
}

// What was first is put back in the opposite order, however often a place was written
// to, and by whoever finds the file.
func TestFirstValuesComeBack(t *testing.T) {
	for _, by := range []string{"this process", "the next process"} {
		dir, m := t.TempDir(), place3()
		f := openFirst(t, dir)
		noFile(t, f)
		for _, w := range []Write{set("/sys/low", "10", "15"), set("/sys/middle", "12", "20"), set("/sys/low", "11", "10")} {
			must(t, f.Set(t.Context(), m, w))
		}
		want := []Write{set("/sys/low", "11", "15"), set("/sys/middle", "12", "20")}
		if d := cmp.Diff(want, f.Pending()); d != "" {
			t.Error(d)
		}
		if by == "the next process" {
			must(t, f.Close())
			f = openFirst(t, dir)
			want[0].Text = "10" // only first values are worth a write to the disk
		}
		m.wrote = nil
		back, err := f.Restore(t.Context(), m)
		must(t, err)
		slices.Reverse(want)
		if d := cmp.Diff(want, back); d != "" {
			t.Errorf("%s: %s", by, d)
		}
		if d := cmp.Diff([]string{"/sys/middle=20", "/sys/low=15"}, m.wrote); d != "" {
			t.Errorf("%s: %s", by, d)
		}
		noFile(t, f)
		if back, err := f.Restore(t.Context(), m); err != nil || len(back) != 0 || len(f.Pending()) != 0 {
			t.Errorf("again: %v, %v, %v", back, err, f.Pending())
		}
	}
}

// Where nothing was ever set, nothing is made, asked or locked.
func TestNothingToRestore(t *testing.T) {
	dir := t.TempDir()
	lock, err := lockMachine(dir)
	must(t, err)
	defer lock.release()
	f := openFirst(t, dir)
	if back, err := f.Restore(t.Context(), nil); err != nil || len(back) != 0 {
		t.Errorf("%v, %v", back, err)
	}
	if left, _ := os.ReadDir(dir); len(left) != 0 {
		t.Errorf("%v", left)
	}
}

// A limit may have to wait for another one: the machine refuses a lower limit that would
// lie above the next, as firmware does with sustained, short and peak power.
func TestRestoreWaitsForAnotherLimit(t *testing.T) {
	dir, m := t.TempDir(), place3()
	order := []string{"/sys/low", "/sys/middle", "/sys/high"}
	m.fails = func(at, text string) error {
		has := map[string]string{at: text}
		m.mu.Lock()
		defer m.mu.Unlock()
		last := ""
		for _, place := range order {
			v := has[place]
			if v == "" {
				v = m.has[place]
			}
			if v < last {
				return syscall.EINVAL
			}
			last = v
		}
		return nil
	}
	f := openFirst(t, dir)
	for _, up := range []string{"/sys/high", "/sys/middle", "/sys/low"} { // kept in this order, raised
		must(t, f.Set(t.Context(), m, set(up, "40", m.has[up])))
	}
	_, err := f.Restore(t.Context(), m)
	must(t, err)
	if d := cmp.Diff(place3().has, m.has); d != "" {
		t.Error(d)
	}
}

// Firmware moves one limit along with another: what was put back before is put back again.
func TestRestorePutsBackWhatMovedAlong(t *testing.T) {
	m := place3()
	m.fails = func(place, text string) error {
		if place == "/sys/low" {
			m.mu.Lock()
			m.has["/sys/high"] = text + "5"
			m.mu.Unlock()
		}
		return nil
	}
	f := openFirst(t, t.TempDir())
	must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
	must(t, f.Set(t.Context(), m, set("/sys/high", "30", "25")))
	back, err := f.Restore(t.Context(), m)
	must(t, err)
	if d := cmp.Diff(place3().has, m.has); d != "" || len(back) != 2 {
		t.Error(d, back)
	}
}

// What cannot be put back is told, kept and tried again; the rest is back meanwhile, and
// stays what it was when somebody changes it.
func TestWhatIsRefusedIsKept(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir, m := t.TempDir(), place3()
		f := openFirst(t, dir)
		must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
		must(t, f.Set(t.Context(), m, set("/sys/high", "30", "25")))
		m.fails = func(place, _ string) error {
			if place == "/sys/high" {
				return syscall.EACCES
			}
			return nil
		}
		ended, cancel := context.WithCancel(t.Context())
		cancel()
		began := time.Now()
		back, err := f.Restore(ended, m)
		var left *NotRestoredError
		if !errors.As(err, &left) || !errors.Is(err, syscall.EACCES) || len(left.Left) != 1 || len(back) != 1 || back[0].Path != "/sys/low" {
			t.Fatalf("%v, %v", back, err)
		}
		for _, x := range [][2]string{
			{err.Error(), "`sweepd actuators restore` tries again and says what to type by hand: /sys/high is not back, its first value is 25: permission denied"},
			{left.Left[0].String(), "/sys/high is not back: its first value is 25, it was set to 30: permission denied; by hand: echo 25 | sudo tee /sys/high"},
		} {
			if x[0] != x[1] {
				t.Errorf("%s\nwant %s", x[0], x[1])
			}
		}
		if took := time.Since(began); took > time.Second {
			t.Errorf("took %v", took)
		}
		m.has["/sys/low"] = "16"
		must(t, f.Close())
		f = openFirst(t, dir)
		if d := cmp.Diff([]Write{set("/sys/high", "30", "25")}, f.Pending()); d != "" {
			t.Error(d)
		}
		busy := 3
		m.fails = func(string, string) error {
			if busy--; busy >= 0 {
				return syscall.EBUSY
			}
			return nil
		}
		_, err = f.Restore(t.Context(), m)
		must(t, err)
		if m.has["/sys/high"] != "25" || m.has["/sys/low"] != "16" {
			t.Errorf("%v", m.has)
		}
		noFile(t, f)
	})
}

// A place that takes a write and has something else afterwards is not back; one that
// refuses it and has its first value all the same is.
func TestOnlyWhatReadsRightIsBack(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := place3()
		f := openFirst(t, t.TempDir())
		w := set("/sys/low", "10", "15")
		w.Leeway = 1
		must(t, f.Keep(t.Context(), w))
		liar := &liar{m, "17"}
		if _, err := f.Restore(t.Context(), liar); err == nil || !strings.Contains(err.Error(), `it reads "17" after "15" was put back`) {
			t.Errorf("%v", err)
		}
		liar.reads = "15.9" // rounded by the firmware
		_, err := f.Restore(t.Context(), liar)
		must(t, err)
		m.fails = func(string, string) error { return syscall.EACCES }
		must(t, f.Keep(t.Context(), w))
		_, err = f.Restore(t.Context(), m)
		must(t, err)
		must(t, f.Keep(t.Context(), w))
		liar.reads = "14.5" // refused, and near it by accident
		if _, err = f.Restore(t.Context(), liar); !errors.Is(err, syscall.EACCES) {
			t.Errorf("%v", err)
		}
	})
}

type liar struct {
	*shelf
	reads string
}

func (l *liar) Read(context.Context, Write) (string, error) { return l.reads, nil }

// A place that does not answer, such as a command that hangs, holds up no other for long,
// and a write that hangs in it is followed by the first value.
func TestAHangingPlaceHoldsUpNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := place3()
		f := openFirst(t, t.TempDir())
		must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
		goOn := make(chan struct{})
		m.fails = func(place, text string) error {
			if place == "/sys/high" && text == "30" {
				<-goOn
			}
			return nil
		}
		short, cancel := context.WithTimeout(t.Context(), time.Second)
		defer cancel()
		if err := f.Set(short, m, set("/sys/high", "30", "25")); !errors.Is(err, context.DeadlineExceeded) {
			t.Fatalf("%v", err)
		}
		if err := f.Set(t.Context(), m, set("/sys/high", "31", "25")); !errors.Is(err, ErrNoAnswer) {
			t.Errorf("a second write beside the first: %v", err)
		}
		began := time.Now()
		done := make(chan error, 1)
		go func() {
			_, err := f.Restore(t.Context(), m)
			done <- err
		}()
		time.Sleep(patience + time.Millisecond)
		if m.mu.Lock(); m.has["/sys/low"] != "15" {
			t.Errorf("after %v the other place has %q", time.Since(began), m.has["/sys/low"])
		}
		m.mu.Unlock()
		close(goOn)
		must(t, <-done)
		if d := cmp.Diff(place3().has, m.has); d != "" {
			t.Error(d)
		}

		// One that never answers is told within the bound.
		must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
		never := make(chan struct{})
		m.fails = func(string, string) error { <-never; return nil }
		began = time.Now()
		_, err := f.Restore(t.Context(), m)
		if !errors.Is(err, ErrNoAnswer) || time.Since(began) > restoreBound+time.Second {
			t.Errorf("%v after %v", err, time.Since(began))
		}
		m.mu.Lock()
		m.fails = nil
		m.mu.Unlock()
		close(never)
		_, err = f.Restore(t.Context(), m)
		must(t, err)
	})
}

// A write that hangs in a driver may come through when its place reads right: it is kept
// until the driver is back.
func TestAWriteThatHangsInItsDriverIsNotForgotten(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := place3()
		f := openFirst(t, t.TempDir())
		must(t, f.Keep(t.Context(), set("/sys/low", "10", "15")))
		m.fails = func(string, string) error { return fmt.Errorf("hangs: %w", ErrNoAnswer) }
		if _, err := f.Restore(t.Context(), m); !errors.Is(err, ErrNoAnswer) || len(f.Pending()) != 1 {
			t.Errorf("%v, %v", err, f.Pending())
		}
		var elsewhere *SetElsewhereError // and nobody else puts it back before the write comes through
		if _, err := openFirst(t, f.file.dir).Restore(t.Context(), m); !errors.As(err, &elsewhere) {
			t.Errorf("%v", err)
		}
		m.has["/sys/low"], m.fails = "10", nil
		_, err := f.Restore(t.Context(), m)
		must(t, err)
		if m.has["/sys/low"] != "15" {
			t.Errorf("%v", m.has)
		}
	})
}

// What may have moved along with others is put back where it reads otherwise. Once it was
// written to itself it is put back whatever it reads: a place may lie.
func TestWhatIsKeptAlongAndThenSet(t *testing.T) {
	for _, by := range []string{"this process", "the next process"} {
		dir, m := t.TempDir(), place3()
		f := openFirst(t, dir)
		along := set("/sys/high", "25", "25")
		along.Along = true
		must(t, f.Keep(t.Context(), along))
		along.Path, along.Text, along.Was = "/sys/middle", "20", "20"
		must(t, f.Keep(t.Context(), along))
		must(t, f.Set(t.Context(), m, set("/sys/high", "30", "29"))) // moved meanwhile
		m.has["/sys/high"], m.wrote = "25", nil                      // so it says
		if by == "the next process" {
			must(t, f.Close())
			f = openFirst(t, dir)
		}
		_, err := f.Restore(t.Context(), m)
		must(t, err)
		if d := cmp.Diff([]string{"/sys/high=25"}, m.wrote); d != "" {
			t.Errorf("%s: %s", by, d)
		}
		noFile(t, f)
	}
}

// Many who restore and set at once: whatever the order, everything pending is in the
// file, and the last restore leaves nothing.
func TestRestoreFromManySides(t *testing.T) {
	m := place3()
	f := openFirst(t, t.TempDir())
	var all sync.WaitGroup
	for i := range 8 {
		all.Go(func() {
			for j := range 5 {
				path := []string{"/sys/low", "/sys/middle", "/sys/high"}[(i+j)%3]
				if i%2 == 0 {
					if err := f.Set(t.Context(), m, set(path, fmt.Sprint(30+j), place3().has[path])); err != nil && !errors.Is(err, ErrNoAnswer) && !errors.Is(err, errRestored) {
						t.Error(err)
					}
				} else if _, err := f.Restore(t.Context(), m); err != nil {
					t.Error(err)
				}
			}
		})
	}
	all.Wait()
	_, err := f.Restore(t.Context(), m)
	must(t, err)
	if d := cmp.Diff(place3().has, m.has); d != "" {
		t.Error(d)
	}
	noFile(t, f)
}

// A disk that takes long to keep a first value delays the restore of no other place, and
// what waited for it is not set afterwards.
func TestASlowDiskDelaysNoRestore(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir, m := t.TempDir(), place3()
		slow := make(chan struct{})
		waiting := false
		f, err := OpenFirstValues(dir, FirstValuesOptions{Root: dir, Step: func(name string) {
			if waiting && name == "file written" {
				<-slow
			}
		}})
		must(t, err)
		defer f.Close()
		must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
		waiting = true
		setting := make(chan error, 1)
		go func() { setting <- f.Set(t.Context(), m, set("/sys/high", "30", "25")) }()
		synctest.Wait()
		restored := make(chan error, 1)
		go func() {
			_, err := f.Restore(t.Context(), m)
			restored <- err
		}()
		synctest.Wait()
		if m.has["/sys/low"] != "15" {
			t.Errorf("%v", m.has)
		}
		close(slow)
		must(t, <-restored)
		if err := <-setting; !errors.Is(err, errRestored) {
			t.Errorf("%v", err)
		}
		_, err = f.Restore(t.Context(), m)
		must(t, err)
		if d := cmp.Diff(place3().has, m.has); d != "" {
			t.Error(d)
		}
		noFile(t, f)
	})
}

// Somebody watches the process as long as anything is set, also where it could not be put
// back, and hears whether all is well.
func TestSomebodyWatchesWhileAnythingIsSet(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dir, m := t.TempDir(), place3()
		said := ""
		f, err := OpenFirstValues(dir, FirstValuesOptions{Root: dir, Watch: func() func(bool) {
			said += fmt.Sprintf("watches, %d written; ", len(m.wrote))
			return func(well bool) { said += fmt.Sprintf("over, well %v; ", well) }
		}})
		must(t, err)
		heard := func(want string) {
			t.Helper()
			if said != want {
				t.Errorf("got %s want %s", said, want)
			}
			said = ""
		}
		_, err = f.Restore(t.Context(), m)
		must(t, err)
		must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
		must(t, f.Set(t.Context(), m, set("/sys/high", "11", "25")))
		heard("watches, 0 written; ")
		m.fails = func(place, _ string) error {
			if place == "/sys/low" {
				return syscall.EBUSY
			}
			return nil
		}
		if _, err = f.Restore(t.Context(), m); err == nil {
			t.Error("restored")
		}
		must(t, f.Set(t.Context(), m, set("/sys/high", "12", "25")))
		heard("")
		m.fails = nil
		_, err = f.Restore(t.Context(), m)
		must(t, err)
		heard("over, well true; ")
		must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
		must(t, f.Close())
		heard("watches, 6 written; over, well false; ")
	})
}

// Two agents, of any folders, never both set a machine.
func TestOneSetsAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		root, m := t.TempDir(), place3()
		open := func(dir string) *FirstValues {
			f, err := OpenFirstValues(dir, FirstValuesOptions{Root: root})
			must(t, err)
			t.Cleanup(func() { f.Close() })
			return f
		}
		dir := t.TempDir()
		one, two := open(dir), open(t.TempDir())
		must(t, one.Set(t.Context(), m, set("/sys/low", "10", "15")))
		var elsewhere *SetElsewhereError
		if err := two.Set(t.Context(), m, set("/sys/low", "12", "10")); !errors.As(err, &elsewhere) || !errors.Is(err, ErrNotKept) {
			t.Fatalf("%v", err)
		}
		noFile(t, two)
		if _, err := open(dir).Restore(t.Context(), m); !errors.As(err, &elsewhere) {
			t.Errorf("restored under whoever sets: %v", err)
		}
		if m.has["/sys/low"] != "10" {
			t.Errorf("%v", m.has)
		}
		_, err := one.Restore(t.Context(), m)
		must(t, err)
		must(t, two.Set(t.Context(), m, set("/sys/low", "12", "15")))
		must(t, two.Close())
		must(t, one.Set(t.Context(), m, set("/sys/high", "20", "25")))
	})
}

// Wherever a crash cuts the file, places that were written to are in it: a place is
// written to only after its whole entry is there.
func TestATornFile(t *testing.T) {
	dir, m := t.TempDir(), place3()
	f := openFirst(t, dir)
	must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
	first := f.file.end
	must(t, f.Set(t.Context(), m, set("/sys/high", "30", "25")))
	text, err := os.ReadFile(f.Path())
	must(t, err)
	if len(text) != firstValuesRoom {
		t.Errorf("%d bytes, want the room of %d", len(text), firstValuesRoom)
	}
	for cut := range f.file.end {
		next := t.TempDir()
		torn := text[:cut]
		if cut%2 == 0 { // the disk kept the size and not the text
			torn = slices.Concat(torn, make([]byte, firstValuesRoom-cut))
		}
		must(t, os.WriteFile(filepath.Join(next, FirstValuesFile), torn, 0o600))
		g := openFirst(t, next)
		want := 0
		if cut >= first-1 {
			want = 1
		}
		if cut >= f.file.end-1 {
			want = 2
		}
		if n := len(g.Pending()); n != want || g.Damaged() != 0 {
			t.Fatalf("cut at %d of %d, %d: %d pending, %d damaged", cut, first, f.file.end, n, g.Damaged())
		}
		if cut%13 != 0 {
			continue
		}
		_, err := g.file.read()
		must(t, err)
		must(t, g.file.add([]*place{{w: set("/sys/middle", "12", "20")}}))
		must(t, g.Close())
		if g = openFirst(t, next); len(g.Pending()) != want+1 || g.Damaged() != 0 {
			t.Fatalf("cut at %d, then one more: %v, %d damaged", cut, g.Pending(), g.Damaged())
		}
	}
}

// An entry that rotted in the middle is counted, the others hold, and the file stays for a
// person to look at.
func TestDamagedEntries(t *testing.T) {
	dir, m := t.TempDir(), place3()
	f := openFirst(t, dir)
	must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
	must(t, f.Set(t.Context(), m, set("/sys/high", "30", "25")))
	must(t, f.Close())
	text, err := os.ReadFile(f.Path())
	must(t, err)
	must(t, os.WriteFile(f.Path(), []byte(strings.Replace(string(text), `"was":"15"`, `"was":"75"`, 1)), 0o600))
	f = openFirst(t, dir)
	if f.Damaged() != 1 {
		t.Errorf("%d damaged", f.Damaged())
	}
	back, err := f.Restore(t.Context(), m)
	if err != nil || len(back) != 1 || m.has["/sys/low"] != "10" || m.has["/sys/high"] != "25" {
		t.Errorf("%v, %v, %v", back, err, m.has)
	}
	noFile(t, f)
	if kept, err := os.ReadFile(f.Path() + ".damaged"); err != nil || !strings.Contains(string(kept), `"was":"75"`) {
		t.Errorf("%.200q, %v", kept, err)
	}
}

// What is no file of ours is neither believed nor touched, and nothing is set.
func TestOtherFilesInItsPlace(t *testing.T) {
	for name, lay := range map[string]func(path string) error{
		"another version": func(p string) error { return os.WriteFile(p, []byte("sweepd first values, version 2\n"), 0o600) },
		"another file":    func(p string) error { return os.WriteFile(p, []byte("mine\n"), 0o600) },
		"too large": func(p string) error {
			return errors.Join(os.WriteFile(p, nil, 0o600), os.Truncate(p, firstValuesMost+1))
		},
		"writable": func(p string) error { return errors.Join(os.WriteFile(p, nil, 0o600), os.Chmod(p, 0o620)) },
		"a link":   func(p string) error { return os.Symlink(filepath.Join(filepath.Dir(p), "target"), p) },
		"a pipe":   func(p string) error { return syscall.Mkfifo(p, 0o600) },
		"a folder": func(p string) error { return os.Mkdir(p, 0o700) },
	} {
		dir, m := t.TempDir(), place3()
		f := openFirst(t, dir)
		must(t, os.WriteFile(filepath.Join(dir, "target"), []byte(firstValuesHeader), 0o600))
		must(t, lay(f.Path()))
		if _, err := OpenFirstValues(dir, FirstValuesOptions{Root: dir}); err == nil || !strings.Contains(err.Error(), f.Path()) {
			t.Errorf("%s: %v", name, err)
		}
		if err := f.Set(t.Context(), m, set("/sys/low", "10", "15")); err == nil || len(m.wrote) > 0 {
			t.Errorf("%s: %v, %v", name, err, m.wrote)
		}
		if text, err := os.ReadFile(filepath.Join(dir, "target")); err != nil || string(text) != firstValuesHeader {
			t.Errorf("%s: the target became %q, %v", name, text, err)
		}
		if _, err := os.Lstat(f.Path()); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Where the disk is full nothing is set, and nothing is left; what is set already can
// still be noted to be back.
func TestAFullDisk(t *testing.T) {
	dir, m := t.TempDir(), place3()
	f := openFirst(t, dir)
	full := syscall.Rlimit{}
	must(t, syscall.Getrlimit(syscall.RLIMIT_FSIZE, &full))
	limit := func(n uint64) {
		must(t, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &syscall.Rlimit{Cur: n, Max: full.Max}))
	}
	defer limit(full.Cur)
	limit(10)
	err := f.Set(t.Context(), m, set("/sys/low", "10", "15"))
	limit(full.Cur)
	if !errors.Is(err, syscall.EFBIG) || !errors.Is(err, ErrNotKept) || len(m.wrote) > 0 || len(f.Pending()) > 0 {
		t.Errorf("%v, %v, %v", err, m.wrote, f.Pending())
	}
	noFile(t, f)
}

// What somebody else put back meanwhile is not put back once more.
func TestSomebodyElseRestores(t *testing.T) {
	dir, m := t.TempDir(), place3()
	f := openFirst(t, dir)
	must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
	must(t, f.Close())
	agent, person := openFirst(t, dir), openFirst(t, dir)
	_, err := person.Restore(t.Context(), m)
	must(t, err)
	m.wrote = nil
	if back, err := agent.Restore(t.Context(), m); err != nil || len(back)+len(m.wrote)+len(agent.Pending()) > 0 || agent.Earlier() {
		t.Errorf("%v, %v, %v, %v", back, err, m.wrote, agent.Pending())
	}
}

// What an earlier process set and nobody could put back has to be put back, or given up,
// before anything else is set.
func TestNothingIsSetOnTopOfWhatWasLeft(t *testing.T) {
	dir, m := t.TempDir(), place3()
	f := openFirst(t, dir)
	must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
	must(t, f.Set(t.Context(), m, set("/sys/gone", "10", "15")))
	delete(m.has, "/sys/gone")
	must(t, f.Close())
	f = openFirst(t, dir)
	if err := f.Set(t.Context(), m, set("/sys/high", "30", "25")); !errors.Is(err, ErrNotKept) || !strings.Contains(err.Error(), `/sys/low still has what an earlier sweepd set, and not its first value "15"`) {
		t.Errorf("%v", err)
	}
	m.fails = func(place, _ string) error {
		if place == "/sys/gone" {
			return os.ErrNotExist
		}
		return nil
	}
	if _, err := f.Restore(t.Context(), m); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("%v", err)
	}
	if err := f.Set(t.Context(), m, set("/sys/high", "30", "25")); !errors.Is(err, ErrNotKept) {
		t.Errorf("%v", err)
	}
	given, err := f.GiveUp(t.Context())
	if err != nil || len(given) != 1 || given[0].Path != "/sys/gone" {
		t.Errorf("%v, %v", given, err)
	}
	noFile(t, f)
	must(t, f.Set(t.Context(), m, set("/sys/high", "30", "25")))
	if m.has["/sys/low"] != "15" || m.has["/sys/high"] != "30" {
		t.Errorf("%v", m.has)
	}
}

// The administrator puts back files that an agent of another user set, and runs none of
// that user's commands.
func TestTheAdministratorRunsNobodysCommand(t *testing.T) {
	if os.Geteuid() != 0 {
		t.Skip("needs root")
	}
	dir, m := t.TempDir(), place3()
	f := openFirst(t, dir)
	must(t, f.Set(t.Context(), m, set("/sys/low", "10", "15")))
	must(t, f.Keep(t.Context(), Write{Actuator: "command", Command: []string{"set", "{}"}, Back: []string{"set", "{}"}, Text: "30", Was: "25"}))
	must(t, f.Close())
	must(t, os.Chown(f.Path(), 4321, 4321))
	m.wrote = nil
	f = openFirst(t, dir)
	if _, err := f.Restore(t.Context(), m); err == nil || !strings.Contains(err.Error(), "sudo -u '#4321' sweepd actuators restore") {
		t.Errorf("%v", err)
	}
	if d := cmp.Diff([]string{"/sys/low=15"}, m.wrote); d != "" {
		t.Error(d)
	}
}

// What was ended before it began is not begun, whatever else there is room for.
func TestNothingIsSetForWhoHasEnded(t *testing.T) {
	m := place3()
	f := openFirst(t, t.TempDir())
	must(t, f.Keep(t.Context(), set("/sys/low", "10", "15")))
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	for range 20 { // a select takes either
		if err := f.Set(ended, m, set("/sys/low", "10", "15")); !errors.Is(err, context.Canceled) || len(m.wrote) > 0 {
			t.Fatalf("%v, %v", err, m.wrote)
		}
		if _, err := f.beginWrite(ended, m, set("/sys/low", "10", "15"), 0); !errors.Is(err, context.Canceled) {
			t.Fatal(err)
		}
	}
}

// What nobody could put back is not set.
func TestACommandWithoutAWayBack(t *testing.T) {
	f := openFirst(t, t.TempDir())
	if err := f.Keep(t.Context(), Write{Actuator: "command", Command: []string{"set", "25"}}); err == nil {
		t.Error("kept")
	}
	noFile(t, f)
}

func TestSameText(t *testing.T) {
	for _, x := range []struct {
		got, want string
		leeway    float64
		same      bool
	}{
		{"balanced\n", "balanced", 0, true}, {"balanced", "performance", 5, false},
		{"25", "25.0", 0, true}, {"25000000", "25000001", 0, false}, {"24", "25", 1, true}, {"23.9", "25", 1, false},
		{"", "0", 0, false}, {"NaN", "nan", 9, false},
	} {
		if SameText(x.got, x.want, x.leeway) != x.same {
			t.Errorf("%q, %q within %v: want %v", x.got, x.want, x.leeway, x.same)
		}
	}
}

func TestByHand(t *testing.T) {
	for want, w := range map[string]Write{
		"echo 25 | sudo tee /sys/a":                  {Path: "/sys/a", Was: "25"},
		"echo 'low power' | sudo tee '/sys/a b'":     {Path: "/sys/a b", Was: "low power"},
		`/opt/set -w 25 'it'\''s' ''`:                {Was: "25", Back: []string{"/opt/set", "-w", "{}", "it's", ""}},
		`echo '\u001b[31m;reboot' | sudo tee /sys/a`: {Path: "/sys/a", Was: "\x1b[31m;reboot"},
	} {
		if got := w.ByHand(); got != want {
			t.Errorf("%s\nwant %s", got, want)
		}
	}
}
