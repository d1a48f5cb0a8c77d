package journal

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"sweepd/run"
)

var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

// ended is a run with all that a run can have when it ends.
func endedRun(id string) *run.Ended {
	seconds, read := 61.5, run.Watts(24).From(run.Powercap)
	short := run.Finding{Code: run.FramesShort, Severity: run.SeverityDoubt, Text: "80 %"}
	return &run.Ended{
		Record: run.Record{Run: run.Run{
			ID: id, Labels: run.Labels{Device: "unit-oak", Workload: `harbour "flight"`, Setting: run.Named("quiet").From(run.Declared), Supply: run.Battery, Variant: "cores=6"},
			SettingRead: &read, State: run.Finished, Note: "two\nlines", StartedAt: run.Stamp(noon), DurationS: &seconds,
			Results:  map[string]run.Result{"fps_mean": {Value: 61.25, Unit: "fps", Better: run.Higher}},
			Findings: []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "70 °C", Advice: "wait"}},
			Facts:    map[string]string{"kernel": "6.1"},
		}, Summaries: []run.Summary{}},
		Corrections: []run.Correction{
			{At: noon.Add(time.Hour), Results: map[string]run.NewResult{"score": {Result: run.Result{Value: 7, Better: run.Lower}, KeepBetter: true}},
				Findings: map[run.Code]*run.Finding{run.FramesShort: &short}},
			{At: noon.Add(2 * time.Hour), Results: map[string]run.NewResult{}, Decision: run.Reject, Why: "an update"},
		},
		Sweeps: 248, Lost: []run.Loss{{Code: run.ReadingsLost, From: noon, To: noon.Add(time.Second), Sweeps: 5}},
	}
}

func open(t *testing.T, dir string) (*Journal, []run.Ended, int) {
	t.Helper()
	j, left, torn, err := Open(dir)
	must(t, err)
	t.Cleanup(func() { j.Close() })
	return j, left, torn
}

func must(t *testing.T, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func ids(left []run.Ended) string {
	var list []string
	for _, e := range left {
		list = append(list, e.Record.ID)
	}
	return strings.Join(list, " ")
}

// after opens a copy of the journal, as the next agent does after a kill.
func after(t *testing.T, text []byte) ([]run.Ended, int) {
	t.Helper()
	dir := t.TempDir()
	must(t, os.WriteFile(filepath.Join(dir, FileName), text, 0o600))
	_, left, torn := open(t, dir)
	return left, torn
}

func content(t *testing.T, j *Journal) []byte {
	t.Helper()
	text, err := os.ReadFile(j.Path())
	must(t, err)
	return text
}

func TestWhatIsKeptComesBack(t *testing.T) {
	dir := t.TempDir()
	j, left, torn := open(t, dir)
	if len(left) != 0 || torn != 0 {
		t.Fatalf("a new one has %d runs, %d torn", len(left), torn)
	}
	want := endedRun("run-0001")
	must(t, j.Keep(want))
	must(t, j.Keep(endedRun("run-0002")))
	left, torn = after(t, content(t, j))
	if torn != 0 || ids(left) != "run-0001 run-0002" {
		t.Fatalf("%s, %d torn", ids(left), torn)
	}
	if d := cmp.Diff(*want, left[0], cmpopts.EquateComparable(run.Setting{}), cmp.AllowUnexported(run.Setting{})); d != "" {
		t.Error(d)
	}
	want.Corrections = nil
	must(t, j.Keep(want))
	must(t, j.Stored("run-0002"))
	must(t, j.Stored("never-kept"))
	if left, _ = after(t, content(t, j)); ids(left) != "run-0001" || len(left[0].Corrections) != 0 {
		t.Errorf("%+v", left)
	}
	must(t, j.Close())
	must(t, j.Close())
	j, left, _ = open(t, dir)
	if ids(left) != "run-0001" {
		t.Errorf("closed and opened: %s", ids(left))
	}
	must(t, j.Stored("run-0001"))
	must(t, j.Close())
	if _, err := os.Lstat(j.Path()); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("an empty one stays: %v", err)
	}
}

// Wherever a crash cuts a write off, only the entry that was being written is lost.
func TestATornEntryTakesNoOtherWithIt(t *testing.T) {
	j, _, _ := open(t, t.TempDir())
	must(t, j.Keep(endedRun("run-0001")))
	first := j.end
	must(t, j.Keep(endedRun("run-0002")))
	second := j.end
	text := content(t, j)
	if len(text) != room {
		t.Errorf("%d bytes, want the room of %d", len(text), room)
	}
	for cut := first; cut <= second; cut++ {
		torn := slices.Concat(text[:cut], make([]byte, room-cut))
		left, n := after(t, torn)
		want := "run-0001"
		if cut >= second-1 { // all but the line's end
			want += " run-0002"
		}
		if inside := cut > first+1 && cut < second-1; ids(left) != want || n != 0 != inside {
			t.Fatalf("cut at %d of %d: %s, %d torn", cut-first, second-first, ids(left), n)
		}
		if cut%17 != 0 {
			continue
		}
		// What is written then does not fall with it.
		dir := t.TempDir()
		must(t, os.WriteFile(filepath.Join(dir, FileName), text[:cut], 0o600))
		next, _, _ := open(t, dir)
		must(t, next.Keep(endedRun("run-0003")))
		if left, _ := after(t, content(t, next)); ids(left) != want+" run-0003" {
			t.Fatalf("cut at %d, then written: %s", cut-first, ids(left))
		}
	}
	for at := first + 1; at < second-1; at += 7 {
		spoilt := slices.Clone(text)
		spoilt[at] ^= 0x20
		if left, n := after(t, spoilt); n == 0 || !strings.HasPrefix(ids(left), "run-0001") || strings.Contains(ids(left), "run-0002") {
			t.Fatalf("spoilt at %d: %s, %d torn", at-first, ids(left), n)
		}
	}
	for cut := range len(header) {
		if left, n := after(t, text[:cut]); len(left)+n != 0 {
			t.Errorf("killed while it was made: %d runs, %d torn", len(left), n)
		}
	}
}

