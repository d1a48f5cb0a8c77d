package report

import (
	"bytes"
	"fmt"
	"math"
	"runtime"
	"slices"
	"testing"

	"sweepd/report/chart"
	"sweepd/run"
)

// thousand are about as many runs as a test week gives: two devices, two
// workloads, both supplies, nine passes over 14 settings.
func thousand() []run.Run {
	var plots []plot
	for _, workload := range []string{"harbour-flight", "tile-sort"} {
		for _, p := range oakAndElm() {
			p.workload, p.n = workload, 9
			plots = append(plots, p)
		}
	}
	return plant(1, plots...)
}

// BenchmarkReport is what a report of 1,008 runs with 12 single runs of an hour
// each takes: analysis, page and SVG files. peak-MB is the memory got from the
// system at the end.
func BenchmarkReport(b *testing.B) {
	runs := thousand()
	all := slices.Clone(runs)
	tidy := bytes.Repeat([]byte("0192f0c1-0000-7000-8000-000000000000,unit-oak,harbour-flight,,mains,25,,2026-05-04T09:30:00.000Z,60,24.9,,finished,,,fps_mean=fps,,61.25\n"), len(runs))
	var traces []Trace
	for i := range 12 {
		l := Line{Name: "CPU"}
		for k := range 14400 { // an hour at 250 ms
			l.Times, l.Values = append(l.Times, float64(k)/4), append(l.Values, 60+20*math.Sin(float64(k*(i+1))/900))
		}
		traces = append(traces, Trace{Run: all[i].ID, Temperature: []Line{l, l, l}, Power: []Line{l, l, l}, Clock: []Line{l, l}})
	}
	b.ReportAllocs()
	for b.Loop() {
		study, err := Ask(runs, Questions{})
		if err != nil {
			b.Fatal(err)
		}
		p := Compose(Input{Study: study, Runs: all, Traces: traces, Tidy: tidy})
		var page bytes.Buffer
		if err := p.HTML(&page); err != nil {
			b.Fatal(err)
		}
		size := page.Len()
		for _, c := range p.Charts() {
			for _, palette := range []*chart.Palette{&chart.Light, &chart.Dark} {
				size += len(chart.SVG(&c, chart.Wide, palette))
			}
		}
		b.ReportMetric(float64(size)/1e6, "MB-written")
		b.ReportMetric(float64(len(p.Charts())), "charts")
	}
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	b.ReportMetric(float64(m.Sys)/1e6, "peak-MB")
}

// BenchmarkPNG is one picture for a video in each size.
func BenchmarkPNG(b *testing.B) {
	c := Compose(demoInput(b)).Charts()[0]
	for _, shape := range Shapes {
		form := forms[shape]
		for _, width := range form.widths {
			b.Run(fmt.Sprint(shape, width), func(b *testing.B) {
				for b.Loop() {
					var buffer bytes.Buffer
					if err := chart.PNG(&buffer, &c, form.size, width, &chart.Light); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
