package exporter

import (
	"os"
	"testing"
	"time"

	"sweepd/agent"
	"sweepd/collectors"
	"sweepd/internal/simdevice"
	"sweepd/internal/simlab"
	"sweepd/run"
)

func init() { subjects["agent"] = newLabAgent }

// labAgent is the real agent that reads a simulated device and records to a store,
// under a simulated clock.
type labAgent struct {
	t     *testing.T
	bench *simlab.Bench
	m     *Metrics
}

func newLabAgent(t *testing.T) subject {
	dir, err := simdevice.MakeTempDir("exporter-test")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	l := &labAgent{t: t}
	cfg := simdevice.UnitElm()
	cfg.StartOnMains = true
	l.bench, err = simlab.New(dir, cfg, simlab.Options{Recorder: storeOf(t), Start: day, Seed: 3,
		Collectors: func(r collectors.Roots) []collectors.Collector {
			return []collectors.Collector{collectors.NewPowerSupply(r), collectors.NewPowercap(r), collectors.NewThermal(r)}
		}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.check(l.bench.Close()) })
	l.m = New(l.bench.Agent, l.bench.Set.Health, Build{})
	return l
}

func (l *labAgent) check(err error) {
	l.t.Helper()
	if err != nil {
		l.t.Fatal(err)
	}
}

func (l *labAgent) metrics() *Metrics    { return l.m }
func (l *labAgent) pass(d time.Duration) { l.t.Helper(); l.check(l.bench.Pass(d)) }
func (l *labAgent) unplug()              { l.bench.Device.Unplug() }

func (l *labAgent) snapshot() agent.Snapshot {
	var s agent.Snapshot
	l.bench.Agent.Snapshot(&s)
	return s
}

// battery is the only one of the device.
const battery = "BAT0"

func (l *labAgent) pullBattery()   { l.t.Helper(); l.check(l.bench.Device.PullBattery(battery)) }
func (l *labAgent) insertBattery() { l.t.Helper(); l.check(l.bench.Device.InsertBattery(battery)) }

func (l *labAgent) start(s run.Start) {
	l.t.Helper()
	_, err := l.bench.Start(s)
	l.check(err)
}

func (l *labAgent) stop() run.Record {
	l.t.Helper()
	d, err := l.bench.Stop(run.Stop{})
	l.check(err)
	return d
}