// A whole entry that says what cannot be is one that cannot be read.
func TestEntriesAreChecked(t *testing.T) {
	for name, spoil := range map[string]func(*run.Ended){
		"still recording": func(e *run.Ended) { e.Record.State = run.Recording },
		"no duration":     func(e *run.Ended) { e.Record.DurationS = nil },
		"no start":        func(e *run.Ended) { e.Record.StartedAt = run.Timestamp{} },
		"bad workload":    func(e *run.Ended) { e.Record.Workload = "two\nlines" },
		"bad device":      func(e *run.Ended) { e.Record.Device = "" },
		"bad result":      func(e *run.Ended) { e.Record.Results["a=b"] = run.Result{Better: run.Higher} },
		"bad decision":    func(e *run.Ended) { e.Corrections[1].Decision = "perhaps" },
	} {
		j, _, _ := open(t, t.TempDir())
		e := endedRun("run-0001")
		spoil(e)
		must(t, j.Keep(e))
		must(t, j.Keep(endedRun("run-0002")))
		if left, torn := after(t, content(t, j)); ids(left) != "run-0002" || torn != 1 {
			t.Errorf("%s: %s, %d torn", name, ids(left), torn)
		}
	}
}

// Many runs go through the file, and it stays small.
func TestItIsEmptied(t *testing.T) {
	j, _, _ := open(t, t.TempDir())
	for range 200 {
		must(t, j.Keep(endedRun("run-0001")))
		must(t, j.Stored("run-0001"))
	}
	if n := len(content(t, j)); n != room {
		t.Errorf("%d bytes, want %d", n, room)
	}
	must(t, j.Keep(endedRun("run-0002")))
	if left, torn := after(t, content(t, j)); ids(left) != "run-0002" || torn != 0 {
		t.Errorf("%s, %d torn", ids(left), torn)
	}
}

func TestOtherFilesAreLeftAlone(t *testing.T) {
	for _, text := range []string{strings.Replace(header, "1", "2", 1), "mine\n", strings.Repeat("x", maxSize+1)} {
		dir := t.TempDir()
		path := filepath.Join(dir, FileName)
		must(t, os.WriteFile(path, []byte(text), 0o600))
		_, _, _, err := Open(dir)
		if !errors.Is(err, ErrOtherFile) || !strings.Contains(err.Error(), path) {
			t.Errorf("%.20q: %v", text, err)
		}
		if now, err := os.ReadFile(path); err != nil || string(now) != text {
			t.Errorf("%.20q became %.20q, %v", text, now, err)
		}
	}
	dir := t.TempDir()
	target := filepath.Join(dir, "target")
	must(t, os.WriteFile(target, []byte(header), 0o600))
	must(t, os.Symlink(target, filepath.Join(dir, FileName)))
	if _, _, _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "link") {
		t.Errorf("a link: %v", err)
	}
	must(t, os.Remove(filepath.Join(dir, FileName)))
	must(t, os.Symlink(filepath.Join(dir, "nowhere"), filepath.Join(dir, FileName)))
	if _, _, _, err := Open(dir); err == nil {
		t.Error("a link to nowhere was followed")
	}
	if _, err := os.Lstat(filepath.Join(dir, "nowhere")); err == nil {
		t.Error("it made the link's target")
	}
	must(t, os.Remove(filepath.Join(dir, FileName)))
	must(t, os.Mkdir(filepath.Join(dir, FileName), 0o700))
	if _, _, _, err := Open(dir); err == nil {
		t.Error("a folder was taken")
	}
	if _, _, _, err := Open(filepath.Join(dir, "none")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no folder: %v", err)
	}
}

// What nobody would find is not kept.
func TestAMovedJournalKeepsNothing(t *testing.T) {
	j, _, _ := open(t, t.TempDir())
	must(t, os.Rename(j.Path(), j.Path()+".old"))
	if err := j.Keep(endedRun("run-0001")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("moved away: %v", err)
	}
	must(t, os.WriteFile(j.Path(), nil, 0o600))
	if err := j.Keep(endedRun("run-0001")); err == nil || !strings.Contains(err.Error(), "replaced") {
		t.Errorf("replaced: %v", err)
	}
	must(t, j.Close())
	if _, err := os.Lstat(j.Path()); err != nil {
		t.Errorf("another's file was taken away: %v", err)
	}
}

// In a folder that is its group's the file is the group's to write, too.
func TestTheFileIsForWhomItsFolderIs(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such modes")
	}
	for folder, want := range map[fs.FileMode]fs.FileMode{0o770 | fs.ModeSetgid: 0o660, 0o700: 0o666 &^ umask(t)} {
		dir := filepath.Join(t.TempDir(), "data")
		must(t, os.Mkdir(dir, 0o700))
		must(t, os.Chmod(dir, folder))
		j, _, _ := open(t, dir)
		info, err := os.Stat(j.Path())
		must(t, err)
		if info.Mode() != want {
			t.Errorf("folder %v: mode %v, want %v", folder, info.Mode(), want)
		}
	}
}

// umask is what a new file's mode lacks.
func umask(t *testing.T) fs.FileMode {
	t.Helper()
	path := filepath.Join(t.TempDir(), "any")
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY, 0o666)
	must(t, err)
	defer f.Close()
	info, err := f.Stat()
	must(t, err)
	return 0o666 &^ info.Mode()
}
