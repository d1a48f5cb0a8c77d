package contract

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
)

func findsRuns(t *testing.T, s store.Store) {
	if _, err := s.FindRun(t.Context(), "last"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("last of none: %v", err)
	}
	imported(t, s, finished("20260501-aaaa1111", 1), finished("20260501-bbbb2222", 3), finished("20260502-cccc2222", 2), finished("abcd", 0), finished("abcdef", 0))
	for given, want := range map[string]string{
		"20260501-aaaa1111": "20260501-aaaa1111",
		"20260502":          "20260502-cccc2222",
		"bb2222":            "20260501-bbbb2222",
		"abcd":              "abcd", // in full, though another begins with it
		"aA1":               "20260501-aaaa1111",
		"cC":                "20260502-cccc2222",
		"20260501-AAAA":     "20260501-aaaa1111",
	} {
		if got, err := s.FindRun(t.Context(), given); err != nil || got != want {
			t.Errorf("%q: %q, %v, want %q", given, got, err, want)
		}
	}
	for given, want := range map[string]error{
		"2222": store.ErrAmbiguous, "20260501": store.ErrAmbiguous, "2": store.ErrAmbiguous, "": run.ErrNoRun, "%%%%": run.ErrNoRun, "0501": run.ErrNoRun, "202": run.ErrNoRun, "nothing": run.ErrNoRun,
	} {
		if got, err := s.FindRun(t.Context(), given); !errors.Is(err, want) {
			t.Errorf("%q: %q, %v, want %v", given, got, err, want)
		}
	}
	_, err := s.Run(t.Context(), "2222")
	at := func(minute int) string {
		return run.Stamp(noon.Add(time.Duration(minute)*time.Minute)).Short(time.Now(), time.Local)
	}
	want := fmt.Sprintf(`run "2222" fits several runs: bbbb2222 (%s, %s), cccc2222 (%[1]s, %[3]s): give more letters`, finished("a", 0).Workload, at(3), at(2))
	if err == nil || err.Error() != want {
		t.Errorf("got  %v\nwant %s", err, want)
	}
}

// The last of a selection is the one that started last, with its facts.
func findsTheLastOfASelection(t *testing.T, s store.Store) {
	if d, err := s.LastOf(t.Context(), store.Filter{}); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("of none: %q, %v", d.ID, err)
	}
	warm := finished("run-b", 20)
	warm.Facts = map[string]string{run.RoomTemperature: "23"}
	other := finished("run-c", 30)
	other.Workload = "tile-sort"
	imported(t, s, finished("run-a", 10), warm, other)
	for want, f := range map[string]store.Filter{"run-b": {Workload: warm.Workload}, "run-c": {}, "run-a": {Until: warm.StartedAt.Time}} {
		d, err := s.LastOf(t.Context(), f)
		if err != nil || d.ID != want {
			t.Errorf("%+v: %q, %v, want %q", f, d.ID, err, want)
		}
		if want == "run-b" && d.Facts[run.RoomTemperature] != "23" {
			t.Errorf("its facts are %v", d.Facts)
		}
	}
	if d, err := s.LastOf(t.Context(), store.Filter{Device: "unit-none"}); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("of no device: %q, %v", d.ID, err)
	}
}

// The last run is the one that was recorded last, whatever its time, and never one that
// was imported.
func findsTheLastRun(t *testing.T, s store.Store) {
	last := func(want string) {
		t.Helper()
		if got, err := s.FindRun(t.Context(), store.Last); err != nil || got != want {
			t.Errorf("%q, %v, want %q", got, err, want)
		}
	}
	imported(t, s, finished("imported", 30))
	if got, err := s.FindRun(t.Context(), store.Last); !errors.Is(err, run.ErrNoRun) || !strings.Contains(err.Error(), "imported or merged") {
		t.Errorf("where all are imported: %q, %v", got, err)
	}
	begun(t, s, "run-a", 20)
	last("run-a")
	begun(t, s, "run-b", 10) // the clock was set back
	last("run-b")
	imported(t, s, finished("from-the-future", 100000))
	last("run-b")
	if got, err := s.FindRun(t.Context(), "LAST"); err != nil || got != "run-b" {
		t.Errorf("in capitals: %q, %v", got, err)
	}
	if d, err := s.Run(t.Context(), store.Last); err != nil || d.ID != "run-b" {
		t.Errorf("read: %q, %v", d.ID, err)
	}
}

