package sqlite

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"sweepd/run"
	"sweepd/schedule"
	"sweepd/store"
)

// campaign is a data file with something of everything, closed.
func campaign(t *testing.T) (path string) {
	s, err := Open(t.TempDir(), Options{Unsynced: true})
	must(t, err)
	ctx := t.Context()
	imported(t, s, everything("0001-rejected"), finished("0002-imported", 1), finished("0003-corrected", 2))
	correct(t, s, "0003-corrected", oneResult("score", run.Result{Value: 2, Unit: "points", Better: run.Higher}, noon))
	correct(t, s, "0001-rejected", run.Correction{Decision: run.Keep, Why: "all well", At: noon})
	fill(t, s, "unit-elm", 3)
	d := everything("0009-recorded")
	d.State, d.Why, d.Supply, d.DurationS = run.Recording, "", run.Battery, new(600.0)
	d.Summaries[1].Last = new(0.25)
	d.Facts = map[string]string{"kernel": "6.2", "cpu": "two cores"}
	must(t, s.BeginRun(ctx, d))
	sensors := []run.Sensor{{ID: run.PackagePower, Unit: "watts", Resolution: 1e-3, Source: "powercap"}, {ID: run.PackageEnergy, Kind: run.Counter, Unit: "joules"}}
	for i := range 200 {
		must(t, s.Append(ctx, run.Batch{Device: "unit-oak", RunID: d.ID, Sensors: sensors, Sweeps: []run.Sweep{quarter(i, 20+float64(i%7), float64(i)*5.1)}}))
	}
	d.State = run.Interrupted
	must(t, s.FinishRun(ctx, d))
	_, err = s.SetUnlike(ctx, store.Filter{}, store.Outlying, map[string]string{"0002-imported": "score is odd"})
	must(t, err)
	for range 2 {
		_, err = s.NewPlan(ctx, onePlan())
		must(t, err)
	}
	must(t, s.KeepOutcome(ctx, schedule.Outcome{Entry: "export", Status: schedule.StatusDone, Text: "3 files"}))
	must(t, s.KeepDeclaration(ctx, "unit-oak", run.Declaration{Setting: run.Watts(25), At: run.Stamp(noon), By: "sweepd setting"}))
	must(t, s.Upkeep(ctx, 0, noon))
	must(t, s.Close())
	return s.Path()
}

// waysToRead are all ways to read a store.
func waysToRead(t *testing.T, ids []string) map[string]func(*Store) (any, error) {
	ctx := t.Context()
	all := map[string]func(*Store) (any, error){
		"list":           func(s *Store) (any, error) { return s.Runs(ctx, store.Filter{}) },
		"list some":      func(s *Store) (any, error) { return s.Runs(ctx, store.Filter{Device: "unit-oak", Limit: 2}) },
		"records":        func(s *Store) (any, error) { return s.Records(ctx, store.Filter{}) },
		"list a variant": func(s *Store) (any, error) { return s.Records(ctx, store.Filter{Variant: "cores=6"}) },
		"analyse": func(s *Store) (any, error) {
			runs, skipped, err := s.AnalysisRuns(ctx, store.Filter{})
			return []any{runs, skipped}, err
		},
		"analyse some": func(s *Store) (any, error) {
			runs, skipped, err := s.AnalysisRuns(ctx, store.Filter{Device: "unit-elm"})
			return []any{runs, skipped}, err
		},
		"switched off": func(s *Store) (any, error) { return s.SwitchedOff(ctx, store.Filter{}) },
		"devices":      func(s *Store) (any, error) { return s.Devices(ctx) },
		"plan":         func(s *Store) (any, error) { return s.Plan(ctx) },
		"outcomes":     func(s *Store) (any, error) { return s.Outcomes(ctx) },
		"declared":     func(s *Store) (any, error) { return s.Declaration(ctx, "unit-oak") },
		"last":         func(s *Store) (any, error) { return s.Run(ctx, store.Last) },
		"idle": func(s *Store) (any, error) {
			trace, err := s.IdleSweeps(ctx, "unit-elm", noon)
			return walked(trace, err)
		},
	}
	for _, id := range ids {
		all["show "+id] = func(s *Store) (any, error) { return s.Run(ctx, id) }
		all["history of "+id] = func(s *Store) (any, error) { return s.History(ctx, id) }
		all["readings of "+id] = func(s *Store) (any, error) {
			trace, err := s.Trace(ctx, id)
			return walked(trace, err)
		}
	}
	return all
}

