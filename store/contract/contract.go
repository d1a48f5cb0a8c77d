// Package contract tests what every store.Store has to do. It is imported by tests alone.
package contract

import (
	"iter"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"sweepd/run"
	"sweepd/store"
)

// Test runs the suite; open gives an empty store each time.
func Test(t *testing.T, open func(t *testing.T) store.Store) {
	for name, test := range map[string]func(*testing.T, store.Store){
		"a run begins":                 begins,
		"a run begins once":            beginsOnce,
		"sweeps come back":             sweepsComeBack,
		"buffers stay the caller's":    buffersStay,
		"a batch can be empty":         emptyBatch,
		"a run without sweeps":         withoutSweeps,
		"refusals store nothing":       refusals,
		"a run finishes":               finishes,
		"results arrive meanwhile":     resultsMeanwhile,
		"results arrive after the end": resultsAfterTheEnd,
		"unknown runs":                 unknownRuns,
		"idle sweeps of other sensors": idleOfOtherSensors,
		"idle sweeps since":            idleSince,

		"runs are found by parts of ids": findsRuns,
		"the last run is found":          findsTheLastRun,
		"the last of some runs is found": findsTheLastOfASelection,
		"few of many runs are told":      tellsFewOfMany,
		"filters select":                 filters,
		"devices are listed":             listsDevices,
		"corrections keep what was":      corrections,
		"corrections keep directions":    keepsDirections,
		"corrections are all or nothing": correctsAllOrNothing,
		"corrections replace findings":   replacesFindings,
		"runs are rejected and kept":     rejectsAndKeeps,
		"interrupted runs are kept":      keepsInterrupted,
		"outlying runs are marked":       marksOutlying,
		"readings are put beside others": setsReadings,
		"the analysis reads runs":        analysisRuns,
		"the analysis reads end charges": chargeAtTheEnd,
		"weak runs have no system watts": weakRuns,
		"imports are all or nothing":     importsAllOrNothing,
		"imports know former ids":        importsKnowFormerIDs,
		"words that were seen":           wordsSeen,
		"plans are kept":                 keepsPlans,
		"plans belong to devices":        plansOfDevices,
		"plans follow a renamed device":  renamesInPlans,
		"outcomes are kept":              keepsOutcomes,
		"declarations are kept":          keepsDeclarations,
	} {
		t.Run(name, func(t *testing.T) { test(t, open(t)) })
	}
}

func walk(t *testing.T, trace run.Trace) (sweeps []run.Sweep) {
	t.Helper()
	must(t, trace.Each(func(s run.Sweep) error {
		s.Values = slices.Clone(s.Values)
		sweeps = append(sweeps, s)
		return nil
	}))
	return sweeps
}

// sameSweeps compares; a sweep may come back with values more, which are
// missing, and with values that differ by less than half a step.
func sameSweeps(t *testing.T, want, got []run.Sweep) {
	t.Helper()
	if len(want) != len(got) {
		t.Fatalf("%d sweeps, want %d", len(got), len(want))
	}
	for i := range want {
		w, g := want[i], got[i]
		for j := len(w.Values); j < len(g.Values); j++ {
			if !math.IsNaN(g.Values[j]) {
				t.Errorf("sweep %d has value %v of a sensor it never read", i, g.Values[j])
			}
		}
		if len(g.Values) < len(w.Values) {
			t.Fatalf("sweep %d has %d values, want %d", i, len(g.Values), len(w.Values))
		}
		g.Values = g.Values[:len(w.Values)]
		if diff := cmp.Diff(w, g, cmpopts.EquateNaNs(), cmpopts.EquateApprox(1e-15, 0)); diff != "" {
			t.Errorf("sweep %d (-want +got):\n%s", i, diff)
		}
	}
}

func same[T any](t *testing.T, want, got T) {
	t.Helper()
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("-want +got:\n%s", diff)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

var noon = time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)

func newRun(id string) run.Record {
	return run.Record{Run: run.Run{
		ID:        id,
		Labels:    run.Labels{Device: "unit-oak", Workload: "harbour-flight", Setting: run.Watts(25).From(run.Declared), Supply: run.Mains, Variant: "cores=6"},
		State:     run.Recording,
		StartedAt: run.Stamp(noon),
		Results:   map[string]run.Result{},
		Findings:  []run.Finding{},
		Facts:     map[string]string{"kernel": "6.1"},
	}, Summaries: []run.Summary{}}
}

// finished is a run with a result, n minutes after noon.
func finished(id string, minutes int) run.Record {
	d := newRun(id)
	d.State, d.StartedAt, d.DurationS = run.Finished, run.Stamp(noon.Add(time.Duration(minutes)*time.Minute)), new(60.0)
	d.Results["score"] = run.Result{Value: 100 + float64(minutes), Unit: "points", Better: run.Higher}
	return d
}

func oneResult(name string, r run.Result, at time.Time) run.Correction {
	return run.Correction{Results: map[string]run.NewResult{name: {Result: r}}, At: at}
}

func correct(t testing.TB, s store.Store, id string, c run.Correction) run.Record {
	t.Helper()
	r, err := s.Correct(t.Context(), id, c)
	must(t, err)
	return r
}

func reject(why string) run.Correction {
	return run.Correction{Decision: run.Reject, Why: why, At: noon}
}

func unkeep() run.Correction { return run.Correction{Decision: run.Unkeep, At: noon} }

func keep(why string) run.Correction {
	return run.Correction{Decision: run.Keep, Why: why, At: noon}
}

func nan() float64 { zero := 0.0; return zero / zero }

// Sequence gives the runs of a list, as Import takes them.
func Sequence(runs ...run.Record) iter.Seq2[*run.Record, error] {
	return func(yield func(*run.Record, error) bool) {
		for i := range runs {
			if !yield(&runs[i], nil) {
				return
			}
		}
	}
}

// imported has the store take runs, which are new to it.
func imported(t *testing.T, s store.Store, runs ...run.Record) {
	t.Helper()
	added, _, err := s.Import(t.Context(), "", Sequence(runs...), nil)
	must(t, err)
	if added != len(runs) {
		t.Fatalf("%d of %d runs added", added, len(runs))
	}
}
