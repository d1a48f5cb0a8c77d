package testday

import (
	"context"
	"strings"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
	"sweepd/store/sqlite"
)

func TestDeviceNames(t *testing.T) {
	machine := func(id string) run.Machine { return run.Machine{SystemID: id, Model: "Oak 7"} }
	// record records a run here, or brings one in from elsewhere.
	record := func(s store.Store, id, device, system string, brought bool) {
		t.Helper()
		d := run.Record{Run: run.Run{ID: id, State: run.Recording, StartedAt: run.Stamp(time.Now()), Labels: run.Labels{Device: device, Workload: "harbour-flight"},
			Results: map[string]run.Result{}, Findings: []run.Finding{}, Facts: map[string]string{run.FactSystemID: system, "host_model": "Oak 7"}}}
		begin := s.BeginRun
		if brought {
			begin = func(ctx context.Context, d run.Record) error {
				d.State = run.Finished
				_, _, err := s.Import(ctx, "", contract.Sequence(d), nil)
				return err
			}
		}
		if err := begin(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		name    string
		data    func(store.Store)
		naming  Naming
		want    string
		warning string
	}{
		{name: "the host's name", naming: Naming{Host: "bench3", ID: "3f9c21ab", Machine: machine("a")}, want: "bench3"},
		{name: "a name that many have", naming: Naming{Host: "localhost", HostIsBare: true, ID: "3f9c21ab", Machine: machine("a")}, want: "localhost-3f9c"},
		{name: "and no id", naming: Naming{Host: "localhost", HostIsBare: true}, want: "localhost", warning: "give it a name"},
		{name: "configured", naming: Naming{Configured: "unit-elm", Host: "localhost", HostIsBare: true, ID: "3f9c21ab"}, want: "unit-elm"},
		{name: "the host was named anew", data: func(s store.Store) { record(s, "run-1", "unit-oak", "a", false) },
			naming: Naming{Host: "bench3", ID: "3f9c21ab", Machine: machine("a")}, want: "unit-oak"},
		{name: "device: was taken out of the configuration", data: func(s store.Store) { record(s, "run-1", "unit-oak", "a", false) },
			naming: Naming{Host: "localhost", HostIsBare: true, ID: "3f9c21ab", Machine: machine("a")}, want: "unit-oak"},
		{name: "device: was changed", data: func(s store.Store) { record(s, "run-1", "unit-oak", "a", false) },
			naming: Naming{Configured: "unit-elm", Host: "bench3", Machine: machine("a")}, want: "unit-elm", warning: "sweepd device rename unit-oak unit-elm"},
		{name: "runs from elsewhere name nobody", data: func(s store.Store) { record(s, "run-1", "unit-oak", "a", true) },
			naming: Naming{Host: "bench3", ID: "3f9c21ab", Machine: machine("b")}, want: "bench3"},
		{name: "another machine was called so", data: func(s store.Store) { record(s, "run-1", "bench3", "a", true) },
			naming: Naming{Host: "bench3", ID: "3f9c21ab", Machine: machine("b")}, want: "bench3-3f9c"},
		{name: "the folder of another machine was copied here", data: func(s store.Store) { record(s, "run-1", "unit-oak", "a", false) },
			naming: Naming{Host: "bench3", ID: "3f9c21ab", Machine: machine("b")}, want: "bench3", warning: "another machine, unit-oak (their systems have different ids)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var s store.Runs
			if c.data != nil {
				data, err := sqlite.Open(t.TempDir(), sqlite.Options{})
				if err != nil {
					t.Fatal(err)
				}
				defer data.Close()
				c.data(data)
				s = data
			}
			got, warning, err := DeviceName(t.Context(), s, c.naming)
			if err != nil || got != c.want || !strings.Contains(warning, c.warning) || (warning == "") != (c.warning == "") {
				t.Errorf("%q, %q, %v; want %q, %q", got, warning, err, c.want, c.warning)
			}
		})
	}
}
