package sqlite

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
	"sweepd/store/contract"
)

// everything is a run that has something in every table of runs.
func everything(id string) run.Record {
	r := finished(id, 0)
	r.State, r.Why = run.Rejected, "suspended: slept"
	r.Findings = []run.Finding{{Code: run.Suspended, Severity: run.SeverityReject, Text: "slept"}}
	r.Summaries = []run.Summary{{Sensor: run.PackagePower, Unit: "watts", Mean: new(9.5)}, {Sensor: run.BatteryCharge, Unit: "ratio", First: new(0.5)}}
	return r
}

var operations = []struct {
	name   string
	tables string // that it cannot do without
	do     func(context.Context, *Store) error
}{
	{"begin", "runs results findings summaries sensors fact_sets facts run_checksums", func(ctx context.Context, s *Store) error {
		r := everything("run-new")
		r.State = run.Recording
		r.Facts["kernel"] = "6.2"
		r.Summaries[0].Sensor = run.GPUPower
		return s.BeginRun(ctx, r)
	}},
	{"finish", "runs results result_history findings summaries decisions corrections facts run_checksums series", func(ctx context.Context, s *Store) error {
		r := everything("run-now")
		r.Facts = nil
		return s.FinishRun(ctx, r)
	}},
	{"unfinished", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Unfinished(ctx, "unit-oak")
		return err
	}},
	{"correct results", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Correct(ctx, "run-0001", oneResult("score", run.Result{Value: 1, Better: run.Lower}, noon))
		return err
	}},
	{"correct a new result", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Correct(ctx, "run-0001", oneResult("fps", run.Result{Value: 1, Better: run.Lower}, noon))
		return err
	}},
	{"correct a finding", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Correct(ctx, "run-0001", run.Correction{Findings: map[run.Code]*run.Finding{run.HotStart: {Code: run.HotStart, Severity: run.SeverityDoubt}}})
		return err
	}},
	{"reject", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Correct(ctx, "run-0001", reject("too warm"))
		return err
	}},
	{"keep", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Correct(ctx, "run-0001", run.Correction{Decision: run.Keep, Why: "all well"})
		return err
	}},
	{"mark outlying", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.SetUnlike(ctx, store.Filter{}, store.Outlying, map[string]string{"run-0001": "score is odd"})
		return err
	}},
	{"import", "runs results findings summaries sensors fact_sets facts run_checksums", func(ctx context.Context, s *Store) error {
		r := everything("run-new")
		r.Facts["kernel"] = "6.2"
		r.Summaries[0].Sensor = run.GPUPower
		_, _, err := s.Import(ctx, "", contract.Sequence(r), nil)
		return err
	}},
	{"list", "runs results findings run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Runs(ctx, store.Filter{Device: "unit-oak"})
		return err
	}},
	{"list all", "runs results findings run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Runs(ctx, store.Filter{})
		return err
	}},
	{"read", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Run(ctx, store.Last)
		return err
	}},
	{"analyse", "runs results findings facts run_checksums", func(ctx context.Context, s *Store) error {
		_, _, err := s.AnalysisRuns(ctx, store.Filter{})
		return err
	}},
	{"switched off", "runs results findings facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.SwitchedOff(ctx, store.Filter{})
		return err
	}},
	{"find", "runs", func(ctx context.Context, s *Store) error {
		_, err := s.FindRun(ctx, "run-0001")
		return err
	}},
	{"history", "runs results result_history findings summaries decisions corrections facts run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.History(ctx, "run-0001")
		return err
	}},
	{"devices", "runs run_checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Devices(ctx)
		return err
	}},
	{"walk", "runs series series_sensors sensors series_labels readings series_checksums", func(ctx context.Context, s *Store) error {
		trace, err := s.Trace(ctx, "run-now")
		if err != nil {
			return err
		}
		return trace.Each(func(run.Sweep) error { return nil })
	}},
	{"walk idle sweeps", "series series_sensors sensors series_labels readings series_checksums", func(ctx context.Context, s *Store) error {
		trace, err := s.IdleSweeps(ctx, "unit-oak", noon.Add(time.Hour))
		if err != nil {
			return err
		}
		return trace.Each(func(run.Sweep) error { return nil })
	}},
	{"upkeep", "series readings", func(ctx context.Context, s *Store) error { return s.Upkeep(ctx, time.Hour, noon.Add(24*time.Hour)) }},
	{"new plan", "plans plan_slots checksums", func(ctx context.Context, s *Store) error {
		_, err := s.NewPlan(ctx, onePlan())
		return err
	}},
	{"plan", "plans plan_slots checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Plan(ctx)
		return err
	}},
	{"extend plan", "plans plan_slots checksums", func(ctx context.Context, s *Store) error {
		p := onePlan()
		p.ID = 1
		return s.ExtendPlan(ctx, p, 1)
	}},
	{"keep a declaration", "declarations", func(ctx context.Context, s *Store) error {
		return s.KeepDeclaration(ctx, "unit-oak", run.Declaration{Setting: run.Watts(25), At: run.Stamp(noon)})
	}},
	{"declaration", "declarations", func(ctx context.Context, s *Store) error {
		_, err := s.Declaration(ctx, "unit-oak")
		return err
	}},
	{"keep an outcome", "schedule_outcomes checksums", func(ctx context.Context, s *Store) error {
		return s.KeepOutcome(ctx, schedule.Outcome{Entry: "upkeep", Status: schedule.StatusDone})
	}},
	{"outcomes", "schedule_outcomes checksums", func(ctx context.Context, s *Store) error {
		_, err := s.Outcomes(ctx)
		return err
	}},
}