// begun stores a run that is being recorded.
func begun(t *testing.T, s store.Store, id string, minutes int) {
	t.Helper()
	d := newRun(id)
	d.StartedAt = run.Stamp(noon.Add(time.Duration(minutes) * time.Minute))
	must(t, s.BeginRun(t.Context(), d))
}

// A part of an id that fits very many runs is told with the five newest of them.
func tellsFewOfMany(t *testing.T, s store.Store) {
	for i := range 6 {
		imported(t, s, finished(fmt.Sprintf("abcd-%d", i), i))
	}
	for _, part := range []string{"abcd", "BCD", "b"} {
		_, err := s.FindRun(t.Context(), part)
		if err == nil || strings.Count(err.Error(), "abcd-") != 5 || strings.Contains(err.Error(), "abcd-0") || !strings.Contains(err.Error(), ", ...") {
			t.Errorf("%s of six: %v", part, err)
		}
	}
}

func filters(t *testing.T, s store.Store) {
	runs := make([]run.Record, 6)
	for i := range runs {
		runs[i] = finished(fmt.Sprintf("run-%d", i), 6-i)
	}
	runs[1].Device = "unit-elm"
	runs[2].Workload = "tile-sort"
	runs[3].Supply = run.Battery
	runs[4].Variant = "cores=12,scaler=a=b"
	runs[5].State = run.Interrupted
	runs[1].Setting, runs[3].Setting = run.Watts(9.5).From(run.Declared), run.Watts(9.5).From(run.Powercap)
	runs[2].Setting = run.Named("quiet").From(run.Profile)
	for _, i := range []int{2, 4} {
		runs[i].Findings = []run.Finding{{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "60 °C"}, {Code: run.TooShort, Severity: run.SeverityDoubt, Text: "3 s"}}
	}
	imported(t, s, runs...)
	for what, c := range map[string]struct {
		filter store.Filter
		want   string
	}{
		"all, by start":         {store.Filter{}, "5 4 3 2 1 0"},
		"device":                {store.Filter{Device: "unit-elm"}, "1"},
		"workload":              {store.Filter{Workload: "tile-sort"}, "2"},
		"supply":                {store.Filter{Supply: run.Battery}, "3"},
		"variant":               {store.Filter{Variant: "cores=12"}, "4"},
		"two pairs":             {store.Filter{Variant: "cores=12,scaler=a=b"}, "4"},
		"not a part of a value": {store.Filter{Variant: "cores=1"}, ""},
		"not a part of a key":   {store.Filter{Variant: "ores=12"}, ""},
		"setting":               {store.Filter{Setting: run.Watts(9.5)}, "3 1"},
		"named setting":         {store.Filter{Setting: run.Named("quiet")}, "2"},
		"finding":               {store.Filter{Finding: run.HotStart}, "4 2"},
		"finding of some":       {store.Filter{Finding: run.HotStart, Workload: "tile-sort", Limit: 1}, "2"},
		"state":                 {store.Filter{State: run.Interrupted}, "5"},
		"from and until":        {store.Filter{Since: noon.Add(2 * time.Minute), Until: noon.Add(4 * time.Minute)}, "4 3"},
		"the newest":            {store.Filter{Limit: 2}, "1 0"},
		"the newest of some":    {store.Filter{Device: "unit-oak", Supply: run.Mains, Limit: 2}, "2 0"},
	} {
		got, err := s.Runs(t.Context(), c.filter)
		must(t, err)
		var ids []string
		for _, r := range got {
			ids = append(ids, strings.TrimPrefix(r.ID, "run-"))
		}
		if all := strings.Join(ids, " "); all != c.want {
			t.Errorf("%s: runs %s, want %s", what, all, c.want)
		}
	}
}

