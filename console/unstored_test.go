package console

import (
	"encoding/json"
	"errors"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"testing"

	"go.uber.org/zap"

	"sweepd/run"
	"sweepd/testday"
)

// A stop that could not be stored says so with a status and a field of its own, in status
// and list the run is as it ended, and what is corrected meanwhile goes to the agent.
func TestARunThatCouldNotBeStored(t *testing.T) {
	seconds := 60.0
	d := run.Record{Run: run.Run{ID: "019a0000-0001", State: run.Finished, DurationS: &seconds, KeptIn: run.InJournal,
		Labels: run.Labels{Device: "unit-oak", Workload: "tile-sort"}, Results: map[string]run.Result{"fps": {Value: 61, Better: run.Higher}}}}
	f := &fakeAgent{unstored: []run.Record{d}}
	data := openStore(t)
	begun := d
	begun.State, begun.DurationS, begun.KeptIn, begun.Results = run.Recording, nil, "", nil
	if err := data.BeginRun(t.Context(), begun); err != nil {
		t.Fatal(err)
	}
	token, err := NewToken(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	h := New(Options{Agent: f, Store: data, Machine: &fakeMachine{}, Log: zap.NewNop(), Token: token, Open: opening(data)})
	s := httptest.NewServer(h)
	defer s.Close()
	c, err := NewClient(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	c.Holder.Data = filepath.Dir(token.Path())
	status, err := c.Status(t.Context())
	if err != nil || status.Recording != nil || len(status.Unstored) != 1 || status.Unstored[0].KeptIn != run.InJournal || status.Unstored[0].Results["fps"].Value != 61 {
		t.Errorf("status %+v, %v", status, err)
	}
	var not *run.NotStoredError
	got, err := c.StopRun(t.Context(), run.Stop{Results: map[string]run.Result{"score": {Value: 7}}})
	if !errors.As(err, &not) || not.Run.Results["score"].Value != 7 || not.Run.KeptIn != run.InJournal || !strings.Contains(err.Error(), "is not stored yet") || got.ID != "" {
		t.Errorf("stopped: %+v, %v", got.Run, err)
	}
	if _, err := c.Correct(t.Context(), "0001", testday.Results{"score": {Value: 8}}, nil, ""); !errors.As(err, &not) || not.Run.Results["score"].Value != 8 || f.tried == 0 {
		t.Errorf("corrected: %v, tried to store it %d times", err, f.tried)
	}
	if _, err := c.Decide(t.Context(), "0001", run.Reject, "an update"); !errors.As(err, &not) || not.Run.State != run.Rejected || not.Run.Why != "an update" {
		t.Errorf("rejected: %v", err)
	}
	w := ask(h, "POST", "/api/v1/runs/stop", "{}", nil)
	var m problem
	if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil || w.Code != 507 || m.Run == nil || m.Run.KeptIn != run.InJournal || m.Error == "" {
		t.Errorf("status %d: %s", w.Code, w.Body)
	}
	w = ask(h, "GET", "/api/v1/runs", "", nil)
	var list []run.Run
	if err := json.Unmarshal(w.Body.Bytes(), &list); err != nil || len(list) != 1 || list[0].State != run.Finished || list[0].KeptIn != run.InJournal {
		t.Errorf("list: %s", w.Body)
	}
}
