package console

import (
	"os"
	"testing"
	"time"

	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
)

func init() { subjects["agent"] = newLabSubject }

// newLabSubject is the real agent that reads a simulated device without a power limit
// and records to a store.
func newLabSubject(t *testing.T) subject {
	dir, err := simdevice.MakeTempDir("console-test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	data := openStore(t)
	bench, err := simlab.New(dir, simdevice.UnitOak(), simlab.Options{
		Recorder: data, Start: time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC), Seed: 5,
		Collectors: func(r collectors.Roots) []collectors.Collector {
			return []collectors.Collector{collectors.NewThermal(r)}
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := bench.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := bench.Rest(time.Minute); err != nil {
		t.Fatal(err)
	}
	h := New(Options{Agent: bench.Agent, Store: data, Machine: bench.Set, Lower: []string{"load"},
		Metrics: metricsUp, Token: testToken, Open: opening(data), HandsOff: newFakeDay()})
	return subject{h, bench.Agent.Live, bench.Agent.Subscribe, data}
}
