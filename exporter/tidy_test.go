package exporter

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"iter"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"sweepd/run"
)

func ptr(x float64) *float64 { return &x }

// collect gives the runs before the first error.
func collect(runs iter.Seq2[*run.Record, error]) (list []run.Record, err error) {
	for d, err := range runs {
		if err != nil {
			return list, err
		}
		list = append(list, *d)
	}
	return list, nil
}

func readTidy(t *testing.T, text string) []run.Record {
	t.Helper()
	list, err := collect(ReadTidy(strings.NewReader(text), TidyOptions{File: "day.csv"}))
	if err != nil {
		t.Fatal(err)
	}
	return list
}

func TestReadTidy(t *testing.T) {
	const text = "\ufeffdevice,workload,variant,supply,setting_w,started_at,duration_s,package_w,system_w,fps_mean,seconds\r\n" +
		"unit-oak,harbour-flight,\"smt=off,cores=6\",battery,15,2026-05-04T09:30:00+02:00,60.5,14.9,24.8,61.25,\r\n" +
		"unit-elm,tile-sort,,mains,,,,,,,12.5\r\n"
	list, err := collect(ReadTidy(strings.NewReader(text), TidyOptions{File: "day.csv", Lower: []string{"seconds"}}))
	if err != nil {
		t.Fatal(err)
	}
	want := run.Run{
		Labels: run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: run.Watts(15).From(""), Supply: run.Battery,
			Variant: "cores=6,smt=off"},
		State: run.Finished, StartedAt: run.Stamp(time.Date(2026, 5, 4, 7, 30, 0, 0, time.UTC)),
		DurationS: new(float64(60.5)), PackageW: ptr(14.9), SystemW: ptr(24.8),
		Results: map[string]run.Result{"fps_mean": {Value: 61.25, Better: run.Higher}}, Findings: []run.Finding{},
	}
	got := list[0].Run
	got.ID = ""
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("first row (-want +got):\n%s", diff)
	}
	if r := list[1]; r.Setting.Known() || r.DurationS != nil || r.PackageW != nil || r.Results["seconds"].Better != run.Lower || len(r.Results) != 1 {
		t.Errorf("second row: %+v; empty must be unknown", r.Run)
	}
}

func TestOtherDelimiters(t *testing.T) {
	for _, sep := range []string{";", "\t"} {
		list := readTidy(t, strings.ReplaceAll("device|workload|score\nunit-oak|tile-sort|7.5\n", "|", sep))
		if len(list) != 1 || list[0].Results["score"].Value != 7.5 {
			t.Errorf("with %q: %+v", sep, list)
		}
	}
}

// A setting is watts in either column, or a name.
func TestSettingsOfTidyTables(t *testing.T) {
	for cells, want := range map[string]run.Setting{
		"15,": run.Watts(15), "15,quiet": run.Watts(15), ",15W": run.Watts(15), ",15": run.Watts(15), ",quiet": run.Named("quiet"), ",": {},
	} {
		list := readTidy(t, "device,workload,setting_w,setting\nunit-oak,tile-sort,"+cells+"\n")
		if got := list[0].Setting.Setting; got != want {
			t.Errorf("setting_w,setting of %s: %v, want %v", cells, got, want)
		}
	}
}

// A cell with a whole page in it makes no page of an error.
func TestErrorsShowTheBeginningOfLongCells(t *testing.T) {
	_, err := collect(ReadTidy(strings.NewReader("device,workload,score\nunit-oak,tile-sort,"+strings.Repeat("x", 500)+"\n"), TidyOptions{File: "day.csv"}))
	if e := (*RowError)(nil); !errors.As(err, &e) || e.Text != strings.Repeat("x", 60)+"..." {
		t.Errorf("%v", err)
	}
	_, err = collect(ReadTidy(strings.NewReader("device,workload,score\nunit-oak,tile-sort,"+strings.Repeat("x", 60)+"\n"), TidyOptions{File: "day.csv"}))
	if e := (*RowError)(nil); !errors.As(err, &e) || e.Text != strings.Repeat("x", 60) {
		t.Errorf("%v", err)
	}
}

