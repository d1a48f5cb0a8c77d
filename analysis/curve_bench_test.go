package analysis

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"sweepd/run"
)

// How the time of a curve and of a battery grows with the runs: the same 20
// settings and 5 groups, more and more repeats.
func BenchmarkCurve(b *testing.B) {
	for _, n := range []int{100, 1000, 10000, 100000} {
		runs := manyRuns(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Curve(runs, CurveRequest{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkBattery(b *testing.B) {
	for _, n := range []int{100, 1000, 10000, 100000} {
		runs := manyRuns(n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Battery(runs, BatteryRequest{Full: full(50)}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func manyRuns(n int) []run.Run {
	runs := simulated(rand.New(rand.NewPCG(8, 8)), studyWatts, n/len(studyWatts), 0.01, saturating)
	for i := range runs {
		runs[i].Variant = run.Variant(fmt.Sprintf("cores=%d", 2+2*(i/20%5)))
	}
	return runs
}
