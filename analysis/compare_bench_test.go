package analysis

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// BenchmarkCompare asks how the time of a comparison grows with the runs, at 20
// settings: two devices, and one device whose supplies are compared with blocks.
func BenchmarkCompare(b *testing.B) {
	for _, n := range []int{100, 1000, 10000, 100000} {
		for _, kind := range []struct {
			name  string
			drift int
			req   CompareRequest
		}{{"device", 0, CompareRequest{By: "device"}}, {"supply", 1, CompareRequest{By: "supply"}}} {
			c := campaign{n: max(n/(2*len(studyWatts)), 1), cv: 0.01, drift: kind.drift}
			runs := c.runs(rand.New(rand.NewPCG(1, uint64(n))))
			b.Run(fmt.Sprintf("%s/runs=%d", kind.name, len(runs)), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if _, err := Compare(runs, kind.req); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(runs)), "ns/run")
			})
		}
	}
}