// A name may hold what is a delimiter elsewhere: the commonest one counts.
func TestTheCommonestDelimiterCounts(t *testing.T) {
	list := readTidy(t, "device,workload,note,score;final\nunit-oak,tile-sort,a;b;c;d;e;f,7.5\n")
	if len(list) != 1 || list[0].Results["score;final"].Value != 7.5 || list[0].Note != "a;b;c;d;e;f" {
		t.Errorf("%+v", list)
	}
}

// Each bad cell is named by line, column and text, and nothing comes after it.
func TestBadTables(t *testing.T) {
	const head = "device,workload,variant,supply,setting_w,started_at,duration_s,state,run,score\n"
	for _, c := range []struct{ text, says string }{
		{"", "day.csv is no tidy table: it is empty"},
		{"device,score\nunit-oak,1\n", "it has no column workload; its columns are device, score"},
		{"device,workload,device\n", "line 1: column device stands twice"},
		{"device,workload,\n", "line 1, column 3: column name is empty"},
		{head + ",w,,,,,,,,1\n", `line 2, column device: "": device is empty`},
		{head + "d,w,,,15,,,,,1\nd,w,,usb,15,,,,,1\n", `line 3, column supply: "usb": is no supply`},
		{head + "d,w,cores,,15,,,,,1\n", `line 2, column variant: "cores": variant "cores" is not a pair`},
		{head + "d,w,,,0,,,,,1\n", `line 2, column setting_w: "0": is not a number of watts above 0`},
		{head + "d,w,,,fast,,,,,1\n", `column setting_w: "fast"`},
		{head + "d,w,,,15,yesterday,,,,1\n", `column started_at: "yesterday": is no time: want RFC 3339`},
		{head + "d,w,,,15,,-3,,,1\n", `column duration_s: "-3"`},
		{head + "d,w,,,15,,long,,,1\n", `column duration_s: "long": is not a number of seconds`},
		{head + "d,w,,,15,,Inf,,,1\n", `column duration_s: "Inf": is not a number of seconds`},
		{head + "d,w,,,1000.5,,,,,1\n", `column setting_w: "1000.5": is not a number of watts above 0, at most 1000`},
		{"device,workload,package_w\nd,w,warm\n", `line 2, column package_w: "warm"`},
		{"device,workload,system_w\nd,w,NaN\n", `line 2, column system_w: "NaN"`},
		{head + "d,w,,,15,,,running,,1\n", `column state: "running"`},
		{head + "d,w,,,15,,,,a b,1\n", `column run: "a b"`},
		{head + "d,w,,,15,,,,,fast\n", `column score: "fast": is not a finite number`},
		{head + "d,w,,,15,,,,,NaN\n", `column score: "NaN"`},
		{head + "d,w,,,15,,,,,1e999\n", `column score: "1e999"`},
		{head + "d,w,,,15,,,,\n", "wrong number of fields"},
		{head + "d,\"w,,,15,,,,,1\n", "day.csv: parse error on line 2"},
		{"device,workload,score,units\nd,w,1,time=s\n", `column units: "time" names a result that the row does not have`},
	} {
		list, err := collect(ReadTidy(strings.NewReader(c.text), TidyOptions{File: "day.csv"}))
		good := max(0, strings.Count(c.text, "\n")-2) // the last row is the bad one
		if err == nil || !strings.Contains(err.Error(), c.says) || len(list) != good {
			t.Errorf("%.60q: %d runs, error %v; want %d and %q", c.text, len(list), err, good, c.says)
		}
	}
	_, err := collect(ReadTidy(strings.NewReader(head+"d,w,,,x,,,,,1\n"), TidyOptions{File: "day.csv"}))
	if e := (*RowError)(nil); !errors.As(err, &e) || e.Line != 2 || e.Column != "setting_w" || e.Text != "x" {
		t.Errorf("error %#v", err)
	}
}