func walked(trace run.Trace, err error) (any, error) {
	if err != nil {
		return nil, err
	}
	var all strings.Builder
	err = trace.Each(func(x run.Sweep) error {
		fmt.Fprintln(&all, x.At, x.Values, x.Setting, x.Supply)
		return nil
	})
	fmt.Fprintln(&all, trace.Sensors())
	return all.String(), err
}

// seen is what a view gives, in full, and whether it says that something is amiss.
func seen(s *Store, view func(*Store) (any, error)) (text []byte, amiss bool) {
	s.damage.found = nil
	v, err := view(s)
	if err != nil {
		return nil, true
	}
	text, err = json.Marshal(v)
	return text, err != nil || s.Damage() != nil
}

var flips = flag.Int("flips", 300, "how many bytes to flip in TestFlippedBytes")

// Whatever byte of the file changes, all that is read is as before, or says that it is not.
func TestFlippedBytes(t *testing.T) {
	path := campaign(t)
	good, err := os.ReadFile(path)
	must(t, err)
	s, err := Open(path, Options{ReadOnly: true})
	must(t, err)
	ids := []string{"0001-rejected", "0002-imported", "0003-corrected", "0009-recorded", "unit-elm-run-000", "unit-elm-run-002"}
	all := waysToRead(t, ids)
	want := map[string][]byte{}
	for name, view := range all {
		text, amiss := seen(s, view)
		if amiss || len(text) < 5 {
			t.Fatalf("%s of the whole file: %s, %v", name, text, s.Damage())
		}
		want[name] = text
	}
	if r, err := s.Check(t.Context()); err != nil || !r.Whole || len(r.Runs) != 7 {
		t.Fatalf("%+v, %v", r, err)
	}
	must(t, s.Close())

	rng := rand.New(rand.NewPCG(1, 2))
	harmless, unread, told := 0, 0, 0
	bad := filepath.Join(t.TempDir(), FileName)
	if testing.Short() {
		*flips = min(*flips, 100)
	}
	for range *flips {
		at, by := rng.IntN(len(good)), byte(1+rng.IntN(255))
		if rng.IntN(2) == 0 {
			by = 1 << rng.IntN(8)
		}
		data := bytes.Clone(good)
		data[at] ^= by
		must(t, os.WriteFile(bad, data, 0o600))
		s, err := Open(bad, Options{ReadOnly: true})
		if err != nil {
			unread++
			continue
		}
		var said []string // by what is not as before
		for name, view := range all {
			text, amiss := seen(s, view)
			if !amiss && !bytes.Equal(text, want[name]) {
				t.Errorf("byte %d ^ %#x: %s is silently\n%s\nnot\n%s", at, by, name, text, want[name])
			}
			if amiss {
				said = append(said, name)
			}
		}
		r, err := s.Check(t.Context())
		switch {
		case len(said) > 0 && err == nil && r.Whole:
			t.Errorf("byte %d ^ %#x: check finds all whole, not so %q", at, by, said)
		case len(said) > 0:
			told++
		default:
			harmless++
		}
		must(t, s.Close())
	}
	if testing.Verbose() {
		t.Logf("of %d flipped bytes %d were said where they mattered, %d kept the file from opening, %d changed nothing that is read", *flips, told, unread, harmless)
	}
}