func onePlan() schedule.Plan {
	return schedule.Plan{CreatedAt: run.Stamp(noon), Slots: []schedule.Slot{{Cell: run.Cell{Device: "unit-oak", Workload: "tile-sort", Supply: run.Mains}}}}
}

// inUse is a store with something in every table.
func inUse(t *testing.T) *Store {
	s, err := Open(t.TempDir(), Options{Unsynced: true})
	must(t, err)
	t.Cleanup(func() { must(t, s.Close()) })
	imported(t, s, everything("run-0001"))
	correct(t, s, "run-0001", oneResult("score", run.Result{Value: 2, Better: run.Higher}, noon))
	now := newRun("run-now")
	now.Results["score"] = run.Result{Value: 3, Better: run.Higher}
	must(t, s.BeginRun(t.Context(), now))
	sensors := []run.Sensor{{ID: "x"}}
	for _, id := range []string{"run-now", ""} {
		must(t, s.Append(t.Context(), run.Batch{Device: "unit-oak", RunID: id, Sensors: sensors, Sweeps: []run.Sweep{quarter(0, 1)}}))
	}
	_, err = s.NewPlan(t.Context(), onePlan())
	must(t, err)
	must(t, s.KeepOutcome(t.Context(), schedule.Outcome{Entry: "export", Status: schedule.StatusDone}))
	return s
}

// What fails is told, whatever part of it fails: nothing is passed over, and nothing of
// a change is kept. A table that is gone makes SQLite fail there.
func TestEveryFailureIsTold(t *testing.T) {
	for _, op := range operations {
		t.Run(op.name, func(t *testing.T) {
			for table := range strings.FieldsSeq(op.tables) {
				s := inUse(t)
				execWriter(t, s, "ALTER TABLE "+table+" RENAME TO gone")
				if err := op.do(t.Context(), s); err == nil || !strings.Contains(err.Error(), "no such table: ") || !strings.Contains(err.Error(), table) {
					t.Errorf("without the table %s: %v", table, err)
				}
			}
			s := inUse(t)
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			if err := op.do(ctx, s); !errors.Is(err, context.Canceled) {
				t.Errorf("with a context that has ended: %v", err)
			}
			if err := op.do(t.Context(), s); err != nil {
				t.Errorf("with all that it needs: %v", err)
			}
		})
	}
}