func TestDerivedIDs(t *testing.T) {
	const text = "device,workload,setting_w,score\nd,w,15,1\nd,w,15,1\nd,w,15,2\n"
	a, b := readTidy(t, text), readTidy(t, text)
	seen := map[string]bool{}
	for i := range a {
		if a[i].ID != b[i].ID {
			t.Errorf("row %d: ids %s and %s; the same file must give the same", i, a[i].ID, b[i].ID)
		}
		seen[a[i].ID] = true
	}
	if len(seen) != 3 {
		t.Errorf("%d ids for three rows, two of them equal", len(seen))
	}
	// Another row is another run, in whatever file and after whatever rows; the same
	// row is the same run.
	other := readTidy(t, "device,workload,setting_w,score\nd,w,15,2\nd,w,16,1\nd,w,,1\nd,w,1,51\n")
	if other[0].ID != a[2].ID {
		t.Errorf("the row that was third and is now first: ids %s and %s", a[2].ID, other[0].ID)
	}
	for _, d := range other[1:] {
		if seen[d.ID] {
			t.Errorf("setting %q and score %v have the id of another row, %s", d.Setting, d.Results["score"].Value, d.ID)
		}
		seen[d.ID] = true
	}
	moved := readTidy(t, "score,workload,device,setting_w\n2,w,d,15\n")
	if moved[0].ID == "" {
		t.Error("no id")
	}
}

// The table as a spreadsheet shows it: unknown is empty, and units and lower name
// only the results that have one.
func TestTidyTableByHand(t *testing.T) {
	runs := []run.Run{
		{ID: "one", Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Watts(12.5).From(run.Declared), Supply: run.Battery, Variant: "cores=6"},
			State: run.Rejected, Why: "the lid, closed", Note: "again", StartedAt: run.Stamp(day), DurationS: ptr(61.25), PackageW: ptr(0), SystemW: ptr(-3),
			Results: map[string]run.Result{"score": {Value: 900, Better: run.Higher}, "seconds": {Value: 12, Unit: "s", Better: run.Lower}}},
		{ID: "two", Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort", Setting: run.Named("quiet").From(run.Declared)}, State: run.Finished,
			Results: map[string]run.Result{"fps_mean": {Value: 60.5, Unit: "fps", Better: run.Higher}}},
	}
	const want = `run,device,workload,variant,supply,setting_w,setting,started_at,duration_s,package_w,system_w,state,why,note,units,lower,revision,fps_mean,score,seconds
one,unit-oak,tile-sort,cores=6,battery,12.5,,2026-05-04T09:00:00.000Z,61.25,0,-3,rejected,"the lid, closed",again,seconds=s,seconds,rd3159b7a0c,,900,12
two,unit-oak,tile-sort,,,,quiet,,,,,finished,,,fps_mean=fps,,r8891ad2e3f,60.5,,
`
	var file bytes.Buffer
	if err := WriteTidy(&file, runs); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, file.String()); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
	runs[0].Results["note"] = run.Result{Value: 1}
	if err := WriteTidy(io.Discard, runs); err == nil || !strings.Contains(err.Error(), `"note" has the name of a column`) {
		t.Errorf("a result named as a column: error %v", err)
	}
}

