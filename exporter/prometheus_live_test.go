package exporter

import (
	"context"
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"sweepd/agent"
	"sweepd/run"
	"sweepd/store/sqlite"
)

// wave is a machine on battery whose package draws 30 W for 1.9 s, then 10 W
// for 1.3 s, and so on: a reader who looks every five seconds sees the one or the
// other and never the mean. Its counter of energy knows better.
type wave struct{}

const (
	waveHigh, waveLow       = 30.0, 10.0
	waveHighFor, wavePeriod = 1.9, 3.2
)

func (wave) power(t float64) float64 {
	if math.Mod(t, wavePeriod) < waveHighFor {
		return waveHigh
	}
	return waveLow
}

func (wave) energy(t float64) float64 {
	whole, part := math.Floor(t/wavePeriod), math.Mod(t, wavePeriod)
	perPeriod := waveHigh*waveHighFor + waveLow*(wavePeriod-waveHighFor)
	return whole*perPeriod + waveHigh*min(part, waveHighFor) + waveLow*max(part-waveHighFor, 0)
}

// Positions in a sweep of wave.
const (
	waveBattery = 1
	waveEnergy  = 3
)

func (wave) Sensors() []run.Sensor {
	return []run.Sensor{
		{ID: run.SupplyOnline, Instance: "ADP0"},
		{ID: run.BatteryPower, Instance: "BAT0", Unit: "watts", Resolution: 1e-6},
		{ID: run.BatteryDirection, Instance: "BAT0"},
		{ID: run.PackageEnergy, Instance: "package-0", Unit: "joules", Kind: run.Counter, Resolution: 1e-6},
		{ID: run.PackagePower, Instance: "package-0", Unit: "watts", Resolution: 1e-6},
	}
}

func (w wave) Sweep(now time.Duration) []float64 {
	t := now.Seconds()
	return []float64{0, 5 + 1.2*w.power(t), 1, w.energy(t), w.power(t)}
}

func (wave) SlowDue(time.Duration) bool { return false }
func (wave) ReadSlow(time.Duration)     {}
func (wave) Rescan(time.Duration)       {}
func (wave) Hasten(time.Duration)       {}

// liveAgent is an agent that samples in real time into a store.
func liveAgent(t *testing.T) (*agent.Agent, *sqlite.Store) {
	t.Helper()
	s := storeOf(t)
	a, err := agent.New(agent.Options{Device: "unit-oak", Sensors: wave{}, Recorder: s})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- a.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
	return a, s
}

// scrapeJob is the job that users paste, pointed at another address.
func scrapeJob(t *testing.T, address string) string {
	t.Helper()
	text, err := os.ReadFile("../deploy/prometheus/scrape.yaml")
	if err != nil {
		t.Fatal(err)
	}
	const shown = "127.0.0.1:9745\n"
	if strings.Count(string(text), "- "+shown) != 1 {
		t.Fatalf("scrape.yaml has no target %s", shown)
	}
	return strings.Replace(string(text), "- "+shown, "- "+address+"\n", 1)
}

// windowScrapes is the number of scrapes in a run that the mean power is taken
// over. The counter is that of the last sweep before a scrape, up to 250 ms old,
// so a shorter window could not be relied on to 1 %: at worst, with a sweep just
// before the one end and just after the other, 0.25 s x 30 W / (35 s x 21.9 W).
const windowScrapes = 8

