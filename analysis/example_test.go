package analysis_test

import (
	"fmt"
	"time"

	"sweepd/analysis"
	"sweepd/run"
)

// Two devices at two settings, three runs each, taking turns.
func ExampleCompare() {
	frames := map[string][][]float64{
		"unit-oak": {{30.1, 30.2, 30.0}, {41.0, 41.2, 41.1}},
		"unit-elm": {{28.0, 28.1, 27.9}, {41.1, 41.0, 41.2}},
	}
	watts := []float64{10, 15}
	start := time.Date(2026, 11, 24, 9, 0, 0, 0, time.UTC)
	var runs []run.Run
	for pass := range 3 {
		for j := range watts {
			for _, device := range []string{"unit-oak", "unit-elm"} {
				runs = append(runs, run.Run{
					ID: fmt.Sprintf("%s-%d-%d", device, j, pass), Labels: run.Labels{Device: device, Workload: "harbour-flight", Setting: run.Watts(watts[j]).From(run.Declared), Supply: "mains"}, StartedAt: run.Timestamp{Time: start.Add(time.Duration(len(runs)) * 2 * time.Minute)}, DurationS: new(60.0),
					Results: map[string]run.Result{"fps_mean": {Value: frames[device][j][pass], Unit: "fps"}},
				})
			}
		}
	}
	result, err := analysis.Compare(runs, analysis.CompareRequest{By: "device", A: "unit-oak", B: "unit-elm"})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range result.Comparisons[0].Settings {
		fmt.Printf("%g W: %+.1f %% (%+.1f to %+.1f), %s\n", s.SettingW, 100*s.Diff, 100*s.Lower, 100*s.Upper, s.Verdict)
	}
	// Output:
	// 10 W: +7.5 % (+6.8 to +8.2), a
	// 15 W: +0.0 % (-0.7 to +0.7), tie
}