// A table that does not fit the disk is not called written.
func TestTidyTableThatCannotBeWritten(t *testing.T) {
	runs := slices.Repeat([]run.Run{{Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort"}, State: run.Finished}}, 500)
	var whole bytes.Buffer
	if err := WriteTidy(&whole, runs); err != nil {
		t.Fatal(err)
	}
	for room := 0; room < whole.Len(); room += 1000 {
		if err := WriteTidy(&disk{room: room}, runs); !errors.Is(err, errFull) {
			t.Errorf("a disk with room for %d of %d bytes: error %v", room, whole.Len(), err)
		}
	}
}

// disk fails when it is full.
type disk struct{ room int }

var errFull = errors.New("no space left on device")

func (d *disk) Write(p []byte) (int, error) {
	n := min(len(p), d.room)
	d.room -= n
	if n < len(p) {
		return n, errFull
	}
	return n, nil
}

// Any run that can be started, stopped, corrected or rejected here is the same after
// an export and an import, and so is the table.
func TestAnyAcceptedRunSurvivesAnExport(t *testing.T) {
	pieces := rapid.SampledFrom([]string{"=", "+", "-", "@", "'", "\"", ";", ",", "\t", " ", "\r", "\n", "\r\n", "\u00a0", "a", "1", "ü", "速", "\U0001F50B", "＝", "W", "nan", "\\", "#", "\ufeff"})
	words := rapid.Map(rapid.SliceOfN(pieces, 1, 6), func(list []string) string { return strings.Join(list, "") })
	accepted := func(check func(string) error) *rapid.Generator[string] {
		return words.Filter(func(text string) bool { return check(text) == nil })
	}
	label := accepted(func(text string) error { return run.CheckLabel("label", text) })
	name := accepted(func(text string) error {
		if slices.Contains(tidyColumns, text) {
			return errors.New("a column's")
		}
		return run.CheckResult(text, run.Result{Better: run.Higher})
	})
	key := accepted(func(text string) error { _, err := run.ParseVariantPairs([]string{text + "=1"}); return err })
	value := accepted(func(text string) error { _, err := run.ParseVariantPairs([]string{"k=" + text}); return err })
	rapid.Check(t, func(rt *rapid.T) {
		r := run.Run{ID: "0a1b2c3d", State: run.Rejected, Why: label.Draw(rt, "why"), Findings: []run.Finding{}, Results: map[string]run.Result{}}
		r.Device, r.Workload = label.Draw(rt, "device"), label.Draw(rt, "workload")
		r.Variant = run.NewVariant(map[string]string{key.Draw(rt, "key"): value.Draw(rt, "value"), "cores": "6"})
		if s, err := run.ParseSetting(label.Draw(rt, "setting")); err == nil {
			r.Setting.Setting = s
		}
		r.Note = run.NoteText(accepted(run.CheckNote).Draw(rt, "note"))
		for _, n := range rapid.SliceOfNDistinct(name, 0, 3, rapid.ID).Draw(rt, "results") {
			x := run.Result{Value: -5, Better: rapid.SampledFrom([]run.Better{run.Higher, run.Lower}).Draw(rt, "better")}
			if unit := label.Draw(rt, "unit"); len(unit) <= 40 {
				x.Unit = unit
			}
			r.Results[n] = x
		}
		var first, second bytes.Buffer
		if err := WriteTidy(&first, []run.Run{r}); err != nil {
			rt.Fatal(err)
		}
		text := first.String()
		list, err := collect(ReadTidy(&first, TidyOptions{File: "round.csv"}))
		if err != nil {
			rt.Fatalf("%v\n%s", err, text)
		}
		if diff := cmp.Diff(r, list[0].Run); diff != "" {
			rt.Fatalf("%s(-written +read):\n%s", text, diff)
		}
		if err := WriteTidy(&second, []run.Run{list[0].Run}); err != nil || second.String() != text {
			rt.Fatalf("again: %v\n%s%s", err, text, &second)
		}
	})
}

// What is written reads back the same, whatever the runs.
func TestTidyRoundTrip(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		runs := rapid.SliceOfN(rapid.Custom(drawRun), 1, 8).Draw(rt, "runs")
		for i := range runs {
			if r := &runs[i]; r.State == run.Finished && r.Why != "" { // which only those have that were kept
				r.Findings = []run.Finding{run.KeptInterruptedFinding(r.DurationS, r.Why)}
			}
		}
		var file bytes.Buffer
		if err := WriteTidy(&file, runs); err != nil {
			rt.Fatal(err)
		}
		list, err := collect(ReadTidy(&file, TidyOptions{File: "round.csv"}))
		if err != nil {
			rt.Fatal(err)
		}
		got := make([]run.Run, len(list))
		for i := range list {
			got[i] = list[i].Run
			if r := Revision(list[i].Run); r != list[i].Revision || r != Revision(runs[i]) {
				rt.Fatalf("revision %s as read, %s as written, %s before", r, list[i].Revision, Revision(runs[i]))
			}
		}
		if diff := cmp.Diff(runs, got); diff != "" {
			rt.Fatalf("(-written +read):\n%s", diff)
		}
	})
}

func drawRun(t *rapid.T) run.Run {
	label := rapid.StringMatching(`[a-zA-Z"][a-zA-Z0-9 ,;"'äß-]{0,12}[a-z"]`)
	maybe := func(g *rapid.Generator[float64], name string) *float64 {
		if !rapid.Bool().Draw(t, name+"?") {
			return nil
		}
		x := g.Draw(t, name)
		return &x
	}
	r := run.Run{
		ID:       rapid.StringMatching(`[0-9a-f]{8}`).Draw(t, "id"),
		Labels:   run.Labels{Device: label.Draw(t, "device"), Workload: label.Draw(t, "workload"), Variant: ""},
		State:    rapid.SampledFrom([]run.State{run.Finished, run.Rejected, run.Interrupted}).Draw(t, "state"),
		Why:      rapid.SampledFrom([]string{"", "a \"quoted\"\nwhy"}).Draw(t, "why"),
		Findings: []run.Finding{}, Results: map[string]run.Result{},
	}
	r.Supply = rapid.SampledFrom([]run.Supply{run.Mains, run.Battery, run.SupplyUnknown}).Draw(t, "supply")
	if w := maybe(rapid.Float64Range(0.01, 1000), "watts"); w != nil {
		r.Setting.Setting = run.Watts(*w)
	}
	r.DurationS = maybe(rapid.Float64Range(0, 1e6), "duration")
	r.PackageW = maybe(rapid.Float64Range(0, 500), "package")
	r.SystemW = maybe(rapid.Float64Range(-50, 500), "system")
	if rapid.Bool().Draw(t, "started?") {
		r.StartedAt = run.Stamp(time.UnixMilli(rapid.Int64Range(0, 4e12).Draw(t, "started")))
	}
	variant := map[string]string{}
	for _, v := range rapid.SliceOfDistinct(rapid.SampledFrom([]string{"cores", "smt", "pack"}), rapid.ID).Draw(t, "variant") {
		variant[v] = rapid.SampledFrom([]string{"6", "off", "100Wh"}).Draw(t, v)
	}
	r.Variant = run.NewVariant(variant)
	for _, n := range rapid.SliceOfDistinct(rapid.SampledFrom([]string{"fps_mean", "score", "seconds"}), rapid.ID).Draw(t, "results") {
		r.Results[n] = run.Result{Value: rapid.Float64Range(-1e300, 1e300).Draw(t, n), Unit: rapid.SampledFrom([]string{"", "fps", "s"}).Draw(t, "unit"),
			Better: rapid.SampledFrom([]run.Better{run.Higher, run.Lower}).Draw(t, "better")}
	}
	return r
}

func FuzzReadTidy(f *testing.F) {
	f.Add("device,workload,score\nunit-oak,tile-sort,1\n")
	f.Add("\ufeffdevice;workload\n\";")
	f.Fuzz(func(t *testing.T, text string) {
		ended := false
		for d, err := range ReadTidy(strings.NewReader(text), TidyOptions{File: "fuzz.csv"}) {
			if ended || (d == nil) != (err != nil) {
				t.Errorf("run %v, error %v, after an error: %v", d, err, ended)
			}
			ended = err != nil
		}
	})
}

func BenchmarkReadTidy(b *testing.B) {
	var file bytes.Buffer
	fmt.Fprintln(&file, "device,workload,supply,setting_w,started_at,duration_s,package_w,fps_mean")
	for i := range 100_000 {
		fmt.Fprintf(&file, "unit-oak,harbour-flight,mains,%d,2026-05-04T09:30:00Z,60,14.9,%d.25\n", 5+i%20, i)
	}
	b.ReportAllocs()
	for b.Loop() {
		for _, err := range ReadTidy(bytes.NewReader(file.Bytes()), TidyOptions{File: "day.csv"}) {
			if err != nil {
				b.Fatal(err)
			}
		}
	}
}
