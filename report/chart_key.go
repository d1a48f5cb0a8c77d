package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"sweepd/analysis"
	"sweepd/report/chart"
)

// runsText is a number of runs, or the least and most of several.
func runsText(n []int) string {
	n = slices.DeleteFunc(slices.Clone(n), func(v int) bool { return v == 0 })
	if len(n) == 0 {
		return "no run"
	}
	least, most := slices.Min(n), slices.Max(n)
	switch {
	case least == most && most == 1:
		return "1 run"
	case least == most:
		return fmt.Sprintf("%d runs", most)
	}
	return fmt.Sprintf("%d to %d runs", least, most)
}

// intervalItems say what the bars of a chart are, and what they were told from. There
// is none where nothing has a bar.
func intervalItems(text string, confidence float64, panels []chart.Panel, sources ...analysis.NoiseSource) []chart.Item {
	drawn := func(q chart.Point) bool { return !math.IsNaN(q.Y) && !math.IsNaN(q.Lower) && !math.IsNaN(q.Upper) }
	for _, p := range panels {
		for _, s := range p.Series {
			if slices.ContainsFunc(s.Points, drawn) {
				return []chart.Item{{Symbol: chart.SymbolInterval, Text: fmt.Sprintf("%.0f %% interval", 100*confidence) + text + noiseFrom(sources)}}
			}
		}
	}
	return nil
}

// reachOfRuns says what bars are where they are no intervals.
var reachOfRuns = chart.Item{Symbol: chart.SymbolInterval, Text: "from the lowest run to the highest"}

// ofTheMean is what an interval is of where runs were repeated.
const ofTheMean = " of the mean"

// noiseFrom says what the noise was told from where it was not from repeats alone.
func noiseFrom(sources []analysis.NoiseSource) string {
	words := []struct {
		source analysis.NoiseSource
		text   string
	}{
		{analysis.NoisePooled, "repeats"}, {analysis.NoiseWindow, "repeats"}, {analysis.NoisePooledRoughness, "few repeats and how smooth the curve is"},
		{analysis.NoiseRoughness, "how smooth the curve is"}, {analysis.NoiseDeclared, "what was given"},
	}
	var told []string
	for _, w := range words {
		if slices.Contains(sources, w.source) && !slices.Contains(told, w.text) {
			told = append(told, w.text)
		}
	}
	if len(told) == 0 || len(told) == 1 && told[0] == "repeats" {
		return ""
	}
	return ", judged from " + strings.Join(told, ", or ")
}
