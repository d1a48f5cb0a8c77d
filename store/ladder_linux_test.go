package store

import (
	"fmt"
	"testing"
	"time"

	"sweepd/agent"
)

// manyRuns are n finished runs of two devices, 20 settings, with two results, a
// finding in every seventh, and facts that change from day to day.
func manyRuns(n int) []agent.Detail {
	runs := make([]agent.Detail, n)
	for i := range runs {
		d := newRun(fmt.Sprintf("%08x-run", uint32(i)*2654435761)) // not in order
		d.Device = []string{"unit-oak", "unit-elm"}[i%2]
		d.Setting = watts(float64(6 + i/2%20))
		d.State = agent.Finished
		d.StartedAt = agent.Stamp(noon.Add(time.Duration(i) * 3 * time.Minute))
		duration, package_ := 120.0+float64(i%7)/8, 10.0+float64(i%13)
		d.DurationS, d.PackageW = &duration, &package_
		d.Results["fps_mean"] = agent.Result{Value: 60 + float64(i%17)/16, Unit: "fps", Better: agent.Higher}
		d.Results["score"] = agent.Result{Value: 1000 + float64(i%31), Better: agent.Higher}
		if i%7 == 0 {
			d.Findings = append(d.Findings, agent.Finding{Code: agent.HotStart, Severity: agent.SeverityDoubt, Text: "62 C, baseline 41 C: let it cool"})
		}
		d.Facts = map[string]string{}
		for f := range 20 {
			d.Facts[fmt.Sprintf("fact_%02d", f)] = "the same for all"
		}
		d.Facts["battery_cycles"] = fmt.Sprint(i / 300)
		runs[i] = d
	}
	return runs
}

// How does reading runs for the analysis grow, opening the file included?
func BenchmarkAnalysisRuns(b *testing.B) {
	for _, n := range []int{100, 1000, 10_000, 100_000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			s := openTest(b)
			if _, _, err := s.ImportRuns(b.Context(), manyRuns(n), nil); err != nil {
				b.Fatal(err)
			}
			b.ReportAllocs()
			cpu := cpuTime(b)
			for b.Loop() {
				r, err := Open(s.Path(), Options{ReadOnly: true})
				if err != nil {
					b.Fatal(err)
				}
				runs, _, err := r.AnalysisRuns(b.Context(), Filter{})
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

// How long do rows of a table take, once parsed?
func BenchmarkImportRuns(b *testing.B) {
	for _, n := range []int{1000, 10_000, 100_000} {
		runs := manyRuns(n)
		for i := range runs { // as tables have them: no facts, no findings
			runs[i].Facts, runs[i].Findings = map[string]string{}, []agent.Finding{}
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			cpu := time.Duration(0)
			for b.Loop() {
				b.StopTimer()
				s := openTest(b)
				cpu -= cpuTime(b)
				b.StartTimer()
				if added, _, err := s.ImportRuns(b.Context(), runs, nil); err != nil || added != n {
					b.Fatal(added, err)
				}
				cpu += cpuTime(b)
			}
			b.ReportMetric(cpu.Seconds()*1000/float64(b.N), "cpu-ms/op")
		})
	}
}
