package testday

import (
	"context"
	"errors"
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/store"
)

// unstoredDay is a day whose run u was begun and could not be ended in the store.
func unstoredDay(t *testing.T) (s store.Store, ended run.Record) {
	t.Helper()
	s = openStore(t)
	day(t, s)
	begun := run.Record{Run: run.Run{ID: "019a0000-0000-uuuu", State: run.Recording, StartedAt: run.Stamp(morning), Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort"}}}
	if err := s.BeginRun(t.Context(), begun); err != nil {
		t.Fatal(err)
	}
	seconds := 60.0
	ended = begun
	ended.State, ended.DurationS, ended.KeptIn = run.Finished, &seconds, run.InMemory
	ended.Results = map[string]run.Result{"fps": {Value: 61, Better: run.Higher}}
	return s, ended
}

// A run is seen as it ended, whatever the store knows of it.
func TestWithUnstored(t *testing.T) {
	s, ended := unstoredDay(t)
	asked := 0
	seen := WithUnstored(s, func(context.Context) []run.Record { asked++; return []run.Record{ended} })
	runs, err := List(t.Context(), seen, store.Filter{})
	if err != nil || len(runs) != 19 || asked != 1 {
		t.Fatalf("%d runs, %v, asked %d times", len(runs), err, asked)
	}
	for _, r := range runs {
		if r.State == run.Recording || r.ID == ended.ID && (r.KeptIn != run.InMemory || r.Results["fps"].Value != 61) {
			t.Errorf("%+v", r)
		}
	}
	if runs, err := List(t.Context(), seen, store.Filter{Supply: run.Battery}); err != nil || len(runs) != 9 || asked != 1 {
		t.Errorf("%d runs without it, %v, asked %d times", len(runs), err, asked)
	}
	for _, id := range []string{ended.ID, "uuuu"} {
		if k, err := Show(t.Context(), seen, id); err != nil || k.State != run.Finished || k.KeptIn != run.InMemory {
			t.Errorf("%s: %+v, %v", id, k.Run, err)
		}
		if full, err := seen.FindRun(t.Context(), id); err != nil || full != ended.ID {
			t.Errorf("%s: %s, %v", id, full, err)
		}
	}
	asked = 0
	if k, err := Show(t.Context(), seen, runs[1].ID); err != nil || k.ID != runs[1].ID || asked != 0 {
		t.Errorf("another: %+v, %v, asked %d times", k.Run, err, asked)
	}
	for _, id := range []string{"none-such", "019a0000"} { // none, several
		_, err1 := seen.Run(t.Context(), id)
		_, err2 := seen.FindRun(t.Context(), id)
		for _, err := range []error{err1, err2} {
			if !errors.Is(err, run.ErrNoRun) && !errors.Is(err, store.ErrAmbiguous) {
				t.Errorf("%s: %v", id, err)
			}
		}
	}
	// A run that is stored while the agent is asked is seen as it is stored.
	judged := ended
	judged.KeptIn, judged.Results = "", map[string]run.Result{"fps": {Value: 62, Better: run.Higher}}
	late := WithUnstored(s, func(ctx context.Context) []run.Record {
		if err := s.FinishRun(ctx, judged); err != nil && !errors.Is(err, run.ErrEnded) {
			t.Error(err)
		}
		return nil
	})
	if runs, err := List(t.Context(), late, store.Filter{}); err != nil || runs[0].ID != ended.ID || runs[0].State != run.Finished || runs[0].Results["fps"].Value != 62 {
		t.Errorf("stored meanwhile: %+v, %v", runs[0], err)
	}
	// Where the store cannot be read, what the agent keeps is found.
	lost := WithUnstored(&failing{s, "Run"}, func(context.Context) []run.Record { return []run.Record{{Run: run.Run{ID: "earlier"}}, ended} })
	for _, id := range []string{store.Last, ended.ID, "uuuu"} {
		if d, err := lost.Run(t.Context(), id); err != nil || d.ID != ended.ID {
			t.Errorf("%s: %+v, %v", id, d.Run, err)
		}
	}
	if _, err := lost.Run(t.Context(), "uux"); !errors.Is(err, errDisk) {
		t.Errorf("no part of it: %v", err)
	}
}

// What is corrected meanwhile is kept with the run; once it is stored, in the store.
func TestCorrectionsWithUnstored(t *testing.T) {
	s, ended := unstoredDay(t)
	f := &fakeRecorder{live: run.Live{Unstored: []run.Record{ended}}}
	seen := CorrectionsWithUnstored(s, f)
	var not *run.NotStoredError
	list := Results{"fps": {Value: 62, Better: run.Higher}}
	d, err := Correct(t.Context(), seen, "uuuu", list, nil, ResultRules{}, "", morning)
	if !errors.As(err, &not) || d.Results["fps"].Value != 62 || len(f.corrected) != 1 {
		t.Errorf("%+v, %v", d.Run, err)
	}
	if _, err := Decide(t.Context(), seen, "uuuu", run.Keep, "it was none", morning); !errors.Is(err, store.ErrNotRejected) || len(f.corrected) != 1 {
		t.Errorf("kept: %v", err)
	}
	if d, err := Decide(t.Context(), seen, "uuuu", run.Reject, "an update", morning); !errors.As(err, &not) || d.State != run.Rejected {
		t.Errorf("rejected: %+v, %v", d.Run, err)
	}
	if _, err := seen.Correct(t.Context(), "019a0000-0903", run.Correction{At: morning, Decision: run.Reject, Why: "an update"}); err != nil || len(f.corrected) != 2 {
		t.Errorf("another: %v", err)
	}
	f.storedNow = true
	if d, err := Correct(t.Context(), seen, ended.ID, list, nil, ResultRules{}, "", morning); err != nil || d.Results["fps"].Value != 62 || d.KeptIn != "" {
		t.Errorf("stored meanwhile: %+v, %v", d.Run, err)
	}
}

// Repeating a stop that could not be stored needs no id.
func TestAStopIsRepeated(t *testing.T) {
	s, ended := unstoredDay(t)
	f := &fakeRecorder{live: run.Live{Unstored: []run.Record{ended}}}
	f.err = run.ErrNotRecording
	l := &Local{Recorder: f, Store: CorrectionsWithUnstored(s, f)}
	var not *run.NotStoredError
	if _, err := l.StopRun(t.Context(), run.Stop{Results: map[string]run.Result{"score": {Value: 7}}}); !errors.As(err, &not) || not.Run.Results["score"].Value != 7 || not.Run.Results["fps"].Value != 61 {
		t.Errorf("not stored yet: %v", err)
	}
	f.storedNow = true // by the stop
	if d, err := l.StopRun(t.Context(), run.Stop{Results: map[string]run.Result{"score": {Value: 8}}}); err != nil || d.ID != ended.ID || d.Results["score"].Value != 8 {
		t.Errorf("stored: %+v, %v", d.Run, err)
	}
	f.live.Unstored = nil
	if _, err := l.StopRun(t.Context(), run.Stop{}); !errors.Is(err, run.ErrNotRecording) {
		t.Errorf("nothing is left: %v", err)
	}
	status, err := (&Local{Recorder: &fakeRecorder{live: run.Live{Unstored: []run.Record{ended}}}}).Status(t.Context())
	if err != nil || len(status.Unstored) != 1 || status.Unstored[0].ID != ended.ID || status.Recording != nil {
		t.Errorf("status %+v, %v", status, err)
	}
}

// The frame times of a run that could not be stored are kept with it.
func TestFramesOfAnUnstoredRun(t *testing.T) {
	f := recordingAgent()
	f.unstored = true
	results := FrameResults{FramesS: 2.3, Results: Results{"fps": {Value: 100}}}
	_, err := StopWithFrames(t.Context(), f, run.Stop{}, func() (FrameResults, error) { return results, nil })
	var not *run.NotStoredError
	if !errors.As(err, &not) || f.frames.FramesS != 2.3 || not.Run.Results["fps"].Value != 100 {
		t.Errorf("%v, %+v", err, f.frames)
	}
	f = recordingAgent()
	f.unstored = true
	_, err = StopWithFrames(t.Context(), f, run.Stop{}, func() (FrameResults, error) { return results, errAway })
	if !errors.As(err, &not) || !strings.Contains(err.Error(), "--frames FILE`: no agent answers") {
		t.Errorf("a file that cannot be read: %v", err)
	}
}

// A watched run that could not be stored is kept, with the results of its command.
func TestWatchOfAnUnstoredRun(t *testing.T) {
	f := &fakeAgent{unstored: true}
	d, err := Watch(t.Context(), f, run.Start{Workload: "tile-sort"}, watched(t, "echo score 7", `score=score (.*)`))
	var not *run.NotStoredError
	if !errors.As(err, &not) || not.Run.Results["score"].Value != 7 || d.ID != "" || strings.Contains(err.Error(), "could not be stopped") {
		t.Errorf("%+v, %v", d.Run, err)
	}
}
