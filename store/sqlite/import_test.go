package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// mixedRuns are runs whose columns, results, findings and facts change from row to
// row, and whose ids recur.
func mixedRuns(seed uint64, n int) []run.Record {
	random := rand.New(rand.NewPCG(seed, 1))
	maybe := func(x float64) *float64 {
		if random.IntN(4) == 0 {
			return nil
		}
		return &x
	}
	runs := make([]run.Record, n)
	even := random.IntN(2) == 0 // long rows of equal columns, as in most tables
	for i := range runs {
		d := newRun(fmt.Sprintf("run-%d", random.IntN(2*n)))
		d.State, d.Facts = run.Finished, map[string]string{}
		d.Note = fmt.Sprint("row ", i)
		if !even || i%100 > 90 {
			d.StartedAt = run.Timestamp{}
			if random.IntN(3) > 0 {
				d.StartedAt = run.Stamp(noon.Add(time.Duration(i) * time.Minute))
			}
			d.DurationS, d.SystemW = maybe(60), maybe(14.25)
			d.Setting = []run.Setting{run.Watts(float64(i + 1)), run.Named("quiet"), {}}[random.IntN(3)].From([]run.Source{"", run.Declared}[random.IntN(2)])
			if random.IntN(3) == 0 {
				d.SettingRead = new([]run.Setting{run.Watts(15), run.Named("quiet")}[random.IntN(2)].From(run.Powercap))
			}
			d.Variant = []run.Variant{"", "cores=6"}[random.IntN(2)]
			d.Supply = []run.Supply{run.Mains, run.Battery, run.SupplyUnknown}[random.IntN(3)]
			for _, name := range []string{"score", "fps_mean", "seconds"}[random.IntN(4)%3:] {
				d.Results[name] = run.Result{Value: random.NormFloat64(), Unit: []string{"", "fps"}[random.IntN(2)], Better: run.Higher}
			}
		} else {
			d.Results["score"] = run.Result{Value: float64(i), Better: run.Lower}
		}
		if random.IntN(8) == 0 {
			d.Facts["kernel"] = []string{"6.1", "6.2"}[random.IntN(2)]
			d.Findings = append(d.Findings, run.Finding{Code: run.HotStart, Severity: run.SeverityDoubt, Text: "it was"})
			d.Summaries = append(d.Summaries, run.Summary{Sensor: "temperature_celsius", Unit: "celsius", Mean: maybe(50)})
		}
		runs[i] = d
	}
	return runs
}

// Importing stores what storing one run after the other does.
func TestImportIsStoringOneByOne(t *testing.T) {
	for seed := range uint64(12) {
		if testing.Short() && seed > 3 {
			break
		}
		runs := mixedRuns(seed, 400)
		many, single := openTest(t), openTest(t)
		added, known := 0, 0
		for part := range slices.Chunk(runs, 250) {
			a, k, err := many.Import(t.Context(), "", contract.Sequence(part...), nil)
			must(t, err)
			added, known = added+a, known+k
		}
		ones := 0
		must(t, single.commit(t.Context(), false, func(tx *sql.Tx) error {
			w := newRunWriter(t.Context(), tx)
			for i := range runs {
				isNew, err := w.add(&runs[i])
				if isNew {
					ones++
				}
				if err != nil {
					return err
				}
			}
			return nil
		}))
		if added != ones || added+known != len(runs) {
			t.Errorf("seed %d: %d added, %d known of %d, want %d added", seed, added, known, len(runs), ones)
		}
		want, err := single.Records(t.Context(), store.Filter{})
		must(t, err)
		got, err := many.Records(t.Context(), store.Filter{})
		must(t, err)
		if diff := cmp.Diff(want, got); diff != "" || len(got) != ones {
			t.Fatalf("seed %d (-one by one +imported):\n%s", seed, diff)
		}
	}
}

// Whatever ends an import early, nothing of it is kept, nothing goes on behind it, and
// the store is as it was.
func TestImportAllOrNone(t *testing.T) {
	errRow := errors.New("line 3: a bad cell")
	good := manyRuns(3000)
	recording, wrong := newRun("recording"), finished("wrong", 0)
	wrong.Results["score"] = run.Result{Value: 1, Better: "sideways"}
	for _, c := range []struct {
		name string
		last *run.Record // after the good ones
		err  error
		full bool
		end  int // runs after which the context ends
		says error
	}{
		{name: "a bad row", err: errRow, says: errRow},
		{name: "a run that is recording", last: &recording},
		{name: "a result of no direction", last: &wrong},
		{name: "a full disk", full: true},
		{name: "the user gives up", last: &recording, end: 1000, says: context.Canceled},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := openTest(t)
			ctx, cancel := context.WithCancel(t.Context())
			defer cancel()
			if c.full {
				execWriter(t, s, "PRAGMA max_page_count = 100")
			}
			walked, whole := false, false
			runs := func(yield func(*run.Record, error) bool) {
				defer func() { walked = true }()
				for i := range good {
					if !yield(&good[i], nil) {
						return
					}
				}
				whole = true
				if c.last != nil || c.err != nil {
					yield(c.last, c.err)
				}
			}
			added, known, err := s.Import(ctx, "", runs, func(done int) {
				if done == c.end {
					cancel()
				}
			})
			if err == nil || added != 0 || known != 0 || c.says != nil && !errors.Is(err, c.says) {
				t.Errorf("added %d, known %d, error %v", added, known, err)
			}
			if c.end > 0 {
				wantStopped(t, err)
			}
			if c.err != nil && err.Error() != c.err.Error() {
				t.Errorf("error %q, want %q and nothing before it", err, c.err)
			}
			if !walked || c.full && whole {
				t.Errorf("the sequence's walk ended: %v; it was walked to its end for nothing: %v", walked, whole)
			}
			if list, err := s.Runs(t.Context(), store.Filter{}); err != nil || len(list) != 0 {
				t.Errorf("%d runs were kept, %v", len(list), err)
			}
			execWriter(t, s, "PRAGMA max_page_count = 1000000")
			added, _, err = s.Import(t.Context(), "", contract.Sequence(good...), nil)
			if must(t, err); added != len(good) {
				t.Errorf("%d of %d added afterwards", added, len(good))
			}
			for name, want := range map[string]string{"cache_size": cacheKiB, "temp_store": "0", "foreign_keys": "1"} {
				var got string
				if must(t, s.write.QueryRow("PRAGMA "+name).Scan(&got)); got != want {
					t.Errorf("%s is left at %s, want %s", name, got, want)
				}
			}
		})
	}
}
