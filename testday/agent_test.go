package testday

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"sweepd/agent"
	"sweepd/run"
	"sweepd/store"
)

// fakeRecorder is the fake agent as one in this process.
type fakeRecorder struct {
	fakeAgent
	agent.Events
	live      run.Live
	declared  run.Setting
	corrected []run.Correction // of what is not stored
	storedNow bool             // it was, in the meantime
}

func (f *fakeRecorder) Declare(_ context.Context, s run.Setting, _ string) error {
	f.declared, f.live.Current.Setting = s, s.From(run.Declared)
	return f.err
}

func (f *fakeRecorder) Live() run.Live { return f.live }

func (f *fakeRecorder) Rename(context.Context, string, string) (bool, error) { return false, f.err }
func (f *fakeRecorder) StoreEnded(context.Context) error                     { return f.err }

func (f *fakeRecorder) CorrectUnstored(id string, c run.Correction) (bool, error) {
	at := indexOf(f.live.Unstored, id)
	if at < 0 || f.storedNow {
		return false, nil
	}
	f.corrected = append(f.corrected, c)
	return true, run.NotStored(&run.Ended{Record: f.live.Unstored[at], Corrections: f.corrected}, run.InMemory, errDisk)
}

func (f *fakeRecorder) Publish(change func() (run.Event, error)) error {
	_, err := change()
	return err
}

func TestLocalStatus(t *testing.T) {
	f := &fakeRecorder{live: run.Live{DischargeWatts: math.NaN(), ChargeRatio: math.Inf(1)}}
	l := &Local{Recorder: f, Version: "v1"}
	s, err := l.Status(t.Context())
	if err != nil || s.Version != "v1" || s.DischargeW != nil || s.ChargeRatio != nil || !s.At.IsZero() || s.Recording != nil {
		t.Errorf("before the first sweep: %+v, %v", s, err)
	}
	read := run.Watts(12).From(run.Firmware)
	f.live = run.Live{Sweeps: 3, At: run.Instant{Wall: morning.Add(1500 * time.Microsecond)}, Current: run.Labels{Device: "unit-oak", Supply: run.Battery, Setting: run.Watts(15).From(run.Declared)},
		SettingRead: &read, DischargeWatts: 14.5, ChargeRatio: 0.5, Recording: &run.Run{ID: "019a", Discharge: &run.Discharge{}}}
	s, err = l.Status(t.Context())
	if err != nil || s.Device != "unit-oak" || s.Supply != run.Battery || s.Setting.String() != "15W" || *s.SettingRead != read || *s.DischargeW != 14.5 || *s.ChargeRatio != 0.5 || s.Sweeps != 3 {
		t.Errorf("%+v, %v", s, err)
	}
	if s.At.String() != "2026-05-04T09:00:00.001Z" || s.Recording.ID != "019a" || s.Recording.Findings == nil || s.Recording.Discharge != nil {
		t.Errorf("at %v, recording %+v", s.At, s.Recording)
	}
	if s, err := l.Declare(t.Context(), run.Named("quiet"), BySetting); err != nil || s.Setting.Name() != "quiet" || f.declared != run.Named("quiet") {
		t.Errorf("declared: %+v, %v", s, err)
	}
	f.err = errDisk
	if s, err := l.Declare(t.Context(), run.Named("quiet"), BySetting); !errors.Is(err, errDisk) || s.Sweeps != 0 {
		t.Errorf("an agent that fails: %+v, %v", s, err)
	}
}

