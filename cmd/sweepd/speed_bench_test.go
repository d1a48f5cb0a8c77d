package main

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// tidyTable writes a table of n runs: two devices, two workloads, both supplies,
// twenty settings.
func tidyTable(b *testing.B, n int) (file string) {
	b.Helper()
	random := rand.New(rand.NewPCG(uint64(n), 1))
	var rows strings.Builder
	rows.WriteString("device,workload,variant,supply,setting_w,started_at,duration_s,package_w,system_w,fps_mean,score\n")
	at := time.Date(2026, 5, 4, 8, 0, 0, 0, time.UTC)
	watts := []float64{6, 7, 8, 9, 10, 12, 14, 15, 17, 20, 22, 25, 28, 30, 35, 40, 50, 60, 72, 85}
	for i := range n {
		w := watts[i/2%20]
		fps := 100 * (1 - math.Exp(-(w-2)/11)) * math.Exp(0.01*random.NormFloat64())
		at = at.Add(61 * time.Second)
		fmt.Fprintf(&rows, "%s,%s,cores=6,%s,%g,%s,60,%.3f,%.3f,%.4f,%.3f\n", []string{"unit-oak", "unit-elm"}[i%2], []string{"harbour-flight", "tile-sort"}[i/80%2],
			[]string{"mains", "battery"}[i/40%2], w, at.Format(time.RFC3339), 1.01*w, 6+1.12*w, fps, 10*fps)
	}
	file = filepath.Join(b.TempDir(), "runs.csv")
	if err := os.WriteFile(file, []byte(rows.String()), 0o600); err != nil {
		b.Fatal(err)
	}
	return file
}

func commandLine(b *testing.B, args ...string) {
	b.Helper()
	var out, stderr bytes.Buffer
	if code := Run(b.Context(), args, strings.NewReader(""), &out, &stderr); code != exitOK {
		b.Fatalf("%s: exit %d: %s", args, code, stderr.String())
	}
}

var benchRuns = []int{100, 1000, 10_000, 100_000}

// BenchmarkCompareCommand is a whole `sweepd compare`, opening the store included:
// at most 0.3 s over 10 000 runs, and no worse than in proportion.
func BenchmarkCompareCommand(b *testing.B) {
	for _, n := range benchRuns {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			data := b.TempDir()
			commandLine(b, "import", tidyTable(b, n), "--data", data)
			for b.Loop() {
				commandLine(b, "compare", "--by", "device", "--data", data)
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(n), "µs/run")
		})
	}
}

// BenchmarkImportCommand is a whole `sweepd import` into a new store: at most 3 s
// for 100 000 rows.
func BenchmarkImportCommand(b *testing.B) {
	for _, n := range benchRuns {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			file := tidyTable(b, n)
			for b.Loop() {
				b.StopTimer()
				data := b.TempDir()
				b.StartTimer()
				commandLine(b, "import", file, "--data", data)
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(n), "µs/run")
		})
	}
}