// A real Prometheus scrapes a real agent every 5 s, by the job that users
// paste, while power jumps between scrapes. Over the window from the first to
// the last scrape inside the run the mean power from the energy counter is the
// agent's own.
func TestPowerInPrometheusIsTheAgents(t *testing.T) {
	if testing.Short() && os.Getenv("CI") == "" {
		t.Skip("takes most of a minute of real time")
	}
	t.Parallel()
	a, s := liveAgent(t)
	m := New(a, nil, Build{})
	server := httptest.NewServer(m.Handler())
	t.Cleanup(server.Close)
	ctx := context.Background()
	started, err := a.StartRun(ctx, run.Start{Workload: "harbour-flight", Setting: run.Watts(25)})
	if err != nil {
		t.Fatal(err)
	}
	p := startPrometheus(t, scrapeJob(t, server.Listener.Addr().String()))

	const counter = `sweepd_energy_joules_total{device="unit-oak",workload="harbour-flight",setting="25W",supply="battery",domain="%s"}`
	scrapes := func(domain string) []point {
		list := p.query(t, fmt.Sprintf(counter, domain)+"[10m]", time.Now())
		if len(list) == 0 {
			return nil
		}
		return list[0].points
	}
	await(t, "enough scrapes in the run", 2*time.Minute, func() bool { return len(scrapes("package")) >= windowScrapes })
	inside := map[string][]point{"package": scrapes("package"), "battery": scrapes("battery")}
	if up := p.one(t, "up", time.Now()); up != 1 {
		t.Errorf("up is %v", up)
	}
	detail, err := a.StopRun(ctx, run.Stop{})
	if err != nil {
		t.Fatal(err)
	}
	trace, err := s.Trace(ctx, started.ID)
	if err != nil {
		t.Fatal(err)
	}
	own := map[string]ownMean{
		"package": {at: waveEnergy, counter: true},
		"battery": {at: waveBattery},
	}
	for domain, of := range own {
		first, last := inside[domain][0].at, inside[domain][len(inside[domain])-1].at
		// To the millisecond: nothing is left to extrapolate. One more, since
		// newer versions leave the beginning of a range out.
		mean := fmt.Sprintf("rate(%s[%dms])", fmt.Sprintf(counter, domain), last.Sub(first).Milliseconds()+1)
		got, want := p.one(t, mean, last), of.between(t, trace, first, last)
		gauge := p.one(t, fmt.Sprintf("avg_over_time(sweepd_power_watts{domain=%q,workload=\"harbour-flight\"}[%dms])", domain, last.Sub(first).Milliseconds()+1), last)
		t.Logf("%s over %.1f s: %.4f W in Prometheus, %.4f W by the agent: %+.2f %% (mean of the scraped gauge: %+.1f %%)",
			domain, last.Sub(first).Seconds(), got, want, 100*(got/want-1), 100*(gauge/want-1))
		if math.Abs(got/want-1) > 0.01 {
			t.Errorf("%s: %v W in Prometheus, %v W by the agent: more than 1 %% apart", domain, got, want)
		}
	}

	// The label set stays after the run, so its last scrape is complete.
	energy := 0.0
	for _, x := range detail.Summaries {
		if x.Sensor == run.PackageEnergy && x.EnergyJoules != nil {
			energy = *x.EnergyJoules
		}
	}
	await(t, "a scrape after the run's end", 30*time.Second, func() bool {
		list := scrapes("package")
		return math.Abs(list[len(list)-1].value-energy) < 1e-6*energy
	})
}

// ownMean is the mean of a power that the agent recorded.
type ownMean struct {
	at      int  // position in a sweep
	counter bool // of energy, not a power
}

// between is the mean from one moment to another, W, from the run's stored
// sweeps; between two sweeps the energy goes straight on.
func (o ownMean) between(t *testing.T, trace run.Trace, from, to time.Time) float64 {
	t.Helper()
	var energy, lastValue, atFrom, atTo float64
	var lastAt time.Time
	err := trace.Each(func(s run.Sweep) error {
		value, wall := s.Values[o.at], s.At.Wall
		if !lastAt.IsZero() {
			step := value - lastValue
			if !o.counter {
				step = (value + lastValue) / 2 * wall.Sub(lastAt).Seconds()
			}
			for moment, e := range map[time.Time]*float64{from: &atFrom, to: &atTo} {
				if share := moment.Sub(lastAt).Seconds() / wall.Sub(lastAt).Seconds(); share >= 0 && share < 1 {
					*e = energy + share*step
				}
			}
			energy += step
		}
		lastValue, lastAt = value, wall
		return nil
	})
	if err != nil || atTo <= atFrom {
		t.Fatalf("the run's sweeps do not cover %v to %v: error %v", from, to, err)
	}
	return (atTo - atFrom) / to.Sub(from).Seconds()
}