func listsDevices(t *testing.T, s store.Store) {
	if list, err := s.Devices(t.Context()); err != nil || list == nil || len(list) != 0 {
		t.Errorf("devices of nothing: %v, %v", list, err)
	}
	early, late, other, undated := finished("run-0001", 1), finished("run-0002", 5), finished("run-0003", 3), finished("run-0004", 0)
	other.Device, undated.Device, undated.StartedAt = "unit-elm", "unit-ash", run.Timestamp{}
	imported(t, s, early, late, other, undated)
	list, err := s.Devices(t.Context())
	must(t, err)
	same(t, []store.DeviceRuns{
		{Device: "unit-ash", Runs: 1},
		{Device: "unit-elm", Runs: 1, First: noon.Add(3 * time.Minute), Last: noon.Add(3 * time.Minute)},
		{Device: "unit-oak", Runs: 2, First: noon.Add(time.Minute), Last: noon.Add(5 * time.Minute)},
	}, list)
}

func importsAllOrNothing(t *testing.T, s store.Store) {
	imported(t, s, finished("run-0001", 1))
	changed := finished("run-0001", 1)
	changed.Note = "told anew"
	errRow := errors.New("line 3: a bad cell")
	wrong, recording := finished("run-0003", 3), newRun("run-0003")
	wrong.PackageW = new(nan())
	for what, last := range map[string]*run.Record{"a bad row": nil, "NaN watts": &wrong, "a run that is recording": &recording} {
		sequence := func(yield func(*run.Record, error) bool) {
			good := finished("run-0002", 2)
			if !yield(&good, nil) || last == nil && !yield(nil, errRow) {
				return
			}
			if last != nil {
				yield(last, nil)
			}
		}
		added, known, err := s.Import(t.Context(), "", sequence, nil)
		if err == nil || last == nil && err.Error() != errRow.Error() || added+known != 0 {
			t.Errorf("%s: added %d, known %d, %v", what, added, known, err)
		}
		if list, err := s.Runs(t.Context(), store.Filter{}); err != nil || len(list) != 1 {
			t.Errorf("%s: %d runs, %v", what, len(list), err)
		}
	}
	told := 0
	added, known, err := s.Import(t.Context(), "", Sequence(changed, finished("run-0002", 2)), func(done int) { told = done })
	must(t, err)
	if added != 1 || known != 1 || told != 2 {
		t.Errorf("added %d, known %d, told of %d", added, known, told)
	}
	if r, err := s.Run(t.Context(), "run-0001"); err != nil || r.Note != "" {
		t.Errorf("a known run was changed: %q, %v", r.Note, err)
	}
}

// A run that is here under the id that earlier versions derived is known.
func importsKnowFormerIDs(t *testing.T, s store.Store) {
	const former = "6bdd0bd7-9d2f-5e0f-8a54-3d8c1a1f5b11" // a UUID of version 5
	imported(t, s, finished(former, 1))
	again, other := finished("6bdd0bd7-9d2f-8e0f-8a54-3d8c1a1f5b11", 1), finished("run-0002", 2)
	again.Former, other.Former = []string{"0bdd0bd7-9d2f-5e0f-8a54-3d8c1a1f5b11", former}, []string{"1bdd0bd7-9d2f-5e0f-8a54-3d8c1a1f5b11"}
	added, known, err := s.Import(t.Context(), "", Sequence(again, other), nil)
	must(t, err)
	if added != 1 || known != 1 {
		t.Errorf("added %d, known %d; want 1 of each", added, known)
	}
}
