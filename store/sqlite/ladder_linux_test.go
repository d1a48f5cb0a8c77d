package sqlite

import (
	"fmt"
	"testing"
	"time"

	"sweepd/run"
	"sweepd/store"
	"sweepd/store/contract"
)

// How does reading runs for the analysis grow, opening the file included?
func BenchmarkAnalysisRuns(b *testing.B) {
	for _, n := range []int{100, 1000, 10_000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := openTest(b)
			if _, _, err := s.Import(b.Context(), "", contract.Sequence(manyRuns(n)...), nil); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			cpu := cpuTime(b)
			for b.Loop() {
				r, err := Open(s.Path(), Options{ReadOnly: true})
				if err != nil {
					b.Fatal(err)
				}
				runs, _, err := r.AnalysisRuns(b.Context(), store.Filter{})
				if err != nil || len(runs) != n {
					b.Fatal(len(runs), err)
				}
				if err := r.Close(); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric((cpuTime(b)-cpu).Seconds()*1000/float64(b.N), "cpu-ms/op")
		})
	}
}

// What do the choice of one device of two, and a listing, cost?
func BenchmarkListings(b *testing.B) {
	const n = 10_000
	s := openTest(b)
	if _, _, err := s.Import(b.Context(), "", contract.Sequence(manyRuns(n)...), nil); err != nil {
		b.Fatal(err)
	}
	r, err := Open(s.Path(), Options{ReadOnly: true})
	must(b, err)
	defer r.Close()
	for name, list := range map[string]func() (int, error){
		"AnalysisRuns of a device": func() (int, error) {
			runs, _, err := r.AnalysisRuns(b.Context(), store.Filter{Device: "unit-oak"})
			return 2 * len(runs), err
		},
		"Runs": func() (int, error) {
			runs, err := r.Runs(b.Context(), store.Filter{})
			return len(runs), err
		},
	} {
		b.Run(name, func(b *testing.B) {
			cpu := cpuTime(b)
			for b.Loop() {
				if got, err := list(); err != nil || got != n {
					b.Fatal(got, err)
				}
			}
			b.ReportMetric((cpuTime(b)-cpu).Seconds()*1000/float64(b.N), "cpu-ms/op")
		})
	}
}

// How long do rows of a table take, once parsed?
func BenchmarkImportRuns(b *testing.B) {
	for _, n := range []int{1000, 10_000, 100_000} {
		runs := manyRuns(n)
		for i := range runs { // as tables have them: no facts, no findings
			runs[i].Facts, runs[i].Findings = map[string]string{}, []run.Finding{}
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			cpu := time.Duration(0)
			for b.Loop() {
				b.StopTimer()
				s := openTest(b)
				cpu -= cpuTime(b)
				b.StartTimer()
				if added, _, err := s.Import(b.Context(), "", contract.Sequence(runs...), nil); err != nil || added != n {
					b.Fatal(added, err)
				}
				cpu += cpuTime(b)
			}
			b.ReportMetric(cpu.Seconds()*1000/float64(b.N), "cpu-ms/op")
		})
	}
}

// How long does an agent need to read back a working day's idle sweeps when it
// starts? A run between every nine of them, as on a day without hands, or none.
func BenchmarkIdleSweeps(b *testing.B) {
	r := simulated(b, 60)
	for _, c := range []struct {
		name     string
		sweeps   int
		interval time.Duration
		together int // in one series
	}{
		{"2880 unbroken", 2880, 10 * time.Second, 2880},
		{"720 between 80 runs", 720, 40 * time.Second, 9},
		{"28800 unbroken", 28_800, time.Second, 28_800},
	} {
		b.Run(c.name, func(b *testing.B) {
			s := openTest(b)
			for i := range c.sweeps {
				if i%c.together == 0 {
					s.recording.series = nil // as after a run
				}
				x := r.sweeps[i%len(r.sweeps)]
				at := time.Duration(i) * c.interval
				x.At = run.Instant{Mono: time.Hour + at, Boot: time.Hour + at, Wall: noon.Add(at)}
				must(b, s.Append(b.Context(), run.Batch{Device: "unit-oak", Sensors: r.sensors, Sweeps: []run.Sweep{x}}))
			}
			b.ReportAllocs()
			cpu := cpuTime(b)
			for b.Loop() {
				n := 0
				trace, err := s.IdleSweeps(b.Context(), "unit-oak", noon)
				must(b, err)
				must(b, trace.Each(func(run.Sweep) error { n++; return nil }))
				if n != c.sweeps {
					b.Fatal(n)
				}
			}
			b.ReportMetric((cpuTime(b)-cpu).Seconds()*1000/float64(b.N), "cpu-ms/op")
		})
	}
}