func TestLocalStop(t *testing.T) {
	f := &fakeRecorder{fakeAgent: *recordingAgent()}
	l := &Local{Recorder: f, Lower: []string{"load"}}
	var ended *EndedError
	if d, err := l.StopRun(t.Context(), run.Stop{Results: map[string]run.Result{"a,b": {Value: 1}, "load": {Value: 4}}}); !errors.As(err, &ended) || f.recording != nil || d.Results["load"].Better != run.Lower {
		t.Errorf("a result that cannot be kept: %+v, %v", d, err)
	}
	f.fakeAgent = *recordingAgent()
	d, err := l.StopRun(t.Context(), run.Stop{Results: map[string]run.Result{"load": {Value: 4}, "fps": {Value: 60}, "wait": {Value: 1, Better: run.Lower}}})
	if err != nil || d.Results["load"].Better != run.Lower || d.Results["fps"].Better != run.Higher || d.Results["wait"].Better != run.Lower {
		t.Errorf("%+v, %v", d.Results, err)
	}
}

func TestParseResults(t *testing.T) {
	list, err := ParseResults([]string{"fps=61.3fps", "load=4 s"}, []string{"load"})
	if err != nil || len(list) != 2 || list["fps"] != (run.Result{Value: 61.3, Unit: "fps"}) || list["load"] != (run.Result{Value: 4, Unit: "s", Better: run.Lower}) {
		t.Errorf("%+v, %v", list, err)
	}
	for want, c := range map[string]struct{ texts, lower []string }{
		"result fps is given twice": {[]string{"fps=1", "fps=2"}, nil}, "--lower load names no result that is given": {[]string{"fps=1"}, []string{"load"}},
		`result name "a,b" may not hold '=' or ','`: {[]string{"a,b=1"}, nil},
	} {
		var request *RequestError
		if _, err := ParseResults(c.texts, c.lower); !errors.As(err, &request) || err.Error() != want {
			t.Errorf("%v: %v, want %q", c.texts, err, want)
		}
	}
}

func TestParseSetting(t *testing.T) {
	if s, err := ParseSetting("15.004W"); err != nil || s != run.Watts(15) {
		t.Errorf("%v, %v", s, err)
	}
	for _, text := range []string{"", "0W", "a\nb"} {
		var request *RequestError
		if _, err := ParseSetting(text); !errors.As(err, &request) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// What leaves as JSON has no null lists, and the caller's runs stay as they are.
func TestListed(t *testing.T) {
	in := []run.Run{{ID: "a", Discharge: &run.Discharge{}, Facts: map[string]string{"os": "x"}}, {ID: "b", Results: map[string]run.Result{"fps": {}}, Findings: []run.Finding{{}}}}
	out := Listed(in)
	if len(out) != 2 || out[0].Results == nil || out[0].Findings == nil || out[0].Discharge != nil || out[0].Facts != nil || len(out[1].Results) != 1 || len(out[1].Findings) != 1 {
		t.Errorf("%+v", out)
	}
	if in[0].Discharge == nil || in[0].Facts == nil || in[0].Results != nil {
		t.Errorf("the runs given changed: %+v", in[0])
	}
	w := 3.0
	d := complete(run.Record{Run: in[0], Summaries: []run.Summary{{}}})
	if d.Discharge != in[0].Discharge || d.Facts["os"] != "x" || len(d.Summaries) != 1 {
		t.Errorf("%+v", d)
	}
	if d = complete(run.Record{Run: run.Run{Discharge: &run.Discharge{Watts: &w}}}); *d.Discharge.Watts != 3 {
		t.Errorf("%+v", d.Discharge)
	}
	s := openStore(t)
	day(t, s)
	failsWhereItsStoreDoes(t, s, []string{"History"}, func(s store.Store) error {
		_, err := Show(t.Context(), s, "019a0000"+morning.Add(3*time.Minute).Format("-1504"))
		return err
	})
	if runs, err := List(t.Context(), s, store.Filter{Supply: run.Mains}); err != nil || len(runs) != 9 || runs[0].Facts != nil || runs[0].Findings == nil {
		t.Errorf("%d runs, %v", len(runs), err)
	}
	if _, err := Show(t.Context(), s, "none"); !errors.Is(err, run.ErrNoRun) {
		t.Errorf("no run: %v", err)
	}
}
